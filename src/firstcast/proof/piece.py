"""The proof of one piece: its files read back and measured by code that wrote none of it."""

from pathlib import Path

import numpy as np
import numpy.typing as npt

from firstcast.proof.check_deviation import deviation_rows
from firstcast.proof.check_size import package_rows, size_rows
from firstcast.proof.check_surface import body_rows, connection_rows, crossing_rows
from firstcast.proof.expected import Expected
from firstcast.proof.read import read_3mf, read_stl
from firstcast.proof.rows import PieceProof, ProofRow
from firstcast.proof.sculpture import sculpture_of
from firstcast.proof.surface import connect, weld
from firstcast.proof.tree import build_tree
from firstcast.vocabulary import Verdict

SAMPLES = 1_000_000
"""Points spread over the master; a quarter as many over the parts."""


def prove_piece(
    stl_path: Path | str, threemf_path: Path | str, expected: Expected, *, samples: int = SAMPLES
) -> PieceProof:
    """Measure the written master of one piece against what it should be.

    Parameters
    ----------
    stl_path, threemf_path : path
        The written files. The 3MF holds an object named like the piece.
    expected : Expected
        What the master is held against.
    samples : int
        Points spread over the master's surface; more find more, time grows in proportion.

    Raises
    ------
    FileError
        A file can't be read, or is not what its name says.

    Notes
    -----
    Closed, outward, uncrossed and of one body together mean: a solid with no void and nothing hidden.
    Distances between points and triangles are exact to float64; certified shares hold for every point of
    the triangles, quantiles for the samples.
    """
    loose = read_stl(stl_path)
    if not len(loose):
        empty = ProofRow("triangles", "the STL file is empty", 0.0, None, "count", Verdict.STOP)
        return PieceProof(expected.name, (empty,))
    rows = package_rows(read_3mf(threemf_path), expected.name, loose)
    points, triangles = weld(loose)
    connections = connect(triangles, len(points))
    corners = points[triangles].astype(np.float64)
    tree = build_tree(corners)
    rows += connection_rows(points, connections, len(triangles))
    rows += crossing_rows(points, triangles, len(connections.degenerate), tree)
    rows += body_rows(corners, connections, expected.bodies)
    rows += size_rows(corners, expected)
    if any(len(part.corners) for part in expected.parts):
        vertices = points[_in_order_of(triangles[tree.order], len(points))].astype(np.float64)
        rows += deviation_rows(tree, vertices, expected, sculpture_of(expected), samples)
    return PieceProof(expected.name, tuple(rows))


def _in_order_of(triangles: npt.NDArray[np.int32], place_count: int) -> npt.NDArray[np.int64]:
    """Places in the order in which triangles first use them, so that neighbours follow one another."""
    used = triangles.ravel()
    first = np.empty(place_count, dtype=np.int64)
    first[used[::-1]] = np.arange(len(used))[::-1]
    return np.argsort(first, kind="stable")
