"""A large mesh in strips that overlap, so that what is worked out about its triangles need not all be held at once."""

from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.fields.blocks import run_blocks
from firstcast.kernels.strips import mark_between, number_anew, take_marked

BLOCK = 1 << 16


class Span(NamedTuple):
    """From where to where a strip goes.

    Attributes
    ----------
    axis : int
    first, last : float
        What lies between these coordinates along the axis, the second left out, is the strip's own.
    low, high : float
        Between these no triangle of the mesh is missing.
    """

    axis: int
    first: float
    last: float
    low: float
    high: float

    def deep(self, points: Points, least_mm: float) -> npt.NDArray[np.bool_]:
        """(n,) bool: which places are farther than so much from where the strip ends and the mesh goes on."""
        along = points[:, self.axis]
        return (along >= self.low + least_mm) & (along <= self.high - least_mm)


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
    """

    vertices: npt.NDArray[np.int64]
    triangles: Triangles
    own: npt.NDArray[np.bool_]


def spans_of(points: Points, triangles: Triangles, margin_mm: float, most: int) -> list[Span]:
    """Where to cut a mesh along x or y, whichever is longer, into strips of about `most` triangles between their planes.

    Parameters
    ----------
    points : (n, 3) float64
    triangles : (m, 3) int32
    margin_mm : float
        How far beyond its planes a strip is whole.
    most : int
    """
    axis = int(np.argmax(np.ptp(points[:, :2], axis=0)))
    count = max(1, -(-len(triangles) // most))
    bounds = np.quantile(points[:, axis], np.arange(1, count) / count)
    edges = [-np.inf, *(float(bound) for bound in np.unique(bounds)), np.inf]
    return [Span(axis, low, high, low - margin_mm, high + margin_mm) for low, high in pairwise(edges)]


def strip_of(points: Points, triangles: Triangles, span: Span) -> Strip:
    """What of a mesh comes into a span: points (n, 3) float64, triangles (m, 3) int32."""
    blocks = -(-len(triangles) // BLOCK)
    marks, counts = np.empty(len(triangles), bool), np.zeros(blocks, np.int64)
    run_blocks(
        mark_between, len(triangles), BLOCK, points, span.axis, triangles, span.low, span.high, marks, counts,
        block=BLOCK,
    )  # fmt: skip
    firsts = np.concatenate([[0], np.cumsum(counts)])
    taken, held = np.empty((int(firsts[-1]), 3), np.int32), np.zeros(len(points), bool)
    run_blocks(take_marked, len(triangles), BLOCK, triangles, marks, firsts, taken, held, block=BLOCK)
    vertices = np.flatnonzero(held)
    number = np.empty(len(points), np.int32)
    number[vertices] = np.arange(len(vertices), dtype=np.int32)
    run_blocks(number_anew, len(taken), number, taken, block=BLOCK)
    along = points[vertices, span.axis]
    return Strip(vertices, taken, (along >= span.first) & (along < span.last))
