"""The ground: a small double-ended punt on marsh water, with reeds and lily leaves."""

import numpy as np
from clay import Clay
from pose import DECK, WATER, boat_turned
from surfaces import blade, joined, slab, spline, tube

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
            int(90 * fineness) + 30,
        )
        radius = np.interp(np.linspace(0, 1, len(stem)), [0, 0.5, 0.8, 1], [0.24, 0.26, 0.22, 0.24])
        meshes.append(tube(stem, radius, sides=16, hint=(1, 0, 0)))
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


def base_marsh(pitch):
    """Marsh water with rings of ripples round the hull, mud, stones and lily leaves."""
    clay = Clay()
    clay.floor = 0.0
    clay.drum((0.0, 0.0, 0.5 * WATER - 0.2), 4.35, 4.2, 0.5 * WATER + 0.2, rounding=0.12)
    clay.shapes[0][10:13] *= 1 / 1.22
    clay.boxes[0] = np.array([(-4.4, -5.4, -0.05), (4.4, 5.4, WATER)])
    rng = np.random.default_rng(5323)
    for x, y, r, h in (
        (3.0, 2.8, 0.9, 0.4),
        (2.2, 3.7, 0.8, 0.35),
        (-2.9, -2.7, 0.55, 0.35),
        (-2.9, 2.9, 0.75, 0.35),
        (-4.05, -0.78, 0.72, 0.4),
    ):
        clay.ball((x, y, WATER - 0.1), (r, 0.8 * r, h), across=(1, 0.4 * x, 0), blend=0.25)
    stones = (
        (3.45, 1.9, 0.42),
        (3.75, 1.35, 0.26),
        (1.4, 4.35, 0.4),
        (-3.55, 2.1, 0.4),
        (-3.3, 1.55, 0.24),
        (-1.9, -3.95, 0.34),
        (-3.5, -2.1, 0.36),
        (-2.2, 3.8, 0.4),
        (2.9, 3.6, 0.34),
    )
    for x, y, r in stones:
        for _ in range(2):
            lean = rng.normal(0, 0.45, 3) + np.array([0, 0, 1])
            place = np.array([x, y, WATER - 0.02]) + 0.12 * r * rng.normal(0, 1, 3)
            clay.box(
                place,
                r * rng.uniform(0.6, 1.05, 3),
                rounding=0.09,
                axis=lean,
                across=rng.normal(0, 1, 3),
                blend=0.03,
            )
    clay.grain(2, 0.1, (0.62, 1.0, 1.0))
    clay.grain(0, 0.03, (0.9, 0.9, 0.9))
    points, triangles = clay.mesh(pitch)
    return boat_turned(points), triangles


def _lily(x, y, radius, notch, rng):
    """A lily leaf: a thick wavy disc with a notch and raised rim."""
    turn = np.linspace(notch + 0.28, notch + 2 * np.pi - 0.28, 44)
    out = np.linspace(0.04, 1.0, 12)
    a, r = np.meshgrid(turn, out, indexing="ij")
    wave = 0.04 * np.sin(3 * a + rng.uniform(0, 6)) * r**2 + 0.08 * r**6
    top = np.stack([x + radius * r * np.cos(a), y + radius * r * np.sin(a), WATER + 0.14 + wave], -1)
    return slab(top, top - (0, 0, 0.24))


def reeds(fineness):
    """Bulrushes and leaves growing from the mud behind the boat."""
    rng = np.random.default_rng(2741)
    meshes = []
    for x, y, count in ((3.0, 2.8, 9), (2.2, 3.7, 7), (-2.9, 2.9, 5), (-2.9, -2.7, 4)):
        for k in range(count):
            foot = np.array([x + rng.normal(0, 0.35), y + rng.normal(0, 0.3), WATER - 0.1])
            foot[:2] /= max(1.0, np.hypot(foot[0] / 3.95, foot[1] / 4.85))
            lean = np.array([0.06 * x + rng.normal(0, 0.14), 0.05 * y + rng.normal(0, 0.12), 1.0])
            long = rng.uniform(2.2, 4.6) if y > 0 else rng.uniform(1.2, 2.4)
            if k % 3 == 0:
                path = spline(
                    [foot, foot + 0.5 * long * lean + rng.normal(0, 0.08, 3), foot + long * lean],
                    int(60 * fineness) + 40,
                )
                t = np.linspace(0, 1, len(path))
                radius = 0.13 - 0.03 * t + 0.15 * np.clip(1 - np.abs((t - 0.8) / 0.13) ** 6, 0, 1)
                meshes.append(tube(path, radius, sides=20))
            else:
                meshes.append(
                    blade(
                        foot,
                        lean,
                        (rng.normal(), rng.normal(), 0.1),
                        long,
                        0.5,
                        thick=0.24,
                        barbs=0.0,
                        veins=0.2,
                        bend=rng.normal(0, 0.4),
                        curl=rng.normal(0, 0.7),
                        point=0.9,
                        rows=int(50 * fineness) + 8,
                    )
                )
    for x, y, r, t in (
        (-2.9, -3.2, 0.6, 0.3),
        (-3.3, -0.9, 0.5, 2.0),
        (2.5, -3.1, 0.7, 4.0),
        (3.35, -1.9, 0.5, 1.0),
        (2.85, -2.2, 0.42, 5.5),
    ):
        meshes.append(_lily(x, y, r, t, rng))
    points, triangles = joined(meshes)
    return boat_turned(points), triangles
