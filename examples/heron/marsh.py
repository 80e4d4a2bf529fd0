"""The ground: marsh water in a clean rim, with ripples, stones, lily leaves and reeds."""

from itertools import pairwise

import numpy as np
from boat import HALF_LENGTH
from pose import POLE, WATER, boat_turned
from scipy.spatial import ConvexHull
from surfaces import joined, outward, round_ends, slab, spline, tube, unit

HALF_AXES = np.array([4.75, 5.45])
"""The rim's half axes along x and y, in the boat's own frame."""
BANKS = (
    (3.2, 2.45, 0.62, 0.34),
    (2.15, 3.6, 0.6, 0.3),
    (-2.75, 2.75, 0.62, 0.32),
    (-2.75, -3.0, 0.6, 0.26),
)
STONES = (
    (3.6, 1.85, 0.42),
    (3.55, 1.15, 0.24),
    (2.6, 3.6, 0.4),
    (1.15, 4.5, 0.32),
    (-3.35, 2.2, 0.42),
    (-3.6, 1.55, 0.24),
    (-2.1, 3.9, 0.42),
    (-1.55, 4.4, 0.22),
    (-3.3, -2.4, 0.36),
    (-2.15, -3.75, 0.3),
    (-2.55, -2.35, 0.2),
)
LILIES = (
    (2.75, -2.45, 0.68, 4.0),
    (3.45, -1.3, 0.48, 1.0),
    (1.9, -3.75, 0.5, 5.4),
    (-3.15, -1.25, 0.5, 2.0),
    (3.62, -0.3, 0.32, 2.6),
)


def _ring_waves(distance, length, height, reach):
    """Waves that run out from where `distance` is zero and die away."""
    return height * np.cos(2.0 * np.pi * distance / length) * np.exp(-np.maximum(distance, 0.0) / reach)


def _water(x, y):
    """The height of water and mud."""
    foot = boat_turned_back(POLE[0])
    away = np.hypot(x - foot[0], y - foot[1]) - 0.26
    z = WATER + _ring_waves(away, 0.36, 0.07, 0.75)
    hull = 1.65 * (np.hypot(x / 1.75, y / HALF_LENGTH) - 1.0)
    z = z + _ring_waves(hull, 0.5, 0.055, 1.3)
    for sx, sy, r in STONES:
        z = z + _ring_waves(np.hypot(x - sx, y - sy) - r, 0.34, 0.04, 0.35)
    for bx, by, r, h in BANKS:
        far = np.hypot(x - bx, y - by) / r
        lumps = 0.06 * np.sin(7.0 * x + 2.0 * by) * np.sin(6.0 * y + bx)
        z = z + (h + lumps) * np.exp(-(far**4))
    return z


def boat_turned_back(point):
    """A point of the figure in the boat's own frame."""
    rows = boat_turned(np.eye(3))
    return rows @ np.asarray(point, float)


def _ground(pitch):
    """Water inside a bevelled rim on a flat underside: one closed turned oval."""
    sides = int(2.0 * np.pi * HALF_AXES.mean() / pitch)
    turn = np.linspace(0.0, 2.0 * np.pi, sides, endpoint=False)
    way = np.stack([np.cos(turn), np.sin(turn)], 1)
    edge = (
        (-0.12, 0.0), (-0.05, 0.0), (0.0, 0.05), (0.0, 0.42), (-0.02, 0.47), (-0.2, 0.78), (-0.23, 0.81),
        (-0.27, 0.82), (-0.4, 0.82), (-0.44, 0.81), (-0.46, 0.78), (-0.49, 0.6),
    )  # fmt: skip
    edge = np.array(edge)
    fine = [a + (b - a) * t for a, b in pairwise(edge) for t in (0.0, 0.34, 0.67)]
    rings = [np.column_stack([way * (HALF_AXES + inset), np.full(sides, z)]) for inset, z in fine]
    steps = int(HALF_AXES.mean() / pitch)
    inner = HALF_AXES - 0.49
    for share in np.linspace(1.0, 0.0, steps, endpoint=False):
        flat = way * inner * share
        z = _water(flat[:, 0], flat[:, 1])
        rings.append(np.column_stack([flat, np.minimum(z, 0.74 + 3.0 * (1.0 - share))]))
    points = np.concatenate([*rings, [[0.0, 0.0, WATER], [0.0, 0.0, 0.0]]])
    k = np.arange(sides)
    quads = []
    for row in range(len(rings) - 1):
        a, b = row * sides + k, row * sides + (k + 1) % sides
        quads += [np.stack([a, b, a + sides], 1), np.stack([b, b + sides, a + sides], 1)]
    last = (len(rings) - 1) * sides
    quads.append(np.stack([np.full(sides, len(points) - 2), last + k, last + (k + 1) % sides], 1))
    quads.append(np.stack([np.full(sides, len(points) - 1), (k + 1) % sides, k], 1))
    return outward(points, np.concatenate(quads).astype(np.int32))


def _split(points, triangles):
    """Each triangle as four, flat."""
    ends = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    edges, number = np.unique(np.sort(ends, axis=1), axis=0, return_inverse=True)
    middle = points[edges].mean(axis=1)
    ab, bc, ca = number.reshape(3, -1) + len(points)
    a, b, c = triangles.T
    four = [np.stack(t, 1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
    return np.concatenate([points, middle]), np.concatenate(four)


def _stone(x, y, radius, rng):
    """An angular stone: the hull of a few places, its faces kept flat."""
    places = unit(rng.normal(0, 1, (15, 3))) * rng.uniform(0.85, 1.1, (15, 1)) * (1.0, 0.85, 0.8)
    hull = ConvexHull(places)
    corners, triangles = places[hull.vertices], np.searchsorted(hull.vertices, hull.simplices)
    centre = corners.mean(axis=0)
    a, b, c = (corners[triangles[:, k]] for k in range(3))
    inward = np.einsum("ij,ij->i", np.cross(b - a, c - a), a - centre) < 0.0
    triangles = np.where(inward[:, None], triangles[:, ::-1], triangles)
    points = corners * radius + (x, y, WATER + 0.12 * radius)
    for _ in range(3):
        points, triangles = _split(points, triangles)
    return points, triangles.astype(np.int32)


def base_marsh(pitch):
    """Marsh water in an oval rim, with mud and stones."""
    rng = np.random.default_rng(5323)
    points, triangles = joined([_ground(pitch), *(_stone(*stone, rng) for stone in STONES)])
    return boat_turned(points), triangles


def _lily(x, y, radius, notch, rng):
    """A lily leaf: a disc with a notch, raised veins and a lifted edge."""
    turn = np.linspace(notch + 0.2, notch + 2 * np.pi - 0.2, 121)
    out = np.linspace(0.03, 1.0, 24)
    a, r = np.meshgrid(turn, out, indexing="ij")
    veins = 0.035 * np.exp(-((np.sin(5.5 * (a - notch)) / 0.2) ** 2)) * np.clip(4 * r, 0, 1) * (1.0 - 0.5 * r)
    wave = 0.03 * np.sin(3 * a + rng.uniform(0, 6)) * r**2 + 0.09 * r**10
    place = np.stack([x + radius * r * np.cos(a), y + radius * r * np.sin(a), WATER + 0.11 + wave], -1)
    under = place - (0, 0, 0.13)
    under[:, 0] -= (0, 0, 0.1)
    place[..., 2] += veins
    return slab(place, under)


KEEL = np.array(
    [
        (0.45, 0.0),
        (0.2, 0.25),
        (0.1, 0.62),
        (0.05, 1.0),
        (-0.12, 1.0),
        (-0.2, 0.6),
        (-0.32, 0.25),
        (-0.45, 0.0),
    ]
)
KEEL = np.concatenate([KEEL, (KEEL * (1, -1))[-2:0:-1]])


def _blade(path, half, facing, swell=0.25):
    """A leaf along `path` with a keel, drawn out to a point."""
    t = np.linspace(0.0, 1.0, len(path))
    width = half * (1.0 - swell + swell * np.sin(np.pi * np.minimum(t / 0.8, 0.5))) * (1.0 - t**2.2) ** 0.9
    width = np.maximum(width, 0.06)
    hint = np.broadcast_to(np.asarray(facing, float), path.shape)
    return tube(path, width, shape=KEEL, along_hint=hint)


def _bulrush(foot, lean, long, rng, fineness):
    """A stalk with a long seed head, three times as long as it is wide, and a spike above."""
    n = int(160 * fineness) + 60
    path = spline([foot, foot + 0.5 * long * lean + rng.normal(0, 0.07, 3), foot + long * lean], n)
    t = np.linspace(0, 1, n)
    head = np.clip(1.0 - (np.abs(t - 0.55) / 0.27) ** 6.0, 0.0, 1.0) ** 0.5
    radius = np.maximum(0.1 - 0.03 * t, 0.54 * long / 6.6 * head)
    return tube(*round_ends(path, radius), sides=22)


def reeds(fineness):
    """Bulrushes and leaves growing from the mud round the boat, and lily leaves on the water."""
    rng = np.random.default_rng(2741)
    meshes = []
    for (x, y, r, _), count in zip(BANKS, (6, 5, 5, 5), strict=True):
        for k in range(count):
            turn = 2.4 * k + x
            spread = r * np.sqrt((k + 0.5) / count) * 0.85
            foot = np.array([x + spread * np.cos(turn), y + spread * np.sin(turn), WATER - 0.1])
            out = np.array([np.cos(turn), np.sin(turn), 0.0])
            away = unit(np.array([x, y, 0.0]))
            tall = rng.uniform(1.5, 2.7) if y > 0 else rng.uniform(1.3, 2.2)
            if k % 3 == 0:
                stalk = (0, 0, 1.0) + 0.09 * out + 0.05 * away
                meshes.append(_bulrush(foot, stalk, np.clip(tall, 1.75, 1.9), rng, fineness))
                continue
            bow = rng.uniform(0.12, 0.4) * tall * unit(0.3 * out + 0.9 * away)
            path = spline(
                [foot, foot + (0, 0, 0.55 * tall) + 0.22 * bow, foot + bow + (0, 0, 0.95 * tall)],
                int(60 * fineness) + 16,
            )
            meshes.append(_blade(path, 0.2, unit(bow)))
    for x, y, r, notch in LILIES:
        meshes.append(_lily(x, y, r, notch, rng))
    points, triangles = joined(meshes)
    return boat_turned(points), triangles
