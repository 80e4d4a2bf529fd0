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


CLOAK_FOLDS = (
    # from his right shoulder: to the hand on the pole, down the upper arm, and round to the back
    Fold(((0.09, 0.125), (0.24, 0.13), (0.36, 0.125)), 0.22, 0.18, 0.28, 0.5),
    Fold(((0.07, 0.15), (0.18, 0.10), (0.30, 0.035)), 0.26, 0.2, 0.3, 0.4),
    Fold(((0.07, 0.19), (0.22, 0.22), (0.40, 0.245)), 0.26, 0.2, 0.34, 0.45),
    Fold(((0.07, 0.22), (0.28, 0.31), (0.62, 0.335)), 0.3, 0.2, 0.42, 0.4),
    Fold(((0.10, 0.27), (0.28, 0.37), (0.48, 0.395)), 0.22, 0.2, 0.34, 0.4),
    # from his right elbow: down to the hem, and in bows to the belt where the edge is tucked
    Fold(((0.37, 0.17), (0.66, 0.15), (1.0, 0.125)), 0.36, 0.22, 0.46, 0.3, 0.75),
    Fold(((0.46, 0.207), (0.72, 0.205), (1.0, 0.215)), 0.38, 0.22, 0.5, 0.35, 0.7),
    Fold(((0.40, 0.24), (0.64, 0.265), (0.93, 0.285)), 0.32, 0.2, 0.44, 0.35),
    Fold(((0.36, 0.155), (0.50, 0.105), (0.57, 0.025)), 0.3, 0.24, 0.2, 0.45, 0.2),
    Fold(((0.44, 0.165), (0.60, 0.11), (0.62, 0.035)), 0.26, 0.22, 0.2, 0.45, 0.2),
    Fold(((0.24, 0.055), (0.40, 0.055), (0.56, 0.018)), 0.28, 0.22, 0.18, 0.4, 0.3),
    Fold(((0.60, 0.03), (0.78, 0.055), (1.0, 0.075)), 0.3, 0.18, 0.4, 0.35, 0.8),
    Fold(((0.74, 0.185), (0.82, 0.178), (1.0, 0.17)), 0.24, 0.18, 0.34, 0.5, 0.7),
    # from his left shoulder: along the upper arm, and round to the back
    Fold(((0.07, 0.88), (0.18, 0.935), (0.31, 0.985)), 0.24, 0.18, 0.28, 0.4),
    Fold(((0.07, 0.86), (0.22, 0.885), (0.42, 0.92)), 0.28, 0.2, 0.34, 0.45),
    Fold(((0.08, 0.84), (0.28, 0.825), (0.58, 0.845)), 0.3, 0.2, 0.42, 0.4),
    Fold(((0.08, 0.81), (0.30, 0.765), (0.66, 0.775)), 0.28, 0.2, 0.4, 0.4),
    # from the crook of his left arm: down to the hem, forking, with bows between
    Fold(((0.40, 0.965), (0.66, 0.955), (1.0, 0.965)), 0.34, 0.2, 0.44, 0.3, 0.8),
    Fold(((0.38, 0.945), (0.62, 0.915), (1.0, 0.905)), 0.38, 0.22, 0.5, 0.35, 0.75),
    Fold(((0.40, 0.925), (0.50, 0.895), (0.64, 0.868)), 0.3, 0.2, 0.36, 0.35),
    Fold(((0.70, 0.912), (0.82, 0.93), (1.0, 0.938)), 0.26, 0.18, 0.34, 0.5, 0.7),
    Fold(((0.50, 0.958), (0.575, 0.937), (0.54, 0.912)), 0.2, 0.18, 0.16, 0.5),
    Fold(((0.66, 0.958), (0.73, 0.937), (0.70, 0.92)), 0.2, 0.16, 0.14, 0.5),
    Fold(((0.44, 0.918), (0.53, 0.893), (0.46, 0.85)), 0.18, 0.2, 0.16, 0.5),
    Fold(((0.25, 0.895), (0.32, 0.87), (0.27, 0.83)), 0.15, 0.16, 0.16, 0.5),
    # where the basket and its straps press, and below them
    Fold(((0.15, 0.71), (0.36, 0.70), (0.70, 0.715)), 0.3, 0.18, 0.4, 0.35),
    Fold(((0.18, 0.46), (0.36, 0.425), (0.72, 0.415)), 0.3, 0.18, 0.42, 0.35),
    Fold(((0.50, 0.50), (0.72, 0.475), (1.0, 0.465)), 0.3, 0.2, 0.4, 0.4, 0.7),
    Fold(((0.52, 0.56), (0.74, 0.575), (1.0, 0.57)), 0.28, 0.2, 0.4, 0.4, 0.7),
    Fold(((0.46, 0.64), (0.70, 0.66), (1.0, 0.65)), 0.3, 0.2, 0.42, 0.4, 0.6),
    Fold(((0.60, 0.36), (0.80, 0.36), (1.0, 0.37)), 0.26, 0.2, 0.36, 0.45, 0.7),
    Fold(((0.66, 0.80), (0.84, 0.81), (1.0, 0.815)), 0.26, 0.2, 0.36, 0.5, 0.7),
)
