"""Wavefront OBJ: points, faces and objects; materials and everything else are left aside."""

import re
import warnings
from pathlib import Path

import numpy as np

from firstcast.io._raw import RawMesh, check_promise, damaged, triangulate

LEAST_FACE_BYTES = len(b"f 1 2 3\n")


def read_obj(path: Path) -> list[RawMesh]:
    """The objects of an OBJ file; the whole file as one mesh where objects share points."""
    lines = path.read_bytes().replace(b"\\\r\n", b" ").replace(b"\\\n", b" ").splitlines()
    lines = [line.strip() for line in lines]
    vertex_lines, face_lines, points_before, object_rows, names = [], [], [], [], []
    for line in lines:
        kind = line[:2]
        if kind in (b"v ", b"v\t"):
            vertex_lines.append(line[2:])
        elif kind in (b"f ", b"f\t"):
            face_lines.append(line[2:])
            points_before.append(len(vertex_lines))
        elif kind in (b"o ", b"o\t"):
            object_rows.append(len(face_lines))
            names.append(line[2:].decode("utf-8", "replace").strip())
    check_promise(path, len(face_lines), path.stat().st_size // LEAST_FACE_BYTES + 1, "faces")
    if not face_lines:
        return []
    points = _points(path, vertex_lines)
    rows, counts = _faces(face_lines, np.array(points_before, dtype=np.int64))
    if rows.min() < 0 or rows.max() >= len(points):
        raise damaged(path, f"faces name points {rows.min() + 1} to {rows.max() + 1} of {len(points)} points")
    triangles = triangulate(points, rows, counts)
    return _objects(path, points, triangles, counts, object_rows, names)


def _points(path: Path, lines: list[bytes]) -> np.ndarray:
    """(n, 3) float64 from `v` lines, which may carry a weight or a colour behind the three."""
    numbers = _numbers(b"\n".join(lines), np.float64)
    if len(numbers) == 3 * len(lines):
        return numbers.reshape(-1, 3)
    if len(lines) and len(numbers) % len(lines) == 0 and len(numbers) >= 3 * len(lines):
        return numbers.reshape(len(lines), -1)[:, :3]
    split = [line.split()[:3] for line in lines]
    if any(len(words) != 3 for words in split):
        raise damaged(path, "a point has fewer than three coordinates")
    return np.array(split, dtype=np.float64).reshape(-1, 3)


def _faces(lines: list[bytes], points_before: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Point rows of all faces one after another, and how many each face has.

    A face's corner is `point`, `point/texture`, `point//normal` or all three; a negative number counts
    back from the last point read.
    """
    text = re.sub(rb"/[^\s]*", b"", b"\n".join(lines))
    counts = np.array([len(line.split()) for line in text.split(b"\n")], dtype=np.int64)
    rows = _numbers(text, np.int64)
    if counts.sum() != len(rows):
        raise ValueError("a face has a corner that is no number")
    if (rows == 0).any():
        raise ValueError("points are counted from 1")
    before = np.repeat(points_before, counts)
    return np.where(rows > 0, rows - 1, before + rows), counts


def _numbers(text: bytes, dtype: type) -> np.ndarray:
    """All numbers of a text parted by white space; a word that is no number raises."""
    if not text.strip():
        return np.empty(0, dtype=dtype)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return np.fromstring(text, dtype=dtype, sep=" ")


def _objects(
    path: Path,
    points: np.ndarray,
    triangles: np.ndarray,
    counts: np.ndarray,
    object_rows: list[int],
    names: list[str],
) -> list[RawMesh]:
    """The triangles by object; all in one where a point is used by two objects."""
    first_of_face = np.concatenate([[0], np.cumsum(np.maximum(counts - 2, 0))])
    cuts = first_of_face[np.array([0, *object_rows, len(counts)], dtype=np.int64)]
    spans = [(a, b, name) for a, b, name in zip(cuts[:-1], cuts[1:], ["", *names], strict=True) if b > a]
    owner = np.full(len(points), -1, dtype=np.int64)
    shared = False
    for number, (a, b, _) in enumerate(spans):
        rows = triangles[a:b].ravel()
        shared |= bool((owner[rows] >= 0).any())
        owner[rows] = number
    if shared or len(spans) <= 1:
        name = spans[0][2] if len(spans) == 1 else ""
        return [RawMesh(name or path.stem, points, triangles)]
    return [RawMesh(name or path.stem, points, triangles[a:b]) for a, b, name in spans]
