"""What of a glTF document makes the surface, checked and put plainly for the library.

The library trusts a document. It would allocate what an array promises, leave out fans, what hangs on a
camera and what is in no scene, and take sparse arrays without their changes.
"""

from pathlib import Path
from typing import NamedTuple

import numpy as np

from firstcast.errors import FileError
from firstcast.io._gltf_file import entry, load_buffer, open_gltf
from firstcast.io._raw import check_promise, damaged, file_label

SIZES = {5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4}
WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
TRIANGLES, STRIP, FAN = 4, 5, 6
MOST_SHARING = 16
"""Chosen: arrays that interleave share bytes; so often they are damaged, or meant to fill the memory."""


class Shown(NamedTuple):
    """A node that shows a mesh: its number, which is its name for the library; the mesh; the part's name."""

    node: int
    mesh: int
    name: str


class Surface(NamedTuple):
    """A document for the library, its buffers by URI, and what it shows in the order of the scene."""

    document: dict
    buffers: dict[str, memoryview]
    shown: list[Shown]


def read_surface(path: Path) -> Surface:
    """The surface of a file.

    Raises
    ------
    FileError
        Damaged, or made in a way that is not read.
    """
    document, chunk = open_gltf(path)
    buffers = [
        memoryview(load_buffer(path, document, chunk, number))
        for number in range(len(document.get("buffers", [])))
    ]
    _check_arrays(path, document, buffers)
    nodes = document.get("nodes", [])
    order, roots = _nodes_in_order(path, document)
    shown = [_shown(path, document, number) for number in order if "mesh" in nodes[number]]
    used = {item.mesh for item in shown}
    meshes = [
        {"primitives": _primitives(path, document, mesh) if number in used else []}
        for number, mesh in enumerate(document["meshes"])
    ]
    shown = [item for item in shown if meshes[item.mesh]["primitives"]]
    corners = sum(_corners(document, meshes[item.mesh]["primitives"]) for item in shown)
    check_promise(path, corners, corners, "corners of triangles")
    plain = {
        "scene": 0,
        "scenes": [{"nodes": roots}],
        "nodes": [_plain_node(number, node, meshes) for number, node in enumerate(nodes)],
        "meshes": meshes,
        "accessors": document["accessors"],
        "bufferViews": document["bufferViews"],
        "buffers": [{"uri": f"buffer {number}"} for number in range(len(buffers))],
    }
    by_uri = {buffer["uri"]: data for buffer, data in zip(plain["buffers"], buffers, strict=True)}
    return Surface(plain, by_uri, shown)


def _check_arrays(path: Path, document: dict, buffers: list[memoryview]) -> None:
    """Refuse views that lie outside their buffers, and arrays that have no room in their views."""
    views, promised = document.get("bufferViews", []), 0
    for view in views:
        start, length = int(view.get("byteOffset", 0)), int(view["byteLength"])
        held = len(entry(buffers, view["buffer"]))
        if start < 0 or length < 0 or start + length > held:
            raise damaged(path, f"a view promises bytes {start} to {start + length} of {held}")
    for accessor in document.get("accessors", []):
        count = int(accessor["count"])
        size = SIZES[accessor["componentType"]] * WIDTHS[accessor["type"]]
        if "bufferView" in accessor:
            view = entry(views, accessor["bufferView"])
            offset, stride = int(accessor.get("byteOffset", 0)), int(view.get("byteStride", 0)) or size
            if stride < size or offset < 0:
                raise damaged(path, "an array's stride or offset makes no sense")
            left = int(view["byteLength"]) - offset
            check_promise(path, count, (left - size) // stride + 1 if left >= size else 0, "rows of an array")
        promised += size * count
    held = sum(len(data) for data in buffers)
    if promised > MOST_SHARING * held:
        raise damaged(path, f"its arrays promise {promised} bytes out of {held}")


def _nodes_in_order(path: Path, document: dict) -> tuple[list[int], list[int]]:
    """The scene's nodes, each before its children, and its roots; without a scene every tree is shown.

    The standard wants trees: then no node is met twice, whatever the document means.
    """
    nodes = document.get("nodes", [])
    children = [child for node in nodes for child in node.get("children", [])]
    inner = set(children)
    if document.get("scenes"):
        roots = entry(document["scenes"], document.get("scene", 0)).get("nodes", [])
    else:
        roots = [number for number in range(len(nodes)) if number not in inner]
    if len(inner) < len(children) or len(set(roots)) < len(roots) or inner & set(roots):
        raise damaged(path, "its nodes contain themselves or hang in two places")
    order, stack = [], list(reversed(roots))
    while stack:
        number = stack.pop()
        order.append(number)
        stack += reversed(entry(nodes, number).get("children", []))
    return order, roots


def _shown(path: Path, document: dict, number: int) -> Shown:
    node = document["nodes"][number]
    name = node.get("name") or entry(document["meshes"], node["mesh"]).get("name") or path.stem
    return Shown(number, node["mesh"], str(name))


def _plain_node(number: int, node: dict, meshes: list[dict]) -> dict:
    """A node's place and what it shows, by the name that is its number."""
    kept = ["children", "matrix", "translation", "rotation", "scale"]
    if "mesh" in node and entry(meshes, node["mesh"])["primitives"]:
        kept.append("mesh")
    return {"name": str(number), **{key: node[key] for key in kept if key in node}}


def _primitives(path: Path, document: dict, mesh: dict) -> list[dict]:
    """A mesh's primitives that are surfaces: their points and corners alone."""
    plain = []
    for primitive in mesh["primitives"]:
        mode = primitive.get("mode", TRIANGLES)
        if mode == FAN:
            raise _not_read(path, "a mesh is made of fans")
        if mode not in (TRIANGLES, STRIP):
            continue
        position = primitive["attributes"]["POSITION"]
        _check_array(path, entry(document["accessors"], position), "VEC3")
        kept = {"attributes": {"POSITION": position}, "mode": mode}
        if "indices" in primitive:
            kept["indices"] = primitive["indices"]
            _check_array(path, entry(document["accessors"], primitive["indices"]), "SCALAR")
        plain.append(kept)
    return plain


def _check_array(path: Path, accessor: dict, wanted: str) -> None:
    """Refuse points and indices that the library can't give as they are meant."""
    if "sparse" in accessor:
        raise _not_read(path, "an array is stored as sparse changes")
    if "bufferView" not in accessor:
        raise _not_read(path, "an array is compressed")
    signed = accessor["componentType"] in (5120, 5122, 5126)
    if accessor["type"] != wanted or (wanted == "SCALAR" and signed):
        raise damaged(path, "an array is of a kind that points or indices can't have")


def _corners(document: dict, primitives: list[dict]) -> int:
    """Three for each triangle."""
    total = 0
    for primitive in primitives:
        array = document["accessors"][primitive.get("indices", primitive["attributes"]["POSITION"])]
        count = int(array["count"])
        total += max(3 * (count - 2), 0) if primitive["mode"] == STRIP else count
    return total


def scale_of(accessor: dict) -> float:
    """What an integer point is divided by: the largest of its kind where the file says `normalized`."""
    integers = {5120: np.int8, 5121: np.uint8, 5122: np.int16, 5123: np.uint16}
    kind = integers.get(accessor["componentType"])
    return float(np.iinfo(kind).max) if kind and accessor.get("normalized") else 1.0


def _not_read(path: Path, what: str) -> FileError:
    return FileError(
        f"{what}, which is not read",
        where=file_label(path),
        mend="Export it as plain glTF: lists of triangles, without compression.",
    )
