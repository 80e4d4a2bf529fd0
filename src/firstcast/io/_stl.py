"""STL, binary and text, through trimesh: what a file promises is held against its size first."""

import io
import re
import warnings
from pathlib import Path

import numpy as np

from firstcast.geometry.welding import weld_equal
from firstcast.io._raw import RawMesh, bounds_of, check_promise, damaged

HEADER_BYTES = 84
TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("colour", "<u2")])
LOWER = bytes(range(128)).lower() + bytes(range(128, 256))
NOT_ASCII = bytes(range(128, 256))


def read_stl(path: Path) -> list[RawMesh]:
    """The meshes of an STL file, equal corners welded. Normals are taken from the winding."""
    count = _binary_count(path)
    if count is None:
        return _read_text(path)
    return [_welded(path.stem, _binary_corners(path))] if count else []


def survey_binary_stl(path: Path) -> tuple[np.ndarray, int] | None:
    """(2, 3) extents and the count of triangles, a slice of the file at a time; None if it is text."""
    count = _binary_count(path)
    if count is None:
        return None
    if count == 0:
        raise damaged(path, "there are no triangles in the file")
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    records = np.memmap(path, dtype=TRIANGLE, mode="r", offset=HEADER_BYTES, shape=(count,))
    step = 1 << 18
    for start in range(0, count, step):
        corners = records["corners"][start : start + step].reshape(-1, 3)
        bounds = bounds_of(corners)
        low, high = np.minimum(low, bounds[0]), np.maximum(high, bounds[1])  # NaN goes through both
    return np.array([low, high], dtype=np.float64), count


def _binary_count(path: Path) -> int | None:
    """How many triangles a binary file holds; None for text.

    Some binary files begin with "solid" too: a file whose length fits its own count is binary.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(HEADER_BYTES)
    count = int.from_bytes(head[80:84], "little")
    if len(head) == HEADER_BYTES and size == HEADER_BYTES + TRIANGLE.itemsize * count:
        check_promise(path, count, count, "triangles")
        return count
    if head.lstrip()[:5].lower() == b"solid":
        return None
    if len(head) < HEADER_BYTES:
        raise damaged(path, f"{size} bytes are too short for a binary STL")
    room = (size - HEADER_BYTES) // TRIANGLE.itemsize
    check_promise(path, count, room, "triangles")
    raise damaged(path, f"it promises {count} triangles, but its length fits {room}")


def _binary_corners(path: Path) -> np.ndarray:
    """(3 m, 3) float32, three for each triangle."""
    from trimesh.exchange.stl import load_stl_binary  # slow to import, so only where a file is read

    with path.open("rb") as file:
        return load_stl_binary(file)["vertices"]


def _welded(name: str, corners: np.ndarray) -> RawMesh:
    points, label = weld_equal(corners)
    return RawMesh(name, points, label.reshape(-1, 3))


def _read_text(path: Path) -> list[RawMesh]:
    """One mesh per `solid` block; a block that does not end is a file cut short."""
    text = path.read_bytes()
    meshes = []
    begins = [found.end() for found in re.finditer(rb"(?im)^[ \t]*solid\b", text)]
    for begin, stop in zip(begins, [*begins[1:], len(text)], strict=True):
        head = text[begin : max(text.find(b"\n", begin, stop), begin)]
        end = re.compile(rb"(?im)^[ \t]*endsolid\b").search(text, begin + len(head), stop)
        if end is None:
            raise damaged(path, "a solid has no end")
        corners = _text_corners(path, text[begin + len(head) : end.start()])
        if len(corners):
            meshes.append(_welded(head.decode("utf-8", "replace").strip() or path.stem, corners))
    return meshes


def _text_corners(path: Path, block: bytes) -> np.ndarray:
    """(3 m, 3) float64: the corners of one solid's facets, three for each.

    The library gets a block at a time, because it takes "solid" within a name for the next one; and without
    normals, which it would read for nothing.
    """
    from trimesh.exchange.stl import load_stl_ascii  # slow to import, so only where a file is read

    block = block.translate(LOWER, NOT_ASCII).replace(b"normal", b"")
    vertices, facets = block.count(b"vertex"), block.count(b"endfacet")
    if vertices != 3 * facets:
        raise damaged(path, f"{vertices} vertices are not three for each of {facets} facets")
    if not facets:
        return np.empty((0, 3))
    stream = io.BytesIO(b"solid\n%b\nendsolid\n" % block)
    del block
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # numpy before 2.3 only warns of a word that is no number
        corners = load_stl_ascii(stream)["vertices"]
    if len(corners) != vertices:
        raise damaged(path, f"{vertices} vertices have {corners.size} numbers")
    return corners
