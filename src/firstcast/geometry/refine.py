"""Meshes with no long edges: the same surface, sampled finely enough for what moves its vertices."""

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh

MOST_ROUNDS = 12
"""Each round halves what is too long: 12 take 100 mm down to 0.025."""


def split_long_edges(mesh: Mesh, longest_mm: float) -> tuple[Mesh, npt.NDArray[np.int64]]:
    """The mesh with every edge above `longest_mm` halved until none is left, and each triangle's origin.

    Parameters
    ----------
    mesh : Mesh
        Closed or not; the surface stays as it is, vertices keep their numbers, new ones follow.
    longest_mm : float

    Returns
    -------
    mesh : Mesh
    origin : (m,) int64
        The triangle of the given mesh that each new one lies in.
    """
    points, triangles = np.asarray(mesh.points, np.float64), np.asarray(mesh.triangles, np.int64)
    origin = np.arange(len(triangles))
    for _ in range(MOST_ROUNDS):
        ends = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2)
        long = np.linalg.norm(points[ends[..., 0]] - points[ends[..., 1]], axis=2) > longest_mm
        if not long.any():
            break
        split = np.sort(ends[long], axis=1)
        named, number = np.unique(split[:, 0] * len(points) + split[:, 1], return_inverse=True)
        middle = np.full(triangles.shape, -1, np.int64)
        middle[long] = len(points) + number
        points = np.concatenate([points, 0.5 * (points[named // len(points)] + points[named % len(points)])])
        triangles, kept = _retriangulated(triangles, middle)
        origin = origin[kept]
    return Mesh(points, triangles.astype(np.int32)), origin


def _retriangulated(triangles, middle) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Triangles cut at the middles of their edges, middle (m, 3): -1 where an edge stays; and where they lie."""
    many = (middle >= 0).sum(axis=1)
    rows = [np.flatnonzero(many == 0)]
    cut = [triangles[rows[0]]]
    for count in (1, 2, 3):
        mine = np.flatnonzero(many == count)
        if not len(mine):
            continue
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
        for part in parts:
            cut.append(np.stack(part, axis=1))
            rows.append(mine)
    return np.concatenate(cut), np.concatenate(rows)
