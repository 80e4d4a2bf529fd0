"""Written masters read back, by other code than wrote them: STL by its layout, 3MF by lib3mf."""

import ctypes
from pathlib import Path
from typing import Any, NamedTuple

import lib3mf
import numpy as np
import numpy.typing as npt
from lib3mf import Lib3MF

from firstcast.errors import FileError

_AGAIN = "Write the master again; if it recurs, the disk or the copy is at fault."


class Package(NamedTuple):
    """What a 3MF file holds.

    Attributes
    ----------
    unit : str
        "millimeter" and so on.
    objects : tuple of (name, points (n, 3) float32, triangles (m, 3) int32)
    build_items : int
        Objects that the file asks to build.
    metadata : tuple of (name, value)
    warnings : int
        What the reader found against the standard.
    """

    unit: str
    objects: tuple[tuple[str, npt.NDArray[np.float32], npt.NDArray[np.int32]], ...]
    build_items: int
    metadata: tuple[tuple[str, str], ...]
    warnings: int


def read_stl(path: Path | str) -> npt.NDArray[np.float32]:
    """(m, 3, 3) float32 corners of a binary STL file.

    Raises
    ------
    FileError
        Not a binary STL file, or one whose length doesn't fit its count of triangles.
    """
    data = _bytes(path)
    count = int.from_bytes(data[80:84], "little")
    if len(data) < 84 or len(data) != 84 + 50 * count:
        raise FileError(
            f"{len(data)} bytes don't fit a binary STL of {count} triangles", where=str(path), mend=_AGAIN
        )
    rows = np.frombuffer(data, dtype=np.uint8, offset=84).reshape(count, 50)
    corners = np.ascontiguousarray(rows[:, 12:48]).view("<f4").reshape(count, 3, 3).astype(np.float32)
    if not np.isfinite(corners).all():
        raise FileError("coordinates that are not finite", where=str(path), mend=_AGAIN)
    return corners


def read_3mf(path: Path | str) -> Package:
    """Unit, meshes, build items and metadata of a 3MF file, read strictly by the reference library.

    Raises
    ------
    FileError
        The file can't be read, or breaks the standard.
    """
    wrapper = lib3mf.get_wrapper()
    model: Any = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    try:
        reader.ReadFromFile(str(path))
    except Lib3MF.ELib3MFException as error:
        raise FileError(f"not a sound 3MF file ({error})", where=str(path), mend=_AGAIN) from error
    objects = []
    iterator = model.GetMeshObjects()
    while iterator.MoveNext():
        objects.append(_mesh_of(wrapper, iterator.GetCurrentMeshObject()))
    items, count = model.GetBuildItems(), 0
    while items.MoveNext():
        count += 1
    group = model.GetMetaDataGroup()
    entries = [group.GetMetaData(k) for k in range(group.GetMetaDataCount())]
    unit = {value: name for name, value in vars(Lib3MF.ModelUnit).items() if isinstance(value, int)}
    return Package(
        unit=unit.get(model.GetUnit(), "unknown").lower(),
        objects=tuple(objects),
        build_items=count,
        metadata=tuple((entry.GetName(), entry.GetValue()) for entry in entries),
        warnings=reader.GetWarningCount(),
    )


def _bytes(path: Path | str) -> bytes:
    try:
        return Path(path).read_bytes()
    except OSError as error:
        raise FileError(f"can't be read ({error.strerror})", where=str(path), mend=_AGAIN) from error


def _mesh_of(wrapper, mesh):
    """Name, points and triangles of a mesh object, filled straight into arrays.

    The bindings' own getters build a Python object for each vertex; the library call beneath fills a
    buffer.
    """
    points = np.zeros((mesh.GetVertexCount(), 3), dtype=np.float32)
    triangles = np.zeros((mesh.GetTriangleCount(), 3), dtype=np.uint32)
    for table, row, call in (
        (points, Lib3MF.Position, wrapper.lib.lib3mf_meshobject_getvertices),
        (triangles, Lib3MF.Triangle, wrapper.lib.lib3mf_meshobject_gettriangleindices),
    ):
        if len(table):
            needed = ctypes.c_uint64(0)
            buffer = (row * len(table)).from_buffer(table.data)
            wrapper.checkError(mesh, call(mesh._handle, ctypes.c_uint64(len(table)), needed, buffer))
    return mesh.GetName(), points, triangles.astype(np.int32)
