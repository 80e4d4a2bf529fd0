"""Folds laid on fallen cloth by hand: each runs from a place of tension and dies out, crisp on top, soft beside."""

from typing import NamedTuple

import numpy as np
from scipy.spatial import cKDTree
from surfaces import spline

CREST = 1.25
"""How sharp a fold's top is: 1 is a knife edge, 2 a round pillow."""
DEPTH = 1.3
"""What all heights are multiplied by: they must read at 40 mm."""


class Fold(NamedTuple):
    """One fold. `course` are places (share of the way down, share across), from where the cloth is held."""

    course: tuple
    height: float
    """Greatest height over the cloth, in units."""
    narrow: float
    wide: float
    """Half width at the start and at the end, in units."""
    swell: float = 0.3
    """Share of the course at which it is highest."""
    ending: float = 0.0
    """Share of the height that is left at the end: 0 dies out, 1 runs over the hem."""


def _flat(down, across, cut):
    """Places in the flat cut of a cape, where lengths are those of the cloth."""
    inner, outer, angle = cut
    radius = inner + (outer - inner) * np.asarray(down)
    turn = angle * (np.asarray(across) - 0.5)
    return np.stack([radius * np.sin(turn), -radius * np.cos(turn)], -1)


def _rise(t, fold):
    """The share of the height along a course: quick from the start, long to the end."""
    up = np.clip(t / fold.swell, 0.0, 1.0)
    fall = np.clip((t - fold.swell) / (1.0 - fold.swell), 0.0, 1.0)
    rest = 1.0 - (1.0 - fold.ending) * fall * fall * (3.0 - 2.0 * fall)
    return up * (2.0 - up) * rest


def fold_field(down, across, folds, cut, *, gutter=0.5):
    """(rows, columns) height of `folds` over a cape cut as `cut`: (inner radius, outer radius, angle)."""
    places = _flat(down, across, cut)
    flat = places.reshape(-1, 2)
    ridge, hollow = np.zeros(len(flat)), np.zeros(len(flat))
    for fold in folds:
        course = spline(np.array(fold.course, float), 160)
        if fold.ending > 0.0:
            course = np.concatenate(
                [course, course[-1:] + np.arange(1, 12)[:, None] * (course[-1] - course[-2])]
            )
        t = np.minimum(np.arange(len(course)) / 159.0, 1.0)
        line = _flat(course[:, 0], course[:, 1], cut)
        far, nearest = cKDTree(line).query(flat, distance_upper_bound=5.0 * max(fold.narrow, fold.wide))
        near = np.isfinite(far)
        t = t[nearest[near]]
        # a soft wander in width keeps it from being a rule's line
        width = (fold.narrow + (fold.wide - fold.narrow) * t) * (
            1.0 + 0.15 * np.sin(7.0 * t + 9.0 * fold.height)
        )
        q = far[near] / width
        high = DEPTH * fold.height * _rise(t, fold)
        blunt = np.sqrt(q * q + 0.04) - 0.2
        ridge[near] = np.maximum(ridge[near], high * np.exp(-(blunt**CREST)))
        hollow[near] = np.maximum(hollow[near], high * np.exp(-(((q - 1.9) / 0.7) ** 2)))
    return (ridge - gutter * hollow * np.exp(-ridge / 0.12)).reshape(down.shape)
