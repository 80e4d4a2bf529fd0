"""The small double-ended punt that he stands in."""

import numpy as np
from clay import Clay
from pose import DECK, boat_turned
from surfaces import bead, joined, round_ends, slab, spline, tube

HALF_LENGTH = 4.35


def _width(s):
    return 1.95 * np.clip(1.0 - np.abs(s) ** 2.6, 0.0, 1.0) ** 0.75 + 0.05


def _sheer(s):
    return 1.66 + np.where(s < 0, 1.5, 1.0) * s**2


def _keel(s):
    return 0.42 + 1.2 * np.abs(s) ** 3


def _hull_point(s, side, rise, out):
    """A point of the hull: `rise` 0 at the chine, 1 at the gunwale."""
    half = _width(s) * (0.7 + 0.3 * rise**0.8) + out
    return np.stack([side * half + 0.05 * s, HALF_LENGTH * s, _keel(s) + rise * (_sheer(s) - _keel(s))], -1)


def punt_hull(fineness):
    """Three lapped strakes a side, bottom boards, stems, gunwales and ribs."""
    meshes = []
    n = int(150 * fineness) + 30
    s = np.linspace(-0.985, 0.985, n)
    for side in (-1.0, 1.0):
        for k in range(3):
            low, high = k / 3.0 - 0.04, (k + 1) / 3.0 + 0.02
            rise = np.linspace(max(low, 0.0), high, 14)
            gs, gr = np.meshgrid(s, rise, indexing="ij")
            lap = 0.16 - 0.13 * (gr - low) / (high - low)
            grain = 0.014 * np.sin(60 * gr + 3 * np.sin(7 * gs + k) + 2 * np.sin(17 * gs + side))
            meshes.append(slab(_hull_point(gs, side, gr, lap + grain), _hull_point(gs, side, gr, -0.12)))
        rail = _hull_point(s, side, np.ones(n), 0.02)
        meshes.append(
            tube(
                rail,
                0.17,
                shape=np.array(
                    [[np.cos(a), 1.1 * np.sin(a)] for a in np.linspace(0, 2 * np.pi, 14, endpoint=False)]
                ),
            )
        )
        for place in np.linspace(-0.75, 0.75, 7):
            rib = _hull_point(np.full(12, place), side, np.linspace(0.0, 0.95, 12), -0.14)
            meshes.append(tube(rib, 0.13, sides=10))
    gs, gx = np.meshgrid(s, np.linspace(-1, 1, 24), indexing="ij")
    floor = np.stack([gx * _width(gs) * 0.72 + 0.05 * gs, HALF_LENGTH * gs, _keel(gs) + 0.12], -1)
    meshes.append(slab(floor, floor - (0, 0, 0.2)))
    for sign, prow in ((-1.0, 1.25), (1.0, 0.65)):
        y = sign * HALF_LENGTH
        stem = spline(
            [
                (0.04 * sign, 0.8 * y, 0.5),
                (0.05 * sign, 0.95 * y, 1.35),
                (0.05 * sign, 1.0 * y, 2.4 + 0.3 * prow),
                (0.05 * sign, 1.02 * y, 2.9 + 0.9 * prow),
                (0.05 * sign, 0.95 * y, 3.3 + 1.0 * prow),
                (0.05 * sign, 0.87 * y, 3.15 + 0.95 * prow),
            ],
            int(150 * fineness) + 40,
        )
        radius = np.interp(np.linspace(0, 1, len(stem)), [0, 0.5, 0.8, 1], [0.24, 0.26, 0.21, 0.2])
        meshes.append(tube(*round_ends(stem, radius), sides=28, hint=(1, 0, 0)))
        meshes.append(bead(stem[-1], 0.27, sides=32))
    points, triangles = joined(meshes)
    return boat_turned(points), triangles


def punt_planks(pitch):
    """The deck that he stands on: worn boards with gaps, nails and grain."""
    clay = Clay()
    rng = np.random.default_rng(4211)
    for k, x in enumerate((-1.18, -0.6, 0.0, 0.6, 1.18)):
        half = 3.25 - 0.75 * abs(x) + rng.uniform(-0.2, 0.2)
        tilt = rng.normal(0, 0.015)
        clay.box(
            (x, rng.uniform(-0.15, 0.15), DECK - 0.12 + rng.uniform(-0.03, 0.03)),
            (0.265, half, 0.13),
            rounding=0.05,
            axis=(tilt, 0.0, 1),
        )
        for y in (-0.8 * half, 0.75 * half):
            clay.ball((x + 0.1 * (-1) ** k, y, DECK + 0.01), (0.08, 0.08, 0.05))
    for y in (-2.4, 2.3):
        clay.box((0.0, y, DECK - 0.32), (1.45, 0.16, 0.14), rounding=0.04)
    clay.grain(1, 0.045, (0.13, 0.13, 1.5), axis=(0, 1, 0), sharp=5)
    points, triangles = clay.mesh(pitch)
    return boat_turned(points), triangles
