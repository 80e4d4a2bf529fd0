"""The heron's hands: three long fingers and a thumb, bony and scaled, bent about what they hold."""

import numpy as np
from clay import Clay, frame
from surfaces import unit


def _bone(clay, start, end, thick):
    """A shaft slimmer in its middle than at its ends."""
    middle = 0.5 * (start + end)
    clay.cone(start, middle, 1.02 * thick, 0.8 * thick, blend=0.03)
    clay.cone(middle, end, 0.8 * thick, 0.98 * thick, blend=0.03)
    for share in (0.26, 0.42, 0.58, 0.74):  # scutes: rings round the shaft
        clay.ball(
            start + share * (end - start), thick * np.array([1.0, 1.0, 0.36]), axis=end - start, blend=0.01
        )


def _finger(clay, joints, claw, thick):
    """Bones through `joints` with knuckles between them, and a hooked claw through the two places of `claw`."""
    slim = thick * np.linspace(1.0, 0.86, len(joints))
    for k in range(len(joints) - 1):
        _bone(clay, joints[k], joints[k + 1], slim[k])
    for k in range(len(joints) - 1):
        clay.ball(joints[k], 1.3 * slim[k], blend=0.04)
    clay.ball(joints[-1], 1.08 * slim[-1], blend=0.03)
    clay.limb([joints[-1], *claw], [0.85 * slim[-1], 0.62 * slim[-1], 0.03], steps=5, blend=0.01)


class Grip:
    """The bar that a hand holds: `centre` on it, `axis` along it, `start` the side from which the hand comes."""

    def __init__(self, centre, axis, start):
        self.centre = np.asarray(centre, float)
        self.rows = frame(axis, start)

    def at(self, turn, radius, rise):
        """The place at an angle about the bar from `start`, at a radius, `rise` along the bar."""
        across = np.cos(turn) * self.rows[0] + np.sin(turn) * self.rows[1]
        return self.centre + radius * across + rise * self.rows[2]

    def finger(self, turns, radii, rise, drift):
        """Joints and claw of a finger: the last two of `turns` and `radii` are the claw's."""
        shares = np.linspace(0.0, 1.0, len(turns))
        places = [self.at(a, r, rise + drift * t) for a, r, t in zip(turns, radii, shares, strict=True)]
        return places[:-2], places[-2:]


def hand(elbow, wrist, grip, *, turns, radii, spacing, thumb_turns, thumb_radii, thumb_rise, thick, lean=0.0):
    """The clay of a hand that comes from `wrist` and closes about `grip`.

    `turns` and `radii` run from the knuckles at the hand's back to the claw's tip; the fingers lie `spacing`
    apart along the bar; `lean` shifts them all along it toward their tips.
    """
    clay = Clay()
    lie = unit(wrist - elbow)
    carpus = wrist + 0.16 * unit(grip.at(0.0, 0.5, 0.0) - wrist)
    clay.limb([wrist - 0.55 * lie, wrist - 0.1 * lie, carpus], [0.22, 0.185, 0.2], steps=6)
    clay.ball(carpus, 0.235, blend=0.05)
    knuckles = []
    for k, rise in enumerate((spacing, 0.0, -spacing)):
        joints, claw = grip.finger(turns + 0.06 * (1 - k), radii, rise, lean + 0.05 * (k - 1))
        root = carpus + 0.1 * (1 - k) * grip.rows[2]
        # bones of the hand's back: they stand out of it as tendons do
        clay.limb([root, 0.5 * (root + joints[0]), joints[0]], [0.13, 0.1, 0.13], steps=4, blend=0.02)
        knuckles.append(joints[0])
        _finger(clay, joints, claw, thick * (1.0, 1.04, 0.94)[k])
    palm = 0.55 * np.mean(knuckles, axis=0) + 0.45 * carpus
    sunk = palm - 0.1 * unit(np.mean(knuckles, axis=0) - grip.centre)
    clay.ball(sunk, (0.13, 0.8 * spacing, 0.3), axis=palm - carpus, across=palm - grip.centre, blend=0.04)
    joints, claw = grip.finger(thumb_turns, thumb_radii, thumb_rise, 0.1)
    _finger(clay, [carpus, *joints], claw, 1.06 * thick)
    clay.grain(3, 0.016, (1.0, 1.0, 0.13), centre=0.5 * (wrist + carpus), reach=0.7, axis=lie)
    return clay
