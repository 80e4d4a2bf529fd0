"""What he carries: pole, lantern, basket with the catch, belt and strap."""

import numpy as np
from body import torso_clay
from clay import CARVE, Clay
from pose import GRIP_HEIGHT, LANTERN_TOP, POLE_RADIUS, pole_at
from surfaces import ROPE, blade, joined, spline, tube, unit


def _round_path(centre, radius, count=64, axis_x=(1, 0, 0), axis_y=(0, 1, 0)):
    turn = np.linspace(0, 2 * np.pi, count)
    return np.asarray(centre) + radius * (np.cos(turn)[:, None] * np.asarray(axis_x, float) + np.sin(turn)[:, None] * np.asarray(axis_y, float))


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


def lantern_frame(pitch):
    """Bars, base and shoulder ring of the lantern."""
    clay = Clay()
    top = LANTERN_TOP
    base = top - (0, 0, 2.75)
    clay.drum(base, 0.72, 0.78, 0.14, rounding=0.05)
    clay.drum(base - (0, 0, 0.2), 0.5, 0.66, 0.1, rounding=0.04, blend=0.04)
    clay.drum(base + (0, 0, 0.18), 0.66, 0.6, 0.08, rounding=0.03)
    clay.ring(base + (0, 0, 1.05), 0.66, 0.085)
    clay.drum(base + (0, 0, 1.95), 0.62, 0.74, 0.1, rounding=0.04)
    for k in range(6):
        a = 2 * np.pi * (k + 0.3) / 6
        way = np.array([np.cos(a), np.sin(a), 0.0])
        clay.limb([base + 0.62 * way, base + 0.72 * way + (0, 0, 1.0), base + 0.64 * way + (0, 0, 1.95)], [0.115, 0.105, 0.115], steps=8, blend=0.08)
    return clay.mesh(pitch)


def lantern_cap(pitch):
    """The cap: a flared roof with a vented chimney."""
    clay = Clay()
    top = LANTERN_TOP
    clay.drum(top - (0, 0, 0.62), 0.95, 0.45, 0.2, rounding=0.05)
    clay.drum(top - (0, 0, 0.36), 0.5, 0.3, 0.2, rounding=0.03, blend=0.1)
    clay.drum(top - (0, 0, 0.14), 0.34, 0.34, 0.1, rounding=0.04)
    for k in range(8):
        a = 2 * np.pi * k / 8
        way = np.array([np.cos(a), np.sin(a), 0.0])
        clay.limb([top - (0, 0, 0.4) + 0.32 * way, top - (0, 0, 0.76) + 0.93 * way], [0.05, 0.07], steps=2, blend=0.05)
    clay.limb([top - (0, 0, 0.1), top + (0, 0, 0.12)], [0.16, 0.14], steps=2, blend=0.08)
    return clay.mesh(pitch)


def lantern_ring(fineness):
    """The ring that the hand holds."""
    centre = LANTERN_TOP + (0, 0, 0.36)
    return tube(_round_path(centre, 0.36, int(120 * fineness) + 24, (0.36, -0.93, 0), (0, 0, 1)), 0.12, sides=16)


def lantern_candle(pitch):
    """A dripping candle with its flame."""
    clay = Clay()
    base = LANTERN_TOP - (0, 0, 2.65)
    clay.drum(base + (0, 0, 0.5), 0.32, 0.27, 0.5, rounding=0.06)
    rng = np.random.default_rng(613)
    for a in np.linspace(0, 2 * np.pi, 7, endpoint=False):
        way = 0.29 * np.array([np.cos(a), np.sin(a), 0])
        clay.limb([base + way + (0, 0, 0.95), base + way + (0, 0, 0.95 - rng.uniform(0.2, 0.7))], [0.05, 0.085], steps=3, blend=0.07)
    clay.limb([base + (0, 0, 1.0), base + (0.03, 0, 1.25), base + (-0.03, 0, 1.72)], [0.1, 0.17, 0.04], steps=6, blend=0.05)
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
    return (BASKET + height[:, None] * BASKET_AXIS + radius * (1.08 * np.cos(turn)[:, None] * side + 0.86 * np.sin(turn)[:, None] * back))


def basket(fineness):
    """A wicker basket: one long weaver in and out of odd stakes, a plaited rim, a liner inside."""
    stakes, turns = 23, 15
    meshes = []
    for k in range(stakes):
        h = np.linspace(-1.72, 1.68, int(50 * fineness) + 8)
        meshes.append(tube(_basket_point(np.full(len(h), 2 * np.pi * k / stakes), h), 0.09, sides=8))
    turn = np.linspace(0, 2 * np.pi * turns, int(stakes * turns * 9 * fineness) + 400)
    height = -1.6 + 3.2 * turn / turn[-1]
    weaver = _basket_point(turn, height, 0.11 * np.sin(0.5 * stakes * turn))
    flat = np.array([[np.cos(a), 1.25 * np.sin(a)] for a in np.linspace(0, 2 * np.pi, 10, endpoint=False)])
    meshes.append(tube(weaver, 0.1, shape=flat))
    for level, width in ((1.72, 0.17), (1.5, 0.12), (-1.68, 0.15), (0.1, 0.13)):
        for phase in (0.0, np.pi):
            a = np.linspace(0, 2 * np.pi, int(700 * fineness) + 60)
            h = level + 0.55 * width * np.sin(16 * a + phase)
            meshes.append(tube(_basket_point(a, h, 0.12 + 0.5 * width * np.cos(16 * a + phase)), 0.72 * width, sides=9))
    core = np.linspace(-1.6, 1.3, 40)
    liner = BASKET + core[:, None] * BASKET_AXIS
    side, _ = _basket_frame()
    meshes.append(tube(liner, _basket_radius(core) * 0.93, sides=48, hint=side))
    return joined(meshes)


def _fish(clay, root, way, outward, long, tail_up):
    """A plump fish; `way` points out of the basket, `outward` is its back."""
    side = unit(np.cross(way, outward))
    sense = 1.0 if tail_up else -1.0
    nose, tail = root - 0.6 * sense * long * way, root + 0.6 * sense * long * way
    belly = root - 0.1 * sense * long * way - 0.06 * outward
    clay.limb([nose, belly, root + 0.3 * sense * long * way, tail], [0.16, 0.4, 0.26, 0.1], steps=8, flat=0.62, across=side)
    stem = sense * way
    for s in (-1.0, 1.0):
        clay.limb([tail, tail + 0.26 * stem + 0.2 * s * outward, tail + 0.5 * stem + 0.4 * s * outward], [0.1, 0.13, 0.07], steps=4, flat=0.6, across=side, blend=0.08)
    clay.limb([root - 0.1 * stem + 0.34 * outward, root + 0.3 * stem + 0.4 * outward, root + 0.5 * stem + 0.26 * outward], [0.09, 0.11, 0.06], steps=4, flat=0.7, across=side, blend=0.1)
    for s in (-1.0, 1.0):
        eye = nose + 0.22 * stem + 0.17 * s * side + 0.07 * outward
        clay.ball(eye, 0.1, blend=0.02).ball(eye + 0.07 * s * side, 0.05, op=CARVE)
        gill = nose + 0.46 * stem + 0.24 * s * side
        clay.limb([gill + 0.2 * outward, gill + 0.1 * stem, gill - 0.2 * outward], [0.05, 0.06, 0.05], steps=4, op=CARVE, blend=0.03)
    clay.limb([nose + 0.05 * stem - 0.3 * side - 0.03 * outward, nose + 0.05 * stem + 0.3 * side - 0.03 * outward], [0.035, 0.035], op=CARVE, blend=0.02)
    clay.grain(4, 0.05, (0.2, 0.2, 0.2), centre=root + 0.15 * stem * long, reach=0.62 * long, axis=way, across=outward)


def catch(pitch):
    """Three fish in the basket's mouth."""
    clay = Clay()
    mouth = BASKET + 1.55 * BASKET_AXIS
    _fish(clay, mouth + (0.5, 0.1, 0.6), unit(np.array([0.45, 0.1, 1.0])), unit(np.array([0.3, 1.0, 0.0])), 1.25, True)
    _fish(clay, mouth + (-0.15, 0.42, 0.62), unit(np.array([-0.2, 0.45, 1.0])), unit(np.array([-1.0, 0.3, 0.1])), 1.2, False)
    _fish(clay, mouth + (0.5, 0.75, 0.25), unit(np.array([0.3, 0.85, 0.65])), unit(np.array([0.4, -0.5, 0.8])), 1.1, True)
    for x, y, r in ((0.0, -0.4, 0.5), (0.6, -0.3, 0.4), (-0.55, -0.3, 0.45), (0, 0.2, 0.55)):
        clay.ball(mouth + (x, y, -0.28), (r, r, 0.35), blend=0.15)
    return clay.mesh(pitch)


def basket_reeds(fineness):
    """A sheaf of cut reeds beside the fish."""
    rng = np.random.default_rng(1613)
    mouth = BASKET + 1.4 * BASKET_AXIS
    meshes = []
    for k in range(9):
        foot = mouth + np.array([-0.75 + 0.12 * k, -0.2 + rng.uniform(-0.3, 0.2), 0.0])
        lean = np.array([-0.32 + 0.05 * k + rng.normal(0, 0.05), 0.25 + rng.normal(0, 0.08), 1.0])
        long = rng.uniform(1.5, 2.7)
        meshes.append(blade(foot, lean, (rng.normal(), 1.0, 0), long, 0.42, thick=0.2, barbs=0.0, veins=0.2, bend=rng.uniform(-0.5, 0.5), curl=rng.uniform(-0.2, 0.5), point=0.9, rows=int(40 * fineness) + 8))
    return joined(meshes)


def belt_rope(fineness):
    """The rope belt: once round the hips, crossed through itself in front, two ends hanging."""
    waist = np.array([0.1, -0.05, 8.05])
    path = spline(
        waist + np.array([(-0.5, -1.36, -2.0), (-0.48, -1.42, -1.0), (-0.3, -1.36, -0.3), (0.45, -1.12, -0.05), (1.08, -0.2, 0.08), (0.75, 0.95, 0.12),
         (-0.3, 1.18, 0.05), (-1.1, 0.5, -0.05), (-1.02, -0.7, -0.12), (-0.55, -1.22, -0.16), (-0.1, -1.46, -0.3), (0.0, -1.5, -1.1), (0.12, -1.42, -2.5)]),
        int(700 * fineness) + 100,
    )
    meshes = [tube(path, 0.18, shape=ROPE, twist=6.0)]
    knot = spline(waist + np.array([(-0.62, -1.32, -0.1), (-0.35, -1.66, -0.2), (-0.05, -1.55, -0.4), (-0.3, -1.3, -0.5), (-0.6, -1.45, -0.4), (-0.4, -1.68, -0.15), (-0.1, -1.5, -0.1)]), int(160 * fineness) + 40)
    meshes.append(tube(knot, 0.16, shape=ROPE, twist=6.0))
    for end in (path[0], path[-1]):
        meshes.append(tube([end + (0, 0, 0.1), end - (0, 0, 0.12), end - (0, 0, 0.4)], [0.24, 0.22, 0.26], sides=14))
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
    rough = spline([(-1.5, 0.6, 12.0), (-1.45, -0.6, 11.9), (-0.95, -1.7, 10.9), (0.0, -1.9, 9.9), (0.85, -1.5, 9.1), (1.5, -0.5, 8.6), (1.6, 0.6, 8.5)], 60)
    skin, normals = body.settle(rough, 14)
    path = spline(skin + 0.24 * normals, int(260 * fineness) + 60)
    facing = unit(spline(normals, len(path)))
    meshes.append(_band(path, 0.3, 0.12, facing))
    k = int(0.47 * len(path))
    way, out = unit(path[k + 2] - path[k - 2]), facing[k]
    across = np.cross(out, way)
    corners = [path[k] + 0.12 * out + x * 0.3 * way + y * 0.4 * across for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1), (1, -1))]
    meshes.append(tube(np.concatenate([np.linspace(corners[i], corners[i + 1], 12) for i in range(4)]), 0.085, sides=10))
    meshes.append(tube(spline([path[k] + 0.14 * out - 0.25 * way, path[k] + 0.18 * out + 0.3 * way], 12), 0.07, sides=10))
    side, back = _basket_frame()
    for s in (-1.0, 1.0):
        rim = BASKET + 1.55 * BASKET_AXIS + 0.75 * s * side - 0.95 * back
        low = BASKET - 1.2 * BASKET_AXIS + 0.7 * s * side - 0.6 * back
        meshes.append(tube(spline([rim + (0.9 * s * -0.1, -0.75, 1.3), rim + (0.0, -0.2, 0.55), rim, BASKET + 0.2 * BASKET_AXIS + 0.95 * s * side + 0.1 * back, low], 60), 0.16, shape=ROPE, twist=6.0))
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
        clay.ball(centre + 0.3 * (np.cos(a) * np.array([1, 0, 0]) + np.sin(a) * np.array([0, 0, 1])) + 0.07 * out, 0.09, blend=0.02)
    return clay.mesh(pitch)


def pouch(pitch):
    """A leather pouch on the belt."""
    clay = Clay()
    clay.ball((-1.05, -0.75, 7.15), (0.5, 0.36, 0.62), axis=(0.15, -0.1, 1), across=(1, -1, 0))
    clay.ball((-1.08, -0.88, 7.42), (0.52, 0.36, 0.4), axis=(0.15, -0.1, 1), across=(1, -1, 0), blend=0.05)
    clay.limb([(-1.45, -0.65, 7.25), (-1.15, -1.18, 7.1), (-0.7, -1.15, 7.25)], [0.05, 0.05, 0.05], op=CARVE, blend=0.04)
    clay.ball((-1.2, -1.2, 7.22), 0.12, blend=0.03)
    clay.grain(0, 0.05, (0.2, 0.2, 0.2))
    return clay.mesh(pitch)
