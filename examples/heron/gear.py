"""What he carries: pole, lantern, basket with the catch, belt and strap."""

import numpy as np
from body import torso_clay
from clay import CARVE, Clay
from pose import GRIP_HEIGHT, LANTERN_TOP, POLE_RADIUS, pole_at
from surfaces import ROPE, bead, blade, joined, lathe, spline, tube, unit


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
    radius[heights > 16.9] *= 1.06
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
    meshes.append(tube(_round_path(base + (0, 0, 1.05), 0.71, sides)[:-1], 0.085, sides=12, loop=True))
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
    """The ring that the hand holds."""
    centre = LANTERN_TOP + (0, 0, 0.36)
    return tube(
        _round_path(centre, 0.36, int(120 * fineness) + 24, (0.36, -0.93, 0), (0, 0, 1))[:-1],
        0.12,
        sides=16,
        loop=True,
    )


def lantern_candle(pitch):
    """A dripping candle with its flame."""
    clay = Clay()
    base = LANTERN_TOP - (0, 0, 2.65)
    clay.drum(base + (0, 0, 0.5), 0.32, 0.27, 0.5, rounding=0.06)
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
        [base + (0, 0, 1.0), base + (0.03, 0, 1.25), base + (-0.03, 0, 1.72)],
        [0.1, 0.17, 0.04],
        steps=6,
        blend=0.05,
    )
    return clay.mesh(pitch)


BASKET = np.array([0.3, 2.25, 8.9])
BASKET_AXIS = unit(np.array([0.14, 0.18, 1.0]))


def _basket_frame():
    side = unit(np.cross((0, 1.0, 0), BASKET_AXIS))
    return side, np.cross(BASKET_AXIS, side)


def _basket_radius(height):
    """Radius at a height of -1.7..1.7 over the middle."""
    t = (height + 1.7) / 3.4
    return 0.88 + 0.5 * t + 0.22 * np.sin(np.pi * t)


def _basket_point(turn, height, out=0.0):
    side, back = _basket_frame()
    radius = (_basket_radius(height) + out)[:, None]
    return (
        BASKET
        + height[:, None] * BASKET_AXIS
        + radius * (1.08 * np.cos(turn)[:, None] * side + 0.86 * np.sin(turn)[:, None] * back)
    )


def basket(fineness):
    """A wicker basket: one long weaver in and out of odd stakes, a plaited rim, a liner inside."""
    stakes, turns = 23, 15
    meshes = []
    for k in range(stakes):
        h = np.linspace(-1.72, 1.68, int(50 * fineness) + 8)
        meshes.append(tube(_basket_point(np.full(len(h), 2 * np.pi * k / stakes), h), 0.09, sides=8))
    turn = np.linspace(0, 2 * np.pi * turns, int(stakes * turns * 7 * fineness) + 400)
    height = -1.6 + 3.2 * turn / turn[-1]
    weaver = _basket_point(turn, height, 0.11 * np.sin(0.5 * stakes * turn))
    flat = np.array([[np.cos(a), 1.25 * np.sin(a)] for a in np.linspace(0, 2 * np.pi, 10, endpoint=False)])
    meshes.append(tube(weaver, 0.1, shape=flat))
    for level, width in ((1.72, 0.17), (1.5, 0.12), (-1.68, 0.15), (0.1, 0.13)):
        for phase in (0.0, np.pi):
            a = np.linspace(0, 2 * np.pi, int(480 * fineness) + 60)
            h = level + 0.55 * width * np.sin(16 * a + phase)
            meshes.append(
                tube(_basket_point(a, h, 0.12 + 0.5 * width * np.cos(16 * a + phase)), 0.72 * width, sides=9)
            )
    core = np.linspace(-1.6, 1.3, 40)
    liner = BASKET + core[:, None] * BASKET_AXIS
    side, _ = _basket_frame()
    turn = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    oval = np.stack([1.08 * np.cos(turn), 0.86 * np.sin(turn)], 1)
    meshes.append(tube(liner, _basket_radius(core) - 0.03, shape=oval, hint=side))
    return joined(meshes)


def _fish(root, way, back, long, *, bend):
    """A plump fish from nose to tail along `way`, its back toward `back`: body, fins, gills and eyes."""
    way = unit(way)
    back = unit(back - way * (back @ way))
    side = np.cross(way, back)
    t = np.linspace(0.0, 1.0, 60)[:, None]
    spine = root + (t - 0.4) * long * way + bend * t**2 * side
    girth = long * np.interp(
        t[:, 0],
        [0, 0.05, 0.18, 0.38, 0.6, 0.82, 0.93, 1.0],
        [0.03, 0.09, 0.17, 0.215, 0.18, 0.085, 0.06, 0.065],
    )
    a = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    oval = np.stack([np.cos(a), 0.62 * np.sin(a)], 1)
    facing = np.broadcast_to(back, spine.shape)
    meshes = [tube(spine, girth, shape=oval, along_hint=facing)]
    for s in (-1.0, 1.0):
        b = np.linspace(-0.95, 0.95, 16)
        here = 0.27 + 0.05 * np.cos(1.6 * b)
        index = (here * 59).astype(int)
        gill = spine[index] + 0.98 * girth[index, None] * (
            np.sin(b)[:, None] * back + s * 0.62 * np.cos(b)[:, None] * side
        )
        meshes.append(tube(gill, 0.028 * long, sides=8))
        eye = spine[0] + 0.12 * long * way + s * 0.085 * long * side + 0.035 * long * back
        meshes.append(bead(eye, 0.055 * long))
        fin = spine[0] + 0.34 * long * way + s * 0.12 * long * side - 0.08 * long * back
        meshes.append(
            blade(
                fin,
                way + 0.5 * s * side - 0.3 * back,
                s * side,
                0.28 * long,
                0.2 * long,
                thick=0.1,
                point=0.2,
                barbs=0.0,
                veins=0.3,
                rows=14,
            )
        )
    tail = spine[-1] - 0.06 * long * way
    for s in (-1.0, 1.0):
        meshes.append(
            blade(
                tail,
                way + 0.75 * s * back,
                side,
                0.36 * long,
                0.26 * long,
                thick=0.15,
                point=0.4,
                barbs=0.0,
                veins=0.3,
                rows=16,
            )
        )
    meshes.append(
        blade(
            spine[20] + 0.12 * long * back,
            way + 0.55 * back,
            side,
            0.42 * long,
            0.26 * long,
            thick=0.13,
            point=0.3,
            barbs=0.0,
            veins=0.3,
            rows=16,
        )
    )
    return meshes


def catch(fineness):
    """Three fish in the basket's mouth, two tails up and one gasping, on a bed of wet grass."""
    mouth = BASKET + 1.45 * BASKET_AXIS
    meshes = _fish(
        mouth + (0.55, 0.05, 0.35), np.array([0.42, 0.15, 1.0]), np.array([0.5, 1.0, 0.0]), 2.1, bend=0.35
    )
    meshes += _fish(
        mouth + (-0.1, 0.4, 0.75), np.array([0.1, -0.4, -1.0]), np.array([-1.0, 0.2, 0.0]), 2.5, bend=-0.3
    )
    meshes += _fish(
        mouth + (0.25, 0.75, 0.05), np.array([-0.35, 0.8, 0.75]), np.array([0.3, -0.6, 1.0]), 1.7, bend=0.3
    )
    turn = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 20)[1:-1]
    meshes.append(
        lathe(
            np.stack([1.25 * np.cos(turn), 0.4 * np.sin(turn)], 1),
            mouth - 0.15 * BASKET_AXIS,
            axis=BASKET_AXIS,
            sides=int(60 * fineness) + 20,
            scallop=0.06,
            count=14,
        )
    )
    return joined(meshes)


def basket_reeds(fineness):
    """A sheaf of cut reeds beside the fish."""
    rng = np.random.default_rng(1613)
    mouth = BASKET + 1.4 * BASKET_AXIS
    meshes = []
    for k in range(9):
        foot = mouth + np.array([-0.75 + 0.12 * k, -0.2 + rng.uniform(-0.3, 0.2), 0.0])
        lean = np.array([-0.32 + 0.05 * k + rng.normal(0, 0.05), 0.25 + rng.normal(0, 0.08), 1.0])
        long = rng.uniform(1.5, 2.7)
        meshes.append(
            blade(
                foot,
                lean,
                (rng.normal(), 1.0, 0),
                long,
                0.42,
                thick=0.2,
                barbs=0.0,
                veins=0.2,
                bend=rng.uniform(-0.5, 0.5),
                curl=rng.uniform(-0.2, 0.5),
                point=0.9,
                rows=int(40 * fineness) + 8,
            )
        )
    return joined(meshes)


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
            tube([end + (0, 0, 0.1), end - (0, 0, 0.12), end - (0, 0, 0.4)], [0.24, 0.22, 0.26], sides=14)
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
    side, back = _basket_frame()
    for s in (-1.0, 1.0):
        rim = BASKET + 1.55 * BASKET_AXIS + 0.75 * s * side - 0.95 * back
        low = BASKET - 1.2 * BASKET_AXIS + 0.7 * s * side - 0.6 * back
        meshes.append(
            tube(
                spline(
                    [
                        rim + (0.9 * s * -0.1, -0.75, 1.3),
                        rim + (0.0, -0.2, 0.55),
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
