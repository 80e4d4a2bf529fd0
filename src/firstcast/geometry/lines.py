"""Lines with sloping sides: V grooves, creases and roof-shaped ridges, by sections across them.

Widths (`firstcast.geometry.walls`) are read where two surfaces face each other. The flanks of a V don't, so here a line
is found by how the surface bends, and measured on a profile across it (`firstcast.kernels.line_sections`):

- *where*: the curvature tensor over a small window; its greatest eigenvalue says how sharply the surface folds, the
  eigenvector which way the fold runs (`firstcast.kernels.bends`). Pits and knobs give a section or two, but no line.
- *how wide and deep*: on the profile in the plane across the fold, as far out to both sides as the greatest mouth. The
  mouth lies where the flank's angle has fallen to half of its steepest; the depth is measured from the chord between
  both mouths to the bottom. The edge of a block or a corner between two forms has no mouth.
- *whether its sides slope*: from a third to two thirds of the depth the width grows by `LEAST_GROWTH` to `MOST_GROWTH`.
  A sharp V doubles there, the section of a ball grows 1.41 times, a square groove not at all, and where two
  round forms touch it grows more than 3 times: that is a crease between forms. Nor does it narrow again towards its mouth.
- *what it lies in*: the ground beyond both mouths stays near their level (`GROOVE_GROUND`, `RIDGE_GROUND`).

A ridge is read as a groove seen from within the body: its width is that of its foot, its depth is its height.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.starred import Starred, starred
from firstcast.geometry.threads import side_by_side
from firstcast.kernels import bends as bend_kernels
from firstcast.kernels import facets as facet_kernels
from firstcast.kernels import line_sections as section_kernels

WINDOW_MM = 0.05
"""Standard deviation of the window that bends are taken over: about a quarter of the least groove."""

MOST_ROUNDS = 8
"""How often tensors are spread over their neighbours at most."""

RING_VARIANCE = 3.0 / 7.0
"""By how much one round of spreading widens a window, in squares of an edge, along one axis: a ring of six at one edge's
length has 6/7 · 1/2."""

LEAST_BEND_PER_MM = 3.0
"""Least curvature of a fold, radians per mm: of a round-bottomed groove 0.33 mm wide and 0.04 mm deep, 8 d / w²."""

APART_MM = 0.15
"""Sections along a line lie about so far apart."""

ROUND_MM = 0.1
"""How far round a place its normal is evened out, before the profile itself says how it lies: a vertex may lie beside the fold."""

LEAST_DEPTH_MM = 0.03
"""What is shallower is no line: less than a layer of a print. Chosen, no source: 0.05 mm lost a binding of 0.06 mm of the demo."""

MOST_OPENING_DEG = 140.0
"""What opens wider is a soft dent or swelling."""

LEAST_GROWTH, MOST_GROWTH = 1.3, 3.0
"""Width at two thirds of the depth over that at a third: between those of parallel sides and of a crease between round forms."""

GROOVE_GROUND, RIDGE_GROUND = 1.25, 0.5
"""How far off the mouth's level the surface lies at most within half a width beyond it, over the depth. A groove may lie beside
the next, at 1; a ridge stands on a ground that runs on: what is left between grooves, and the crest of a form, does not."""

SAME_MM = 0.07
"""Sections whose bottoms lie nearer together are of the same place of the same line."""

REACHES_MM = 0.35
"""Sections of one line lie no farther apart: one between may be missing."""

ALIGNED = 0.7
"""Cosine between two sections' ways along, and between these and the way from one to the other, in one line."""

SHARE = 1 << 14


class LinePlaces(NamedTuple):
    """Sections across lines, k of them.

    Attributes
    ----------
    raised : (k,) bool
    place_mm : (k, 3) float64
        The bottom of the groove, or the ridge's crest.
    way : (k, 3) float64
        Along the line, of length 1.
    width_mm, depth_mm, opening_deg : (k,) float32
        At the mouth or foot; from there to the bottom or crest; the angle between the flanks.
    triangles : (k, 3) int32
        Where one mouth, the bottom and the other mouth lie.
    """

    raised: npt.NDArray[np.bool_]
    place_mm: npt.NDArray[np.float64]
    way: npt.NDArray[np.float64]
    width_mm: npt.NDArray[np.float32]
    depth_mm: npt.NDArray[np.float32]
    opening_deg: npt.NDArray[np.float32]
    triangles: npt.NDArray[np.int32]

    def only(self, rows: npt.NDArray) -> "LinePlaces":
        """Some of them."""
        return self._replace(**{name: values[rows] for name, values in self._asdict().items()})


class Line(NamedTuple):
    """Sections that follow one another: rows of `LinePlaces` in rising order, and the length along them."""

    rows: npt.NDArray[np.int64]
    length_mm: float


def read_lines(mesh: Mesh, *, most_mm: float, surface: Starred | None = None) -> LinePlaces:
    """Sections across every line with sloping sides whose mouth or foot is at most `most_mm` wide.

    Profiles are walked so far to either side, so its sides are no longer than that either.

    Parameters
    ----------
    mesh : Mesh
        Closed, outward. A line is read as finely as the mesh draws it: its flanks should be two edges wide.
    surface : Starred, optional
        The same mesh with its stars, if it was made already.

    Raises
    ------
    InputError
        A width that is not positive, or no triangles.
    """
    if not 0.0 < most_mm < np.inf:
        raise InputError(f"a greatest width of {most_mm} mm", where="lines", mend="Give a positive length.")
    surface = starred(mesh, where="lines") if surface is None else surface
    points, triangles = surface.points, surface.triangles
    if not len(triangles):
        raise InputError("a mesh without triangles", where="lines", mend="Give a closed body.")
    arrays = tuple(surface)
    normals = np.empty((len(triangles), 3), np.float32)
    side_by_side(
        lambda first, last: facet_kernels.unit_normals(first, last, points, triangles, normals),
        len(triangles),
        SHARE,
    )
    tensors, outward = _tensors(arrays, normals)
    rows, ways, sides = _folds(arrays, tensors)
    chosen = np.empty(len(rows), np.int64)
    count = bend_kernels.choose_spaced(rows, sides, APART_MM, arrays, np.zeros(len(points), np.uint8), chosen)
    chosen = chosen[:count]
    return _sections(arrays, outward, rows[chosen], ways[chosen], sides[chosen], most_mm)


def _tensors(arrays, normals) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """(n, 7) float32: the bends round every vertex over a window of about `WINDOW_MM`; (n, 3) its area vector."""
    points, triangles, *stars = arrays
    tensors, wider = np.empty((len(points), 7), np.float32), np.empty((len(points), 7), np.float32)
    outward = np.empty((len(points), 3), np.float32)
    side_by_side(
        lambda first, last: bend_kernels.bend_tensors(first, last, arrays, normals, tensors, outward),
        len(points),
        SHARE,
    )
    edge2 = sum(
        side_by_side(
            lambda first, last: bend_kernels.squared_edges(first, last, points, triangles),
            len(triangles),
            SHARE,
        )
    ) / len(triangles)
    rounds = round(WINDOW_MM**2 / (RING_VARIANCE * max(edge2, 1e-12)))
    for _ in range(min(rounds, MOST_ROUNDS)):
        side_by_side(
            lambda first, last, tensors=tensors, wider=wider: bend_kernels.spread_tensors(
                first, last, triangles, *stars, tensors, wider
            ),
            len(points),
            SHARE,
        )
        tensors, wider = wider, tensors
    return tensors, outward


def _folds(arrays, tensors):
    """Vertices (k,) where the surface folds along a line, the sharpest first; along it (k, 3); 1 for a valley, 2 for a ridge."""
    xx, yy, zz, xy, xz, yz, area = tensors.T
    size2 = xx**2 + yy**2 + zz**2 + 2.0 * (xy**2 + xz**2 + yz**2)
    rows = np.flatnonzero(size2 > (LEAST_BEND_PER_MM * area) ** 2)
    matrices = np.empty((len(rows), 3, 3))
    for (i, j), values in zip(
        ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2)), tensors[rows, :6].T, strict=True
    ):
        matrices[:, i, j] = matrices[:, j, i] = values
    bend, axes = np.empty((len(rows), 3)), np.empty((len(rows), 3, 3))

    def solve(first: int, last: int) -> None:
        bend[first:last], axes[first:last] = np.linalg.eigh(matrices[first:last])

    side_by_side(solve, len(rows), SHARE)
    most = np.abs(bend).argmax(axis=1)
    mine = np.arange(len(rows))
    across, ways = bend[mine, most] / area[rows], axes[mine, :, most]
    sharpest = np.lexsort((rows, -np.abs(across)))
    sides = np.where(across > 0.0, 1, 2).astype(np.uint8)
    return rows[sharpest], np.ascontiguousarray(ways[sharpest]), sides[sharpest]


def _sections(arrays, area_vectors, seeds, ways, sides, most_mm: float) -> LinePlaces:
    """The sections across vertices that are grooves or ridges with sloping sides."""
    outward = np.empty((len(seeds), 3))
    side_by_side(
        lambda first, last: bend_kernels.mean_normals(
            first, last, seeds, ROUND_MM, arrays, area_vectors, outward
        ),
        len(seeds),
        SHARE >> 4,
    )
    ways = ways - np.sum(ways * outward, axis=1, keepdims=True) * outward
    length = np.linalg.norm(ways, axis=1)
    sound = (length > 0.5) & (np.linalg.norm(outward, axis=1) > 0.5)
    seeds, sides, outward = seeds[sound], sides[sound], np.ascontiguousarray(outward[sound])
    ways = ways[sound] / length[sound, None]
    readings = np.empty((len(seeds), section_kernels.READINGS), np.float32)
    places, triangles = np.zeros((len(seeds), 3)), np.empty((len(seeds), 3), np.int32)
    side_by_side(
        lambda first, last: section_kernels.read_sections(
            first, last, seeds, ways, outward, sides, most_mm, arrays, readings, places, triangles
        ),
        len(seeds),
        SHARE >> 4,
    )
    width, depth, opening, third, two_thirds, ground = readings.T
    found = LinePlaces(sides == 2, places, ways, width, depth, opening, triangles)
    # what was not measured is NaN, and no comparison holds for it
    lines = (
        (width <= most_mm)
        & (depth >= LEAST_DEPTH_MM)
        & (opening <= MOST_OPENING_DEG)
        & (two_thirds >= LEAST_GROWTH * third)
        & (two_thirds <= MOST_GROWTH * third)
        & (two_thirds <= width)
        & (ground <= np.where(sides == 2, RIDGE_GROUND, GROOVE_GROUND) * depth)
    )
    return found.only(np.flatnonzero(lines))


def joined(places: LinePlaces, group: npt.NDArray[np.integer]) -> list[Line]:
    """Sections gathered into lines: those of one group (k,) and side that follow one another, the longest line first.

    The length is that of the shortest net through a line's sections, and `APART_MM` for its two ends.
    """
    # Imported where it is used: opening a job must not wait for it.
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components, minimum_spanning_tree
    from scipy.spatial import KDTree

    count = len(places.raised)
    if not count:
        return []
    kind = 2 * np.asarray(group, np.int64) + places.raised
    pairs = KDTree(places.place_mm).query_pairs(REACHES_MM, output_type="ndarray").reshape(-1, 2)
    pairs = pairs[kind[pairs[:, 0]] == kind[pairs[:, 1]]]
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    away = places.place_mm[pairs[:, 1]] - places.place_mm[pairs[:, 0]]
    length = np.linalg.norm(away, axis=1)
    once = _once(pairs[length < SAME_MM], count)
    here, there = (places.way[pairs[:, k]] for k in (0, 1))
    along = np.minimum(*(np.abs(np.sum(away * way, axis=1)) for way in (here, there)))
    mine = once[pairs].all(axis=1) & (along > ALIGNED * length)
    mine &= np.abs(np.sum(here * there, axis=1)) > ALIGNED
    links = coo_matrix((length[mine], pairs[mine].T), shape=(count, count)).tocsr()
    number, label = connected_components(links, directed=False)
    net = minimum_spanning_tree(links).tocoo()
    lengths = np.bincount(label[net.row], weights=net.data, minlength=number) + APART_MM
    rows = np.flatnonzero(once)
    rows = rows[np.argsort(label[rows], kind="stable")]
    lines = [Line(mine, float(lengths[label[mine[0]]])) for mine in np.split(rows, _starts(label[rows]))]
    return sorted(lines, key=lambda line: (-line.length_mm, int(line.rows[0])))


def _once(same: npt.NDArray[np.int64], count: int) -> npt.NDArray[np.bool_]:
    """(count,) which sections are left when of two that are the same (j, 2) the later goes, unless the first has gone."""
    once = np.ones(count, np.bool_)
    for first, second in same.tolist():
        if once[first]:
            once[second] = False
    return once


def _starts(label: npt.NDArray[np.integer]) -> npt.NDArray[np.int64]:
    """Where runs of the same value begin, but the first."""
    return np.flatnonzero(np.diff(label)) + 1
