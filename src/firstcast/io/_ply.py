"""PLY, binary (both byte orders) and text: points and faces; colours and the rest are skipped.

trimesh reads the tables whose rows are alike. It refuses binary faces of differing length, such as triangles
beside quads, and fans and sorts those of a text; those rows alone are walked here.
"""

import io
import re
import warnings
from pathlib import Path

import numpy as np

from firstcast.io._ply_header import Header, Table, header_for_library, read_header
from firstcast.io._raw import RawMesh, damaged, triangulate
from firstcast.kernels.text import count_words


def read_ply(path: Path) -> list[RawMesh]:
    """The mesh of a PLY file."""
    data = path.read_bytes()
    header = read_header(path, data)
    if not header.points.row_count or not header.faces.row_count:
        return []
    points, rows, counts = _binary(path, data, header) if header.order else _text(path, data, header)
    return [RawMesh(path.stem, points, _triangles(points, rows, counts))]


def _triangles(points: np.ndarray, rows: np.ndarray, counts: np.ndarray | None) -> np.ndarray:
    """Triangles of faces: rows all alike in a table, or one after another with `counts` of each."""
    if rows.dtype.kind == "f":
        whole = rows.astype(np.int64)
        if (whole != rows).any():
            raise ValueError("an index is not whole")
        rows = whole
    if counts is None:
        if rows.shape[1] == 3:
            return rows
        counts = np.full(len(rows), rows.shape[1], dtype=np.int64)
    return triangulate(points, rows.ravel().astype(np.int64), counts)


def _from_library(header: Header, body: bytes, *, with_faces: bool) -> tuple[np.ndarray, np.ndarray | None]:
    """points (n, 3); faces (m, k), or None if not asked for. `body` holds the rows of these tables alone."""
    from trimesh.exchange.ply import load_ply  # slow to import, so only where a file is read

    stream = io.BytesIO(header_for_library(header, with_faces=with_faces) + body)
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # numpy before 2.3 only warns of a word that is no number
        loaded = load_ply(stream, fix_texture=False, skip_materials=True)
    return loaded["vertices"], loaded["faces"] if with_faces else None


def _binary(path: Path, data: bytes, header: Header) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
    """points, faces and, if these differ in length, their lengths."""
    at, point_rows = header.body, b""
    for table in header.tables[:-1]:
        end = _end_of_even_rows(data, at, table, header.order)
        if end is None:
            raise damaged(path, f"rows of '{table.name}' are cut short or differ in length")
        if table is header.points:
            point_rows = data[at:end]
        at = end
    end = _end_of_even_rows(data, at, header.faces, header.order)
    if end is not None:
        points, faces = _from_library(header, point_rows + data[at:end], with_faces=True)
        assert faces is not None  # they were asked for
        return points, faces, None
    points, _ = _from_library(header, point_rows, with_faces=False)
    return points, *_uneven_rows(data, at, header)


def _end_of_even_rows(data: bytes, start: int, table: Table, order: str) -> int | None:
    """Where a table ends if each of its lists is as long as in the first row, else None."""
    if not table.row_count:
        return start
    at, lists = start, []
    for p in table.properties:
        kind, size = np.dtype(order + (p.length_kind or p.kind)), 0
        if p.length_kind:
            length = int(np.frombuffer(data, kind, 1, at)[0])
            lists.append((at, kind, length))
            size = length * np.dtype(p.kind).itemsize
        at += kind.itemsize + size
    stride = at - start
    end = start + stride * table.row_count
    if stride <= 0 or end > len(data):
        return None
    for place, kind, length in lists:
        if length < 0 or (np.ndarray(table.row_count, kind, data, place, stride) != length).any():
            return None
    return end


def _uneven_rows(data: bytes, start: int, header: Header) -> tuple[np.ndarray, np.ndarray]:
    """Indices of all faces one after another, and how many each has."""
    table, wanted, at = header.faces, header.face_list, start
    byte_order = "little" if header.order == "<" else "big"
    sizes = [
        (np.dtype(p.length_kind).itemsize if p.length_kind else 0, np.dtype(p.kind).itemsize)
        for p in table.properties
    ]
    items, counts = [], []
    for _ in range(table.row_count):
        for number, (length_size, size) in enumerate(sizes):
            length = int.from_bytes(data[at : at + length_size], byte_order) if length_size else 1
            at += length_size
            if number == wanted:
                items.append(data[at : at + length * size])
                counts.append(length)
            at += length * size
        if at > len(data):
            raise ValueError("the body is cut short")
    rows = np.frombuffer(b"".join(items), np.dtype(header.order + table.properties[wanted].kind))
    return rows if rows.dtype.kind == "f" else rows.astype(np.int64), np.array(counts, dtype=np.int64)


def _text(path: Path, data: bytes, header: Header) -> tuple[np.ndarray, np.ndarray, np.ndarray | None]:
    """points, faces and, if these differ in length, their lengths. A row is a line."""
    body = np.frombuffer(data, np.uint8, offset=header.body)
    ends = np.append(np.flatnonzero(body == ord("\n")), len(body))
    words = count_words(body, len(ends))
    filled, at, rows = np.flatnonzero(words), 0, {}
    for table in header.tables:
        rows[table.name] = filled[at : at + table.row_count]
        at += table.row_count
        if at > len(filled):
            raise damaged(path, f"'{table.name}' ends at row {at} of {len(filled)}")
    point_lines, face_lines = (
        _lines_of(data[header.body :], ends, rows[name]) for name in ("vertex", "face")
    )
    if _are_even(words[rows["face"]], face_lines, header):
        points, faces = _from_library(header, point_lines + face_lines, with_faces=True)
        assert faces is not None  # they were asked for
        return points, faces, None
    points, _ = _from_library(header, point_lines, with_faces=False)
    return points, *_uneven_lines(face_lines, header)


def _lines_of(body: bytes, ends: np.ndarray, rows: np.ndarray) -> bytes:
    """Some lines that follow one another, without the blank ones between them."""
    first, last = rows[0], rows[-1]
    text = body[ends[first - 1] + 1 if first else 0 : ends[last]]
    if last - first + 1 > len(rows):
        text = b"\n".join(line for line in text.split(b"\n") if line.strip())
    return text + b"\n"


def _are_even(words: np.ndarray, lines: bytes, header: Header) -> bool:
    """True if the faces' only list is as long in each line as it says in the first, and says so."""
    properties = header.faces.properties
    if sum(bool(p.length_kind) for p in properties) != 1:
        return False
    length = int(lines.partition(b"\n")[0].split()[header.face_list])
    lengths = re.findall(rb"(?m)^[ \t]*(?:\S+[ \t]+){%d}%d[ \t]" % (header.face_list, length), lines)
    return len(lengths) == len(words) and bool((words == len(properties) + length).all())


def _uneven_lines(lines: bytes, header: Header) -> tuple[np.ndarray, np.ndarray]:
    """Indices of all faces one after another, and how many each has."""
    indices: list[bytes] = []
    counts = []
    for line in lines.splitlines():
        words, at = line.split(), 0
        for number, p in enumerate(header.faces.properties):
            length = int(words[at]) if p.length_kind else 0
            if length < 0 or at + length >= len(words):
                raise ValueError("a row is cut short")
            if number == header.face_list:
                indices += words[at + 1 : at + 1 + length]
                counts.append(length)
            at += 1 + length
    return np.array(indices, dtype=np.float64), np.array(counts, dtype=np.int64)
