"""The hood: its stiff brim, the cape that falls from it over the cloak, and the crest through its crown."""

import numpy as np
from cloth import cut_fine, effort, hang, hemmed, thickened
from folds import Fold, fold_field
from pose import GAZE
from scipy.ndimage import gaussian_filter
from surfaces import joined, round_ends, slab, spline, tube, unit

CLOAK_LIES = 0.15
"""How much farther than on bare shoulders the hood lies where the cloak is under it."""

BRIM = [
    (-0.22, -1.62, 11.75),
    (-0.75, -1.5, 12.35),
    (-1.12, -1.35, 13.2),
    (-1.12, -1.65, 14.2),
    (-0.62, -2.15, 15.0),
    (-0.02, -2.45, 15.4),
    (0.55, -2.1, 15.0),
    (1.02, -1.55, 14.25),
    (1.0, -1.25, 13.2),
    (0.55, -1.45, 12.3),
    (0.02, -1.65, 11.7),
]


def _brim():
    """The brim's course, turned the more toward the gaze the higher it lies."""
    brim = np.array(BRIM)
    pivot = np.array([-0.05, -0.9])
    turn = np.arctan2(GAZE[0], -GAZE[1]) * np.clip((brim[:, 2] - 11.6) / 1.8, 0.0, 1.0)
    c, s = np.cos(turn), np.sin(turn)
    x, y = (brim[:, :2] - pivot).T
    turned = np.stack([c * x - s * y, s * x + c * y], 1) + pivot
    lean = np.clip((brim[:, 2:] - 11.6) / 1.2, 0.0, 1.0) * (-0.24, 0.02)
    return np.column_stack([turned + lean + (-0.1, -0.2), brim[:, 2]])


HOOD_FOLDS = tuple(
    Fold(tuple((d, a if side < 0 else 1.0 - a) for d, a in course), height, 0.13, wide, swell, ending)
    for side in (-1, 1)
    for course, height, wide, swell, ending in (
        (((0.10, 0.12), (0.40, 0.20), (0.75, 0.335)), 0.17, 0.26, 0.4, 0.0),
        (((0.16, 0.10), (0.50, 0.15), (0.86, 0.245)), 0.15, 0.3, 0.45, 0.0),
        (((0.34, 0.33), (0.62, 0.37), (1.0, 0.40)), 0.16, 0.32, 0.6, 0.6),
    )
)


PLUME = np.array(
    [
        ((0.5 + 0.36 * np.exp(-((np.sin(a) / 0.22) ** 2)) * (np.cos(a) > 0)) * np.cos(a), np.sin(a))
        for a in np.linspace(0.0, 2.0 * np.pi, 32, endpoint=False)
    ]
)
"""A plume's section: twice as wide as it is thick, with a quill along its back."""


def _crest(grid):
    """Three long plumes through a bound slit in the hood's crown, as a heron's crest lies: closed leaves and a ring."""
    rows, columns = grid.shape[:2]
    i, j = int(0.33 * rows), columns // 2
    root = grid[i, j]
    back = unit(grid[i + rows // 10, j] - grid[i - rows // 10, j])
    out = unit(np.cross(grid[i, j + columns // 12] - grid[i, j - columns // 12], back))
    out = out * np.sign(out[2])
    side = np.cross(out, back)
    turn = np.linspace(0.0, 2.0 * np.pi, 49)[:-1, None]
    ring = root + 0.06 * out + 0.62 * np.cos(turn) * back + 0.36 * np.sin(turn) * side
    meshes = [tube(ring, 0.14, sides=14, loop=True)]
    for across, long, rise in ((-0.5, 0.84, -0.16), (0.5, 0.9, -0.1), (0.0, 1.08, 0.06)):
        shape = np.array([(-0.4, -0.3), (0.3, 0.06), (1.2, 0.05), (2.3, -0.3), (3.3, -0.88), (4.0, -1.45)])
        course = spline(long * shape, 70)
        t = np.linspace(0.0, 1.0, 70)[:, None]
        level = unit(back * (1.0, 1.0, 0.0))
        spine = root + course[:, :1] * level + (course[:, 1:] + rise * t) * np.array([0.0, 0.0, 1.0])
        spine = spine + across * (0.25 + 1.1 * t) * side
        facing = np.broadcast_to(unit((0.0, 0.0, 1.0) + 0.3 * across * side), spine.shape)
        half = np.interp(t[:, 0], [0.0, 0.2, 0.45, 0.75, 1.0], [0.18, 0.27, 0.31, 0.2, 0.115])
        spine, half = round_ends(spine, half)
        facing = np.broadcast_to(facing[0], spine.shape)
        meshes.append(tube(spine, half, shape=PLUME, along_hint=facing))
    return meshes


def _over_cloak(solid):
    """The solid that the hood falls on: about the shoulders it's thicker by the cloak that lies there."""
    field, origin, pitch = solid
    height = origin[2] + pitch * np.arange(field.shape[2])
    cloak = CLOAK_LIES * np.clip((12.3 - height) / 0.6, 0.0, 1.0)
    return field - cloak.astype(np.float32), origin, pitch


def hood(solid, fineness):
    """The hood: cloth held at a stiff brim, thrown back over the skull and fallen on the shoulders."""
    rows, columns = 48, 57
    top = spline(_brim(), columns)
    share = np.linspace(-1, 1, columns)
    long = np.linspace(0.0, 7.2, rows)[:, None]
    girth = np.linalg.norm(np.diff(top, axis=0), axis=1).sum()
    flat = np.stack(
        [0.5 * girth * (1.0 + 0.10 * long) * share[None], -long + 0 * share[None], 0 * long * share[None]], -1
    )
    away = np.stack([0.45 * share, 0.85 - 0.2 * np.abs(share), 0.35 - 0.45 * np.abs(share)], 1)
    start = top[None] + long[..., None] * away[None]
    # a stiff band behind the brim, so that the cloth runs back from it and never folds over it
    stiff = 4
    back = unit(np.stack([0.30 * share, 0.95 + 0 * share, 0.12 - 0.1 * np.abs(share)], 1))
    start[:stiff] = top[None] + long[:stiff, :, None] * back[None]
    start[stiff:] += (start[stiff - 1] - (top + long[stiff - 1] * away))[None]
    held = np.ones((rows, columns))
    held[:stiff] = 0.0
    fallen = hang(
        start,
        flat,
        held,
        _over_cloak(solid),
        steps=int(300 * effort(fineness)),
        gap=0.44,
        bend=0.03,
        grip=0.5,
    )
    # the cloth buckles where the stiff band ends and beside the clasp: iron that out
    row = np.arange(len(fallen))[:, None, None]
    ironed = gaussian_filter(fallen, (7.0, 5.0, 0.0), mode="nearest")
    side = np.clip((np.abs(np.linspace(-1, 1, fallen.shape[1])) - 0.5) / 0.2, 0.0, 1.0)[None, :, None]
    weight = np.maximum(np.exp(-(((row - 2 * stiff - 4) / 9.0) ** 4)), side) * np.clip(row / 4.0, 0.0, 1.0)
    fallen = fallen + weight * (ironed - fallen)
    rng = np.random.default_rng(3901)
    # the corners are cut away, so that the edge runs from the clasp over the shoulders to the back
    point = 0.85 - 0.44 * np.abs(np.linspace(-1, 1, int(280 * fineness))) ** 1.5
    grid, _ = cut_fine(fallen, int(220 * fineness), int(280 * fineness), ragged=0.025, rng=rng, reach=point)
    down, across = np.meshgrid(np.linspace(0, 1, len(grid)), np.linspace(0, 1, grid.shape[1]), indexing="ij")
    creases = gaussian_filter(fold_field(down, across, HOOD_FOLDS, (6.0, 12.0, 1.4)), 2.0 * fineness)
    creases = creases * np.clip(down / 0.08 - 0.5, 0.0, 1.0) * np.clip((1.0 - down) / 0.3, 0.0, 1.0)
    cloth = slab(*hemmed(thickened(grid, 0.25, folds=creases)))
    width = np.interp(
        np.linspace(-1, 1, grid.shape[1]), [-1, -0.75, 0, 0.75, 1], [0.11, 0.17, 0.21, 0.17, 0.11]
    )
    brim = tube(grid[1], width, sides=16)
    return joined([cloth, brim, *_crest(grid)])
