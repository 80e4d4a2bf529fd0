"""Places narrower than a limit, gathered into regions that a person can be shown: the gravest first.

Not every narrow place is a thin wall or a narrow gap:

- beside the edge that a wall tapers to it is as thin as one likes: what lies within `behind_mm` of such an edge is left out,
  so that a blade counts by what it measures there, and a crease by whether it is still narrow there;
- where two edges of the mesh lead to the place opposite, both lie on one fold of the surface, finer than the mesh
  can tell: what it reads is how its triangles happen to lie;
- a place counts by the median of all within `ROUND_MM` of it, wide ones too: single vertices of a contour lie askew;
- a region is as narrow as the narrowest run of places in it that is as large as `PATCH_MM2`.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.starred import Starred, starred
from firstcast.geometry.threads import side_by_side
from firstcast.kernels import narrow as kernels

BEHIND_WALL_MM = 0.3
"""How far behind its edge a wall is measured: about ten pixels of a printer. Nearer to it every edge is thin."""

PATCH_MM2 = 0.25
"""Surface of the least patch that counts, both sides together: some 0.35 mm each way. What is thin on less is a nick."""

PARTS_MOST = 1 << 16

SHARE = 1 << 15

ROUND_MM = 0.15
"""How far round a place its reading is evened out: half of what is measured behind an edge."""


class NarrowRegion(NamedTuple):
    """A run of places narrower than the limit, both sides of the wall or gap together.

    Attributes
    ----------
    least_mm, middle_mm : float
        The least width that the places of some patch of `PATCH_MM2` stay within; the width that half of the
        region's surface lies below.
    area_mm2 : float
        Surface of the places, both sides.
    place_mm : (float, float, float)
        The last place of that patch.
    part, across : int
        The parts of either side, the lower first; 0 if no parts were given.
    vertices : (k,) int64
        The places themselves, in rising order.
    """

    least_mm: float
    middle_mm: float
    area_mm2: float
    place_mm: tuple[float, float, float]
    part: int
    across: int
    vertices: npt.NDArray[np.int64]


class Places(NamedTuple):
    """One side of `firstcast.geometry.walls.Widths`: width (n,), the triangle opposite (n,), how far the edge is (n,)."""

    width_mm: npt.NDArray[np.float32]
    opposite: npt.NDArray[np.int32]
    edge_mm: npt.NDArray[np.float32]


def narrow_regions(
    mesh: Mesh,
    places: Places,
    *,
    limit_mm: float,
    behind_mm: float = BEHIND_WALL_MM,
    part_of_triangle: npt.NDArray[np.integer] | None = None,
    least_area_mm2: float = PATCH_MM2,
    surface: Starred | None = None,
) -> list[NarrowRegion]:
    """Regions of vertices whose reading is below `limit_mm`, by their least reading, then the larger first.

    Parameters
    ----------
    places : Places
        Of walls or of gaps.
    limit_mm, behind_mm : float
        What counts as narrow, and how far behind an edge it is measured.
    part_of_triangle : (m,) integers, optional
    least_area_mm2 : float
        Regions with less surface are left out, and those without a patch.
    surface : Starred, optional
        The same mesh with its stars, if it was made already.

    Notes
    -----
    Two places belong together if the same two parts lie on either side of them, and an edge joins them or one lies at
    a corner of the triangle opposite the other. A vertex stands for a third of the triangles round it.
    """
    _check_lengths(len(places.width_mm), len(places.opposite), len(mesh.points))
    surface = starred(mesh, where="narrow regions") if surface is None else surface
    rows, width = _real(places, tuple(surface), limit_mm, behind_mm)
    area = _areas(rows, tuple(surface))
    order = np.lexsort((rows, width))
    rows, width, area = rows[order], width[order], area[order]
    between = _between(surface, part_of_triangle, places.opposite, rows)
    starts, lower = _pairs(surface, rows, places.opposite, between)
    label, reached = np.arange(len(rows), dtype=np.int32), np.zeros(len(rows), np.bool_)
    kernels.grow_patches(lower, starts, area.copy(), PATCH_MM2, label, reached)
    firsts = np.flatnonzero(reached)
    firsts = firsts[np.unique(label[firsts], return_index=True)[1]]
    members = np.argsort(label, kind="stable")
    ends = np.searchsorted(label[members], label[firsts], side="right")
    begins = np.searchsorted(label[members], label[firsts])
    found = [
        _region(mesh, between, (rows, width, area), first, members[begin:end])
        for first, begin, end in zip(firsts, begins, ends, strict=True)
    ]
    found = [region for region in found if region.area_mm2 >= least_area_mm2]
    return sorted(found, key=lambda region: (region.least_mm, -region.area_mm2, region.place_mm))


def _region(mesh: Mesh, between, readings, first, mine) -> NarrowRegion:
    """The region of the places `mine`, narrowest first, whose patch is large enough at the place `first`."""
    rows, width, area = readings
    upto = np.cumsum(area[mine])
    x, y, z = (float(c) for c in mesh.points[rows[first]])
    return NarrowRegion(
        float(width[first]),
        float(width[mine[np.searchsorted(upto, upto[-1] / 2.0)]]),
        float(upto[-1]),
        (x, y, z),
        int(between[first] // PARTS_MOST),
        int(between[first] % PARTS_MOST),
        np.sort(rows[mine]),
    )


def _between(surface: Starred, part_of_triangle, opposite, rows) -> npt.NDArray[np.int64]:
    """(k,) the parts on either side of each of the places `rows`, as lower · `PARTS_MOST` + higher."""
    if part_of_triangle is None:
        return np.zeros(len(rows), np.int64)
    of_triangle = np.asarray(part_of_triangle)
    here, there = (
        of_triangle[numbers].astype(np.int64)
        for numbers in (surface.star[surface.start[rows]], opposite[rows])
    )
    return np.minimum(here, there) * PARTS_MOST + np.maximum(here, there)


def _check_lengths(widths: int, opposites: int, points: int) -> None:
    if widths != points or opposites != points:
        raise InputError(
            f"{widths} widths and {opposites} opposites for {points} vertices",
            where="narrow regions",
            mend="Give the readings of the same mesh.",
        )


def _real(places: Places, arrays, limit_mm: float, behind_mm: float):
    """The places (k,) below the limit, not beside an edge nor on a fold of the mesh; their widths (k,), evened out."""
    width = np.where(places.width_mm < limit_mm, places.width_mm, np.float32(np.inf))
    beside = np.isfinite(width) & (places.edge_mm < behind_mm)
    rows = np.flatnonzero(np.isfinite(width) & ~beside)
    folds = np.zeros(len(rows), np.bool_)
    side_by_side(
        lambda first, last: kernels.find_folds(
            rows[first:last], places.opposite, arrays, behind_mm, folds[first:last]
        ),
        len(rows),
        SHARE,
    )
    width[rows[folds]] = np.inf
    width[beside] = -1.0
    rows = rows[~folds]
    evened = np.empty(len(rows), np.float32)
    side_by_side(
        lambda first, last: kernels.middle_widths(
            rows[first:last], arrays, width, ROUND_MM, evened[first:last]
        ),
        len(rows),
        SHARE,
    )
    return rows[np.isfinite(evened)], evened[np.isfinite(evened)]


def _areas(rows, arrays) -> npt.NDArray[np.float64]:
    """(k,) a third of the area of the triangles round each of the vertices `rows`."""
    areas = np.empty(len(rows))
    side_by_side(
        lambda first, last: kernels.vertex_areas(rows[first:last], arrays, areas[first:last]),
        len(rows),
        SHARE,
    )
    return areas


def _pairs(surface: Starred, rows, opposite, between):
    """Which places lie together: for each of `rows` where its list starts (k + 1,), and the earlier places it lists.

    Those between the same parts that an edge joins, or of which one lies at a corner of the triangle opposite the other.
    """
    number = np.full(len(surface.points), -1, np.int32)
    number[rows] = np.arange(len(rows), dtype=np.int32)
    starts = np.zeros(len(rows) + 1, np.int64)
    given = np.sort(rows), number, opposite, between, tuple(surface)
    kernels.list_pairs(*given, starts[1:], np.empty(0, np.int32))
    np.cumsum(starts, out=starts)
    lower = np.empty(starts[-1], np.int32)
    if len(lower):
        kernels.list_pairs(*given, starts[:-1].copy(), lower)
    return starts, lower
