"""Wavefront OBJ: points, faces and objects; materials and everything else are left aside."""

import re
import warnings
from pathlib import Path

import numpy as np

from firstcast.io._raw import RawMesh, check_promise, damaged, triangulate
from firstcast.kernels.text import count_words, parse_corners

LEAST_FACE_BYTES = len(b"f 1 2 3\n")


def read_obj(path: Path) -> list[RawMesh]:
    """The objects of an OBJ file; the whole file as one mesh where objects share points."""
    text = path.read_bytes()
    if b"\\" in text:
        text = text.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ")
    lines = text.splitlines()
    if re.search(rb"^[ \t]", text, flags=re.MULTILINE):
        lines = [line.lstrip() for line in lines]
    if re.search(rb"^[vf][^#\n]*#", text, flags=re.MULTILINE):
        lines = [line.partition(b"#")[0] if line[:1] in (b"v", b"f") else line for line in lines]
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
    text = b"\n".join(lines)
    words = count_words(np.frombuffer(text, dtype=np.uint8), len(lines))
    if not len(words) or words.min() < 3:
        raise damaged(path, "a point has fewer than three coordinates")
    starts = np.cumsum(words) - words
    return _numbers(text)[starts[:, None] + np.arange(3)]


def _faces(lines: list[bytes], points_before: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Point rows of all faces one after another, and how many each face has.

    A face's corner is `point`, `point/texture`, `point//normal` or all three; a negative number counts
    back from the last point read.
    """
    text = np.frombuffer(b"\n".join(lines), dtype=np.uint8)
    rows, counts, sound = parse_corners(text, len(lines))
    if not sound:
        raise ValueError("a face has a corner that is no number")
    if (rows == 0).any():
        raise ValueError("points are counted from 1")
    back = rows < 0
    if back.any():
        rows = np.where(back, np.repeat(points_before, counts) + rows, rows - 1)
        return rows, counts
    return rows - 1, counts


def _numbers(text: bytes) -> np.ndarray:
    """All numbers of a text parted by white space; a word that is no number raises."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return np.fromstring(text, dtype=np.float64, sep=" ")


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
