"""The heron's hands: a wing's end with three long finger feathers and a short thumb feather, bent about a bar."""

import numpy as np
from clay import Clay, frame
from surfaces import spline, unit

STEPS = 26


class Grip:
    """The bar that a hand holds: `centre` on it, `axis` along it, `start` the side from which the hand comes."""

    def __init__(self, centre, axis, start):
        self.centre = np.asarray(centre, float)
        self.rows = frame(axis, start)

    def at(self, turn, radius, rise):
        """The place at an angle about the bar from `start`, at a radius, `rise` along the bar."""
        across = np.cos(turn) * self.rows[0] + np.sin(turn) * self.rows[1]
        return self.centre + radius * across + rise * self.rows[2]


def _feather(clay, grip, turns, radii, rises, half, *, thick=0.1):
    """A feather wrapped about the bar: flat across, with a quill; `half` are half widths along it.

    It's never thinner than `thick` twice over, its tip neither, so that it casts.
    """
    course = spline(np.column_stack([turns, radii, rises]), STEPS)
    path = np.array([grip.at(*place) for place in course])
    width = np.interp(np.linspace(0, 1, STEPS), np.linspace(0, 1, len(half)), half)
    for k in range(STEPS - 1):
        here = 0.5 * (path[k] + path[k + 1])
        along = here - grip.centre
        out = unit(along - grip.rows[2] * (along @ grip.rows[2]))
        flat = min(1.0, thick / width[k])
        clay.cone(path[k], path[k + 1], width[k], width[k + 1], flat=flat, across=out)
    lift = 0.8 * thick
    for k in range(STEPS - 4):
        out = [
            unit(p - grip.centre - grip.rows[2] * ((p - grip.centre) @ grip.rows[2])) for p in path[k : k + 2]
        ]
        clay.cone(path[k] + lift * out[0], path[k + 1] + lift * out[1], 0.065, 0.065)


def hand(elbow, wrist, grip, *, bar, reach, sense=1.0, spacing=0.44, width=0.25, droop=0.0, thumb=2.5):
    """The clay of a hand that comes from `wrist` and closes about a bar of radius `bar`.

    Three finger feathers run round it by `reach` radians in `sense`, `spacing` apart; their tips spring clear; `thumb` is how far the thumb
    feather reaches round the other way.
    """
    clay = Clay()
    lie = unit(wrist - elbow)
    palm = grip.at(0.0, bar + 0.2, 0.0)
    clay.limb([wrist - 0.5 * lie, wrist, palm], [0.27, 0.25, 0.27], steps=6)
    clay.ball(palm, (0.2, 0.3, 1.35 * spacing), axis=grip.rows[2], across=grip.rows[0], blend=0.12)
    snug = bar + 0.07
    for k, rise in enumerate((spacing, 0.0, -spacing)):
        long = reach * (1.0, 1.06, 0.94)[k]
        turns = sense * np.array([-0.25, 0.12, 0.36, 0.62, 0.86, 1.0]) * long
        radii = snug + np.array([0.16, 0.08, 0.02, 0.02, 0.1, 0.3])
        rises = rise + (droop + 0.05 * (1 - k)) * np.linspace(0.0, 1.0, 6) ** 2
        half = width * np.array([0.8, 0.95, 1.0, 0.95, 0.8, 0.45])
        _feather(clay, grip, turns, radii, rises, half)
    turns = -sense * thumb * np.array([-0.12, 0.2, 0.48, 0.76, 1.0])
    radii = snug + np.array([0.2, 0.16, 0.13, 0.16, 0.32])
    rises = spacing * np.array([0.7, 0.85, 0.75, 0.6, 0.5])
    _feather(
        clay, grip, turns, radii, rises, 0.8 * width * np.array([0.9, 1.0, 0.95, 0.75, 0.42]), thick=0.095
    )
    return clay
