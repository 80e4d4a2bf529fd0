"""Loops of points in space: how wide a hole is, and filling it with triangles."""

from collections.abc import Sequence

import numpy as np

from firstcast.arrays import Points
from firstcast.kernels.polygons import fill_flat, fill_minimal

LARGEST_MINIMAL = 400
"""Corners up to which a loop is filled with least area in one piece; time grows with their cube."""

FLAT_RATIO = 1e-3
"""A loop this flat against its length is filled in its plane."""


def vector_area(loop: Points) -> np.ndarray:
    """(3,) the area vector of a closed loop of (n, 3) points: its length is the least area any fill can have."""
    centred = loop - loop.mean(axis=0)
    return 0.5 * np.cross(centred, np.roll(centred, -1, axis=0)).sum(axis=0)


def loop_length(loop: Points) -> float:
    """Length of a closed loop of (n, 3) points."""
    return float(np.linalg.norm(loop - np.roll(loop, -1, axis=0), axis=1).sum())


def triangle_areas(points: Points, triangles: np.ndarray) -> np.ndarray:
    """(m,) areas."""
    a, b, c = points[triangles[:, 0]], points[triangles[:, 1]], points[triangles[:, 2]]
    return 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)


def fill_polygons(points: Points, loops: Sequence[np.ndarray]) -> np.ndarray:
    """Triangles over each of several closed loops, wound like the loops.

    Loops up to `LARGEST_MINIMAL` corners get the fill of least area. Larger ones are filled in their plane by
    cutting ears where they are flat, else cut by short chords until they are small enough: there the
    fill is near least area, not least.

    Parameters
    ----------
    points : (n, 3) float64
    loops : sequence of (k,) int
        Rows of `points`, k ≥ 3.

    Returns
    -------
    (sum of k - 2, 3) int64
        Rows of `points`, loop after loop.
    """
    small: list[np.ndarray] = []
    pieces: list[np.ndarray | int] = []
    for loop in loops:
        for piece in [loop] if len(loop) <= LARGEST_MINIMAL else _large(points, np.asarray(loop)):
            if piece.ndim == 1:
                pieces.append(len(piece) - 2)
                small.append(piece)
            else:
                pieces.append(piece)
    if not pieces:
        return np.empty((0, 3), dtype=np.int64)
    filled = np.empty((0, 3), dtype=np.int64)
    if small:
        rows = np.concatenate(small).astype(np.int64)
        starts = np.concatenate([[0], np.cumsum([len(piece) for piece in small])]).astype(np.int32)
        filled = rows[fill_minimal(_rescaled(points[rows]), starts)]
    parts, at = [], 0
    for piece in pieces:
        if isinstance(piece, int):
            parts.append(filled[at : at + piece])
            at += piece
        else:
            parts.append(piece)
    return np.concatenate(parts)


def _rescaled(corners: Points) -> Points:
    """Corners about their middle and of unit size, so that costs neither overflow nor drown."""
    centred = corners - corners.mean(axis=0)
    size = np.abs(centred).max(initial=0.0)
    return np.ascontiguousarray(centred / size if size > 0 else centred)


def _large(points: Points, loop: np.ndarray) -> list[np.ndarray]:
    """A large loop as triangles (t, 3) if it is flat and simple, else as smaller loops (k,)."""
    corners = points[loop]
    normal = vector_area(corners)
    size = np.linalg.norm(normal)
    length = loop_length(corners)
    centred = corners - corners.mean(axis=0)
    if size > 1e-6 * length**2 and np.abs(centred @ (normal / size)).max() < FLAT_RATIO * length:
        first = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
        first /= np.linalg.norm(first)
        second = np.cross(normal / size, first)
        xy = np.ascontiguousarray(centred @ np.stack([first, second], axis=1))
        ears = fill_flat(xy)
        if len(ears) == len(loop) - 2:
            a, b, c = xy[ears[:, 0]], xy[ears[:, 1]], xy[ears[:, 2]]
            u, v = b - a, c - a
            covered = 0.5 * np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]).sum()
            if covered <= size * (1 + 1e-6):  # more would be triangles over one another
                return [loop[ears]]
    return _chord_cut(points, loop)


def _chord_cut(points: Points, loop: np.ndarray) -> list[np.ndarray]:
    """Cut a loop along the chord that is shortest against the rim it spans, until all are small.

    Both sides keep at least a quarter of the corners, so the depth stays logarithmic.
    """
    done, todo = [], [loop]
    while todo:
        part = todo.pop()
        n = len(part)
        if n <= LARGEST_MINIMAL:
            done.append(part)
            continue
        corners = points[part]
        steps = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        best, cut = np.inf, (0, n // 2)
        for i in range(0, n // 2 + 1):
            j = np.arange(i + max(n // 4, 2), min(n, i + n - n // 4))
            if not len(j):
                continue
            chord = np.linalg.norm(corners[j] - corners[i], axis=1)
            rim = along[j] - along[i]
            ratio = chord / np.maximum(np.minimum(rim, along[n] - rim), 1e-300)
            k = int(np.argmin(ratio))
            if ratio[k] < best:
                best, cut = ratio[k], (i, int(j[k]))
        i, j = cut
        todo += [part[i : j + 1], np.concatenate([part[j:], part[: i + 1]])]
    return done
