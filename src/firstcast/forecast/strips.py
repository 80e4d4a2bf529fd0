"""A large mesh in strips that overlap, so that what is worked out about its triangles need not all be held at once."""

from collections.abc import Iterator
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.fields.blocks import run_blocks
from firstcast.kernels.strips import mark_between

BLOCK = 1 << 16


class Strip(NamedTuple):
    """What lies between two upright planes and within a margin beyond them.

    Attributes
    ----------
    vertices : (k,) int64
        The mesh's vertices that the strip's triangles have, ascending.
    triangles : (j, 3) int32
        Over these vertices, in the mesh's order. Nothing of the mesh straight above or below a place of the strip is missing.
    own : (k,) bool
        Vertices between the planes: every vertex of the mesh is one strip's own, if any triangle has it.
    axis : int
    low, high : float
        Between these coordinates along the axis no triangle of the mesh is missing.
    """

    vertices: npt.NDArray[np.int64]
    triangles: Triangles
    own: npt.NDArray[np.bool_]
    axis: int
    low: float
    high: float

    def deep(self, points: Points, least_mm: float) -> npt.NDArray[np.bool_]:
        """(n,) bool: which places are farther than so much from where the strip ends and the mesh goes on."""
        along = points[:, self.axis]
        return (along >= self.low + least_mm) & (along <= self.high - least_mm)


def strips_of(points: Points, triangles: Triangles, margin_mm: float, most: int) -> Iterator[Strip]:
    """Strips along x or y, whichever is longer, with about `most` triangles each between their planes.

    Parameters
    ----------
    points : (n, 3) float64
    triangles : (m, 3) int32
    margin_mm : float
        How far beyond its planes a strip is whole.
    most : int
    """
    axis = int(np.argmax(np.ptp(points[:, :2], axis=0)))
    along = np.ascontiguousarray(points[:, axis])
    count = max(1, -(-len(triangles) // most))
    bounds = np.quantile(along, np.arange(1, count) / count)
    edges = [-np.inf, *np.unique(bounds), np.inf]
    marks = np.empty(len(triangles), bool)
    for low, high in pairwise(edges):
        run_blocks(
            mark_between,
            len(triangles),
            along,
            triangles,
            low - margin_mm,
            high + margin_mm,
            marks,
            block=BLOCK,
        )
        rows = triangles[marks]
        held = np.zeros(len(points), bool)
        held[rows.ravel()] = True
        vertices = np.flatnonzero(held)
        number = np.empty(len(points), np.int32)
        number[vertices] = np.arange(len(vertices), dtype=np.int32)
        own = (along[vertices] >= low) & (along[vertices] < high)
        yield Strip(vertices, number[rows], own, axis, low - margin_mm, high + margin_mm)
