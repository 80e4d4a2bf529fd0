"""The header of a PLY file: its tables, held against the file's size before anything is read."""

from pathlib import Path
from typing import NamedTuple

import numpy as np

from firstcast.io._raw import check_promise, damaged

LONGEST_HEADER_BYTES = 1 << 16
KINDS = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2",
    "ushort": "u2", "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4",
    "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
}  # fmt: skip
WORDS = {kind: word for word, kind in KINDS.items()}
FORMS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
FACE_LISTS = ("vertex_indices", "vertex_index")


class Property(NamedTuple):
    """A number, or a list of numbers where `length_kind` is set; kinds are numpy's, without byte order."""

    name: str
    kind: str
    length_kind: str = ""


class Table(NamedTuple):
    """One table of the file."""

    name: str
    row_count: int
    properties: list[Property]

    @property
    def least_bytes(self) -> int:
        """The size of a binary row whose lists are empty."""
        return sum(np.dtype(p.length_kind or p.kind).itemsize for p in self.properties)


class Header(NamedTuple):
    """`form` is a word of FORMS; `tables` end with the faces; `body` is where their rows begin."""

    form: str
    tables: list[Table]
    body: int

    @property
    def order(self) -> str:
        """numpy's sign of the byte order, empty for text."""
        return FORMS[self.form]

    @property
    def points(self) -> Table:
        """The table of points."""
        return next(table for table in self.tables if table.name == "vertex")

    @property
    def faces(self) -> Table:
        """The table of faces."""
        return self.tables[-1]

    @property
    def face_list(self) -> int:
        """Which property of a face lists its points."""
        names = [p.name for p in self.faces.properties if p.length_kind]
        return next(
            number
            for wanted in FACE_LISTS
            if wanted in names
            for number, p in enumerate(self.faces.properties)
            if p.name == wanted and p.length_kind
        )


def read_header(path: Path, data: bytes) -> Header:
    """The header of a file that holds a surface; what comes behind the faces is left out.

    Raises
    ------
    FileError
        It is not a PLY file, has no points with x, y and z before its faces, or has no room for its rows.
    """
    end = data.find(b"end_header", 0, LONGEST_HEADER_BYTES)
    if not data.startswith(b"ply") or end < 0:
        raise damaged(path, "it has no PLY header")
    form, tables = _lines(path, data[:end].decode("ascii", "replace").splitlines()[1:])
    names = [table.name for table in tables]
    if "face" not in names:
        raise damaged(path, "there are no faces in the file")
    header = Header(form, tables[: names.index("face") + 1], data.index(b"\n", end) + 1)
    if "vertex" not in names[: names.index("face")] or not any(
        p.name in FACE_LISTS and p.length_kind for p in header.faces.properties
    ):
        raise damaged(path, "faces come without point indices, or before the points")
    if not {"x", "y", "z"} <= {p.name for p in header.points.properties if not p.length_kind}:
        raise damaged(path, "its points have no x, y and z")
    _check_room(path, header, len(data) - header.body)
    return header


def _lines(path: Path, lines: list[str]) -> tuple[str, list[Table]]:
    """The byte form and the tables that a header's lines name."""
    form, tables = "", []
    for line in lines:
        match line.split():
            case ["format", word, _] if word in FORMS:
                form = word
            case ["element", name, count]:
                tables.append(Table(name, int(count), []))
            case ["property", "list", length_kind, kind, name]:
                tables[-1].properties.append(Property(name, KINDS[kind], KINDS[length_kind]))
            case ["property", kind, name]:
                tables[-1].properties.append(Property(name, KINDS[kind]))
            case [] | ["comment", *_] | ["obj_info", *_]:
                pass
            case _:
                raise damaged(path, "its header has a line that PLY does not know")
    if not form:
        raise damaged(path, "its header names no byte form")
    return form, tables


def _check_room(path: Path, header: Header, room: int) -> None:
    """Refuse tables that the body has no room for, each beside those before it.

    A text's number takes two bytes at least, its last one in the file only one.
    """
    for table in header.tables:
        least = table.least_bytes if header.order else 2 * len(table.properties)
        check_promise(path, table.row_count, (room + 1) // max(least, 1), f"rows of '{table.name}'")
        room -= least * table.row_count


def header_for_library(header: Header, *, with_faces: bool) -> bytes:
    """A header of points, and faces if asked for, that names nothing else that the library would act on.

    Colours, normals, textures and files named in comments keep their bytes and lose their names. Numbers of
    a text are all double, so that none is rounded and an index that is not whole shows.
    """
    lines = ["ply", f"format {header.form} 1.0"]
    for table in [header.points, *([header.faces] if with_faces else [])]:
        lines.append(f"element {table.name} {table.row_count}")
        for number, p in enumerate(table.properties):
            if table.name == "vertex":
                known = p.name in ("x", "y", "z") and not p.length_kind
            else:
                known = number == header.face_list
            name = (p.name if table.name == "vertex" else FACE_LISTS[0]) if known else f"unused_{number}"
            kind = WORDS[p.kind] if header.order else "double"
            length = f"list {WORDS[p.length_kind] if header.order else 'int'} " if p.length_kind else ""
            lines.append(f"property {length}{kind} {name}")
    return "\n".join([*lines, "end_header\n"]).encode("ascii")
