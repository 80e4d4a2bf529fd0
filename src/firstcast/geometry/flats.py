"""Flat faces that lie along a body's layers or square to them.

A face is flat here if its triangles' normals keep within a few degrees of one direction, over an area and a width that
are worth a look: so a wide dome's top may be one, and a rod's side is none. Triangles are taken where their own
normal is within the angle of the layers or of their normal, gathered by direction, and joined where they touch.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.neighbourhood import with_own_points
from firstcast.kernels.components import label_components

STEP = 1 << 18
"""Triangles read at once: what is held beside the mesh stays below 50 MB."""

BINS_PER_ANGLE = 4
"""How finely directions along the layers are told apart, per angle of tolerance."""

LEAST_FILL = 0.15
"""Area over that of the rectangle with the same moments: 1 of a rectangle, 3/π of a disc, below 0.075 of the crest
of any torus, whose rectangle is wide though the crest is not."""


class FlatFace(NamedTuple):
    """A flat face of a body.

    Attributes
    ----------
    triangles : (k,) int64
        Rows of the mesh's triangles.
    area_mm2 : float
    width_mm : float
        The shorter side of the rectangle with the same moments of area.
    middle_mm : (3,) float64
        Middle of its area.
    normal : (3,) float64
        Mean direction outward, of length 1.
    """

    triangles: npt.NDArray[np.int64]
    area_mm2: float
    width_mm: float
    middle_mm: npt.NDArray[np.float64]
    normal: npt.NDArray[np.float64]


def flat_faces(
    mesh: Mesh, up: npt.ArrayLike, *, within_deg: float, least_mm2: float, least_width_mm: float
) -> list[FlatFace]:
    """The flat faces whose normals are within an angle of `up`, of its opposite, or of square to it.

    Parameters
    ----------
    mesh : Mesh
        Closed and outward; points that triangles share are one.
    up : (3,) float64
        Normal of the layers, of length 1.
    within_deg : float
        Also how far a face's triangles may differ from its direction.
    least_mm2, least_width_mm : float
        Smaller and narrower faces are left out.

    Returns
    -------
    list of FlatFace
        The largest first.
    """
    layers_normal = np.asarray(up, dtype=np.float64)
    rows, doubled = _near(mesh, layers_normal, within_deg)
    area = 0.5 * np.linalg.norm(doubled, axis=1)
    lift = doubled @ layers_normal
    along = np.abs(lift) > area
    groups = [np.flatnonzero(along & (lift > 0)), np.flatnonzero(along & (lift < 0))]
    sides = np.flatnonzero(~along)
    groups += [
        sides[group]
        for group in _by_azimuth(doubled[sides], area[sides], layers_normal, within_deg, least_mm2)
    ]
    found = [
        face
        for group in groups
        for face in _faces(mesh, rows[group], doubled[group], least_mm2)
        if face.width_mm >= least_width_mm
    ]
    return sorted(found, key=lambda face: -face.area_mm2)


def _near(
    mesh: Mesh, up: npt.NDArray[np.float64], within_deg: float
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """Triangles near the layers or square to them: their rows (k,), and outward normals of twice their area (k, 3)."""
    angle = np.radians(within_deg)
    rows, normals = [np.zeros(0, dtype=np.int64)], [np.zeros((0, 3))]
    for start in range(0, len(mesh.triangles), STEP):
        a, b, c = np.moveaxis(
            np.asarray(mesh.points[mesh.triangles[start : start + STEP]], dtype=np.float64), 1, 0
        )
        doubled = np.cross(b - a, c - a)
        length = np.linalg.norm(doubled, axis=1)
        lift = np.abs(doubled @ up)
        near = (length > 0) & ((lift >= np.cos(angle) * length) | (lift <= np.sin(angle) * length))
        rows.append(start + np.flatnonzero(near))
        normals.append(doubled[near])
    return np.concatenate(rows), np.concatenate(normals)


def _by_azimuth(
    doubled: npt.NDArray[np.float64],
    area: npt.NDArray[np.float64],
    up: npt.NDArray[np.float64],
    within_deg: float,
    least_mm2: float,
) -> Iterator[npt.NDArray[np.int64]]:
    """Groups of triangles square to the layers that face one way, within the angle; the largest area first."""
    across = np.cross(up, np.eye(3)[np.argmin(np.abs(up))])
    across /= np.linalg.norm(across)
    azimuth = np.arctan2(doubled @ np.cross(up, across), doubled @ across)
    bins = int(np.ceil(360.0 * BINS_PER_ANGLE / within_deg))
    place = np.floor((azimuth / (2.0 * np.pi)) % 1.0 * bins).astype(np.int64) % bins
    order = np.argsort(place, kind="stable")
    starts = np.searchsorted(place[order], np.arange(bins + 1))
    left = np.bincount(place, weights=area, minlength=bins)
    window = np.arange(2 * BINS_PER_ANGLE)
    while True:
        sums = left[(np.arange(bins)[:, None] + window) % bins].sum(axis=1)
        first = int(np.argmax(sums))
        if sums[first] < least_mm2:
            return
        chosen = (first + window) % bins
        yield np.concatenate([order[starts[b] : starts[b + 1]] for b in chosen if left[b] > 0])
        left[chosen] = 0.0


def _faces(
    mesh: Mesh, rows: npt.NDArray[np.int64], doubled: npt.NDArray[np.float64], least_mm2: float
) -> Iterator[FlatFace]:
    """The connected regions of some triangles that are large enough and no thin rings."""
    area = 0.5 * np.linalg.norm(doubled, axis=1)
    if area.sum() < least_mm2:
        return
    own, _ = with_own_points(mesh.points, mesh.triangles[rows])
    labels = np.arange(len(own.points), dtype=np.int32)
    label_components(own.triangles, labels)
    region = labels[own.triangles[:, 0]]
    totals = np.bincount(region, weights=area)
    for label in np.flatnonzero(totals >= least_mm2):
        inside = region == label
        middle, longer, shorter = _rectangle(own.points[own.triangles[inside]], area[inside])
        if totals[label] < LEAST_FILL * longer * shorter:
            continue
        normal = doubled[inside].sum(axis=0)
        yield FlatFace(rows[inside], float(totals[label]), shorter, middle, normal / np.linalg.norm(normal))


def _rectangle(
    corners: npt.NDArray[np.floating], area: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], float, float]:
    """Middle of a flat region, and the sides of the rectangle with its second moments of area, longer first.

    A triangle's second moments about the origin are A/12 (Σ v vᵀ + 9 g gᵀ), v its corners and g their mean.
    """
    places = np.asarray(corners, dtype=np.float64)
    means = places.mean(axis=1)
    middle = area @ means / area.sum()
    places, means = places - middle, means - middle
    moments = np.einsum("m,mij,mik->jk", area, places, places) + 9.0 * np.einsum(
        "m,mj,mk->jk", area, means, means
    )
    spread = np.linalg.eigvalsh(moments / (12.0 * area.sum()))
    shorter, longer = np.sqrt(12.0 * np.maximum(spread[1:], 0.0))
    return middle, float(longer), float(shorter)
