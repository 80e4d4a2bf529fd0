"""Cloth: the cloak, its lining, the tabard; cut flat, hung from pins and left to fall on the bird."""

import numpy as np
from body import torso_clay
from clay import Clay
from drape_loops import drape
from field_loops import fill_field
from folds import CLOAK_FOLDS, fold_field
from mending import patch
from pose import LEFT_ARM, LEFT_LEG, NECK, RIGHT_ARM, RIGHT_LEG, SKULL
from scipy.ndimage import gaussian_filter
from surfaces import joined, open_sheet, resampled, sheet_normals, slab, spline, tube, unit

COLLIDER_PITCH = 0.14


def collider():
    """(field, origin, pitch) of everything that the cloth falls on."""
    clay = Clay()
    clay.shapes += torso_clay().shapes
    clay.boxes += torso_clay().boxes
    for joints in (RIGHT_ARM, LEFT_ARM):
        clay.limb(joints, [0.8, 0.66, 0.5], steps=6, blend=0.3)
    for leg in (RIGHT_LEG, LEFT_LEG):
        clay.limb(leg, [0.35, 0.4, 0.6], steps=6, blend=0.2)
    clay.limb(NECK[:3], [0.95, 0.75, 0.6], steps=6, blend=0.5)
    clay.limb([NECK[2], NECK[3], (SKULL + np.array([0.0, 0.4, 0.15]))], [0.6, 0.68, 0.7], steps=6, blend=0.4)
    low, high = clay.bounds()
    origin = low - 6 * COLLIDER_PITCH
    shape = tuple(int(n) for n in np.ceil((high - low) / COLLIDER_PITCH) + 12)
    field = np.empty(shape, np.float32)
    fill_field(clay.stacked(), np.zeros((0, 18)), origin, COLLIDER_PITCH, 0.3, clay.floor, field)
    return field, origin, COLLIDER_PITCH


def _effort(fineness):
    """The share of the full number of steps: a coarse trial falls less long."""
    return min(max(fineness / 0.75, 0.1), 1.0)


def _lengths(flat):
    across = np.linalg.norm(np.diff(flat, axis=1), axis=2)
    down = np.linalg.norm(np.diff(flat, axis=0), axis=2)
    slant = 0.5 * (
        np.linalg.norm(flat[1:, 1:] - flat[:-1, :-1], axis=2)
        + np.linalg.norm(flat[1:, :-1] - flat[:-1, 1:], axis=2)
    )
    return across, down, slant


def hang(
    start,
    flat,
    held,
    solid,
    *,
    steps,
    rounds=10,
    gravity=0.0016,
    wind=(0, 0, 0),
    gap=0.16,
    grip=0.4,
    bend=0.12,
    finer=2,
):
    """The cloth at rest: falls coarse, then on a grid `finer` times as fine."""
    field, origin, pitch = solid
    points = np.ascontiguousarray(start, float)
    flat = np.asarray(flat, float)
    settings = (gravity, np.asarray(wind, float), gap, grip, bend, 0.985)
    drape(points, held.astype(float), *_lengths(flat), field, origin, pitch, steps, rounds, *settings)
    if finer > 1:
        rows, columns = points.shape[:2]
        r, c = np.meshgrid(
            np.linspace(0, rows - 1, (rows - 1) * finer + 1),
            np.linspace(0, columns - 1, (columns - 1) * finer + 1),
            indexing="ij",
        )
        points = np.ascontiguousarray(resampled(points, r, c))
        flat = resampled(np.concatenate([flat, np.zeros((*flat.shape[:2], 1))], 2)[..., :3], r, c)
        low, high = (held[f(r).astype(int), f(c).astype(int)] for f in (np.floor, np.ceil))
        held = np.where(low + high > 0, 1.0, 0.0)
        settings = (gravity / finer, np.asarray(wind, float) / finer, gap, grip, bend, 0.97)
        drape(points, held, *_lengths(flat), field, origin, pitch, steps // 3, rounds - 2, *settings)
    return points


def _fan(inner, outer, angle, rows, columns):
    """A flat ring sector: the cut of a cape."""
    radius = np.linspace(inner, outer, rows)[:, None]
    turn = np.linspace(-0.5 * angle, 0.5 * angle, columns)[None]
    return np.stack([radius * np.sin(turn), -radius * np.cos(turn), 0 * radius * turn], -1)


COLLAR = [
    (-1.3, -0.95, 11.7),
    (-1.75, 0.05, 12.0),
    (-1.1, 1.1, 12.1),
    (-0.2, 1.5, 12.1),
    (0.75, 1.1, 11.85),
    (1.3, 0.05, 11.6),
    (0.9, -0.9, 11.3),
]


# the right front edge is tucked into the belt: folds run from there to the elbow and the hem
TUCK = tuple((20 + k, k, (-1.18 + 0.06 * k, -0.25 + 0.22 * k, 8.05)) for k in range(3))
# the left front edge lies over the crook of the lantern arm, and the forearm comes out before it
SLING = tuple(
    (row, -1, place)
    for row, place in (
        (3, (1.4, -1.0, 10.98)),
        (8, (2.05, -1.3, 10.15)),
        (11, (2.7, -1.45, 10.22)),
        (15, (3.4, -1.2, 9.55)),
    )
)


def _cape(
    solid,
    *,
    inner,
    outer,
    angle,
    rows,
    columns,
    slope,
    steps,
    wind,
    collar=COLLAR,
    sweep=(-97.0, 118.0),
    gap=0.16,
    bend=0.12,
    pins=(),
    pleats=0.0,
):
    """A cape hung from its collar; `pleats` is how deep it is pleated, at the hem, before it falls."""
    flat = _fan(inner, outer, angle, rows, columns)
    top = spline(collar, columns)
    turn = np.deg2rad(np.linspace(sweep[0], sweep[1], columns))
    down = np.linspace(0.0, 1.0, rows)[:, None, None]
    share = np.linspace(0.0, 1.0, columns)
    wave = np.sin(2 * np.pi * (9.0 * share + 0.35 * np.sin(5.3 * share + 0.6))) * (
        0.7 + 0.3 * np.sin(11.0 * share + 1.0)
    )
    out = np.stack([np.sin(turn), np.cos(turn), 0 * turn], 1)
    fall = out * np.cos(slope) - np.array([0, 0, np.sin(slope)])
    start = top[None] + (outer - inner) * down * fall[None]
    start = start + pleats * np.sqrt(down) * wave[:, None] * out[None]
    held = np.ones((rows, columns))
    held[0] = 0.0
    for row, column, place in pins:
        held[row, column] = 0.0
        start[row, column] = place
    return hang(start, flat, held, solid, steps=steps, wind=wind, gap=gap, bend=bend)


def _fine(points, rows, columns, *, ragged, rng, reach: float | np.ndarray = 1.0):
    """The fallen cloth on a finer grid, its hem cut unevenly; also each place's share of the uncut length."""
    r0, c0 = points.shape[:2]
    points = gaussian_filter(points, (1.5, 1.3, 0.0), mode="nearest")
    share = np.linspace(0.0, 1.0, columns)
    wear = gaussian_filter(rng.uniform(-1, 1, columns), columns / 28.0, mode="nearest")
    hem = np.clip(1.0 - ragged * (0.5 + 3.0 * wear), 0.1, 1.0) * reach
    down = np.linspace(0.0, 1.0, rows)[:, None] * hem[None]
    places = down * (r0 - 1), np.broadcast_to(share * (c0 - 1), down.shape)
    return resampled(points, *places), down / reach


def _edge_distance(grid, *, sides):
    """How far along the cloth each place is from the hem and, if `sides`, from the two other free edges."""
    down = np.linalg.norm(np.diff(grid, axis=0), axis=2)
    far = np.concatenate([np.cumsum(down[::-1], axis=0)[::-1], np.zeros((1, grid.shape[1]))])
    if sides:
        across = np.cumsum(np.linalg.norm(np.diff(grid, axis=1), axis=2), axis=1)
        across = np.concatenate([np.zeros((len(grid), 1)), across], 1)
        far = np.minimum(far, np.minimum(across, across[:, -1:] - across))
    return far


def hemmed(skins, *, sides=True, roll=0.14):
    """The two skins drawn together at the free edges as a rolled hem of radius `roll` with a seam behind it."""
    middle, half = 0.5 * (skins[0] + skins[1]), 0.5 * (skins[0] - skins[1])
    far = _edge_distance(gaussian_filter(middle, (2.0, 2.0, 0.0), mode="nearest"), sides=sides)
    share = np.linspace(0.0, 1.0, far.shape[1])
    far = far * (1.0 + 0.09 * np.sin(31.0 * share) + 0.05 * np.sin(74.0 * share + 1.0))
    thick = np.linalg.norm(half, axis=2).mean()
    bead = np.sqrt(np.clip(1.0 - (np.clip(far, 0, 2 * roll) / roll - 1.0) ** 2, 0.02, 1.0))
    seam = 1.0 - 0.25 * np.exp(-(((far - 2.2 * roll) / (0.45 * roll)) ** 2))
    scale = np.where(far < roll, np.maximum(roll / thick * bead, 0.1), np.maximum(roll / thick * bead, seam))
    half = half * gaussian_filter(scale, 0.7, mode="nearest")[..., None]
    return middle + half, middle - half


def thickened(grid, thick, *, folds=None):
    """Outer and inner skin of a sheet; `folds` moves both out by a height."""
    normals = sheet_normals(gaussian_filter(grid, (3.0, 3.0, 0.0), mode="nearest"))
    half = 0.5 * np.broadcast_to(thick, grid.shape[:2])[..., None]
    skins = []
    for sense in (1.0, -1.0):
        # a skin crosses itself in creases tighter than the cloth is thick: smoothing closes them
        skin = grid + sense * normals * half
        skins.append(gaussian_filter(skin, (3.0, 3.0, 0.0), mode="nearest"))
    if folds is not None:
        skins = [skin + normals * folds[..., None] for skin in skins]
    return tuple(skins)


def cloak(solid, fineness):
    """The long cloak over both shoulders, blown back and to his left, with a rolled hem and two patches."""
    cut = (3.0, 11.8, 2.9)
    fallen = _cape(
        solid,
        inner=cut[0],
        outer=cut[1],
        angle=cut[2],
        rows=36,
        columns=85,
        slope=0.9,
        steps=int(320 * _effort(fineness)),
        wind=(0.0001, 0.00025, 0.0),
        bend=0.012,
        gap=0.24,
        pins=TUCK + SLING,
        sweep=(-97.0, 96.0),
        pleats=0.45,
    )
    rng = np.random.default_rng(4877)
    grid, share = _fine(fallen, int(260 * fineness), int(420 * fineness), ragged=0.09, rng=rng)
    across = np.broadcast_to(np.linspace(0.0, 1.0, grid.shape[1]), share.shape)
    folds = gaussian_filter(fold_field(share, across, CLOAK_FOLDS, cut), 2.0 * fineness)
    skins = hemmed(thickened(grid, 0.26 - 0.05 * share, folds=folds))
    mends = (
        {"down": 0.72, "across": 0.876, "wide": 1.4, "tall": 1.7, "turn": 0.16, "stitches": 17},
        {"down": 0.76, "across": 0.33, "wide": 1.3, "tall": 1.15, "turn": -0.25, "stitches": 13},
    )
    return joined([slab(*skins), *(mesh for mend in mends for mesh in patch(skins[0], rng=rng, **mend))])


def hem_veil(solid, fineness):
    """The thin lining under the cloak: a sheet without thickness, longer than the cloak, torn."""
    collar = [tuple(np.array(p) * (0.86, 0.86, 1.0) - (0, -0.0, 2.6)) for p in COLLAR]
    fallen = _cape(
        solid,
        inner=3.4,
        outer=9.7,
        angle=1.5,
        rows=26,
        columns=45,
        slope=1.1,
        steps=int(220 * _effort(fineness)),
        wind=(0.0002, 0.0003, 0.0),
        collar=collar,
        sweep=(-52.0, 66.0),
        gap=0.12,
    )
    grid, _ = _fine(
        fallen,
        int(160 * fineness),
        int(260 * fineness),
        ragged=0.03,
        rng=np.random.default_rng(2221),
    )
    return open_sheet(grid)


def tabard(solid, fineness):
    """The cloth that hangs from the belt in front."""
    rows, columns = 22, 25
    top = spline([(-0.7, -1.16, 7.95), (0.0, -1.46, 7.88), (0.85, -1.16, 8.05)], columns)
    top = top + 0.1 * np.sin(np.linspace(0, 7 * np.pi, columns))[:, None] * np.array([0.1, -1.0, 0.0])
    s = np.linspace(-1, 1, columns)
    long = np.linspace(0.0, 3.2, rows)
    flat = np.stack(
        [
            (0.9 + 0.26 * long[:, None]) * 1.25 * s[None],
            -long[:, None] * (1 + 0 * s[None]),
            0 * long[:, None] * s[None],
        ],
        -1,
    )
    start = (
        top[None]
        + long[:, None, None] * np.array([0.0, -0.55, -0.85])
        + 0.12 * long[:, None, None] * np.stack([s, 0 * s, 0 * s], 1)[None]
    )
    held = np.ones((rows, columns))
    held[0] = 0.0
    fallen = hang(
        start,
        flat,
        held,
        solid,
        steps=int(260 * _effort(fineness)),
        wind=(0.0002, 0.0001, 0.0),
        gap=0.3,
        bend=0.03,
    )
    grid, share = _fine(
        fallen, int(160 * fineness), int(130 * fineness), ragged=0.035, rng=np.random.default_rng(811)
    )
    return slab(*hemmed(thickened(grid, 0.2 - 0.04 * share), roll=0.12))


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


def hood(solid, fineness):
    """The hood: cloth held at a stiff brim, thrown back over the skull and fallen on the shoulders."""
    rows, columns = 48, 57
    top = spline(BRIM, columns)
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
    fallen = hang(start, flat, held, solid, steps=int(300 * _effort(fineness)), gap=0.44, bend=0.03, grip=0.5)
    # the cloth buckles where the stiff band ends and beside the clasp: iron that out
    row = np.arange(len(fallen))[:, None, None]
    ironed = gaussian_filter(fallen, (7.0, 5.0, 0.0), mode="nearest")
    side = np.clip((np.abs(np.linspace(-1, 1, fallen.shape[1])) - 0.5) / 0.2, 0.0, 1.0)[None, :, None]
    weight = np.maximum(np.exp(-(((row - 2 * stiff - 4) / 9.0) ** 4)), side) * np.clip(row / 4.0, 0.0, 1.0)
    fallen = fallen + weight * (ironed - fallen)
    rng = np.random.default_rng(3901)
    # the corners are cut away, so that the edge runs from the clasp over the shoulders to the back
    point = 0.86 - 0.48 * np.abs(np.linspace(-1, 1, int(280 * fineness))) ** 1.5
    grid, _ = _fine(fallen, int(220 * fineness), int(280 * fineness), ragged=0.025, rng=rng, reach=point)
    cloth = slab(*hemmed(thickened(grid, 0.25), sides=False))
    width = np.interp(
        np.linspace(-1, 1, grid.shape[1]), [-1, -0.75, 0, 0.75, 1], [0.11, 0.17, 0.21, 0.17, 0.11]
    )
    brim = tube(grid[1], width, sides=16)
    return joined([cloth, brim])
