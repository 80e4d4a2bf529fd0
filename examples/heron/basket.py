"""The basket on his back, with the catch and a sheaf of reeds."""

import numpy as np
from surfaces import bead, blade, joined, lathe, round_ends, slab, tube, unit

BASKET = np.array([0.0, 2.85, 8.7])
BASKET_AXIS = unit(np.array([0.08, 0.1, 1.0]))


def basket_frame():
    side = unit(np.cross((0, 1.0, 0), BASKET_AXIS))
    return side, np.cross(BASKET_AXIS, side)


def _basket_radius(height):
    """Radius at a height of -1.7..1.7 over the middle."""
    t = (height + 1.7) / 3.4
    return 0.88 + 0.5 * t + 0.22 * np.sin(np.pi * t)


def basket_point(turn, height, out: float | np.ndarray = 0.0):
    side, back = basket_frame()
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
        meshes.append(tube(basket_point(np.full(len(h), 2 * np.pi * k / stakes), h), 0.09, sides=8))
    turn = np.linspace(0, 2 * np.pi * turns, int(stakes * turns * 7 * fineness) + 400)
    height = -1.6 + 3.2 * turn / turn[-1]
    weaver = basket_point(turn, height, 0.11 * np.sin(0.5 * stakes * turn))
    flat = np.array([[np.cos(a), 1.25 * np.sin(a)] for a in np.linspace(0, 2 * np.pi, 10, endpoint=False)])
    meshes.append(tube(weaver, 0.1, shape=flat))
    for level, width in ((1.72, 0.17), (1.5, 0.12), (-1.68, 0.15), (0.1, 0.13)):
        for phase in (0.0, np.pi):
            a = np.linspace(0, 2 * np.pi, int(480 * fineness) + 60)
            h = level + 0.55 * width * np.sin(16 * a + phase)
            meshes.append(
                tube(basket_point(a, h, 0.12 + 0.5 * width * np.cos(16 * a + phase)), 0.72 * width, sides=9)
            )
    core = np.linspace(-1.6, 1.3, 40)
    liner = BASKET + core[:, None] * BASKET_AXIS
    side, _ = basket_frame()
    turn = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    oval = np.stack([1.08 * np.cos(turn), 0.86 * np.sin(turn)], 1)
    meshes.append(tube(liner, _basket_radius(core) - 0.03, shape=oval, hint=side))
    return joined(meshes)


def _tail(root, way, back, long):
    """A forked tail fin with rays: a closed slab that spreads from `root` along `way` in the plane of `back`."""
    side = np.cross(way, back)
    turn, out = np.meshgrid(np.linspace(-0.72, 0.72, 41), np.linspace(0.0, 1.0, 18), indexing="ij")
    reach = long * out * (0.62 + 0.5 * np.abs(turn / 0.72) ** 1.5)
    flat = (
        root
        + (reach * np.cos(turn))[..., None] * way
        + (reach * np.sin(turn) + 0.12 * long * turn)[..., None] * back
    )
    rays = 0.022 * np.cos(22.0 * turn) * np.clip(3.0 * out, 0, 1) * (1.0 - out**3)
    half = (0.075 + 0.03 * (1.0 - out) + rays)[..., None] * side
    return slab(flat + half, flat - half)


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
        b = np.linspace(-0.95, 0.95, 40)
        here = 59.0 * (0.27 + 0.05 * np.cos(1.6 * b))
        middle = np.stack([np.interp(here, np.arange(60), spine[:, k]) for k in range(3)], 1)
        gill = middle + 0.98 * np.interp(here, np.arange(60), girth)[:, None] * (
            np.sin(b)[:, None] * back + s * 0.62 * np.cos(b)[:, None] * side
        )
        meshes.append(tube(*round_ends(gill, 0.026 * long, 4), sides=12))
        eye = spine[0] + 0.13 * long * way + s * 0.078 * long * side + 0.04 * long * back
        meshes.append(bead(eye, 0.036 * long))
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
    end = unit(spine[-1] - spine[-6])
    meshes.append(_tail(spine[-1] - 0.1 * long * end, end, unit(back - end * (back @ end)), 0.34 * long))
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
        (mouth + np.array([0.55, 0.05, 0.35])),
        np.array([0.42, 0.15, 1.0]),
        np.array([0.5, 1.0, 0.0]),
        2.1,
        bend=0.35,
    )
    meshes += _fish(
        (mouth + np.array([-0.1, 0.4, 0.75])),
        np.array([0.1, -0.4, -1.0]),
        np.array([-1.0, 0.2, 0.0]),
        2.5,
        bend=-0.3,
    )
    meshes += _fish(
        (mouth + np.array([0.25, 0.75, 0.05])),
        np.array([-0.35, 0.8, 0.75]),
        np.array([0.3, -0.6, 1.0]),
        1.7,
        bend=0.3,
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
