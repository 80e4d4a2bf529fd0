"""Letters on a piece of surface: how wide their strokes and spaces are, how deep and how tall, in millimetres.

The surface is seen flat, as a map of heights. A broad bent ground and one step up or down are fitted to it together;
what is a step away from the ground is letters. Widths are twice the distance from the middle of a stroke to its sides.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from firstcast.geometry.heightmap import HeightMap, height_map
from firstcast.geometry.mesh import Mesh

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

FINE_SHARE = 0.1
"""The finest stroke is what a tenth of the strokes' length is finer than: single nicks and tips don't speak for a line."""

FINE_SPACE_SHARE = 0.03
"""The same of the spaces, which are often narrow only where a stroke's end meets its neighbour."""

MOST_PLACES = 4_000_000
"""Of a map; a larger zone is seen more coarsely."""

STEEPEST = 0.84
"""Rise of the ground over its run, 40°: beyond, letters are seen too foreshortened to be measured."""

FACES_ONE_WAY = 0.4
"""Share of the surface that must look one way on balance; both sides of a plate cancel, deep strokes take a part."""

LEAST_STEP_MM, STEP_OVER_NOISE = 0.02, 6.0
"""A step less high than this, or not this much above the ground's own roughness, is no letter."""

LINE_RATIO = 1.5
"""Where letters lie together this much longer than wide, they are a line of writing, and its way is known."""

LEVEL_PLACES = 0.4
"""A middle is no nearer to the outside than its neighbours by this: lattice noise along slanting strokes is less, and towards
the corner of a square end the distance falls by 0.7 and more."""

LEAN = 0.18
"""10°, in radians."""

_ROUNDS = 6
_BINS = 256


class Unread(StrEnum):
    """Why nothing is measured."""

    EMPTY = "the zone holds nothing of this piece's surface"
    TURNED = "the zone's surface bends too far, or looks two ways"
    NONE = "no letters stand out from the ground in the zone"
    CUT = "all letters run over the zone's edge"


@dataclass(frozen=True)
class Lettering:
    """What letters measure, in mm.

    Attributes
    ----------
    raised : bool
        Or sunk.
    stroke_fine_mm, stroke_mm : float
        What a tenth of the strokes' length is finer than, and the middle one. Sunk strokes at their mouth, raised at
        half their height.
    space_fine_mm, space_mm : float
        Of the spaces in letters and between them, no wider than letters are tall: what 3 % of their length is finer
        than, and the middle one. Inf where there is none.
    step_mm : float
        How high strokes stand, or how deep they are, along the middles of strokes.
    letter_mm : float
        Height of letters across the line of writing, the upper quartile of what hangs together. Letters in a block that is
        no clear line: the longer way of each.
    place_mm : (float, float, float)
        On a stroke that is about the finest.
    pitch_mm : float
        Between the places at which the surface was seen: widths are known to about one and a half of it.
    """

    raised: bool
    stroke_fine_mm: float
    stroke_mm: float
    space_fine_mm: float
    space_mm: float
    step_mm: float
    letter_mm: float
    place_mm: tuple[float, float, float]
    pitch_mm: float


def read_letters(mesh: Mesh, mine: Mask, *, pitch_mm: float = 0.02) -> Lettering | Unread:
    """Letters in a zone of a surface, or why there are none.

    Parameters
    ----------
    mesh : Mesh
    mine : (m,) bool
        The triangles of the zone; it should take in some of the ground round the letters.
    pitch_mm : float
        How closely the surface is seen.
    """
    corners = np.asarray(mesh.points, np.float64)[mesh.triangles[mine]]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.linalg.norm(normals, axis=1)
    if not areas.sum() > 0.0:
        return Unread.EMPTY
    up = normals.sum(axis=0)
    if np.linalg.norm(up) < FACES_ONE_WAY * areas.sum():
        return Unread.TURNED
    pitch_mm = max(pitch_mm, float(np.sqrt(0.5 * areas.sum() / MOST_PLACES)))
    seen = height_map(corners, up / np.linalg.norm(up), pitch_mm)
    known = np.isfinite(seen.heights_mm)
    if known.sum() < 100:
        return Unread.EMPTY
    parted = _parted(seen, known)
    return parted if isinstance(parted, Unread) else _measured(seen, known, *parted)


def _parted(seen: HeightMap, known: Mask) -> tuple[Floats, bool] | Unread:
    """Heights over the ground, up being out of it for raised letters and into it for sunk ones; and whether they are raised."""
    rows, columns = np.nonzero(known)
    heights = seen.heights_mm[known]
    x, y = (columns - columns.mean()) / known.shape[1], (rows - rows.mean()) / known.shape[0]
    shapes = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    every = max(1, len(x) // 100_000)
    ground = shapes @ np.linalg.lstsq(shapes[::every], heights[::every], rcond=None)[0]
    upper, fitted = np.zeros(len(x), np.bool_), np.zeros(7)
    for _ in range(_ROUNDS):
        over = heights - ground
        upper = over > _split(over)
        both = np.column_stack([shapes, upper])
        fitted = np.asarray(np.linalg.lstsq(both[::every], heights[::every], rcond=None)[0], np.float64)
        ground = shapes @ fitted[:-1]
    rise_x, rise_y = _rises(fitted, x, y, known.shape, seen.pitch_mm)
    if np.hypot(rise_x, rise_y).max() > STEEPEST:
        return Unread.TURNED
    on_border = (known & _edge(known))[known]
    raised = float(upper[on_border].mean()) < 0.5
    letters = upper if raised else ~upper
    over = heights - ground
    if letters.all() or not letters.any():
        return Unread.NONE
    level = float(np.median(over[~letters]))
    noise = 1.4826 * float(np.median(np.abs(over[~letters] - level)))
    step = float(np.median(np.abs(over[letters] - level)))
    if step < max(LEAST_STEP_MM, STEP_OVER_NOISE * noise):
        return Unread.NONE
    away = np.full(known.shape, 0.0)
    away[known] = (over - level) * (1.0 if raised else -1.0)
    return away, raised


def _rises(
    fitted: Floats, x: Floats, y: Floats, shape: tuple[int, ...], pitch_mm: float
) -> tuple[Floats, Floats]:
    """The fitted ground's rise over its run along columns and rows."""
    _, a, b, xx, xy, yy = fitted[:6]
    along_x = (a + 2 * xx * x + xy * y) / (shape[1] * pitch_mm)
    along_y = (b + 2 * yy * y + xy * x) / (shape[0] * pitch_mm)
    return along_x, along_y


def _split(values: Floats) -> float:
    """The threshold between two classes that keeps each closest to its mean.

    Source: Otsu, IEEE Trans. Syst. Man Cybern. 9 (1979) 62 (from memory).
    """
    counts, edges = np.histogram(values, _BINS)
    middles = 0.5 * (edges[1:] + edges[:-1])
    below = np.cumsum(counts)[:-1].astype(np.float64)
    above = below[-1] + counts[-1] - below
    sums = np.cumsum(counts * middles)
    between = np.maximum(below, 1.0) * np.maximum(above, 1.0)
    between *= (sums[:-1] / np.maximum(below, 1.0) - (sums[-1] - sums[:-1]) / np.maximum(above, 1.0)) ** 2
    best = np.nonzero(between >= between.max() * (1.0 - 1e-9))[0]
    return float(edges[1 + (best[0] + best[-1]) // 2])


def _measured(seen: HeightMap, known: Mask, away: Floats, raised: bool) -> Lettering | Unread:
    """Widths, depth and letter height of what stands away from the ground."""
    pitch_mm = seen.pitch_mm
    rough = _whole(away > 0.5 * float(np.median(away[away > _split(away[known])])), known)
    if not rough.any():
        return Unread.CUT
    step = float(np.median(away[_middles(rough)[0]]))
    shallow, half, deep = (_whole(away > share * step, known) for share in (0.25, 0.5, 0.75))
    if not (shallow.any() and half.any()):
        return Unread.CUT
    at, widths = _middles(half if raised else shallow)
    if raised:
        corrected, grows = widths, 0.0
    else:
        corrected = _mouths(at, widths, deep)
        grows = float(np.median(corrected - widths))
    fine = float(np.quantile(corrected, FINE_SHARE))
    nearest = int(np.argmin(np.abs(corrected - fine)))
    row, column = (int(index[nearest]) for index in np.nonzero(at))
    letter_mm = _letter_height(half) * pitch_mm
    between, spaces = _middles(~(half if raised else shallow))
    inside = known[between] & (spaces * pitch_mm <= letter_mm)
    spaces = np.maximum(spaces[inside] - grows, 0.0) if inside.any() else np.array([np.inf])
    return Lettering(
        raised,
        fine * pitch_mm,
        float(np.median(corrected)) * pitch_mm,
        float(np.quantile(spaces, FINE_SPACE_SHARE)) * pitch_mm,
        float(np.median(spaces)) * pitch_mm,
        step,
        letter_mm,
        seen.place_mm(row, column),
        pitch_mm,
    )


def _whole(mask: Mask, known: Mask) -> Mask:
    """Those pieces of a mask that don't run over the edge of what is seen."""
    pieces, count = _pieces(mask)
    keeps = np.ones(count + 1, np.bool_)
    keeps[np.unique(pieces[_edge(known)])] = False
    keeps[0] = False
    return keeps[pieces]


def _pieces(mask: Mask) -> tuple[npt.NDArray[np.int64], int]:
    """Numbers from 1 for what hangs together, by corners too; and how many there are."""
    from scipy import ndimage  # slow to import

    pieces = np.zeros(mask.shape, np.int64)
    ndimage.label(mask, np.ones((3, 3)), output=pieces)
    return pieces, int(pieces.max())


def _edge(mask: Mask) -> Mask:
    """All but what lies inside a mask whose holes are filled, a place from its outside or more."""
    from scipy import ndimage  # slow to import

    filled = np.asarray(ndimage.binary_fill_holes(mask), np.bool_)
    return ~np.asarray(ndimage.binary_erosion(filled), np.bool_)


def _middles(mask: Mask) -> tuple[Mask, Floats]:
    """Where a mask is as far from its outside as anywhere beside it, and its width there, in places of the lattice."""
    from scipy import ndimage  # slow to import

    away = np.asarray(ndimage.distance_transform_edt(mask), np.float64)
    beside = np.asarray(ndimage.maximum_filter(away, 3), np.float64)
    at = mask & (away >= beside - LEVEL_PLACES)
    # N places across are 2 d - 1 (odd N) or 2 d (even N) for the distance d to the nearest place outside
    return at, 2.0 * beside[at] - 0.5


def _mouths(at: Mask, widths: Floats, deep: Mask) -> Floats:
    """Widths at the mouth, from those at a quarter of the depth and those at three: exact for straight sides."""
    from scipy import ndimage  # slow to import

    if not deep.any():
        return 1.5 * widths
    bottom, bottoms = _middles(deep)
    wide = np.zeros(at.shape)
    wide[bottom] = bottoms
    found = ndimage.distance_transform_edt(~bottom, return_distances=False, return_indices=True)
    rows, columns = np.asarray(found)[:, at]
    far = np.hypot(*(np.stack([rows, columns]) - np.nonzero(at)))
    lower = np.where(far <= 0.5 * widths + 1.0, wide[rows, columns], 0.0)
    return widths + 0.5 * (widths - np.minimum(lower, widths))


def _letter_height(mask: Mask) -> float:
    """Upper quartile of the letters' extents across the line of writing, in places of the lattice.

    The way the letters lie along leans a little with their forms: the least extent within `LEAN` of it counts.
    """
    pieces, count = _pieces(mask)
    places = np.argwhere(mask).astype(np.float64)
    owner = pieces[mask]
    _, spread, ways = np.linalg.svd(np.cov((places - places.mean(axis=0)).T))
    edge = _edge(mask)[mask]
    places, owner = places[edge], owner[edge]
    which = np.arange(1, count + 1)
    line = spread[0] > LINE_RATIO**2 * spread[1] and count > 1
    if not line:
        extents = [_extents(places @ way, owner, which) for way in ways]
        return float(np.quantile(np.max(extents, axis=0), 0.75))
    leans = np.linspace(-LEAN, LEAN, 41)
    across = np.cos(leans)[:, None] * ways[1] + np.sin(leans)[:, None] * ways[0]
    return min(float(np.quantile(_extents(places @ way, owner, which), 0.75)) for way in across)


def _extents(along: Floats, owner: npt.NDArray[np.integer], which: npt.NDArray[np.integer]) -> Floats:
    """How far each piece reaches, its own places included."""
    from scipy import ndimage  # slow to import

    return np.asarray(ndimage.maximum(along, owner, which) - ndimage.minimum(along, owner, which) + 1.0)
