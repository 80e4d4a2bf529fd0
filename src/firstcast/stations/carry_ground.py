"""Where a piece's forecast is read: its body at master size in the printer's axes, and what zones hold of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points
from firstcast.forecast.chain_on_mesh import normals_of
from firstcast.forecast.retention import SCALES_MM
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.refine import split_long_edges
from firstcast.geometry.zones import Zone
from firstcast.process.chain import ChainScenario, mean_size
from firstcast.process.limits import Limits
from firstcast.vocabulary import ZoneMeaning

EDGE_PIXELS, EDGE_PITCHES = 1.4, 1.5
"""Longest edge that a forecast is read on: in pixels, or in pitches of the lattice where those are coarser. A triangle of
the lattice's contour has edges up to the root of 3 pitches; what they leave out is not in the body."""

SCALE_EDGES = 3.0
"""Detail is read in windows of at least so many edges across: in fewer, there is only how the mesh lies."""


@dataclass(frozen=True)
class Ground:
    """The sculpture at master size in the printer's axes, as the forecast reads it."""

    body: Body
    mesh: Mesh  # (n, 3) float64, print space, edges short enough
    origin: npt.NDArray[np.int32]  # (m,) the body's triangle that each lies in
    normals: npt.NDArray[np.float64]
    turn: npt.NDArray[np.float64]  # (3, 3) from the master's axes to the printer's
    to_figure: npt.NDArray[np.float64]  # (3, 3)
    chains: tuple[ChainScenario, ...]

    @property
    def points(self) -> Points:
        """(n, 3) float64."""
        return np.asarray(self.mesh.points, np.float64)

    @property
    def ways(self) -> npt.NDArray[np.float64]:
        """(n, 3) the normals as they are in figure space."""
        return self.normals @ self.to_figure.T

    @property
    def figure_points(self) -> Points:
        """(n, 3) float64, in figure space."""
        return self.points @ self.to_figure.T

    def of_vertices(self, values: npt.NDArray) -> npt.NDArray:
        """Values of the body's vertices on those of the mesh: a new one takes the least of its triangle's three."""
        count = len(self.body.mesh.points)
        found = np.full(len(self.mesh.points), np.inf)
        least = values[self.body.mesh.triangles[self.origin]].min(axis=1)
        np.minimum.at(found, self.mesh.triangles.ravel(), np.repeat(least, 3))
        found[:count] = values
        return found

    def part_of_vertex(self) -> npt.NDArray[np.uint16]:
        """(n,) the part of one of each vertex's triangles: the first in order."""
        parts = np.zeros(len(self.mesh.points), np.uint16)
        own = self.body.part_of_triangle[self.origin]
        parts[self.mesh.triangles[::-1].ravel()] = np.repeat(own[::-1], 3)
        return parts


def ground_of(body: Body, turn, matrix, chain: Sequence[ChainScenario], limits: Limits, pitch_mm) -> Ground:
    """A body mapped to master size and turned to the printer, its long edges halved."""
    turn = np.asarray(turn, np.float64)
    to_print = turn @ np.asarray(matrix, np.float64)
    size = mean_size(matrix)
    longest = max(EDGE_PIXELS * max(limits.pixel_mm), EDGE_PITCHES * float(np.max(pitch_mm)) * size)
    mesh, origin = split_long_edges(body.mesh.mapped(to_print), longest)
    normals = normals_of(np.asarray(mesh.points, np.float64), mesh.triangles)
    chains = tuple(replace(scenario, mean_size_ratio=size) for scenario in chain)
    return Ground(body, mesh, origin, normals, turn, np.asarray(np.linalg.inv(to_print), np.float64), chains)


def scales_of(ground: Ground) -> tuple[float, ...]:
    """The scales of detail that the mesh can show; the coarsest in any case."""
    ends = ground.points[ground.mesh.triangles[:, :2]]
    edge = float(np.median(np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1)))
    return tuple(size for size in SCALES_MM if size >= SCALE_EDGES * edge) or SCALES_MM[-1:]


@dataclass(frozen=True)
class Held:
    """What zones hold: (n,) bool each."""

    even: npt.NDArray[np.bool_]
    still: npt.NDArray[np.bool_]


def held_by(ground: Ground, zones: Sequence[Zone], released: Sequence[str]) -> Held:
    """Places whose relief is left alone, and places that nothing may move."""
    even = np.zeros(len(ground.points), bool)
    still = even.copy()
    if not zones:
        return Held(even, still)
    # corner by corner, so that a part's zone holds the border that it shares with another
    corners = ground.mesh.triangles.ravel()
    places = ground.figure_points[corners]
    parts = np.repeat(ground.body.part_of_triangle[ground.origin], 3)
    for zone in zones:
        inside = np.zeros(len(even), bool)
        held = zone.contains(places, part_of_point=parts, part_names=ground.body.part_names)
        inside[corners[held]] = True
        if zone.meaning is ZoneMeaning.NO_CHANGE:
            still |= inside
        elif zone.meaning is ZoneMeaning.NO_CARRY or (
            zone.meaning is ZoneMeaning.PRECIOUS and zone.name not in released
        ):
            even |= inside
    return Held(even, still)
