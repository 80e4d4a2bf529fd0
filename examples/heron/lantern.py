"""The lantern and the pole."""

import numpy as np
from clay import Clay
from pose import HANDLE_RISE, HANDLE_WAY, LANTERN_TOP, POLE_RADIUS, pole_at
from scipy.ndimage import gaussian_filter1d
from surfaces import bead, joined, lathe, round_ends, spline, tube, unit


def _round_path(centre, radius, count=64, axis_x=(1, 0, 0), axis_y=(0, 1, 0)):
    turn = np.linspace(0, 2 * np.pi, count)
    return np.asarray(centre) + radius * (
        np.cos(turn)[:, None] * np.asarray(axis_x, float) + np.sin(turn)[:, None] * np.asarray(axis_y, float)
    )


def pole(fineness):
    """A crooked ash pole with knots, an iron shoe and a cord binding under the hand."""
    heights = np.linspace(0.3, 17.2, int(520 * fineness))
    path = np.array([pole_at(h) for h in heights])
    path[:, 0] += 0.05 * np.sin(1.1 * heights) + 0.03 * np.sin(2.7 * heights + 1)
    path[:, 1] += 0.05 * np.sin(0.9 * heights + 2)
    radius = POLE_RADIUS * (1.0 + 0.04 * np.sin(2.3 * heights))
    for knot in (3.1, 6.4, 8.2, 12.9, 15.1):
        radius = radius + 0.07 * np.exp(-(((heights - knot) / 0.16) ** 2))
    radius[heights > 16.7] *= 1.1
    radius = gaussian_filter1d(radius, 0.1 * len(heights) / 16.9)
    path, radius = round_ends(path, radius)
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    bark = 1.0 + 0.05 * np.sin(7 * turn) + 0.03 * np.sin(11 * turn + 1)
    shaft = tube(path, radius, shape=np.stack([bark * np.cos(turn), bark * np.sin(turn)], 1), twist=0.25)
    meshes = [shaft]
    for low, turns in ((7.6, 5), (14.6, 4)):
        a = np.linspace(0, 2 * np.pi * turns, 40 * turns)
        middle = np.array([pole_at(low + 0.17 * t / (2 * np.pi)) for t in a])
        coil = middle + 0.29 * np.stack([np.cos(a), np.sin(a), 0 * a], 1)
        meshes.append(tube(coil, 0.1, sides=10))
    return joined(meshes)


def lantern_frame(fineness):
    """Foot, six bars with a hoop, and the shoulder ring of the lantern."""
    base = LANTERN_TOP - (0, 0, 2.75)
    sides = int(96 * fineness) + 24
    foot = [
        (0.5, -0.3),
        (0.66, -0.3),
        (0.7, -0.2),
        (0.58, -0.14),
        (0.6, -0.1),
        (0.8, -0.06),
        (0.82, 0.08),
        (0.74, 0.14),
        (0.62, 0.16),
        (0.6, 0.24),
    ]
    meshes = [lathe(foot, base, sides=sides)]
    crown = [(0.58, 1.8), (0.66, 1.8), (0.76, 1.88), (0.8, 1.98), (0.76, 2.06), (0.6, 2.08)]
    meshes.append(lathe(crown, base, sides=sides))
    meshes.append(
        tube(_round_path((base + np.array([0, 0, 1.05])), 0.71, sides)[:-1], 0.085, sides=12, loop=True)
    )
    for k in range(6):
        a = 2 * np.pi * (k + 0.3) / 6
        way = np.array([np.cos(a), np.sin(a), 0.0])
        bar = spline(
            [base + 0.64 * way, base + 0.74 * way + (0, 0, 1.0), base + 0.66 * way + (0, 0, 1.95)], 30
        )
        meshes.append(tube(bar, 0.115, sides=14))
        meshes.append(bead(base + 0.78 * way + (0, 0, 1.05), 0.12))
    return joined(meshes)


def lantern_cap(fineness):
    """The cap: a scalloped roof with ribs and a chimney."""
    top = LANTERN_TOP
    roof = [
        (0.6, -0.86),
        (0.98, -0.84),
        (1.0, -0.74),
        (0.86, -0.64),
        (0.62, -0.5),
        (0.47, -0.34),
        (0.4, -0.22),
    ]
    meshes = [lathe(roof, top, sides=int(140 * fineness) + 24, scallop=-0.07)]
    chimney = [
        (0.36, -0.34),
        (0.36, -0.16),
        (0.45, -0.12),
        (0.45, -0.04),
        (0.3, 0.02),
        (0.17, 0.06),
        (0.15, 0.14),
    ]
    meshes.append(lathe(chimney, top, sides=int(60 * fineness) + 20))
    for k in range(8):
        a = 2 * np.pi * k / 8
        way = np.array([np.cos(a), np.sin(a), 0.0])
        rib = spline(
            [top - (0, 0, 0.3) + 0.4 * way, top - (0, 0, 0.52) + 0.62 * way, top - (0, 0, 0.78) + 0.98 * way],
            16,
        )
        meshes.append(tube(rib, np.linspace(0.06, 0.085, 16), sides=10))
    return joined(meshes)


def lantern_ring(fineness):
    """The handle: a wire arch hinged at the cap's shoulders, with a turned grip under the fingers."""
    way = unit(HANDLE_WAY)
    arch = np.array(
        [
            (-0.84, -0.62),
            (-0.88, 0.0),
            (-0.82, 0.62),
            (-0.6, HANDLE_RISE - 0.12),
            (0.0, HANDLE_RISE),
            (0.6, HANDLE_RISE - 0.12),
            (0.82, 0.62),
            (0.88, 0.0),
            (0.84, -0.62),
        ]
    )
    path = spline(
        LANTERN_TOP + arch[:, :1] * way + arch[:, 1:] * np.array([0, 0, 1.0]), int(90 * fineness) + 30
    )
    meshes = [tube(path, 0.115, sides=16)]
    for s in (-1.0, 1.0):
        meshes.append(bead(LANTERN_TOP + 0.84 * s * way - (0, 0, 0.62), 0.19))
    return joined(meshes)


def lantern_candle(pitch):
    """A dripping candle with its flame."""
    clay = Clay()
    base = LANTERN_TOP - (0, 0, 2.65)
    clay.drum((base + np.array([0, 0, 0.5])), 0.32, 0.27, 0.5, rounding=0.06)
    rng = np.random.default_rng(613)
    for a in np.linspace(0, 2 * np.pi, 7, endpoint=False):
        way = 0.29 * np.array([np.cos(a), np.sin(a), 0])
        clay.limb(
            [base + way + (0, 0, 0.95), base + way + (0, 0, 0.95 - rng.uniform(0.2, 0.7))],
            [0.05, 0.085],
            steps=3,
            blend=0.07,
        )
    clay.limb(
        [
            (base + np.array([0, 0, 1.0])),
            (base + np.array([0.03, 0, 1.25])),
            (base + np.array([-0.03, 0, 1.72])),
        ],
        [0.1, 0.17, 0.04],
        steps=6,
        blend=0.05,
    )
    return clay.mesh(pitch)
