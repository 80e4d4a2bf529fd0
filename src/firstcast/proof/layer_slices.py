"""The slices of a 3MF (slice extension) read back by the reference library: loops of places, slice by slice."""

import ctypes
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from lib3mf import Lib3MF


class Slices(NamedTuple):
    """The slices of one object.

    Attributes
    ----------
    bottom_mm : float
    tops_mm : (n,) float64
        Upper face of each slice, as they come.
    corners_mm : (c, 2) float64
    loops : (l + 1,) int64
        Where each loop begins in `corners_mm`; its last corner joins the first.
    starts : (n + 1,) int64
        Where each slice begins in `loops`.
    open_loops : int
        Loops whose last corner is not the first, or that have fewer than three.
    """

    bottom_mm: float
    tops_mm: npt.NDArray[np.float64]
    corners_mm: npt.NDArray[np.float64]
    loops: npt.NDArray[np.int64]
    starts: npt.NDArray[np.int64]
    open_loops: int

    def loops_of(self, number: int) -> npt.NDArray[np.int64]:
        """Where each loop of a slice begins in `corners_mm`, and where the last ends; a slice that isn't there has none."""
        if number >= len(self.tops_mm):
            return np.zeros(1, np.int64)
        return self.loops[self.starts[number] : self.starts[number + 1] + 1]


def slices_of(wrapper: Any, mesh: Any) -> Slices | None:
    """The slices of a mesh object; None where it has none. Those that it only refers to are not looked at."""
    if not mesh.HasSlices(False):
        return None
    stack = mesh.GetSliceStack()
    tops, corners, loops, starts = [], [np.zeros((0, 2))], [0], [0]
    placed = open_loops = 0
    for number in range(stack.GetSliceCount()):
        piece = stack.GetSlice(number)
        tops.append(piece.GetZTop())
        places = _filled(
            wrapper, piece, wrapper.lib.lib3mf_slice_getvertices, Lib3MF.Position2D, piece.GetVertexCount()
        )
        places = places.view(np.float32).reshape(-1, 2).astype(np.float64)
        for polygon in range(piece.GetPolygonCount()):
            order = _filled(
                wrapper, piece, wrapper.lib.lib3mf_slice_getpolygonindices, ctypes.c_uint32,
                piece.GetPolygonIndexCount(polygon), ctypes.c_uint64(polygon),
            ).view(np.uint32)  # fmt: skip
            closed = len(order) > 3 and order[0] == order[-1]
            open_loops += not closed
            loop = places[order[:-1] if closed else order]
            corners.append(loop)
            placed += len(loop)
            loops.append(placed)
        starts.append(len(loops) - 1)
    return Slices(
        stack.GetBottomZ(), np.array(tops, np.float64), np.concatenate(corners),
        np.array(loops, np.int64), np.array(starts, np.int64), open_loops,
    )  # fmt: skip


def _filled(wrapper: Any, piece: Any, call: Any, row: Any, count: int, *which: Any) -> npt.NDArray[np.uint8]:
    """What a call of the library writes into a buffer: its own getters build a Python object for each entry."""
    table = np.zeros(count * ctypes.sizeof(row), np.uint8)
    if count:
        buffer = (row * count).from_buffer(table.data)
        needed = ctypes.c_uint64(0)
        wrapper.checkError(piece, call(piece._handle, *which, ctypes.c_uint64(count), needed, buffer))
    return table
