"""A mesh with a reading at every point, to be opened beside the sculpture: PLY and binary glTF.

PLY keeps the mesh's own axes and unit, a colour per point and the value itself, so that a program can colour it
anew. glTF wants metres, y up, the front towards +z, and colours in linear light: all of that is converted here, so
that the file looks the same wherever it is opened. Its material is plain and matt, without texture: the form shows
under the colours.

References
----------
G. Turk 1994, "The PLY Polygon File Format". Khronos glTF 2.0 (ISO/IEC 12113:2022): 3.4 (axes and unit), 3.6.2
(accessors: alignment, bounds), 3.7.2 (attributes), 3.9.2 (vertex colours are linear), 4 (the binary container).
"""

import json
import re
import struct
import unicodedata
from typing import Any, BinaryIO, Literal, Protocol

import numpy as np
import numpy.typing as npt

from firstcast import __version__
from firstcast.arrays import check_points, check_triangles
from firstcast.errors import InputError, SizeError
from firstcast.geometry.mesh import Mesh
from firstcast.io.write import FilePath, write_whole

PLY_FACE = np.dtype([("count", "u1"), ("points", "<i4", (3,))], align=False)
PLY_TAKEN = frozenset({"x", "y", "z", "red", "green", "blue"})
METRE_MM = 1000.0
MOST_GLB_BYTES = 2**32 - 1
"""A binary glTF states its length in 32 bits."""

_UP_FROM_Z = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
_ASCII_FOR = str.maketrans({"µ": "u", "μ": "u", "°": " deg ", "²": "2", "³": "3", "–": "-", "×": "x"})
_FLOAT, _SHORT, _INDEX = 5126, 5123, 5125
_POINTS, _CORNERS = 34962, 34963


class _Reading(Protocol):
    """What is written: values at the points and the colours that show them (`sheets.scales.SurfaceMap` is one).

    `values` (n,) in `unit`, NaN where nothing was read; `colours()` (n, 3) sRGB from 0 to 255; `low` and `high`
    are the ends of the colour scale.
    """

    @property
    def name(self) -> str: ...
    @property
    def unit(self) -> str: ...
    @property
    def values(self) -> npt.NDArray: ...
    @property
    def low(self) -> float: ...
    @property
    def high(self) -> float: ...
    def colours(self) -> npt.NDArray[np.float32]: ...


def write_coloured_ply(path: FilePath, mesh: Mesh, reading: _Reading, *, unit_mm: float = 1.0) -> None:
    """A mesh as binary little-endian PLY, with `uchar red green blue` and the value as a float at each point.

    Parameters
    ----------
    mesh : Mesh
        points (n, 3), rounded to float32, in units of `unit_mm`; their axes are kept.
    reading : _Reading
        The value's property is named after it ("retention"; "wall_thickness" for "wall thickness"). NaN stays NaN.
    unit_mm : float
        Length of the mesh's unit, mm: said in a comment, since PLY has no unit.

    Raises
    ------
    InputError
        No triangle, places that are not finite, or values and colours that don't match the points.
    FileError
        The file can't be written.
    """
    points, triangles, values, colours = _checked(mesh, reading, str(path))
    name = property_name(reading.name)
    rows = np.zeros(
        len(points),
        np.dtype([("place", "<f4", (3,)), ("colour", "u1", (3,)), (name, "<f4")], align=False),
    )
    rows["place"] = _float32(points)
    rows["colour"] = np.rint(colours)
    rows[name] = values
    faces = np.zeros(len(triangles), PLY_FACE)
    faces["count"], faces["points"] = 3, triangles
    header = _ply_header(name, reading, unit_mm, len(rows), len(faces))

    def fill(stream: BinaryIO) -> None:
        stream.write(header)
        stream.write(rows.data)
        stream.write(faces.data)

    write_whole(path, fill)


def write_coloured_glb(
    path: FilePath, mesh: Mesh, reading: _Reading, *, unit_mm: float = 1.0, up: Literal["y", "z"] = "z"
) -> None:
    """A mesh as binary glTF 2.0 with COLOR_0 as normalized shorts in linear light, smooth normals, uint32 indices.

    Parameters
    ----------
    mesh : Mesh
        points (n, 3) in units of `unit_mm`: written in metres as float32.
    reading : _Reading
        Its name, unit and the ends of its scale stand in the mesh's extras; the values only in the PLY, because
        glTF allows no NaN.
    unit_mm : float
        Length of the mesh's unit, mm.
    up : "y" or "z"
        The mesh's upward axis; z is turned to y by (x, y, z) → (x, z, -y).

    Raises
    ------
    InputError
        No triangle, places that are not finite, or values and colours that don't match the points.
    SizeError
        More than binary glTF can hold.
    FileError
        The file can't be written.
    """
    points, triangles, values, colours = _checked(mesh, reading, str(path))
    turned = points @ _UP_FROM_Z.T if up == "z" else points
    arrays = (
        _float32(turned * (unit_mm / METRE_MM)),
        _normals(turned, triangles),
        _linear_shorts(colours),
        triangles.astype("<u4"),
    )
    text = json.dumps(_document(arrays, reading.name, _extras(reading, values)), allow_nan=False).encode(
        "ascii"
    )
    text += b" " * (-len(text) % 4)
    chunk = sum(array.nbytes for array in arrays)
    total = 12 + 8 + len(text) + 8 + chunk
    if total > MOST_GLB_BYTES:
        raise SizeError(
            f"{total} bytes are more than binary glTF holds", where=str(path), mend="Reduce the mesh first."
        )

    def fill(stream: BinaryIO) -> None:
        stream.write(struct.pack("<4sII", b"glTF", 2, total))
        stream.write(struct.pack("<I4s", len(text), b"JSON") + text)
        stream.write(struct.pack("<I4s", chunk, b"BIN\0"))
        for array in arrays:
            stream.write(array.data)

    write_whole(path, fill)


def property_name(name: str) -> str:
    """A reading's name as a PLY property: lower case, no spaces; `value` where nothing is left or it is taken."""
    word = re.sub(r"[^a-z0-9]+", "_", _ascii(name).lower()).strip("_")
    return word if word and word not in PLY_TAKEN else "value"


def _ply_header(name: str, reading: _Reading, unit_mm: float, point_count: int, face_count: int) -> bytes:
    """The header: what the file holds and where grey stands, then its tables."""
    comments = (
        f"firstcast {__version__}",
        f"lengths in units of {unit_mm:g} mm",
        f"value {name}: {_ascii(reading.name)}",
        f"unit {_ascii(reading.unit)}",
        f"colours from {reading.low:g} to {reading.high:g}; grey and nan: not read",
    )
    lines = (
        "ply",
        "format binary_little_endian 1.0",
        *(f"comment {comment}" for comment in comments),
        f"element vertex {point_count}",
        *(f"property float {axis}" for axis in "xyz"),
        *(f"property uchar {colour}" for colour in ("red", "green", "blue")),
        f"property float {name}",
        f"element face {face_count}",
        "property list uchar int vertex_indices",
        "end_header\n",
    )
    return "\n".join(lines).encode("ascii")


def _checked(mesh: Mesh, reading: _Reading, where: str):
    """points (n, 3) float64, triangles (m, 3) int32, values (n,) float32, colours (n, 3) float64."""
    points = check_points(mesh.points, where=where)
    triangles = check_triangles(mesh.triangles, len(points), where=where)
    values = np.asarray(reading.values, dtype=np.float32)
    colours = np.asarray(reading.colours(), dtype=np.float64)
    if not len(triangles):
        raise InputError("the mesh has no triangles", where=where, mend="Leave it out.")
    if values.shape != (len(points),) or colours.shape != points.shape:
        raise InputError(
            f"values of shape {values.shape} and colours of shape {colours.shape} for {len(points)} points",
            where=where,
            mend="Give one value and one red, green, blue per point.",
        )
    if np.isinf(values).any() or not ((colours >= 0.0) & (colours <= 255.0)).all():
        raise InputError(
            "values are infinite, or colours lie outside 0 to 255",
            where=where,
            mend="Give NaN where nothing was read.",
        )
    return points, triangles, values, colours


def _float32(points: npt.NDArray) -> npt.NDArray[np.float32]:
    """The places as little-endian float32; a negative zero becomes zero."""
    return np.ascontiguousarray(points, dtype="<f4") + np.float32(0.0)


def _ascii(text: str) -> str:
    """Text for a PLY header: one line of ASCII."""
    plain = unicodedata.normalize("NFKD", text.translate(_ASCII_FOR)).encode("ascii", "ignore").decode()
    return " ".join(re.sub(r"[^ -~]", " ", plain).split())


def _normals(points: npt.NDArray, triangles: npt.NDArray) -> npt.NDArray[np.float32]:
    """(n, 3) unit normals of points, triangles weighted by area; up where a point has no triangle with area."""
    corners = points[triangles]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    named, many = triangles.ravel(), np.repeat(across, 3, axis=0)
    summed = np.stack(
        [np.bincount(named, weights=many[:, k], minlength=len(points)) for k in range(3)], axis=1
    )
    length = np.linalg.norm(summed, axis=1, keepdims=True)
    up = np.broadcast_to([0.0, 1.0, 0.0], summed.shape)
    return _float32(np.divide(summed, length, out=up.copy(), where=length > 0.0))


def _linear_shorts(colours: npt.NDArray) -> npt.NDArray[np.uint16]:
    """(n, 4) linear red, green, blue, alpha for sRGB from 0 to 255 (IEC 61966-2-1): a byte would lose dark ones.

    Four shorts and not three: an attribute's rows start at multiples of four bytes.
    """
    share = colours / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    out = np.full((len(colours), 4), 65535, "<u2")
    out[:, :3] = np.rint(65535.0 * linear)
    return out


def _extras(reading: _Reading, values: npt.NDArray[np.float32]) -> dict[str, Any]:
    """What the mesh says of its reading."""
    return {
        "value": reading.name,
        "unit": reading.unit,
        "scale": [float(reading.low), float(reading.high)],
        "not read": f"{int(np.isnan(values).sum())} of {len(values)} points, in grey",
    }


def _document(arrays, name: str, says: dict[str, Any]) -> dict[str, Any]:
    """The glTF document of one mesh whose points, normals, colours and indices lie one behind the other."""
    points, _, _, triangles = arrays
    kinds = (
        {"componentType": _FLOAT, "type": "VEC3", "count": len(points)}
        | {"min": points.min(axis=0).tolist(), "max": points.max(axis=0).tolist()},
        {"componentType": _FLOAT, "type": "VEC3", "count": len(points)},
        {"componentType": _SHORT, "type": "VEC4", "count": len(points), "normalized": True},
        {"componentType": _INDEX, "type": "SCALAR", "count": triangles.size},
    )
    views, offset = [], 0
    for array, target in zip(arrays, (_POINTS, _POINTS, _POINTS, _CORNERS), strict=True):
        views.append({"buffer": 0, "byteOffset": offset, "byteLength": array.nbytes, "target": target})
        offset += array.nbytes
    primitive = {"attributes": {"POSITION": 0, "NORMAL": 1, "COLOR_0": 2}, "indices": 3, "material": 0}
    matt = {"baseColorFactor": [1.0, 1.0, 1.0, 1.0], "metallicFactor": 0.0, "roughnessFactor": 1.0}
    return {
        "asset": {"version": "2.0", "generator": f"firstcast {__version__}"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, "name": name}],
        "meshes": [{"name": name, "primitives": [primitive], "extras": says}],
        "materials": [{"name": "matt", "pbrMetallicRoughness": matt}],
        "accessors": [{"bufferView": number, **kind} for number, kind in enumerate(kinds)],
        "bufferViews": views,
        "buffers": [{"byteLength": offset}],
    }
