"""3MF through lib3mf: what the build shows, with its unit."""

import zipfile
import zlib
from pathlib import Path
from typing import Any

import numpy as np

from firstcast.errors import FileError
from firstcast.io._raw import LARGEST_FILE_BYTES, RawMesh, check_promise, damaged, file_label

MOST_ENTRIES = 10_000
MOST_SWELLING = 200
"""A model's text packs to a fifth or a tenth; two hundredfold is an attack or damage."""

LEAST_SUSPECT_BYTES = 64 << 20
"""Smaller contents are harmless however well they pack."""

MOST_INSTANCES = 10_000
DEEPEST_COMPONENT = 32
UNIT_MM = {
    "MicroMeter": 0.001,
    "MilliMeter": 1.0,
    "CentiMeter": 10.0,
    "Inch": 25.4,
    "Foot": 304.8,
    "Meter": 1000.0,
}
"""By the names of lib3mf's units."""


def read_threemf(path: Path) -> list[RawMesh]:
    """Each mesh at each build item or component that shows it, moved as the build says."""
    import lib3mf  # pyright: ignore[reportMissingImports]  # only where a file is read

    _check_package(path)
    model: Any = lib3mf.get_wrapper().CreateModel()  # lib3mf is typed as if a model could be None
    model.QueryReader("3mf").ReadFromFile(str(path))
    unit_mm = UNIT_MM[model.GetUnit().name]
    found: list[tuple] = []  # name, mesh object, move
    items = model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        placing = _matrix(item.GetObjectTransform()) if item.HasObjectTransform() else np.eye(4)
        _gather(path, model, item.GetObjectResource(), placing, "", 0, found)
    corners = sum(3 * shown.GetTriangleCount() for _, shown, _ in found)
    check_promise(path, corners, corners, "corners of triangles")
    meshes: dict[int, tuple[np.ndarray, np.ndarray]] = {}
    raws = []
    for name, shown, placing in found:
        key = shown.GetUniqueResourceID()
        if key not in meshes:
            meshes[key] = _arrays(shown)
        points, triangles = meshes[key]
        moved = points @ placing[:3, :3].T + placing[:3, 3]
        if np.linalg.det(placing[:3, :3]) < 0:
            triangles = triangles[:, ::-1]
        raws.append(RawMesh(name, moved, triangles, unit_mm, "z"))
    return raws


def _check_package(path: Path) -> None:
    """Refuse a package that swells beyond reason, lies about its sizes, or is cut short.

    Every entry is unpacked once in small pieces, so a false size shows before anyone trusts it.
    """
    try:
        with zipfile.ZipFile(path) as package:
            entries = package.infolist()
            unpacked = sum(entry.file_size for entry in entries)
            swelling = unpacked / max(path.stat().st_size, 1)
            if len(entries) > MOST_ENTRIES or unpacked > LARGEST_FILE_BYTES:
                raise damaged(path, f"it holds {len(entries)} entries of {unpacked} bytes")
            if unpacked > LEAST_SUSPECT_BYTES and swelling > MOST_SWELLING:
                raise damaged(path, f"it would swell {swelling:.0f} times to {unpacked} bytes")
            broken = package.testzip()
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, zlib.error) as error:
        raise damaged(path, "it is no whole zip package") from error
    if broken is not None:
        raise damaged(path, "an entry does not match its checksum")


def _gather(path: Path, model, shown, placing: np.ndarray, above: str, depth: int, found: list) -> None:
    """Add each mesh below an object, with its name and its move."""
    if depth > DEEPEST_COMPONENT or len(found) > MOST_INSTANCES:
        raise damaged(path, "its components are nested too deep or too many")
    own = shown.GetName()
    name = own or above
    if shown.IsMeshObject():
        mesh = model.GetMeshObjectByID(shown.GetUniqueResourceID())
        if mesh.BeamLattice().GetBeamCount():
            raise _not_triangles(path)
        found.append((name, mesh, placing))
    elif shown.IsComponentsObject():
        whole = model.GetComponentsObjectByID(shown.GetUniqueResourceID())
        for number in range(whole.GetComponentCount()):
            component = whole.GetComponent(number)
            own_placing = _matrix(component.GetTransform()) if component.HasTransform() else np.eye(4)
            _gather(path, model, component.GetObjectResource(), placing @ own_placing, name, depth + 1, found)
    else:
        raise _not_triangles(path)


def _not_triangles(path: Path) -> FileError:
    """The error for beams and volumes, which would be lost in silence."""
    return FileError(
        "an object is made of beams or a volume, not of triangles",
        where=file_label(path),
        mend="Export it as a triangle mesh.",
    )


def _matrix(transform) -> np.ndarray:
    """(4, 4) for column vectors; the standard writes rows for row vectors, the shift last."""
    fields = np.array([list(row) for row in transform.Fields], dtype=np.float64)
    matrix = np.eye(4)
    matrix[:3, :3] = fields[:3].T
    matrix[:3, 3] = fields[3]
    return matrix


def _arrays(mesh) -> tuple[np.ndarray, np.ndarray]:
    """points (n, 3) float64, triangles (m, 3) int64."""
    import lib3mf  # pyright: ignore[reportMissingImports]  # only where a file is read

    places, rows = mesh.GetVertices(), mesh.GetTriangleIndices()
    points = np.frombuffer(bytes((lib3mf.Position * len(places))(*places)), dtype=np.float32)
    triangles = np.frombuffer(bytes((lib3mf.Triangle * len(rows))(*rows)), dtype=np.uint32)
    return points.reshape(-1, 3).astype(np.float64), triangles.reshape(-1, 3).astype(np.int64)
