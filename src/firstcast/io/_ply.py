"""PLY, binary (both byte orders) and text: points and faces; colours and the rest are skipped."""

import warnings
from pathlib import Path
from typing import NamedTuple

import numpy as np

from firstcast.io._raw import RawMesh, check_promise, damaged, triangulate

LONGEST_HEADER_BYTES = 1 << 16
KINDS = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2",
    "ushort": "u2", "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4",
    "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
}  # fmt: skip
FACE_LISTS = ("vertex_indices", "vertex_index")


class Property(NamedTuple):
    """A number, or a list of numbers where `length_kind` is set; kinds are numpy's, without byte order."""

    name: str
    kind: str
    length_kind: str = ""


class Element(NamedTuple):
    """A table of the file."""

    name: str
    row_count: int
    properties: list[Property]

    @property
    def least_bytes(self) -> int:
        """The size of a row whose lists are empty."""
        return sum(np.dtype(p.length_kind or p.kind).itemsize for p in self.properties)


def read_ply(path: Path) -> list[RawMesh]:
    """The mesh of a PLY file."""
    data = path.read_bytes()
    form, elements, body = _header(path, data)
    read = (
        _TextRows(data[body:])
        if form == "ascii"
        else _BinaryRows(data, body, "<" if "little" in form else ">")
    )
    points = triangles = None
    for element in elements:
        least = 2 * len(element.properties) if form == "ascii" else element.least_bytes
        check_promise(
            path, element.row_count, (len(data) - body + 1) // max(least, 1), f"rows of '{element.name}'"
        )
        columns = read.table(element)
        if element.name == "vertex":
            points = np.stack([np.asarray(columns[axis], dtype=np.float64) for axis in "xyz"], axis=1)
        elif element.name == "face":
            lists = [columns[name] for name in FACE_LISTS if name in columns]
            if not lists or points is None:
                raise damaged(path, "faces come without point indices, or before the points")
            triangles = triangulate(points, *lists[0])
            break
    if points is None or triangles is None:
        raise damaged(path, "there are no faces in the file")
    return [RawMesh(path.stem, points, triangles)]


def _header(path: Path, data: bytes) -> tuple[str, list[Element], int]:
    """The byte form, the tables, and where the body begins."""
    end = data.find(b"end_header", 0, LONGEST_HEADER_BYTES)
    if not data.startswith(b"ply") or end < 0:
        raise damaged(path, "it has no PLY header")
    body = data.index(b"\n", end) + 1
    form, elements = "", []
    for line in data[:end].decode("ascii", "replace").splitlines()[1:]:
        match line.split():
            case ["format", ("ascii" | "binary_little_endian" | "binary_big_endian") as form, _]:
                pass
            case ["element", name, count]:
                elements.append(Element(name, int(count), []))
            case ["property", "list", length_kind, kind, name]:
                elements[-1].properties.append(Property(name, KINDS[kind], KINDS[length_kind]))
            case ["property", kind, name]:
                elements[-1].properties.append(Property(name, KINDS[kind]))
            case [] | ["comment", *_] | ["obj_info", *_]:
                pass
            case _:
                raise damaged(path, "its header has a line that PLY does not know")
    if not form:
        raise damaged(path, "its header names no byte form")
    return form, elements, body


class _BinaryRows:
    """Tables of a binary body, one after another."""

    def __init__(self, data: bytes, body: int, order: str) -> None:
        self.data, self.at, self.order = data, body, order

    def table(self, element: Element) -> dict[str, np.ndarray | tuple[np.ndarray, np.ndarray]]:
        """Columns by name: arrays of numbers, or (all items, lengths) for lists."""
        if not element.row_count:
            return {
                p.name: (np.empty(0, np.int64), np.empty(0, np.int64)) if p.length_kind else np.empty(0)
                for p in element.properties
            }
        columns = self._alike(element)
        return columns if columns is not None else self._row_by_row(element)

    def _alike(self, element: Element) -> dict | None:
        """All rows at once where each list is as long as in the first row; None if they differ."""
        fields, at, lengths = [], self.at, {}
        for p in element.properties:
            if p.length_kind:
                kind = np.dtype(self.order + p.length_kind)
                length = int(np.frombuffer(self.data, kind, 1, at)[0])
                lengths[p.name] = length
                fields.append((f"length of {p.name}", kind))
                fields.append((p.name, np.dtype(self.order + p.kind), (length,)))
                at += kind.itemsize + length * np.dtype(p.kind).itemsize
            else:
                fields.append((p.name, np.dtype(self.order + p.kind)))
                at += np.dtype(p.kind).itemsize
        size = at - self.at
        if self.at + size * element.row_count > len(self.data):
            if not lengths:
                raise ValueError("the body is cut short")
            return None
        rows = np.frombuffer(self.data, np.dtype(fields), element.row_count, self.at)
        if any((rows[f"length of {name}"] != length).any() for name, length in lengths.items()):
            return None
        self.at += size * element.row_count
        columns = {}
        for p in element.properties:
            if p.length_kind:
                counts = np.full(element.row_count, lengths[p.name], dtype=np.int64)
                columns[p.name] = (rows[p.name].astype(np.int64).ravel(), counts)
            else:
                columns[p.name] = rows[p.name]
        return columns

    def _row_by_row(self, element: Element) -> dict:
        """Rows whose lists differ in length: only the lists are kept."""
        lists = {p.name: ([], []) for p in element.properties if p.length_kind}
        kinds = [
            (p, np.dtype(self.order + (p.length_kind or p.kind)), np.dtype(self.order + p.kind))
            for p in element.properties
        ]
        data, at = self.data, self.at
        little = "little" if self.order == "<" else "big"
        for _ in range(element.row_count):
            for p, first, item in kinds:
                if p.length_kind:
                    length = int.from_bytes(data[at : at + first.itemsize], little)
                    at += first.itemsize
                    if at + length * item.itemsize > len(data):
                        raise ValueError("the body is cut short")
                    lists[p.name][0].append(data[at : at + length * item.itemsize])
                    lists[p.name][1].append(length)
                    at += length * item.itemsize
                else:
                    at += first.itemsize
            if at > len(data):
                raise ValueError("the body is cut short")
        self.at = at
        return {
            p.name: (
                np.frombuffer(b"".join(lists[p.name][0]), item).astype(np.int64),
                np.array(lists[p.name][1], dtype=np.int64),
            )
            for p, _, item in kinds
            if p.length_kind
        }


class _TextRows:
    """Tables of a text body, one after another."""

    def __init__(self, text: bytes) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            self.numbers = np.fromstring(text, dtype=np.float64, sep=" ") if text.strip() else np.empty(0)
        self.at = 0

    def table(self, element: Element) -> dict:
        """Columns by name, as `_BinaryRows.table`."""
        if not any(p.length_kind for p in element.properties):
            width = len(element.properties)
            stop = self.at + width * element.row_count
            if stop > len(self.numbers):
                raise ValueError("the body is cut short")
            rows = self.numbers[self.at : stop].reshape(element.row_count, width)
            self.at = stop
            return {p.name: rows[:, k] for k, p in enumerate(element.properties)}
        return self._lists(element)

    def _lists(self, element: Element) -> dict:
        width = len(element.properties)
        if width == 1 and self.at < len(self.numbers):
            # One list per row, mostly all of one length: try that before walking.
            name, length = element.properties[0].name, int(self.numbers[self.at])
            stop = self.at + element.row_count * (length + 1)
            if length > 0 and stop <= len(self.numbers):
                rows = self.numbers[self.at : stop].reshape(element.row_count, length + 1)
                if (rows[:, 0] == length).all():
                    self.at = stop
                    return {
                        name: (
                            _whole(rows[:, 1:].ravel()),
                            np.full(element.row_count, length, dtype=np.int64),
                        )
                    }
        lists = {p.name: ([], []) for p in element.properties if p.length_kind}
        at = self.at
        for _ in range(element.row_count):
            for p in element.properties:
                if p.length_kind:
                    length = int(self.numbers[at])
                    if length < 0 or at + 1 + length > len(self.numbers):
                        raise ValueError("the body is cut short")
                    lists[p.name][0].append(self.numbers[at + 1 : at + 1 + length])
                    lists[p.name][1].append(length)
                    at += length
                at += 1
        if at > len(self.numbers):
            raise ValueError("the body is cut short")
        self.at = at
        return {
            name: (_whole(np.concatenate([np.empty(0), *items])), np.array(counts, dtype=np.int64))
            for name, (items, counts) in lists.items()
        }


def _whole(numbers: np.ndarray) -> np.ndarray:
    """Indices read as floats; fractions are damage."""
    whole = numbers.astype(np.int64)
    if (whole != numbers).any():
        raise ValueError("an index is not whole")
    return whole
