"""Reading the maker's mesh files: STL, OBJ, PLY, glTF and 3MF.

What becomes one mesh:

- STL: the file; each `solid` block of a text file.
- OBJ: each object (`o`), unless two objects share points: then they are one skin and stay together. Groups
  (`g`) and materials are marks on a skin, not parts: splitting by them would tear it open.
- PLY: the file.
- glTF: each mesh at each node that shows it, moved as the nodes say. Skins and morphs stay at rest.
- 3MF: each mesh at each build item (and component) that shows it, moved as the build says. Objects that are
  not built are left out, as the standard asks.

Moves that mirror turn the triangles round, so that outward stays outward. Files are read by trimesh, 3MF by
lib3mf, after a file's promises were held against its size; OBJ, and PLY's uneven faces, are read here (why:
docs/decisions/0001-dependencies.md). Nothing is welded, split or put in another order by the libraries.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firstcast.errors import FileError, FirstcastError
from firstcast.geometry.mesh import Mesh
from firstcast.io._gltf import read_gltf
from firstcast.io._obj import read_obj
from firstcast.io._ply import read_ply
from firstcast.io._raw import LARGEST_COORDINATE, LARGEST_FILE_BYTES, RawMesh, bounds_of, damaged, file_label
from firstcast.io._stl import read_stl, survey_binary_stl
from firstcast.io._threemf import read_threemf

READERS: dict[str, Callable[[Path], list[RawMesh]]] = {
    ".stl": read_stl,
    ".obj": read_obj,
    ".ply": read_ply,
    ".glb": read_gltf,
    ".gltf": read_gltf,
    ".3mf": read_threemf,
}
MESH_SUFFIXES = tuple(READERS)


@dataclass(frozen=True)
class ReadMesh:
    """One mesh out of a file.

    Attributes
    ----------
    name : str
        The object's name where the file has one, else the file's; letters, digits, spaces and `-_.` only;
        unique within the file.
    mesh : Mesh
        points (n, 3) float64 in file units, each used by a triangle; triangles (m, 3) int32.
    unit_mm : float or None
        Length of the file's unit where the file (3MF) or its standard (glTF: metres) declares it.
    up : "y", "z" or None
        The axis that the standard declares upward (glTF y, 3MF z); coordinates are left as they are.
    """

    name: str
    mesh: Mesh
    unit_mm: float | None
    up: str | None = None


@dataclass(frozen=True)
class Survey:
    """How large a file's meshes are, before anything is mended.

    `extents` is (2, 3) float64 in file units: least and greatest coordinates that triangles use.
    """

    extents: np.ndarray
    triangle_count: int
    unit_mm: float | None
    up: str | None = None


def read_meshes(path: Path) -> tuple[ReadMesh, ...]:
    """The meshes of a file, in the order of the file.

    STL has no shared points: equal ones are welded. Nothing else is mended here.

    Raises
    ------
    FileError
        Missing, of no known kind, empty, truncated, damaged, not finite, or of an absurd size.
    """
    raws = _read(path)
    names = _unique([clean_name(raw.name) or clean_name(path.stem) or "part" for raw in raws])
    meshes = []
    for raw, name in zip(raws, names, strict=True):
        mesh = _compact(raw)
        _check_sizes(path, name if len(raws) > 1 else "", bounds_of(mesh.points))
        meshes.append(ReadMesh(name, mesh, raw.unit_mm, raw.up))
    return tuple(meshes)


def survey(path: Path) -> Survey:
    """Extents and triangle count of a whole file; a binary STL is only skimmed.

    Raises
    ------
    FileError
        As `read_meshes`.
    """
    skimmed = survey_binary_stl(path) if path.suffix.lower() == ".stl" and _checked(path) else None
    if skimmed is not None:
        extents, triangle_count = skimmed
        _check_sizes(path, "", extents)
        return Survey(extents, triangle_count, None)
    raws = _read(path)
    bounds = [bounds_of(_compact(raw).points) for raw in raws]
    extents = np.array([np.min(bounds, axis=0)[0], np.max(bounds, axis=0)[1]])
    _check_sizes(path, "", extents)
    return Survey(extents, sum(len(raw.triangles) for raw in raws), raws[0].unit_mm, raws[0].up)


def clean_name(name: str) -> str:
    """A name from a file as a plain label: no path, no control characters, at most 64 characters."""
    kept = re.sub(r"[^\w\-. ]+", "_", name, flags=re.UNICODE)
    kept = re.sub(r"\s+", " ", kept)
    return kept.strip(" ._")[:64].strip(" ._")


def _unique(names: list[str]) -> list[str]:
    """The names, later ones numbered where they repeat."""
    taken: set[str] = set()
    unique = []
    for name in names:
        candidate, number = name, 2
        while candidate.casefold() in taken:
            candidate, number = f"{name} {number}", number + 1
        taken.add(candidate.casefold())
        unique.append(candidate)
    return unique


def _checked(path: Path) -> bool:
    """True if the file is there and of a size to be read at all."""
    try:
        size = path.stat().st_size
        regular = path.is_file()
    except (OSError, ValueError) as error:
        raise FileError(
            f"can't be opened ({type(error).__name__})", where=file_label(path), mend="Check the path."
        ) from error
    if not regular:
        raise FileError("is not a file", where=file_label(path), mend="Name a mesh file.")
    if size == 0:
        raise damaged(path, "the file is empty")
    if size > LARGEST_FILE_BYTES:
        raise FileError(
            f"{size} bytes are more than {LARGEST_FILE_BYTES}",
            where=file_label(path),
            mend="Reduce the mesh or split it into parts.",
        )
    return True


def _read(path: Path) -> list[RawMesh]:
    """The raw meshes by the reader that the suffix names; at least one, none without triangles."""
    reader = READERS.get(path.suffix.lower())
    if reader is None:
        raise FileError(
            f"'{clean_name(path.suffix)}' is not a mesh format that can be read",
            where=file_label(path),
            mend=f"Export as one of {', '.join(MESH_SUFFIXES)}.",
        )
    _checked(path)
    try:
        with np.errstate(all="ignore"):  # numbers that are not finite are told below, in words
            raws = [raw for raw in reader(path) if len(raw.triangles)]
    except FirstcastError:
        raise
    except MemoryError as error:
        raise FileError(
            "the mesh does not fit the memory", where=file_label(path), mend="Reduce it first."
        ) from error
    except Exception as error:
        # A damaged file can break a parser in any place: whatever it raised, the file is at fault.
        raise damaged(path, f"not readable as {path.suffix.lower()} ({type(error).__name__})") from error
    if not raws:
        raise damaged(path, "there are no triangles in the file")
    for raw in raws:
        _check_tables(path, raw)
        if raw.triangles.min() < 0 or raw.triangles.max() >= len(raw.points):
            raise damaged(
                path,
                f"triangles name points {raw.triangles.min()} to {raw.triangles.max()} "
                f"of {len(raw.points)} points",
            )
    return raws


def _check_tables(path: Path, raw: RawMesh) -> None:
    """Refuse what a library makes of rows that do not belong together: other shapes, or no numbers."""
    for table, kinds in ((raw.points, "fiu"), (raw.triangles, "iu")):
        if table.ndim != 2 or table.shape[1] != 3 or table.dtype.kind not in kinds:
            raise damaged(path, "points or triangles are not three numbers each")


def _compact(raw: RawMesh) -> Mesh:
    """The mesh without points that no triangle uses."""
    used = np.zeros(len(raw.points), dtype=bool)
    used[raw.triangles.ravel()] = True
    points, triangles = raw.points, raw.triangles
    if not used.all():
        number = np.cumsum(used, dtype=np.int32) - 1
        points, triangles = points[used], number[triangles]
    return Mesh(
        np.ascontiguousarray(points, dtype=np.float64), np.ascontiguousarray(triangles, dtype=np.int32)
    )


def _check_sizes(path: Path, name: str, bounds: np.ndarray) -> None:
    """Refuse coordinates that are not finite or absurd, and meshes that are one point."""
    mesh_named = f" in '{name}'" if name else ""
    if not np.isfinite(bounds).all():
        raise damaged(path, f"there are coordinates that are not finite{mesh_named}")
    if np.abs(bounds).max() > LARGEST_COORDINATE:
        raise FileError(
            f"coordinates reach {np.abs(bounds).max():.3g}, over {LARGEST_COORDINATE:.0e}{mesh_named}",
            where=file_label(path),
            mend="Bring the mesh near the origin or choose another unit, and export it again.",
        )
    if not (bounds[1] - bounds[0]).max() > 0:
        raise damaged(path, f"all points are the same place{mesh_named}")
