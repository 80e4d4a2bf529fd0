"""A run's 3MF read back by the reference library: each object's mesh, and where the build puts it."""

from pathlib import Path
from typing import Any, NamedTuple

import lib3mf
import numpy as np
import numpy.typing as npt

from firstcast.proof.layer_slices import Slices, slices_of
from firstcast.proof.read import read_3mf
from firstcast.proof.surface import connect


class RunObject(NamedTuple):
    """A mesh of the 3MF: name, points (n, 3) float32, triangles (m, 3) int32, body of each triangle, faults, slices.

    `faults` are open, crowded and turned edges; `slices` is None where the file has none.
    """

    name: str
    points: npt.NDArray[np.float32]
    triangles: npt.NDArray[np.int32]
    body_of_triangle: npt.NDArray[np.int32]
    bodies: int
    faults: int
    slices: Slices | None


class BuildItem(NamedTuple):
    """An object on the platform: place = matrix · point + move, in mm."""

    name: str
    matrix: npt.NDArray[np.float64]
    move: npt.NDArray[np.float64]

    def places(self, points: npt.NDArray[np.floating]) -> npt.NDArray[np.float64]:
        """(n, 2) or (n, 3) places of points of as many axes."""
        axes = points.shape[1]
        return np.asarray(points, np.float64) @ self.matrix[:axes, :axes].T + self.move[:axes]


class RunPackage(NamedTuple):
    """What a run's 3MF holds."""

    unit: str
    warnings: int
    objects: dict[str, RunObject]
    items: tuple[BuildItem, ...]


def read_run_package(path: Path | str) -> RunPackage:
    """Objects and build items of a run's 3MF.

    Raises
    ------
    FileError
        The file can't be read, or breaks the standard.
    """
    package = read_3mf(path)
    slices, items = _slices_and_items(path)
    objects = {}
    for name, points, triangles in package.objects:
        found = connect(triangles, len(points))
        faults = len(found.open_edges) + len(found.crowded_edges) + len(found.turned_edges)
        objects[name] = RunObject(
            name, points, triangles, found.body_of_triangle, found.bodies, faults, slices.get(name)
        )
    return RunPackage(package.unit, package.warnings, objects, tuple(items))


def _slices_and_items(path: Path | str) -> tuple[dict[str, Slices | None], list[BuildItem]]:
    """Slices of each object by its name, and the build items."""
    wrapper = lib3mf.get_wrapper()
    model: Any = wrapper.CreateModel()
    model.QueryReader("3mf").ReadFromFile(str(path))
    slices, meshes = {}, model.GetMeshObjects()
    while meshes.MoveNext():
        mesh = meshes.GetCurrentMeshObject()
        slices[mesh.GetName()] = slices_of(wrapper, mesh)
    items, walk = [], model.GetBuildItems()
    while walk.MoveNext():
        item = walk.GetCurrent()
        table = np.eye(4, 3)
        if item.HasObjectTransform():
            fields = item.GetObjectTransform().Fields
            table = np.array([[fields[i][j] for j in range(3)] for i in range(4)], np.float64)
        # the format multiplies row vectors, so the matrix comes turned over
        items.append(BuildItem(item.GetObjectResource().GetName(), table[:3].T.copy(), table[3].copy()))
    return slices, items
