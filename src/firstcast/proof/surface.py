"""Is it the closed, outward surface of so many bodies, and how large are they?"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.proof import _surface


class Connections(NamedTuple):
    """How triangles hang together.

    Attributes
    ----------
    open_edges, crowded_edges, turned_edges : (k, 2) int32
        Edges of one triangle only; of more than two; of two that run along it the same way.
    pinched : (k,) int32
        Places where more than one fan of triangles meets.
    degenerate : (k,) int64
        Triangles that use one place twice.
    body_of_triangle : (m,) int32
    bodies : int
    euler : int
        Places - edges + triangles.
    """

    open_edges: npt.NDArray[np.int32]
    crowded_edges: npt.NDArray[np.int32]
    turned_edges: npt.NDArray[np.int32]
    pinched: npt.NDArray[np.int32]
    degenerate: npt.NDArray[np.int64]
    body_of_triangle: npt.NDArray[np.int32]
    bodies: int
    euler: int

    @property
    def closed(self) -> bool:
        """Every edge has exactly two triangles that run along it in opposite directions."""
        return not (len(self.open_edges) or len(self.crowded_edges) or len(self.turned_edges))

    @property
    def genus(self) -> int:
        """Handles of all bodies together; true of closed, unpinched surfaces only."""
        return (2 * self.bodies - self.euler) // 2


class Measures(NamedTuple):
    """Size of one body or of all."""

    volume_mm3: float
    area_mm2: float
    centroid_mm: npt.NDArray[np.float64]


def weld(corners: npt.NDArray[np.float32]) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.int32]]:
    """Places (n, 3) float32 and triangles (m, 3) int32 of loose triangles: bit-equal corners are one place."""
    loose = np.ascontiguousarray(corners, dtype=np.float32).reshape(-1, 3) + np.float32(0.0)
    size = 16
    while size < 2 * len(loose):
        size *= 2
    table = np.full(size, -1, dtype=np.int32)
    place_of_corner = np.empty(len(loose), dtype=np.int32)
    corner_of_place = np.empty(len(loose), dtype=np.int32)
    places = _surface.weld(loose.view(np.uint32), table, place_of_corner, corner_of_place)
    return loose[corner_of_place[:places]], place_of_corner.reshape(-1, 3)


def connect(triangles: npt.NDArray[np.int32], place_count: int) -> Connections:
    """Edges, fans and bodies of (m, 3) int32 triangles over `place_count` places."""
    triangles = np.ascontiguousarray(triangles, dtype=np.int32)
    tails = triangles.ravel()
    heads = np.ascontiguousarray(np.roll(triangles, -1, axis=1)).ravel()
    keys = np.minimum(tails, heads).astype(np.int64) * place_count + np.maximum(tails, heads)
    order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    starts = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]]) if len(keys) else np.zeros(0, np.int64)
    sizes = np.diff(np.r_[starts, len(keys)])
    pairs = starts[sizes == 2]
    first, second = order[pairs], order[pairs + 1]
    opposed = tails[first] == heads[second]
    twins = np.full(len(keys), -1, dtype=np.int32)
    twins[first[opposed]], twins[second[opposed]] = second[opposed], first[opposed]

    def edges(half_edges):
        return np.stack([tails[half_edges], heads[half_edges]], axis=1)

    label = np.full(len(triangles), -1, dtype=np.int32)
    bodies = int(_surface.bodies(twins, label))
    fan_count = np.zeros(place_count, dtype=np.int32)
    _surface.fans(triangles, twins, fan_count)
    return Connections(
        open_edges=edges(order[starts[sizes == 1]]),
        crowded_edges=edges(order[starts[sizes > 2]]),
        turned_edges=edges(first[~opposed]),
        pinched=np.flatnonzero(fan_count > 1).astype(np.int32),
        degenerate=np.flatnonzero((tails == heads).reshape(-1, 3).any(axis=1)),
        body_of_triangle=label,
        bodies=bodies,
        euler=int((fan_count > 0).sum()) - len(starts) + len(triangles),
    )


def measure(corners: npt.NDArray[np.float64]) -> Measures:
    """Volume, area and centroid of closed triangles (m, 3, 3), from tetrahedra about the middle.

    Each triangle and the middle of the bounds span a tetrahedron of signed volume a·(b × c)/6 whose
    centroid is a quarter of the sum of its corners.
    """
    if not len(corners):
        return Measures(0.0, 0.0, np.zeros(3))
    middle = (corners.min(axis=(0, 1)) + corners.max(axis=(0, 1))) / 2.0
    # One row per coordinate: three times faster than rows of three.
    a, b, c = (np.ascontiguousarray((corners[:, k] - middle).T) for k in range(3))
    u, v = b - a, c - a
    cross = np.stack([u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]])
    tetrahedra = (a * cross).sum(axis=0) / 6.0
    volume = float(tetrahedra.sum())
    area = float(np.sqrt((cross * cross).sum(axis=0)).sum() / 2.0)
    centre = ((a + b + c) * tetrahedra).sum(axis=1) / 4.0
    return Measures(volume, area, middle + (centre / volume if volume else 0.0))
