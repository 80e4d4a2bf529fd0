"""Where a surface is so nearly along the layers that their steps show on it as terraces.

On a surface at an angle to the layers a step follows on the last by the layer's height over the angle's tangent. Paint
levels steps that its ball does not fit between, and finer ones than the eye tells apart are no terraces. What is left lies
within one angle of the layers: planes, and the crests and hollows of whatever is curved.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.neighbourhood import with_own_points
from firstcast.kernels.components import label_components

SEEN_MM = 0.3
"""Steps nearer to each other than this don't count, whatever the paint. An eye tells lines one minute of arc apart, 0.07 mm at
250 mm (textbook, from memory); light and dark of a terrace are two, and twice that catches the eye. Chosen."""

LEAST_MM2, LEAST_WIDTH_MM = 4.0, 1.0
"""Smaller or narrower regions are left out: chosen, no source. A ball's top has 4 mm² within 9.5° from 6.8 mm radius on."""

SPREAD = (0.1, 0.9)
"""Shares of a region's area, the steepest first, at which its narrow and its wide terraces are read."""

STEP = 1 << 18
"""Triangles read at once: what is held beside the mesh stays below 50 MB."""


class Terraces(NamedTuple):
    """One region that shows as terraces.

    Attributes
    ----------
    triangles : (k,) int64
        Rows of the mesh's triangles.
    area_mm2 : float
    width_mm : float
        Twice the area over the length of the region's edge: of a long strip its width, of a disc its radius.
    narrow_mm, wide_mm : float
        How wide the terraces are on a tenth of the area and on nine tenths of it: at most the root of the area.
    top : bool
        Whether it faces away from the build platform.
    place_mm : (3,) float64
        Middle of the triangle nearest to the middle of the region's area.
    """

    triangles: npt.NDArray[np.int64]
    area_mm2: float
    width_mm: float
    narrow_mm: float
    wide_mm: float
    top: bool
    place_mm: npt.NDArray[np.float64]


def showing_mm(film_mm: float) -> float:
    """How far apart steps must be to show under a film of paint: its ball, whose radius is the film, does not bridge them."""
    return max(SEEN_MM, 2.0 * film_mm)


def terrace_deg(layer_mm: float, apart_mm: float) -> float:
    """The angle to the layers at which steps follow one another so far apart."""
    return float(np.degrees(np.arctan2(layer_mm, apart_mm)))


def terrace_width_mm(layer_mm: float, off_deg: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """How far apart steps follow on surfaces so far off the layers; inf along them."""
    with np.errstate(divide="ignore"):
        return np.divide(layer_mm, np.tan(np.radians(np.asarray(off_deg, np.float64))))


def terraces(
    mesh: Mesh,
    up: npt.ArrayLike,
    *,
    layer_mm: float,
    apart_mm: float,
    least_mm2: float = LEAST_MM2,
    least_width_mm: float = LEAST_WIDTH_MM,
    left_out: npt.NDArray[np.integer] | None = None,
) -> list[Terraces]:
    """The regions where steps follow one another by `apart_mm` or more.

    Parameters
    ----------
    mesh : Mesh
        Closed and outward, millimetres; points that triangles share are one.
    up : (3,) float64
        Normal of the layers, of length 1, away from the build platform.
    layer_mm, apart_mm : float
        Height of a layer; `apart_mm` as of `showing_mm`.
    least_mm2, least_width_mm : float
        Smaller and narrower regions are left out.
    left_out : (k,) integers, optional
        Triangles that don't count, as those of flat faces that are told already.

    Returns
    -------
    list of Terraces
        The largest first.

    Raises
    ------
    InputError
        A layer or distance that is not positive.
    """
    if not (layer_mm > 0 and apart_mm > 0):
        raise InputError(
            f"layers of {layer_mm} mm, steps {apart_mm} mm apart", where="terraces", mend="Give more than 0."
        )
    normal = np.asarray(up, np.float64)
    rows, doubled = _shallow(mesh, normal, terrace_deg(layer_mm, apart_mm))
    if left_out is not None:
        kept = np.isin(rows, left_out, invert=True)
        rows, doubled = rows[kept], doubled[kept]
    lift = doubled @ normal
    found = [
        region
        for top in (True, False)
        for region in _regions(mesh, rows, doubled, (lift > 0) == top, least_mm2)
    ]
    told = [_read(mesh, inside, vectors, normal, layer_mm) for inside, vectors in found]
    told = [region for region in told if region.width_mm >= least_width_mm]
    return sorted(told, key=lambda region: -region.area_mm2)


def _shallow(
    mesh: Mesh, up: npt.NDArray[np.float64], within_deg: float
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """Triangles within an angle of the layers: their rows (k,), and outward normals of twice their area (k, 3)."""
    least = np.cos(np.radians(within_deg))
    rows, normals = [np.zeros(0, np.int64)], [np.zeros((0, 3))]
    for start in range(0, len(mesh.triangles), STEP):
        corners = np.asarray(mesh.points[mesh.triangles[start : start + STEP]], np.float64)
        doubled = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        length = np.linalg.norm(doubled, axis=1)
        near = (length > 0) & (np.abs(doubled @ up) >= least * length)
        rows.append(start + np.flatnonzero(near))
        normals.append(doubled[near])
    return np.concatenate(rows), np.concatenate(normals)


def _regions(
    mesh: Mesh, rows, doubled, chosen: npt.NDArray[np.bool_], least_mm2: float
) -> Iterator[tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]]:
    """The connected regions of the chosen triangles that are large enough: rows, and normals of twice the area."""
    rows, doubled = rows[chosen], doubled[chosen]
    area = 0.5 * np.linalg.norm(doubled, axis=1)
    if area.sum() < least_mm2:
        return
    own, _ = with_own_points(mesh.points, mesh.triangles[rows])
    labels = np.arange(len(own.points), dtype=np.int32)
    label_components(own.triangles, labels)
    region = labels[own.triangles[:, 0]]
    order = np.argsort(region, kind="stable")
    totals = np.bincount(region, weights=area)
    starts = np.searchsorted(region[order], np.arange(len(totals) + 1))
    for label in np.flatnonzero(totals >= least_mm2):
        inside = order[starts[label] : starts[label + 1]]
        yield rows[inside], doubled[inside]


def _read(mesh: Mesh, rows, doubled, up, layer_mm: float) -> Terraces:
    """What there is to say about one region."""
    length = np.linalg.norm(doubled, axis=1)
    area = 0.5 * length
    lift = doubled @ up
    level = np.linalg.norm(doubled - lift[:, None] * up, axis=1)
    off_deg = np.degrees(np.arctan2(level, np.abs(lift)))
    order = np.argsort(-off_deg, kind="stable")
    upto = np.cumsum(area[order])
    total = float(upto[-1])
    at = order[np.minimum(np.searchsorted(upto, np.multiply(SPREAD, total)), len(order) - 1)]
    narrow, wide = np.minimum(terrace_width_mm(layer_mm, off_deg[at]), np.sqrt(total))
    middles = np.asarray(mesh.points[mesh.triangles[rows]], np.float64).mean(axis=1)
    middle = area @ middles / total
    nearest = int(np.argmin(np.linalg.norm(middles - middle, axis=1)))
    return Terraces(
        rows,
        total,
        2.0 * total / max(_edge_length(mesh, rows), 1e-12),
        float(narrow),
        float(wide),
        bool(lift.sum() > 0),
        middles[nearest],
    )


def _edge_length(mesh: Mesh, rows) -> float:
    """Length of the edges that only one triangle of a region has."""
    triangles = mesh.triangles[rows].astype(np.int64)
    edges = np.sort(
        np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1
    )
    named, count = np.unique(edges[:, 0] * len(mesh.points) + edges[:, 1], return_counts=True)
    single = named[count == 1]
    ends = np.asarray(mesh.points, np.float64)[
        np.stack([single // len(mesh.points), single % len(mesh.points)])
    ]
    return float(np.linalg.norm(ends[1] - ends[0], axis=1).sum())
