"""glTF 2.0, binary (.glb) and text (.gltf): triangles at their nodes, in metres, y up.

Only what shapes the surface is read: positions, indices, node moves. Meshes that need an extension to be
read, such as compressed ones, are refused by its name.
"""

import base64
import binascii
import json
import re
import struct
from pathlib import Path
from urllib.parse import unquote

import numpy as np

from firstcast.errors import FileError
from firstcast.io._raw import LARGEST_FILE_BYTES, RawMesh, check_promise, damaged, file_label

METRE_MM = 1000.0
NUMBER_KINDS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
TRIANGLES, STRIP, FAN = 4, 5, 6
DEEPEST_NODE = 64
MOST_PLACINGS = 100_000
HARMLESS_EXTENSIONS = (
    "KHR_mesh_quantization",
    "KHR_materials_",
    "KHR_texture_",
    "KHR_lights_",
    "EXT_texture_",
)
"""Beginnings of the names of required extensions that leave the surface as it is, or are read."""


def read_gltf(path: Path) -> list[RawMesh]:
    """Each mesh at each node of the scene that shows it, moved as the nodes say."""
    document, chunk = _open(path)
    for needed in document.get("extensionsRequired", []):
        if not needed.startswith(HARMLESS_EXTENSIONS):
            raise FileError(
                f"it needs the extension {re.sub(r'[^A-Za-z0-9_]', '_', needed)[:64]}, which is not read",
                where=file_label(path),
                mend="Export it as plain glTF, without mesh compression.",
            )
    buffers = _Buffers(path, document, chunk)
    meshes: dict[int, tuple[np.ndarray, np.ndarray]] = {}
    raws = []
    for node, placing in _placings(path, document):
        number = node["mesh"]
        if number not in meshes:
            meshes[number] = _mesh(buffers, document["meshes"][number])
        points, triangles = meshes[number]
        moved = points @ placing[:3, :3].T + placing[:3, 3]
        if np.linalg.det(placing[:3, :3]) < 0:
            triangles = triangles[:, ::-1]
        name = node.get("name") or document["meshes"][number].get("name") or path.stem
        raws.append(RawMesh(str(name), moved, triangles, METRE_MM, "y"))
    return raws


def _open(path: Path) -> tuple[dict, bytes | None]:
    """The JSON document, and the binary chunk of a .glb."""
    data = path.read_bytes()
    if data[:4] != b"glTF":
        document, chunk = json.loads(data), None
    else:
        version, length = struct.unpack_from("<II", data, 4)
        if version != 2:
            raise FileError(f"glTF version {version}", where=file_label(path), mend="Export it as glTF 2.0.")
        if length != len(data):
            raise damaged(path, f"it promises {length} bytes and has {len(data)}")
        document, chunk, at = None, None, 12
        while at + 8 <= length:
            size, kind = struct.unpack_from("<I4s", data, at)
            if at + 8 + size > length:
                raise damaged(path, f"a chunk promises {size} bytes and has {length - at - 8}")
            if kind == b"JSON" and document is None:
                document = json.loads(data[at + 8 : at + 8 + size])
            elif kind == b"BIN\0" and chunk is None:
                chunk = data[at + 8 : at + 8 + size]
            at += 8 + size
    if not isinstance(document, dict) or "meshes" not in document:
        raise damaged(path, "there are no meshes in the file")
    return document, chunk


class _Buffers:
    """Bytes by buffer number, and arrays by accessor number; every size checked against the bytes."""

    def __init__(self, path: Path, document: dict, chunk: bytes | None) -> None:
        self.path, self.document, self.chunk = path, document, chunk
        self.loaded: dict[int, bytes] = {}

    def bytes_of(self, number: int) -> bytes:
        """The bytes of a buffer: the chunk, data in the document, or a file beside it."""
        if number in self.loaded:
            return self.loaded[number]
        buffer = _item(self.document["buffers"], number)
        uri = buffer.get("uri")
        if uri is None:
            data = self.chunk if number == 0 and self.chunk is not None else b""
        elif uri.startswith("data:"):
            try:
                data = base64.b64decode(uri.partition(",")[2], validate=True)
            except binascii.Error as error:
                raise damaged(self.path, "data in the document is not base64") from error
        else:
            data = self._beside(unquote(uri))
        promised = int(buffer["byteLength"])
        if promised < 0 or promised > len(data):
            raise damaged(self.path, f"a buffer promises {promised} bytes and has {len(data)}")
        self.loaded[number] = data[:promised]
        return self.loaded[number]

    def _beside(self, name: str) -> bytes:
        """A file named by the document: only from its own folder or below."""
        folder = self.path.parent.resolve()
        other = (folder / name).resolve()
        if "\0" in name or not other.is_relative_to(folder):
            raise FileError(
                "its data lie outside its own folder",
                where=file_label(self.path),
                mend="Export it as one .glb file.",
            )
        if not other.is_file() or other.stat().st_size > LARGEST_FILE_BYTES:
            raise FileError(
                "its data file is missing or too large",
                where=file_label(self.path),
                mend="Keep the data file beside it, or export it as one .glb file.",
            )
        return other.read_bytes()

    def view(self, number: int) -> tuple[memoryview, int]:
        """A slice of a buffer, and its stride (0 where packed)."""
        view = _item(self.document["bufferViews"], number)
        data = self.bytes_of(view["buffer"])
        start, length = int(view.get("byteOffset", 0)), int(view["byteLength"])
        if start < 0 or length < 0 or start + length > len(data):
            raise damaged(self.path, f"a view promises bytes {start} to {start + length} of {len(data)}")
        return memoryview(data)[start : start + length], int(view.get("byteStride", 0))

    def rows(self, view_number: int, start: int, count: int, kind: np.dtype, width: int) -> np.ndarray:
        """(count, width) numbers out of a view."""
        view, stride = self.view(view_number)
        size = kind.itemsize * width
        stride = stride or size
        if stride < size or start < 0:
            raise damaged(self.path, "an array's stride or offset makes no sense")
        room = (len(view) - start - size) // stride + 1 if len(view) >= start + size else 0
        check_promise(self.path, count, room, "rows of an array")
        return np.ndarray((count, width), kind, view, start, (stride, kind.itemsize)).copy()

    def array(self, number: int) -> np.ndarray:
        """(count, width): an accessor's numbers, sparse changes applied, integers left as they are."""
        accessor = _item(self.document["accessors"], number)
        kind, width = np.dtype(NUMBER_KINDS[accessor["componentType"]]), WIDTHS[accessor["type"]]
        count = int(accessor["count"])
        if "bufferView" in accessor:
            rows = self.rows(accessor["bufferView"], int(accessor.get("byteOffset", 0)), count, kind, width)
        else:
            sparse = accessor["sparse"]  # without a view an array is zeros but for its sparse changes
            check_promise(self.path, count, 1000 * int(sparse["count"]) + 1000, "rows of an array")
            rows = np.zeros((count, width), kind)
        if "sparse" in accessor:
            sparse = accessor["sparse"]
            changed = int(sparse["count"])
            at, new = sparse["indices"], sparse["values"]
            where_kind = np.dtype(NUMBER_KINDS[at["componentType"]])
            where = self.rows(at["bufferView"], int(at.get("byteOffset", 0)), changed, where_kind, 1)
            values = self.rows(new["bufferView"], int(new.get("byteOffset", 0)), changed, kind, width)
            rows[where[:, 0]] = values
        if accessor.get("normalized") and kind.kind in "iu":
            most = np.iinfo(kind).max
            return np.maximum(rows / float(most), -1.0)
        return rows


def _item(items: list, number: int):
    """An entry by number; a negative number is damage, not the last entry."""
    if not isinstance(number, int) or number < 0:
        raise IndexError(number)
    return items[number]


def _mesh(buffers: _Buffers, mesh: dict) -> tuple[np.ndarray, np.ndarray]:
    """points (n, 3) float64, triangles (m, 3) int64: the primitives of a mesh that are surfaces."""
    points, triangles, base = [np.empty((0, 3))], [np.empty((0, 3), dtype=np.int64)], 0
    known: dict[int, int] = {}
    for primitive in mesh["primitives"]:
        mode = primitive.get("mode", TRIANGLES)
        if mode not in (TRIANGLES, STRIP, FAN):
            continue
        number = primitive["attributes"]["POSITION"]
        if number not in known:  # primitives of one skin often share their points
            places = buffers.array(number).astype(np.float64)
            known[number] = base
            points.append(places.reshape(-1, 3))
            base += len(places)
        count = int(buffers.document["accessors"][number]["count"])
        if "indices" in primitive:
            order = buffers.array(primitive["indices"])[:, 0].astype(np.int64)
        else:
            order = np.arange(count, dtype=np.int64)
        if len(order) and order.max() >= count:
            raise damaged(buffers.path, f"triangles name point {order.max()} of {count} points")
        triangles.append(_rows(order, mode) + known[number])
    return np.concatenate(points), np.concatenate(triangles)


def _rows(order: np.ndarray, mode: int) -> np.ndarray:
    """(m, 3): the triangles of a list, strip or fan of indices; of a strip every other one is turned."""
    if mode == TRIANGLES:
        if len(order) % 3:
            raise ValueError("indices are not three a triangle")
        return order.reshape(-1, 3)
    if len(order) < 3:
        return np.empty((0, 3), dtype=np.int64)
    if mode == FAN:
        return np.stack([np.full(len(order) - 2, order[0]), order[1:-1], order[2:]], axis=1)
    rows = np.stack([order[:-2], order[1:-1], order[2:]], axis=1)
    rows[1::2] = rows[1::2][:, [1, 0, 2]]
    return rows


def _placings(path: Path, document: dict) -> list[tuple[dict, np.ndarray]]:
    """(node, (4, 4) move to the scene) for each node of the scene that shows a mesh."""
    nodes = document.get("nodes", [])
    if document.get("scenes"):
        roots = _item(document["scenes"], document.get("scene", 0)).get("nodes", [])
    else:
        children = {child for node in nodes for child in node.get("children", [])}
        roots = [number for number in range(len(nodes)) if number not in children]
    placed, stack = [], [(number, np.eye(4), 0) for number in reversed(roots)]
    while stack:
        number, above, depth = stack.pop()
        if depth > DEEPEST_NODE or len(placed) > MOST_PLACINGS:
            raise damaged(path, "its nodes contain themselves or are nested too deep")
        node = _item(nodes, number)
        placing = above @ _local(node)
        if "mesh" in node:
            placed.append((node, placing))
        stack += [(child, placing, depth + 1) for child in reversed(node.get("children", []))]
        if len(stack) > MOST_PLACINGS:
            raise damaged(path, "its nodes contain themselves or are nested too deep")
    return placed


def _local(node: dict) -> np.ndarray:
    """(4, 4): a node's own move, from its matrix (by columns) or its shift, turn (x, y, z, w) and scale."""
    if "matrix" in node:
        return np.array(node["matrix"], dtype=np.float64).reshape(4, 4).T
    x, y, z, w = np.array(node.get("rotation", (0, 0, 0, 1)), dtype=np.float64)
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    local = np.eye(4)
    local[:3, :3] = turn * np.array(node.get("scale", (1, 1, 1)), dtype=np.float64)
    local[:3, 3] = node.get("translation", (0, 0, 0))
    return local
