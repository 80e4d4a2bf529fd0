"""The heron's hands: a wing's end with three stout finger feathers and a thumb, bent about a bar."""

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


def _finger(clay, grip, turns, radii, rises, half, *, flat=0.82, blend=0.03):
    """A stout finger feather bent about the bar; `half` are half widths along it, `flat` its share of thickness."""
    course = spline(np.column_stack([turns, radii, rises]), STEPS)
    path = np.array([grip.at(*place) for place in course])
    width = np.interp(np.linspace(0, 1, STEPS), np.linspace(0, 1, len(half)), half)
    for k in range(STEPS - 1):
        along = 0.5 * (path[k] + path[k + 1]) - grip.centre
        out = unit(along - grip.rows[2] * (along @ grip.rows[2]))
        clay.cone(path[k], path[k + 1], width[k], width[k + 1], flat=flat, across=out, blend=blend)


def hand(elbow, wrist, grip, *, bar, reach, spacing=0.4, width=0.23, thumb=2.45, crossing=0.35):
    """The clay of a hand that comes from `wrist` and closes about a bar of radius `bar`.

    Three finger feathers, `spacing` apart, run round it by `reach` radians and press their tips on it; the thumb
    runs round the other way by `thumb` radians and closes over the first finger's tip, `crossing` down from its root.
    """
    clay = Clay()
    lie = unit(wrist - elbow)
    palm = grip.at(0.0, bar + 0.16, 0.0)
    clay.limb([wrist - 0.5 * lie, wrist, grip.at(0.0, bar + 0.3, -0.1)], [0.28, 0.29, 0.36], steps=6)
    clay.ball(palm, (0.32, 0.46, 1.7 * spacing), axis=grip.rows[2], across=grip.rows[0], blend=0.15)
    # knuckles stand off the bar, the bones between them and the tips are pressed on it
    snug = bar + 0.6 * width
    share = np.array([0.02, 0.17, 0.33, 0.5, 0.66, 0.84, 1.0])
    for k, rise in enumerate((spacing, 0.0, -spacing)):
        turns = reach * share * (0.96, 1.04, 0.97)[k]
        radii = snug + width * np.array([0.3, 0.15, 0.5, -0.1, 0.36, -0.15, -0.4])
        half = width * np.array([1.0, 0.95, 1.1, 0.9, 1.0, 0.8, 0.55])
        _finger(clay, grip, turns, radii, rise + np.zeros(7), half)
    turns = -thumb * np.array([0.0, 0.25, 0.5, 0.78, 1.0])
    radii = snug + width * np.array([0.3, 0.2, 0.15, 0.3, 0.42])
    rises = spacing * (1.15 - crossing * np.array([0.0, 0.1, 0.25, 0.7, 1.0]))
    _finger(clay, grip, turns, radii, rises, width * np.array([1.1, 1.05, 1.1, 0.9, 0.62]), blend=0.06)
    return clay
