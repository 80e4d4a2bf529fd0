"""The search tree over triangles that the proof's measurements share.

References
----------
J. Skilling, Programming the Hilbert curve, AIP Conference Proceedings 707 (2004): axes to transpose.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.proof._tree import WIDTH
from firstcast.proof.threads import over_blocks

BITS = 16
"""Bits per axis of the Hilbert number: 65,536 cells along the longest side."""

_ULP = np.float32(2.0**-23)
_LEAST = np.float32(2.0**-149)


class Tree(NamedTuple):
    """Triangles in the order of the tree, and its boxes.

    Attributes
    ----------
    order : (m,) int64
        Row of the given triangles at each place of the tree.
    corners : (m, 3, 3) float64
        The triangles in that order.
    boxes : (groups, 6, WIDTH) float32
        Least x, y, z and greatest x, y, z of the boxes of each group, rounded outward.
    leaves : int
        The first group whose boxes are those of triangles.
    """

    order: npt.NDArray[np.int64]
    corners: npt.NDArray[np.float64]
    boxes: npt.NDArray[np.float32]
    leaves: int


def build_tree(corners: npt.NDArray[np.float64]) -> Tree:
    """A tree over (m, 3, 3) float64 triangles, m > 0. The same triangles give the same tree."""
    corners = np.ascontiguousarray(corners, dtype=np.float64)
    count = len(corners)
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    extent = float((high - low).max())
    scale = (1 << BITS) / extent if extent > 0 else 0.0
    numbers = np.empty(count, dtype=np.uint64)
    over_blocks(_hilbert_numbers, count, corners, low, scale, numbers, block=8192)
    order = np.argsort(numbers, kind="stable")
    corners = corners[order]
    starts = [0]
    while WIDTH ** len(starts) < count:
        starts.append(starts[-1] + WIDTH ** (len(starts) - 1))
    filled = -(-count // WIDTH)
    boxes = np.empty((starts[-1] + filled, 6, WIDTH), dtype=np.float32)
    boxes[: starts[-1], :3], boxes[: starts[-1], 3:] = np.inf, -np.inf
    over_blocks(_box_triangles, filled, corners, boxes[starts[-1] :], block=4096)
    for start, after in zip(starts[-2::-1], starts[:0:-1], strict=True):
        below, filled = boxes[after : after + filled], -(-filled // WIDTH)
        _fill(boxes[start : start + filled], below[:, :3].min(axis=2), below[:, 3:].max(axis=2))
    return Tree(order, corners, boxes, starts[-1])


def _hilbert_numbers(start: int, stop: int, corners, low, scale: float, out) -> None:
    """Place of the centres of triangles start..stop on the Hilbert curve; fills out[start:stop]."""
    middles = corners[start:stop].sum(axis=1) / 3.0
    cells = np.minimum((middles - low) * scale, (1 << BITS) - 1).T.astype(np.uint32, order="C")
    for k in range(BITS - 1, 0, -1):
        mask = np.uint32((1 << k) - 1)
        for cell in cells:
            high = (cell >> np.uint32(k)) & np.uint32(1)
            swap = (cells[0] ^ cell) & mask & (high - np.uint32(1))  # nothing where the bit is set
            cells[0] ^= swap | (mask * high)
            cell ^= swap
    cells[1] ^= cells[0]
    cells[2] ^= cells[1]
    turn = np.zeros_like(cells[0])
    for k in range(BITS - 1, 0, -1):
        turn ^= ((cells[2] >> np.uint32(k)) & np.uint32(1)) * np.uint32((1 << k) - 1)
    number = np.zeros(stop - start, dtype=np.uint64)
    for k in range(BITS - 1, -1, -1):
        for cell in cells:
            number = (number << np.uint64(1)) | (((cell ^ turn) >> np.uint32(k)) & np.uint32(1))
    out[start:stop] = number


def _box_triangles(start: int, stop: int, corners, groups) -> None:
    """Fill groups start..stop with the boxes of their triangles, at least a last digit of float32 wider."""
    a, b, c = np.moveaxis(corners[start * WIDTH : stop * WIDTH], 1, 0)
    low = np.minimum(np.minimum(a, b), c).astype(np.float32)
    high = np.maximum(np.maximum(a, b), c).astype(np.float32)
    _fill(groups[start:stop], low - (np.abs(low) * _ULP + _LEAST), high + (np.abs(high) * _ULP + _LEAST))


def _fill(groups, low, high) -> None:
    """Put boxes (n, 3), (n, 3) into groups (k, 6, WIDTH) one after the other; those left over are empty."""
    for side, values, nothing in ((groups[:, :3], low, np.inf), (groups[:, 3:], high, -np.inf)):
        padded = np.full((len(groups) * WIDTH, 3), nothing, dtype=np.float32)
        padded[: len(values)] = values
        side[:] = padded.reshape(-1, WIDTH, 3).transpose(0, 2, 1)
