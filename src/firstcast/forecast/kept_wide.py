"""Lengths held back where they would leave a wall thinner, or a gap narrower, than the sculpture's by more than is let pass.

It is reckoned from what was read of the sculpture: a wall that is w thick, and moved by d outward at one end and by d' at the
other, is w + d + d' thick. What is told afterwards of the mesh that is written is measured anew.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.geometry.compared import NARROWER_MM, NARROWER_SHARE
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.narrow import NarrowRegion, Places, narrow_regions

SPARE = 0.5
"""Of the slack that is let pass, this is used: triangles are taken away afterwards, which moves either side a little."""


class NarrowSide(NamedTuple):
    """Walls, or gaps, of a mesh as they were read; what is below the limit counts as narrow, mm."""

    places: Places
    limit_mm: float
    inside: bool


class KeptWide(NamedTuple):
    """What may be kept.

    Attributes
    ----------
    inward, outward : (n,) float64
        Share of a length inward, and of one outward, 1 where nothing is held back.
    walls, gaps : int
        Regions that are held back.
    """

    inward: npt.NDArray[np.float64]
    outward: npt.NDArray[np.float64]
    walls: int
    gaps: int


def kept_wide(mesh: Mesh, sides: Sequence[NarrowSide], length_mm: npt.NDArray[np.float64]) -> KeptWide:
    """The share of lengths by which no narrow region ends narrower than a tenth and the slack allow.

    Parameters
    ----------
    mesh : Mesh
    sides : sequence of NarrowSide
        Read of this mesh.
    length_mm : (n,) float64
        Outward along its normals, in the mesh's own millimetres.
    """
    shares = np.ones((2, len(mesh.points)))
    counts = [0, 0]
    for side in sides:
        row = 0 if side.inside else 1
        for rows, share in _held(mesh, side, length_mm):
            across = mesh.triangles[side.places.opposite[rows]]
            shares[row, rows] = np.minimum(shares[row, rows], share)
            np.minimum.at(shares[row], across, share[:, None])
            counts[row] += 1
    return KeptWide(shares[0], shares[1], counts[0], counts[1])


def _held(mesh: Mesh, side: NarrowSide, length_mm: npt.NDArray[np.float64]):
    """Of each region the vertices that would end too narrow, and the share of their movement that each may keep.

    Place by place, for a region may be wide: half of it may be as thick as it was where the other half is not.
    """
    width = side.places.width_mm.astype(np.float64)
    read = np.flatnonzero(np.isfinite(width))
    moved = length_mm[read] + length_mm[mesh.triangles[side.places.opposite[read]]].mean(axis=1)
    ends = width.copy()
    ends[read] = np.maximum(width[read] + (moved if side.inside else -moved), 0.0)
    places = side.places._replace(width_mm=ends.astype(np.float32))
    regions: list[NarrowRegion] = narrow_regions(mesh, places, limit_mm=side.limit_mm)
    for region in regions:
        before, after = width[region.vertices], ends[region.vertices]
        least = NARROWER_SHARE * before - SPARE * NARROWER_MM
        # what was not narrow before was not read there: it lies in the region by what is round it
        mine = (after < least) & np.isfinite(before)
        if mine.any():
            spared, moved_by = (before - least)[mine], (before[mine] - after[mine])
            yield region.vertices[mine], spared / moved_by
