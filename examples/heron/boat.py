"""The small double-ended punt that he stands in."""

import numpy as np
from clay import Clay
from pose import DECK, boat_turned
from surfaces import joined, round_ends, slab, spline, tube

HALF_LENGTH = 4.35


def _width(s):
    return 1.95 * np.clip(1.0 - np.abs(s) ** 2.6, 0.0, 1.0) ** 0.75 + 0.05


def _sheer(s):
    return 1.66 + np.where(s < 0, 1.5, 1.0) * s**2


def _keel(s):
    return 0.42 + 0.3 * np.abs(s) ** 3


def _rake(s, rise):
    """Places along the boat: the ends lean outward from the keel to the gunwale."""
    return HALF_LENGTH * s * (1.0 - 0.13 * s**4 * np.maximum(1.0 - rise, 0.0) ** 1.4)


def _hull_point(s, side, rise, out):
    """A point of the hull: `rise` 0 at the chine, 1 at the gunwale."""
    half = _width(s) * (0.7 + 0.3 * rise**0.8) + out
    return np.stack([side * half + 0.05 * s, _rake(s, rise), _keel(s) + rise * (_sheer(s) - _keel(s))], -1)


SQUARE = np.array(
    [
        (np.sign(np.cos(a)) * abs(np.cos(a)) ** 0.45, np.sign(np.sin(a)) * abs(np.sin(a)) ** 0.45)
        for a in np.linspace(0.0, 2.0 * np.pi, 32, endpoint=False)
    ]
)
"""A squared section with broken edges."""


def _post(sign, tall, count):
    """A stem: a squared post that takes the ends of all strakes, tapers above them and leans back at its head."""
    rise = np.linspace(-0.1, 1.0, 8)
    end = np.stack(
        [
            np.full(8, 0.05 * sign),
            sign * (np.abs(_rake(sign, np.maximum(rise, 0.0))) - 0.1),
            _keel(sign) + rise * (_sheer(sign) - _keel(sign)),
        ],
        1,
    )
    head = end[-1] + np.array([(0.0, 0.1 * sign, 0.4), (0.0, 0.06 * sign, 0.75), (0.0, -0.1 * sign, 1.1)]) * (
        1.0,
        tall,
        tall,
    )
    path = spline(np.concatenate([end, head]), count)
    over = np.clip((path[:, 2] - end[-1, 2]) / (head[-1, 2] - end[-1, 2]), 0.0, 1.0)
    path, radius = round_ends(path, 0.27 - 0.1 * over, 5)
    return tube(path, radius, shape=SQUARE * (0.95, 1.15), hint=(1, 0, 0))


def _end_deck(sign, count):
    """The short deck between the gunwales before a stem."""
    gs, gx = np.meshgrid(np.linspace(0.8, 0.99, count) * sign, np.linspace(-1, 1, 16), indexing="ij")
    half = _width(gs) - 0.02
    top = np.stack(
        [gx * half + 0.05 * gs, _rake(gs, 1.0), _sheer(gs) - 0.02 + 0.1 * (1.0 - gx**2) * half], -1
    )
    return slab(top, top - (0, 0, 0.24))


def _strakes(side, s):
    """Three lapped boards with grain; toward the stems the laps run out."""
    meshes = []
    for k in range(3):
        low, high = max(k / 3.0 - 0.04, 0.0), (k + 1) / 3.0 + 0.02
        gs, gr = np.meshgrid(s, np.linspace(low, high, 14), indexing="ij")
        fade = 0.3 + 0.7 * np.clip((1.0 - np.abs(gs)) / 0.12, 0.0, 1.0)
        lap = fade * (0.16 - 0.13 * (gr - low) / (high - low))
        grain = 0.014 * np.sin(60 * gr + 3 * np.sin(7 * gs + k) + 2 * np.sin(17 * gs + side))
        meshes.append(slab(_hull_point(gs, side, gr, lap + grain), _hull_point(gs, side, gr, -0.12)))
    return meshes


def punt_hull(fineness):
    """Three lapped strakes a side run into squared stems; bottom boards, keel, gunwales, ribs and end decks."""
    meshes = []
    n = int(150 * fineness) + 30
    s = np.sin(np.linspace(-0.5, 0.5, n) * np.pi)  # closer toward the ends, where the boards turn in
    oval = np.array([[np.cos(a), 1.1 * np.sin(a)] for a in np.linspace(0, 2 * np.pi, 14, endpoint=False)])
    for side in (-1.0, 1.0):
        meshes += _strakes(side, s)
        meshes.append(tube(_hull_point(0.99 * s, side, np.ones(n), 0.02), 0.17, shape=oval))
        for place in np.linspace(-0.75, 0.75, 7):
            rib = _hull_point(np.full(12, place), side, np.linspace(0.0, 0.95, 12), -0.14)
            meshes.append(tube(rib, 0.13, sides=10))
    gs, gx = np.meshgrid(0.985 * s, np.linspace(-1, 1, 24), indexing="ij")
    floor = np.stack([gx * _width(gs) * 0.72 + 0.05 * gs, _rake(gs, 0.0), _keel(gs) + 0.12], -1)
    meshes.append(slab(floor, floor - (0, 0, 0.2)))
    keel = np.stack([0.05 * s, _rake(s, 0.0), _keel(s)], -1)
    meshes.append(tube(keel, 0.18, shape=SQUARE, hint=(1, 0, 0)))
    for sign, tall in ((-1.0, 1.35), (1.0, 0.6)):
        meshes += [_post(sign, tall, int(150 * fineness) + 40), _end_deck(sign, int(30 * fineness) + 8)]
    points, triangles = joined(meshes)
    return boat_turned(points), triangles


def punt_planks(pitch):
    """The deck that he stands on: worn boards with gaps, nails and grain."""
    clay = Clay()
    rng = np.random.default_rng(4211)
    for k, x in enumerate((-1.18, -0.6, 0.0, 0.6, 1.18)):
        half = 3.25 - 1.05 * abs(x) + rng.uniform(-0.2, 0.2)
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
