"""Meshes with no long edges: the same surface, sampled finely enough for what moves its vertices."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.threads import side_by_side
from firstcast.kernels.refine import mark_long

MOST_ROUNDS = 12
"""Each round halves what is too long: 12 take 100 mm down to 0.025."""

SHARE = 1 << 18


class _Cut(NamedTuple):
    """Triangles and the triangle of the given mesh that each lies in."""

    triangles: Triangles
    origin: npt.NDArray[np.int32]


def split_long_edges(mesh: Mesh, longest_mm: float) -> tuple[Mesh, npt.NDArray[np.int32]]:
    """The mesh with every edge above `longest_mm` halved until none is left, and each triangle's origin.

    Parameters
    ----------
    mesh : Mesh
        Closed or not; the surface stays as it is, vertices keep their numbers, new ones follow.
    longest_mm : float

    Returns
    -------
    mesh : Mesh
        points float64
    origin : (m,) int32
        The triangle of the given mesh that each new one lies in.

    Notes
    -----
    After the first round only what was cut is looked at again, so memory is that of the result and of what is cut.
    """
    points = np.ascontiguousarray(mesh.points, np.float64)
    rows = np.ascontiguousarray(mesh.triangles, np.int32)
    left = _Cut(rows, np.arange(len(rows), dtype=np.int32))
    done: list[_Cut] = []
    for _ in range(MOST_ROUNDS):
        marks = _marks(points, left.triangles, longest_mm)
        long = np.flatnonzero(marks)
        whole = np.flatnonzero(marks == 0)
        done.append(_Cut(left.triangles[whole], left.origin[whole]))
        if not len(long):
            break
        points, left = _halved(points, left.triangles[long], left.origin[long], marks[long])
    else:
        done.append(left)
    found = done[0] if len(done) == 1 else _Cut(*(np.concatenate(each) for each in zip(*done, strict=True)))
    return Mesh(points, found.triangles), found.origin


def _marks(points: Points, triangles: Triangles, longest_mm: float) -> npt.NDArray[np.uint8]:
    marks = np.empty(len(triangles), np.uint8)

    def mark(first: int, last: int) -> None:
        mark_long(first, last, points, triangles, float(longest_mm), marks)

    side_by_side(mark, len(triangles), SHARE)
    return marks


def _halved(points: Points, triangles: Triangles, origin, marks) -> tuple[Points, _Cut]:
    """Points with the middles of the marked edges behind them, and the triangles cut at those."""
    odd = (marks[:, None] >> np.arange(3, dtype=np.uint8)) & 1 > 0
    first, second = triangles[odd], np.roll(triangles, -1, axis=1)[odd]
    low, high = np.minimum(first, second).astype(np.int64), np.maximum(first, second)
    named, number = np.unique(low * len(points) + high, return_inverse=True)
    middle = np.full(triangles.shape, -1, np.int32)
    middle[odd] = len(points) + number
    one, other = points[named // len(points)], points[named % len(points)]
    return np.concatenate([points, 0.5 * (one + other)]), _cut_at(triangles, middle, origin)


def _cut_at(triangles: Triangles, middle: npt.NDArray[np.int32], origin) -> _Cut:
    """Triangles cut at the middles of their edges, middle (m, 3): -1 where an edge stays."""
    many = (middle >= 0).sum(axis=1)
    cut, rows = [], []
    for count in (1, 2, 3):
        mine = np.flatnonzero(many == count)
        # turned so that the one edge that is split, or that is not, comes first
        odd = (middle[mine] >= 0) if count == 1 else (middle[mine] < 0)
        turn = (np.argmax(odd, axis=1)[:, None] + np.arange(3)) % 3
        a, b, c = np.take_along_axis(triangles[mine], turn, axis=1).T
        first, second, third = np.take_along_axis(middle[mine], turn, axis=1).T
        if count == 1:
            parts = [(a, first, c), (first, b, c)]
        elif count == 2:
            parts = [(a, b, second), (a, second, third), (third, second, c)]
        else:
            parts = [(a, first, third), (first, b, second), (third, second, c), (first, second, third)]
        cut += [np.stack(part, axis=1) for part in parts]
        rows += [mine] * len(parts)
    return _Cut(np.concatenate(cut), origin[np.concatenate(rows)])
