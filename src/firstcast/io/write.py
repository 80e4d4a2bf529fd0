"""Written masters: binary STL, 3MF and JSON, each whole or not at all.

A file is written under another name in the same folder, flushed to the disk and renamed over the
old one, so that a crash leaves either the old file or the new one. The same mesh gives the same
bytes: no clock, no random identifiers.

The 3MF is written here rather than by lib3mf, which gives every object and build item a new random
identifier and rounds coordinates to fixed decimals. Nine significant digits name every float32
exactly (IEEE 754-2008, 5.12.2).

References
----------
3MF Core Specification 1.4.0: 2.1 (package), 3.4 (model, unit, metadata), 4.1 (mesh), Open Packaging
Conventions (ISO/IEC 29500-2) for the relationships and content types.
"""

import json
import os
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, BinaryIO
from xml.sax.saxutils import quoteattr

import numpy as np

from firstcast import __version__
from firstcast.errors import FileError, InputError
from firstcast.geometry.mesh import Mesh
from firstcast.io.threemf_text import (
    CONTENT_TYPES,
    CORE_NAMESPACE,
    MODEL_PATH,
    OWN_NAMESPACE,
    RELATIONSHIPS,
    XML_FORBIDDEN,
    metadata,
    put,
    rows,
)
from firstcast.store import replace_file

FilePath = str | os.PathLike[str]

STL_RECORD = np.dtype(
    [("normal", "<f4", (3,)), ("corners", "<f4", (3, 3)), ("attribute", "<u2")], align=False
)


def write_whole(path: FilePath, fill: Callable[[BinaryIO], object]) -> None:
    """A file that is there whole or not at all, in a folder that is made where it is missing.

    Raises
    ------
    FileError
        The folder can't be written or the disk is full. The old file, if any, is untouched.
    """
    path = Path(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        replace_file(path, fill)
    except OSError as error:
        raise FileError(
            f"could not be written ({error.strerror or error})",
            where=str(path),
            mend="Make room on the disk, or choose another folder that you may write to.",
        ) from error


def write_stl(path: FilePath, mesh: Mesh) -> None:
    """A mesh as binary STL (little-endian, 50 bytes a triangle, normals from the corners).

    Parameters
    ----------
    mesh : Mesh
        Points exact in float32, mm. STL carries no unit: millimetres by custom.

    Raises
    ------
    InputError
        Points that float32 can't hold, or indices that name no point.
    FileError
        The file can't be written.
    """
    points = _exact_points(mesh, str(path))
    records = np.zeros(len(mesh.triangles), STL_RECORD)
    records["corners"] = points[mesh.triangles]
    records["normal"] = unit_normals(records["corners"])
    title = f"firstcast {__version__}, millimetres"
    header = title.encode("ascii", "replace").ljust(80, b" ") + np.uint32(len(records)).tobytes()

    def fill(stream: BinaryIO) -> None:
        stream.write(header)
        stream.write(records.data)

    write_whole(path, fill)


def write_3mf(path: FilePath, meshes: Mapping[str, Mesh], metadata: Mapping[str, str] | None = None) -> None:
    """Named meshes as one 3MF package, unit millimetre, each an object and a build item.

    Parameters
    ----------
    meshes : mapping of object name to Mesh
        Points exact in float32, mm. Written in the order given.
    metadata : mapping of str to str, optional
        Names that the standard defines are kept; others get the project's own namespace, and a dash for
        whatever a name may not hold ("size steps" → `firstcast:size-steps`). `Application` is added.

    Raises
    ------
    InputError
        No mesh, an empty one, or points that float32 can't hold.
    FileError
        The file can't be written.
    """
    if not meshes:
        raise InputError("there is no mesh to write", where=str(path), mend="Give at least one.")
    parts = []
    for name, mesh in meshes.items():
        points = _exact_points(mesh, f"{path}, {name!r}")
        if not len(mesh.triangles):
            raise InputError("the mesh has no triangles", where=f"{path}, {name!r}", mend="Leave it out.")
        parts.append((name, points, mesh.triangles))
    notes = {"Application": f"firstcast {__version__}", **(metadata or {})}

    def fill(stream: BinaryIO) -> None:
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as package:
            put(package, "[Content_Types].xml", [CONTENT_TYPES])
            put(package, "_rels/.rels", [RELATIONSHIPS])
            put(package, MODEL_PATH, _model_text(parts, notes))

    write_whole(path, fill)


def write_json(path: FilePath, data: Any) -> None:
    """Plain data as UTF-8 JSON, keys in the order given, ending in a newline.

    Raises
    ------
    InputError
        Something that JSON has no word for, NaN and infinity included.
    FileError
        The file can't be written.
    """
    try:
        text = json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
    except (TypeError, ValueError) as error:
        raise InputError(str(error), where=str(path), mend="Give numbers, text, lists and tables.") from error
    write_whole(path, lambda stream: stream.write(text.encode()))


def _exact_points(mesh: Mesh, where: str) -> np.ndarray:
    """The points as float32, (n, 3), refusing any that this would move; a negative zero becomes zero."""
    wide = np.asarray(mesh.points)
    points = np.ascontiguousarray(wide, dtype=np.float32) + np.float32(0.0)
    if not np.isfinite(points).all() or not np.array_equal(points, wide):
        raise InputError(
            "points are not exact in float32, so the written file would differ from the mesh",
            where=where,
            mend="Round the points to float32 before the last check of the mesh.",
        )
    triangles = np.asarray(mesh.triangles)
    if len(triangles) and (triangles.min() < 0 or triangles.max() >= len(points)):
        raise InputError(
            f"indices run from {triangles.min()} to {triangles.max()}, but there are {len(points)} points",
            where=where,
            mend="Renumber the triangles.",
        )
    return points


def unit_normals(corners: np.ndarray) -> np.ndarray:
    """(m, 3) float32 unit normals; zero where a triangle has no area, as STL readers expect."""
    a, b, c = (corners[:, k].astype(np.float64) for k in range(3))
    normal = np.cross(b - a, c - a)
    length = np.sqrt(np.einsum("ij,ij->i", normal, normal))[:, None]
    return np.divide(normal, length, out=np.zeros_like(normal), where=length > 0).astype(np.float32)


def _model_text(parts, notes: Mapping[str, str]):
    """The model part of the package, in pieces of text."""
    yield (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="millimeter" xml:lang="en" xmlns="{CORE_NAMESPACE}" xmlns:firstcast="{OWN_NAMESPACE}">\n'
    )
    yield from metadata(notes)
    yield "<resources>\n"
    for number, (name, points, triangles) in enumerate(parts, start=1):
        label = quoteattr(name.translate(XML_FORBIDDEN))
        yield f'<object id="{number}" type="model" name={label}>\n<mesh>\n<vertices>\n'
        yield from rows('<vertex x="%.9g" y="%.9g" z="%.9g"/>\n', points)
        yield "</vertices>\n<triangles>\n"
        yield from rows('<triangle v1="%d" v2="%d" v3="%d"/>\n', triangles)
        yield "</triangles>\n</mesh>\n</object>\n"
    yield "</resources>\n<build>\n"
    for number in range(1, len(parts) + 1):
        yield f'<item objectid="{number}"/>\n'
    yield "</build>\n</model>\n"
