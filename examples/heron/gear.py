"""What he wears: rope belt, straps, a coil of rope, pouch and clasp."""

import numpy as np
from basket import BASKET, BASKET_AXIS, basket_frame, basket_point
from body import torso_clay
from clay import Clay
from mantle import cloak_sheet, pleats
from scipy.ndimage import gaussian_filter, gaussian_filter1d
from surfaces import ROPE, joined, resampled, round_ends, sheet_normals, spline, tube, unit


def belt_rope(fineness):
    """The rope belt: once round the hips, crossed through itself in front, two ends hanging."""
    waist = np.array([0.1, -0.05, 8.05])
    path = spline(
        waist
        + np.array(
            [
                (-0.5, -2.3, -2.1),
                (-0.48, -2.28, -1.0),
                (-0.3, -1.98, -0.2),
                (0.5, -1.62, -0.02),
                (1.2, -0.3, 0.08),
                (0.75, 0.95, 0.12),
                (-0.3, 1.18, 0.05),
                (-1.1, 0.5, -0.05),
                (-1.08, -0.8, -0.08),
                (-0.6, -1.72, -0.1),
                (-0.1, -1.92, -0.2),
                (0.0, -2.16, -1.1),
                (0.12, -2.06, -2.5),
            ]
        ),
        int(700 * fineness) + 100,
    )
    meshes = [tube(path, 0.18, shape=ROPE, twist=6.0)]
    knot = spline(
        waist
        + np.array(
            [
                (-0.66, -1.92, -0.02),
                (-0.35, -2.26, -0.12),
                (0.0, -2.15, -0.32),
                (-0.3, -1.95, -0.45),
                (-0.64, -2.05, -0.32),
                (-0.4, -2.28, -0.05),
                (-0.05, -2.10, 0.0),
            ]
        ),
        int(160 * fineness) + 40,
    )
    meshes.append(tube(knot, 0.16, shape=ROPE, twist=6.0))
    for end in (path[0], path[-1]):
        meshes.append(
            tube(
                [(end + np.array([0, 0, 0.1])), end - (0, 0, 0.12), end - (0, 0, 0.4)],
                [0.24, 0.22, 0.26],
                sides=14,
            )
        )
    return joined(meshes)


def _band(path, width, thick, facing=None):
    """A flat leather band with raised edges along `path`; `facing` (n, 3) is the way out of the skin."""
    a = np.linspace(0, 2 * np.pi, 28, endpoint=False)
    c, s = np.sign(np.cos(a)) * np.abs(np.cos(a)) ** 0.45, np.sign(np.sin(a)) * np.abs(np.sin(a)) ** 0.6
    edge = 1.0 + 0.45 * np.exp(-(((np.abs(s) - 0.82) / 0.12) ** 2))
    section = np.stack([thick * c * edge, width * s], 1)
    return tube(path, 1.0, shape=section, hint=(0, 0, 1) if facing is None else facing[0], along_hint=facing)


def _buckle(place, way, out):
    """A square buckle of wire on a band, with its tongue."""
    across = np.cross(out, way)
    corners = [
        place + x * 0.3 * way + y * 0.44 * across for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))
    ]
    wire = np.concatenate([np.linspace(corners[i], corners[i + 1], 12, endpoint=False) for i in range(4)])
    tongue = spline([place - 0.3 * way, place + 0.05 * out, place + 0.36 * way], 12)
    return [tube(wire, 0.1, sides=10, hint=out, loop=True), tube(tongue, 0.085, sides=10)]


def _buckled(path, facing, fineness, at):
    """A band along a path with the ways out of the skin, and its buckle at a share of the way."""
    count = int(150 * fineness) + 50
    path, facing = spline(path, count), unit(spline(facing, count))
    k = int(at * count)
    way = unit(path[k + 2] - path[k - 2])
    out = unit(facing[k] - way * (facing[k] @ way))
    return [_band(path, 0.3, 0.13, facing), *_buckle(path[k] + 0.15 * out, way, out)]


BREAST_BANDS = (
    (
        (-1.15, -0.8, 12.2),
        (-1.25, -1.7, 11.4),
        (-1.4, -1.9, 10.5),
        (-1.55, -1.2, 9.6),
        (-1.6, -0.2, 9.0),
        (-1.3, 0.9, 8.7),
    ),
    (
        (0.55, -0.8, 12.0),
        (0.55, -1.7, 11.3),
        (0.75, -1.9, 10.4),
        (1.1, -1.3, 9.5),
        (1.4, -0.3, 8.9),
        (1.3, 0.9, 8.7),
    ),
)


def strap(solid, fineness):
    """The two leather bands that carry the basket: over the plumes before, over the cloak behind, round the basket."""
    meshes = []
    body = torso_clay()
    for places in BREAST_BANDS:
        skin, normals = body.settle(spline(places, 40), 14)
        away = np.interp(np.linspace(0, 1, 40), [0, 0.15, 0.6, 0.8, 1.0], [0.3, 0.56, 0.5, 0.3, 0.1])
        meshes += _buckled(skin + away[:, None] * normals, normals, fineness, 0.42)
    grid, down, across = cloak_sheet(solid, 120, 240, top=0.02, bottom=0.42)
    normals = sheet_normals(gaussian_filter(grid, (2.0, 2.0, 0.0), mode="nearest"))
    lift = np.interp(down, [0.0, 0.05, 0.12], [-0.3, 0.0, 0.22])  # under the hood it lies deep
    grid = grid + (pleats(down, across) + lift)[..., None] * normals
    for s in (-1.0, 1.0):
        rows = np.linspace(3.0, 72.0, 30)
        columns = 119.5 * (1.0 + s * np.interp(rows, [0, 50, 72], [0.36, 0.3, 0.28]))
        turn = 0.5 * np.pi - s * np.linspace(2.0, -0.12, 14)
        height = np.interp(s * (0.5 * np.pi - turn), [-0.12, 0.6, 1.3, 2.0], [0.82, 0.84, 0.95, 1.15])
        skin, facing = resampled(grid, rows, columns), resampled(normals, rows, columns)
        round_basket = basket_point(turn, height, 0.26 + np.zeros(14))
        away = round_basket - BASKET - ((round_basket - BASKET) @ BASKET_AXIS)[:, None] * BASKET_AXIS
        path = np.concatenate([skin[:22:4], round_basket[1:]])
        path = gaussian_filter1d(spline(path, 60), 3.0, axis=0, mode="nearest")
        band = _buckled(path, np.concatenate([unit(facing[:22:4]), unit(away[1:])]), fineness, 0.97)
        meshes += band if s > 0.0 else band[:1]
    return joined(meshes)


def rope_coil(fineness):
    """A coil of mooring rope hung from the basket's rim at his right: four loops and a binding."""
    side, back = basket_frame()
    out = unit(-0.8 * side + 0.6 * back)
    up = BASKET_AXIS
    across = np.cross(up, out)
    centre = BASKET + 0.1 * up + 1.42 * out
    turns = 4.0
    a = np.linspace(0.5 * np.pi, 2 * np.pi * turns + 0.5 * np.pi, int(520 * fineness) + 160)
    loop = a / (2 * np.pi)
    wide, tall = 0.62 + 0.06 * np.sin(1.7 * loop), 1.1 + 0.12 * np.sin(2.1 * loop)
    turn = 0.13 * np.sin(2.3 * loop)
    x, y = wide * np.cos(a), tall * (np.sin(a) - 1.0)
    x, y = np.cos(turn) * x - np.sin(turn) * y, np.sin(turn) * x + np.cos(turn) * y + 0.75
    depth = 0.04 + 0.1 * loop
    path = centre + x[:, None] * across + y[:, None] * up + depth[:, None] * out
    meshes = [tube(*round_ends(path, 0.15), shape=ROPE, twist=7.0)]
    a = np.linspace(0, 2 * np.pi * 3.5, 120)
    top = centre + 0.66 * up + 0.26 * out
    meshes.append(
        tube(
            top
            + (0.4 * np.cos(a))[:, None] * out
            + (0.32 * np.sin(a))[:, None] * across
            + (0.34 * (a / a[-1] - 0.5))[:, None] * up,
            0.11,
            sides=12,
        )
    )
    hang = spline(
        [
            top - 0.2 * up,
            top + 0.45 * up + 0.06 * out,
            top + 1.0 * up + 0.06 * out,
            top + 1.12 * up - 0.3 * out,
            top + 0.8 * up - 0.62 * out,
        ],
        50,
    )
    meshes.append(tube(hang, 0.15, shape=ROPE, twist=7.0))
    return joined(meshes)


def brooch(pitch):
    """The clasp that closes the hood under the bill: a smooth ring about a rosette."""
    clay = Clay()
    centre = np.array([-0.2, -1.98, 11.72])
    out = unit(np.array([-0.05, -1.0, 0.12]))
    clay.ring(centre, 0.34, 0.11, axis=out)
    clay.ball(centre, (0.3, 0.3, 0.12), axis=out)
    clay.ball(centre + 0.1 * out, (0.15, 0.15, 0.14), axis=out, blend=0.02)
    clay.ball(centre - 0.4 * out, (0.17, 0.17, 0.6), axis=out, blend=0.02)  # a peg that reaches the breast
    for k in range(8):
        a = 2 * np.pi * k / 8
        clay.ball(
            centre + 0.2 * (np.cos(a) * np.array([1, 0, 0]) + np.sin(a) * np.array([0, 0, 1])) + 0.07 * out,
            0.075,
            blend=0.02,
        )
    return clay.mesh(pitch)


def pouch(pitch):
    """A leather pouch on the belt at his left."""
    clay = Clay()
    tilt, across = np.array([-0.12, -0.08, 1.0]), np.array([1.0, 0.75, 0.0])
    place = np.array([1.52, -0.75, 7.3])
    out = unit(np.cross(across, (0, 0, 1.0)))
    clay.box(place, (0.46, 0.34, 0.52), rounding=0.26, axis=tilt, across=across)
    clay.box(place + 0.12 * out + (0, 0, 0.26), (0.5, 0.34, 0.32), rounding=0.16, axis=tilt, across=across)
    clay.box(place + 0.42 * out + (0, 0, 0.02), (0.11, 0.12, 0.3), rounding=0.05, axis=tilt, across=across)
    clay.limb(
        [place + 0.55 * out + s * 0.2 * unit(across) - (0, 0, 0.06) for s in (-1, 1)], [0.1, 0.1], steps=2
    )
    for s in (-0.55, 0.55):
        top = place + s * 0.5 * unit(across) + (0, 0, 0.45)
        clay.limb(
            [top + 0.2 * out, top + np.array([-0.02, 0.1, 0.5])], [0.16, 0.14], steps=3, flat=0.7, across=out
        )
    clay.grain(0, 0.03, (0.3, 0.3, 0.3))
    return clay.mesh(pitch)
