"""STL, binary and text."""

import re
import warnings
from pathlib import Path

import numpy as np

from firstcast.geometry.welding import weld_equal
from firstcast.io._raw import RawMesh, bounds_of, check_promise, damaged

HEADER_BYTES = 84
TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("colour", "<u2")])


def read_stl(path: Path) -> list[RawMesh]:
    """The meshes of an STL file, equal corners welded. Normals are taken from the winding."""
    count = _binary_count(path)
    if count is not None:
        records = np.fromfile(path, dtype=TRIANGLE, count=count, offset=HEADER_BYTES)
        return [_welded(path.stem, records["corners"].reshape(-1, 3))]
    return _read_text(path)


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


def _welded(name: str, corners: np.ndarray) -> RawMesh:
    points, label = weld_equal(corners)
    return RawMesh(name, points, label.reshape(-1, 3))


def _read_text(path: Path) -> list[RawMesh]:
    """One mesh per `solid` block; a block that does not end is a file cut short."""
    text = path.read_bytes()
    meshes = []
    blocks = re.split(rb"^[ \t]*solid\b", text, flags=re.MULTILINE | re.IGNORECASE)[1:]
    for block in blocks:
        head, _, body = block.partition(b"\n")
        end = re.search(rb"^[ \t]*endsolid\b", body, flags=re.MULTILINE | re.IGNORECASE)
        if end is None:
            raise damaged(path, "a solid has no end")
        corners = _vertices(path, body[: end.start()])
        if len(corners):
            meshes.append(_welded(head.decode("utf-8", "replace").strip() or path.stem, corners))
    return meshes


def _vertices(path: Path, body: bytes) -> np.ndarray:
    """(3 m, 3) float64: the numbers after each `vertex`, three of which make a `facet`."""
    words = re.findall(
        rb"\bvertex\b([^a-zA-Z\n]*(?:[eE][^a-zA-Z\n]*|nan[^a-zA-Z\n]*|inf[^a-zA-Z\n]*)*)", body
    )
    facets = len(re.findall(rb"\bendfacet\b", body))
    if len(words) != 3 * facets:
        raise damaged(path, f"{len(words)} vertices are not three for each of {facets} facets")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        numbers = np.fromstring(b"\n".join(words), dtype=np.float64, sep=" ")
    if len(numbers) != 3 * len(words):
        raise damaged(path, f"{len(words)} vertices have {len(numbers)} numbers")
    return numbers.reshape(-1, 3)
