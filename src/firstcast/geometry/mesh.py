"""The mesh, and what can be read off it at once."""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Corners, Triangles
from firstcast.vocabulary import ShellKind


@dataclass(frozen=True)
class Mesh:
    """Triangles over points.

    Attributes
    ----------
    points : (n, 3) float64 (or float32 where stored)
        File units until the size station, millimetres after it.
    triangles : (m, 3) int32
        Counter-clockwise from outside.
    """

    points: npt.NDArray[np.floating]
    triangles: Triangles

    @property
    def corners(self) -> Corners:
        """(m, 3, 3) float64: the triangles as coordinates."""
        return np.ascontiguousarray(self.points.take(self.triangles, axis=0), dtype=np.float64)

    @cached_property
    def bounds(self) -> npt.NDArray[np.float64]:
        """(2, 3), not to be written to: least and greatest coordinates of the points; zeros if there are no triangles."""
        bounds = np.zeros((2, 3))
        if len(self.triangles):
            for axis in range(3):  # an axis at a time: numpy took nine times as long for all three at once
                along = self.points[:, axis]
                bounds[:, axis] = along.min(), along.max()
        bounds.flags.writeable = False
        return bounds

    def mapped(self, matrix: np.ndarray, offset: np.ndarray | None = None) -> "Mesh":
        """The mesh under x → matrix · x + offset; a mirroring map turns the triangles so they stay outward."""
        points = np.asarray(self.points, dtype=np.float64) @ np.asarray(matrix, dtype=np.float64).T
        if offset is not None:
            points = points + offset
        turned = np.linalg.det(matrix) < 0
        return Mesh(points, np.ascontiguousarray(self.triangles[:, ::-1]) if turned else self.triangles)


@dataclass(frozen=True)
class Shell:
    """One connected run of a part's triangles: `triangles[start:stop]` of the part's mesh.

    `thickness` is 0 but for sheets; it is in the units of the mesh.
    """

    kind: ShellKind
    start: int
    stop: int
    thickness: float = 0.0


@dataclass(frozen=True)
class Part:
    """One mesh as the sculptor delivered it, mended and classed shell by shell.

    Triangles are sorted by shell. Closed and capped shells are wound outward.
    """

    name: str
    mesh: Mesh
    shells: tuple[Shell, ...]

    def scaled(self, factor: float) -> "Part":
        """The part with every length multiplied by `factor`."""
        mesh = Mesh(np.asarray(self.mesh.points, dtype=np.float64) * factor, self.mesh.triangles)
        shells = tuple(Shell(s.kind, s.start, s.stop, s.thickness * factor) for s in self.shells)
        return Part(self.name, mesh, shells)


class Solid(NamedTuple):
    """Volume, area and centroid of a closed mesh."""

    volume: float
    area: float
    centroid: np.ndarray


def measure_solid(mesh: Mesh) -> Solid:
    """Volume, surface area and centroid of a closed mesh, by the divergence theorem.

    Sums run about the middle of the bounds, so that a body far from the origin loses no digits.
    """
    if not len(mesh.triangles):
        return Solid(0.0, 0.0, np.zeros(3))
    middle = mesh.bounds.mean(axis=0)
    a, b, c = np.moveaxis(mesh.corners - middle, 1, 0)
    normal = np.cross(b - a, c - a)
    six_volumes = np.einsum("ij,ij->i", a, normal)
    volume = float(six_volumes.sum() / 6.0)
    area = float(np.linalg.norm(normal, axis=1).sum() / 2.0)
    moment = ((a + b + c) * six_volumes[:, None]).sum(axis=0) / 24.0
    return Solid(volume, area, middle + (moment / volume if volume else 0.0))
