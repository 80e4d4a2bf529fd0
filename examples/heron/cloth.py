"""Cloth: the cloak, its lining, the tabard; cut flat, hung from pins and left to fall on the bird."""

import numpy as np
from body import torso_clay
from clay import Clay
from drape_loops import drape
from field_loops import fill_field
from mantle import cloak_sheet, pleats
from mending import patch
from pose import LEFT_ARM, LEFT_LEG, NECK, RIGHT_ARM, RIGHT_LEG, SKULL
from scipy.ndimage import gaussian_filter
from surfaces import joined, open_sheet, resampled, round_ends, sheet_normals, slab, spline, tube

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


def effort(fineness):
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


def cut_fine(points, rows, columns, *, ragged, rng, reach: float | np.ndarray = 1.0):
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
    """The long cloak over both shoulders, blown back and to his left, with a rolled hem and a patch."""
    grid, down, across = cloak_sheet(solid, int(260 * fineness), int(420 * fineness))
    rng = np.random.default_rng(4877)
    wear = gaussian_filter(rng.uniform(-1, 1, grid.shape[1]), grid.shape[1] / 60.0, mode="nearest")
    grid[..., 2] += 0.5 * wear * np.clip((down - 0.8) / 0.2, 0.0, 1.0)
    folds = gaussian_filter(pleats(down, across), 2.0 * fineness)
    skins = hemmed(thickened(grid, 0.28 - 0.05 * down, folds=folds))
    mend = {"down": 0.79, "across": 0.625, "wide": 1.2, "tall": 1.4, "turn": 0.12, "stitches": 8}
    lining = _lining(solid, 40, int(240 * fineness))[-1]
    welt = tube(*round_ends(lining, 0.13), sides=16)
    return joined([slab(*skins), welt, *patch(skins[0], rng=rng, **mend)])


def hem_veil(solid, fineness):
    """The thin lining under the cloak: a sheet without thickness that ends above the cloak's hem."""
    return open_sheet(_lining(solid, int(130 * fineness), int(240 * fineness)))


def _lining(solid, rows, columns):
    """(rows, columns, 3) the lining, its upper and side edges within the cloak."""
    # it leaves the cloak steeply: a slow wedge between the two could neither be printed nor proved
    middle = 1.0 - np.exp(-((1.0 - np.abs(np.linspace(-1.0, 1.0, columns))) / 0.12))
    reach = 0.5 + 0.16 * middle
    span = {"top": 0.6, "bottom": 1.0, "right": 0.2, "left": 0.82}
    grid, down, across = cloak_sheet(solid, rows, columns, reach=reach, **span)
    fallen = np.clip((down - 0.6) / 0.4, 0.0, 1.0)
    normals = sheet_normals(gaussian_filter(grid, (3.0, 3.0, 0.0), mode="nearest"))
    waves = 0.07 * fallen * np.sin(40.0 * across + 2.0 * np.sin(9.0 * across))
    inward = (
        pleats(down, across) * (1.0 - 0.8 * middle * fallen)
        - 0.13
        + middle * (waves - 0.65 * (1.0 - np.exp(-fallen / 0.1)))
    )
    return grid + inward[..., None] * normals


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
        steps=int(260 * effort(fineness)),
        wind=(0.0002, 0.0001, 0.0),
        gap=0.3,
        bend=0.03,
    )
    grid, share = cut_fine(
        fallen, int(160 * fineness), int(130 * fineness), ragged=0.035, rng=np.random.default_rng(811)
    )
    return slab(*hemmed(thickened(grid, 0.25 - 0.03 * share), roll=0.15))
