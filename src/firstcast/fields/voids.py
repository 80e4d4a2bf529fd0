"""Sealed voids and loose fragments of a union: found on its surface, filled or dropped in its signs."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.fields.contour import Contour, Traced
from firstcast.fields.near import INSIDE, OUTSIDE
from firstcast.fields.union import Occupancy
from firstcast.kernels.components import label_components, measure_components
from firstcast.kernels.flood import flood, mark_ends


class Components(NamedTuple):
    """The closed surfaces of a contour.

    label_of_point (n,) int32; volume_mm3 (c,) float64, negative where the surface bounds a sealed void;
    bounds_mm (c, 2, 3) float64; part (c,) int64, that of the component's first triangle.
    """

    label_of_point: npt.NDArray[np.int32]
    volume_mm3: npt.NDArray[np.float64]
    bounds_mm: npt.NDArray[np.float64]
    part: npt.NDArray[np.int64]

    @property
    def extent_mm(self) -> npt.NDArray[np.float64]:
        """(c,) float64: the longest side of each component's bounds."""
        return (self.bounds_mm[:, 1] - self.bounds_mm[:, 0]).max(axis=1, initial=0.0)

    @property
    def middle_mm(self) -> npt.NDArray[np.float64]:
        """(c, 3) float64: the middle of each component's bounds."""
        return self.bounds_mm.mean(axis=1)


def components_of(found: Contour) -> Components:
    """The connected closed surfaces of a contour, with the volume each encloses."""
    labels = np.arange(len(found.points), dtype=np.int32)
    count = label_components(found.triangles, labels)
    volumes, part = np.zeros(count), np.full(count, -1, np.int64)
    bounds = np.empty((count, 2, 3))
    bounds[:, 0], bounds[:, 1] = np.inf, -np.inf
    middle = (
        np.zeros(3)
        if not count
        else (found.points.min(axis=0) + found.points.max(axis=0)).astype(np.float64) / 2
    )
    measure_components(
        found.points, found.triangles, labels, middle, found.part_of_triangle, volumes, bounds, part
    )
    return Components(labels, volumes, bounds, part)


def fill_voids(occupancy: Occupancy, traced: Traced, chosen_points: np.ndarray) -> Occupancy:
    """The occupancy with the outside space beside the chosen points turned inside.

    Parameters
    ----------
    chosen_points : (v,) bool
        The contour's points that lie on the surfaces of the voids. Whatever lies in a void goes with it.
    """
    marks, whole = _flooded(occupancy, traced, chosen_points, inside=False)
    index = np.where(whole > 0, INSIDE, occupancy.index).astype(np.int32)
    return replace(occupancy, index=index, bits=occupancy.bits | marks)


def drop_fragments(occupancy: Occupancy, traced: Traced, chosen_points: np.ndarray) -> Occupancy:
    """The occupancy without the bodies whose surfaces hold the chosen points ((v,) bool)."""
    marks, whole = _flooded(occupancy, traced, chosen_points, inside=True)
    index = np.where(whole > 0, OUTSIDE, occupancy.index).astype(np.int32)
    return replace(occupancy, index=index, bits=occupancy.bits & ~marks)


def _flooded(occupancy: Occupancy, traced: Traced, chosen_points, *, inside: bool):
    marks = np.zeros_like(occupancy.bits)
    whole = np.zeros(occupancy.index.shape, np.uint8)
    chosen = np.ascontiguousarray(chosen_points, np.uint8)
    mark_ends(
        occupancy.bits,
        occupancy.index,
        occupancy.places,
        traced.flags,
        traced.vertex_starts,
        chosen,
        inside,
        marks,
    )
    flood(occupancy.index, occupancy.places, occupancy.bits, inside, marks, whole)
    return marks, whole
