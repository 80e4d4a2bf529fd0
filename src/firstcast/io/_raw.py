"""What the readers of mesh formats share: the raw mesh, limits, the wording of damage, polygons."""

import re
from pathlib import Path
from typing import NamedTuple

import numpy as np

from firstcast.errors import FileError
from firstcast.geometry.loops import fill_polygons

LARGEST_COORDINATE = 1e7
"""Beyond this float32 files resolve no better than a whole unit: a slip of export."""

LARGEST_FILE_BYTES = 4 << 30
"""Larger files would not fit the memory of a machine that then works on them."""

MOST_TRIANGLES = 60_000_000
"""Chosen: the work behind needs some 400 bytes a triangle, so this is 24 GB."""


class RawMesh(NamedTuple):
    """points (n, 3) float, triangles (m, 3) of any integer kind, not yet checked."""

    name: str
    points: np.ndarray
    triangles: np.ndarray
    unit_mm: float | None = None
    up: str | None = None


def file_label(path: Path) -> str:
    """The file's name without control characters, for messages."""
    return re.sub(r"[\x00-\x1f\x7f]", "?", path.name)


def damaged(path: Path, what: str) -> FileError:
    """The error for a file that is not what it claims to be."""
    return FileError(what, where=file_label(path), mend="The file is damaged or cut short: export it again.")


def bounds_of(points: np.ndarray) -> np.ndarray:
    """(2, 3) float64: least and greatest coordinates of (n, 3) points, n > 0; NaN goes through.

    numpy is slow along rows of three numbers and fast along long ones, so rows are folded together.
    """
    fold = 256
    whole = len(points) // fold * fold
    rest = points[whole:] if whole < len(points) else points[-1:]
    low, high = rest.min(axis=0), rest.max(axis=0)
    if whole:
        rows = np.ascontiguousarray(points[:whole]).reshape(-1, 3 * fold)
        low = np.minimum(low, rows.min(axis=0).reshape(fold, 3).min(axis=0))
        high = np.maximum(high, rows.max(axis=0).reshape(fold, 3).max(axis=0))
    with np.errstate(invalid="ignore"):
        return np.array([low, high], dtype=np.float64)


def check_promise(path: Path, promised: int, room: int, things: str) -> None:
    """Refuse a count that the file has no room for, or that is more than can be worked on.

    Parameters
    ----------
    promised, room : int
        How many the file says there are, and how many its bytes could hold.
    """
    if promised < 0 or promised > room:
        raise damaged(path, f"it promises {promised} {things}, but has room for {max(room, 0)}")
    if promised > 3 * MOST_TRIANGLES:
        raise FileError(
            f"{promised} {things} are too many", where=file_label(path), mend="Reduce the mesh first."
        )


def triangulate(points: np.ndarray, rows: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """Triangles of polygons, in the order of the polygons.

    Concave and bent polygons are filled with least area, so that no triangle lies outside.

    Parameters
    ----------
    points : (n, 3) float64
    rows : (sum of counts,) int64
        Point indices, polygon after polygon.
    counts : (m,) int64
        Corners of each polygon; those with fewer than three are dropped.

    Returns
    -------
    (t, 3) int64

    Raises
    ------
    IndexError
        A row that names no point.
    """
    if len(rows) and (rows.min() < 0 or rows.max() >= len(points)):
        raise IndexError("a polygon names a point that is not there")
    starts = np.concatenate([[0], np.cumsum(counts)])
    triangle_counts = np.maximum(counts - 2, 0)
    begins = np.concatenate([[0], np.cumsum(triangle_counts)])
    triangles = np.empty((begins[-1], 3), dtype=np.int64)
    plain = np.flatnonzero(counts == 3)
    triangles[begins[plain]] = rows[starts[plain, None] + np.arange(3)]
    many = np.flatnonzero(counts > 3)
    if len(many):
        loops = [rows[starts[p] : starts[p + 1]] for p in many]
        filled = fill_polygons(np.asarray(points, dtype=np.float64), loops)
        at = np.concatenate([begins[p] + np.arange(counts[p] - 2) for p in many])
        triangles[at] = filled
    return triangles
