"""Whether a surface meets itself."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.proof import _crossing
from firstcast.proof.threads import over_blocks
from firstcast.proof.tree import Tree


class Crossings(NamedTuple):
    """What was found.

    Attributes
    ----------
    pairs : int
        Pairs of triangles that meet elsewhere than in shared corners.
    first : (k, 2) int64
        One pair for each triangle that crosses a later one: rows of the mesh.
    without_area : (j,) int64
        Triangles whose corners lie on one line; left out of the pairs, their edges are their neighbours'.
    """

    pairs: int
    first: npt.NDArray[np.int64]
    without_area: npt.NDArray[np.int64]


def find_crossings(points: npt.NDArray, triangles: npt.NDArray, tree: Tree) -> Crossings:
    """All places where a mesh meets itself, by exact signs.

    Parameters
    ----------
    points : (n, 3) float32, or float64 exact in float32
        Each place once: corners are shared by row, not by nearness.
    triangles : (m, 3) int32
    tree : Tree
        Over the same triangles.

    Raises
    ------
    InputError
        Coordinates that float32 can't hold.
    """
    exact = np.ascontiguousarray(points, dtype=np.float64)
    if not np.array_equal(exact.astype(np.float32), exact):
        raise InputError(
            "coordinates are not exact in float32",
            where="crossings",
            mend="Give the points of the written file.",
        )
    rows = np.ascontiguousarray(triangles[tree.order], dtype=np.int64)
    flat = np.zeros(len(rows), dtype=np.bool_)
    over_blocks(_crossing.without_area, len(rows), exact, rows, flat, block=16384)
    partner = np.full(len(rows), -1, dtype=np.int32)
    found = np.zeros(len(rows), dtype=np.int32)
    over_blocks(
        _crossing.crossings,
        len(rows),
        exact,
        rows,
        flat,
        tree.boxes,
        tree.leaves,
        partner,
        found,
        block=4096,
    )
    hit = np.flatnonzero(found)
    first = np.stack([tree.order[hit], tree.order[partner[hit]]], axis=1).reshape(-1, 2)
    return Crossings(int(found.sum()), first, np.sort(tree.order[flat]))


def crossing_depths(corners: npt.NDArray[np.float64], pairs: npt.NDArray[np.int64]) -> npt.NDArray:
    """(k,) how far each pair of triangles reaches through one another, in the unit of `corners`.

    The smaller of the two reaches of one triangle past the other's plane, the smaller of both ways:
    an estimate for the reader, not a decision.
    """
    depths = np.full(len(pairs), np.inf)
    for here, there in ((0, 1), (1, 0)):
        a, b, c = np.moveaxis(corners[pairs[:, here]], 1, 0)
        normal = np.cross(b - a, c - a)
        normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
        height = np.einsum("kij,kj->ki", corners[pairs[:, there]] - a[:, None], normal)
        reach = np.minimum(np.maximum(height.max(axis=1), 0.0), np.maximum(-height.min(axis=1), 0.0))
        depths = np.minimum(depths, reach)
    return depths
