"""What he wears: rope belt, straps, a coil of rope, pouch and clasp."""

import numpy as np
from basket import BASKET, BASKET_AXIS, basket_frame
from body import torso_clay
from clay import CARVE, Clay
from surfaces import ROPE, joined, spline, tube, unit


def belt_rope(fineness):
    """The rope belt: once round the hips, crossed through itself in front, two ends hanging."""
    waist = np.array([0.1, -0.05, 8.05])
    path = spline(
        waist
        + np.array(
            [
                (-0.5, -1.95, -2.1),
                (-0.48, -1.85, -1.0),
                (-0.3, -1.62, -0.2),
                (0.5, -1.42, -0.02),
                (1.2, -0.3, 0.08),
                (0.75, 0.95, 0.12),
                (-0.3, 1.18, 0.05),
                (-1.1, 0.5, -0.05),
                (-1.08, -0.8, -0.08),
                (-0.6, -1.42, -0.1),
                (-0.1, -1.72, -0.2),
                (0.0, -1.88, -1.1),
                (0.12, -2.0, -2.5),
            ]
        ),
        int(700 * fineness) + 100,
    )
    meshes = [tube(path, 0.18, shape=ROPE, twist=6.0)]
    knot = spline(
        waist
        + np.array(
            [
                (-0.66, -1.62, -0.02),
                (-0.35, -1.96, -0.12),
                (0.0, -1.85, -0.32),
                (-0.3, -1.65, -0.45),
                (-0.64, -1.75, -0.32),
                (-0.4, -1.98, -0.05),
                (-0.05, -1.8, 0.0),
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
    a = np.linspace(0, 2 * np.pi, 36, endpoint=False)
    c, s = np.sign(np.cos(a)) * np.abs(np.cos(a)) ** 0.45, np.sign(np.sin(a)) * np.abs(np.sin(a)) ** 0.6
    edge = 1.0 + 0.45 * np.exp(-(((np.abs(s) - 0.82) / 0.12) ** 2))
    section = np.stack([thick * c * edge, width * s], 1)
    return tube(path, 1.0, shape=section, hint=(0, 0, 1) if facing is None else facing[0], along_hint=facing)


def strap(fineness):
    """The chest strap with its buckle, and the two shoulder straps of the basket."""
    body = torso_clay()
    meshes = []
    rough = spline(
        [
            (-1.35, -0.2, 12.1),
            (-1.35, -0.8, 11.8),
            (-0.95, -1.7, 10.9),
            (0.0, -1.9, 9.9),
            (0.85, -1.5, 9.1),
            (1.5, -0.5, 8.6),
            (1.6, 0.6, 8.5),
        ],
        60,
    )
    skin, normals = body.settle(rough, 14)
    path = spline(skin + 0.24 * normals, int(260 * fineness) + 60)
    facing = unit(spline(normals, len(path)))
    meshes.append(_band(path, 0.3, 0.12, facing))
    k = int(0.47 * len(path))
    way, out = unit(path[k + 2] - path[k - 2]), facing[k]
    across = np.cross(out, way)
    corners = [
        path[k] + 0.12 * out + x * 0.3 * way + y * 0.4 * across
        for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))
    ]
    frame = np.concatenate([np.linspace(corners[i], corners[i + 1], 12, endpoint=False) for i in range(4)])
    meshes.append(tube(frame, 0.085, sides=10, hint=out, loop=True))
    meshes.append(
        tube(
            spline([path[k] + 0.14 * out - 0.25 * way, path[k] + 0.18 * out + 0.3 * way], 12), 0.07, sides=10
        )
    )
    side, back = basket_frame()
    for s in (-1.0, 1.0):
        rim = BASKET + 1.55 * BASKET_AXIS + 0.75 * s * side - 0.95 * back
        low = BASKET - 1.2 * BASKET_AXIS + 0.7 * s * side - 0.6 * back
        meshes.append(
            tube(
                spline(
                    [
                        (rim + np.array([0.9 * s * -0.1, -0.75, 1.3])),
                        (rim + np.array([0.0, -0.2, 0.55])),
                        rim,
                        BASKET + 0.2 * BASKET_AXIS + 0.95 * s * side + 0.1 * back,
                        low,
                    ],
                    60,
                ),
                0.16,
                shape=ROPE,
                twist=6.0,
            )
        )
    return joined(meshes)


def rope_coil(fineness):
    """A coil of mooring rope that hangs on the cloak at his right: five loops, a binding, a loose end."""
    centre = np.array([-1.95, 1.98, 8.75])
    out = unit(np.array([-0.28, 1.0, 0.22]))
    side = unit(np.cross((0, 0, 1.0), out))
    up = np.cross(out, side)
    turns = 4.6
    a = np.linspace(-0.5 * np.pi, 2 * np.pi * turns - 0.5 * np.pi, int(520 * fineness) + 160)
    loop = a / (2 * np.pi)
    wide, tall = 0.52 + 0.05 * np.sin(1.7 * loop), 1.05 + 0.12 * np.sin(2.1 * loop)
    turn = 0.16 * (loop - 2.0) + 0.08 * np.sin(2.9 * loop)
    x, y = wide * np.cos(a), tall * (np.sin(a) - 1.0)
    x, y = np.cos(turn) * x - np.sin(turn) * y, np.sin(turn) * x + np.cos(turn) * y + 0.95
    depth = 0.02 + 0.08 * loop - 0.12 * np.abs(np.cos(a))
    path = centre + x[:, None] * side + y[:, None] * up + depth[:, None] * out
    end = centre + np.array([[0.75, -1.0, 0.1], [0.55, -1.6, 0.12], [0.45, -2.0, 0.25]]) @ np.stack(
        [side, up, out]
    )
    path = spline(np.concatenate([path[::3], end[1:]]), int(1.6 * len(path)))
    meshes = [tube(path, 0.155, shape=ROPE, twist=7.0)]
    a = np.linspace(0, 2 * np.pi * 3.5, 120)
    top = centre + 0.95 * up + 0.05 * out
    meshes.append(
        tube(
            top
            + (0.36 * np.cos(a))[:, None] * out
            + (0.42 * np.sin(a))[:, None] * up * 0.8
            + (0.28 * (a / a[-1] - 0.5))[:, None] * 2 * side * 0.9,
            0.11,
            sides=12,
        )
    )
    hang = spline(
        [top + 0.2 * up, top + 0.9 * up - 0.02 * out, top + 1.9 * up + 0.35 * side - 0.12 * out], 40
    )
    meshes.append(tube(hang, 0.14, shape=ROPE, twist=7.0))
    return joined(meshes)


def brooch(pitch):
    """The clasp that closes the hood under the bill: a ring with a leaf pin and two beads."""
    clay = Clay()
    centre = np.array([-0.1, -1.86, 11.72])
    out = unit(np.array([-0.05, -1.0, 0.12]))
    clay.ring(centre, 0.3, 0.1, axis=out)
    clay.ball(centre, (0.3, 0.3, 0.12), axis=out)
    clay.ball(centre + 0.1 * out, (0.15, 0.15, 0.14), axis=out, blend=0.02)
    clay.ball(centre - 0.4 * out, (0.17, 0.17, 0.6), axis=out, blend=0.02)  # a peg that reaches the breast
    for k in range(8):
        a = 2 * np.pi * k / 8
        clay.ball(
            centre + 0.3 * (np.cos(a) * np.array([1, 0, 0]) + np.sin(a) * np.array([0, 0, 1])) + 0.07 * out,
            0.09,
            blend=0.02,
        )
    return clay.mesh(pitch)


def pouch(pitch):
    """A leather pouch on the belt."""
    clay = Clay()
    clay.ball((-1.05, -0.75, 7.15), (0.5, 0.36, 0.62), axis=(0.15, -0.1, 1), across=(1, -1, 0))
    clay.ball((-1.08, -0.88, 7.42), (0.52, 0.36, 0.4), axis=(0.15, -0.1, 1), across=(1, -1, 0), blend=0.05)
    clay.limb(
        [(-1.45, -0.65, 7.25), (-1.15, -1.18, 7.1), (-0.7, -1.15, 7.25)],
        [0.05, 0.05, 0.05],
        op=CARVE,
        blend=0.04,
    )
    clay.ball((-1.2, -1.2, 7.22), 0.12, blend=0.03)
    clay.grain(0, 0.05, (0.2, 0.2, 0.2))
    return clay.mesh(pitch)
