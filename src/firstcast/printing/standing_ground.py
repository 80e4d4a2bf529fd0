"""What all build directions of a body share, worked out once: a mesh of bounded size, and what each facet weighs.

A facet that needs props weighs by how much of it is seen where the finished figure stands, and by how rough it is round
there: a mark is easily sanded off a smooth place, not off a braid. Layers show only where the
surface is smooth and broad, and by how much of that is seen.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_matrix, diags_array

from firstcast.fields.blocks import run_blocks
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.neighbourhood import with_own_points
from firstcast.geometry.refine import split_long_edges
from firstcast.geometry.thinned import thinned
from firstcast.geometry.zones import Zone
from firstcast.kernels import standing as kernels
from firstcast.vocabulary import ZoneMeaning

MOST_TRIANGLES = 160_000
"""A finer mesh is thinned to about so many. What that costs in truth is measured in benchmarks/stand.py."""

ROUND_MM = 0.35
"""How far round a place roughness is read: relief of a millimetre or two is a figure's detail. Chosen, no source."""

MOST_ROUNDS = 24

ROUGH, BROAD, FLAT = 0.05, 0.03, 0.002
"""Roughness at which a mark weighs twice; from which layers no longer show; from which a face is no plane.

Roughness is one less the length of the mean normal: half the mean square of the angle to it, so 0.002 is 3.6°, 0.03
is 14°. Chosen, no source.
"""

UNSEEN = 0.25
"""What a mark or terrace that nobody sees weighs: marks have to be cut off and cleaned all the same. Chosen, no source."""

SOLE, SOLE_MM = 0.05, 0.5
"""What they weigh where the figure stands, facing down within so much of its lowest place: the tab goes there, and it
is ground level or glued to a base. Chosen, no source."""

VIEWS, LOWEST_VIEW_DEG, VIEW_CELLS = 48, -10.0, 256
"""From how many sides a figure on its base is looked at, the lowest, and the cells across of what is hidden there."""

FACET_BLOCK = 1 << 14


@dataclass(frozen=True)
class Ground:
    """A body made ready for `firstcast.printing.standing.read_directions`.

    Attributes
    ----------
    points : (v, 3) float64
        Millimetres about `middle_mm`.
    triangles : (m, 3) int32
    vectors : (m, 4) float64
        Normals outward, as long as the area, and the area, mm².
    ring_start, ring : (v + 1,), (k,) int32
        Neighbours of vertex i: ring[ring_start[i] : ring_start[i + 1]].
    vertex_vectors : (v, 3) float64
        A third of the vectors of the triangles round each vertex.
    weights : (m, 4) float64
        How much each mm² counts as marked, precious, terraced, flat.
    part : (m,) uint16
        The part that each triangle came from.
    middle_mm : (3,) float64
    cell_mm : float
        Side of the cells in which points were drawn together; 0 where none were.
    """

    points: npt.NDArray[np.float64]
    triangles: npt.NDArray[np.int32]
    vectors: npt.NDArray[np.float64]
    ring_start: npt.NDArray[np.int32]
    ring: npt.NDArray[np.int32]
    vertex_vectors: npt.NDArray[np.float64]
    weights: npt.NDArray[np.float64]
    part: npt.NDArray[np.uint16]
    middle_mm: npt.NDArray[np.float64]
    cell_mm: float

    @property
    def mesh(self) -> tuple[np.ndarray, ...]:
        """What kernels take for the mesh."""
        return (
            self.points,
            self.triangles,
            self.vectors,
            self.ring_start,
            self.ring,
            self.vertex_vectors,
        )


def stand_ground(body: Body, zones: tuple[Zone, ...] = (), *, most_triangles: int = MOST_TRIANGLES) -> Ground:
    """Make a body ready.

    Parameters
    ----------
    body : Body
        In figure space, millimetres; with at least one triangle.
    zones : tuple of Zone
        The precious ones count.
    most_triangles : int
        About how many triangles are kept.
    """
    mesh, part, cell_mm = _fitted(body, most_triangles)
    mesh, _ = with_own_points(mesh.points, mesh.triangles)
    middle = mesh.bounds.mean(axis=0)
    points = np.ascontiguousarray(mesh.points, np.float64) - middle
    triangles = np.ascontiguousarray(mesh.triangles, np.int32)
    vectors = _vectors(points, triangles)
    ring_start, ring = _rings(len(points), triangles)
    third = np.column_stack(
        [
            np.bincount(triangles.ravel(), weights=np.repeat(vectors[:, c] / 3.0, 3), minlength=len(points))
            for c in range(4)
        ]
    )
    rough = _roughness(third, ring_start, ring, vectors[:, 3])[triangles].mean(axis=1)
    places = points[triangles].mean(axis=1)
    precious = _precious(places + middle, part, body.part_names, zones)
    seen = UNSEEN + (1.0 - UNSEEN) * _seen(points, places, vectors)
    seen = np.where(_sole(points, places, vectors), SOLE, seen)
    marks = seen * (1.0 + np.minimum(rough / ROUGH, 1.0))
    weights = np.column_stack(
        [
            marks,
            np.where(precious, marks, 0.0),
            seen * np.maximum(0.0, 1.0 - rough / BROAD),
            seen * np.maximum(0.0, 1.0 - rough / FLAT),
        ]
    )
    vertex_vectors = np.ascontiguousarray(third[:, :3], np.float64)
    return Ground(
        points,
        triangles,
        vectors,
        ring_start,
        ring,
        vertex_vectors,
        np.ascontiguousarray(weights),
        part,
        middle,
        cell_mm,
    )


def _fitted(body: Body, most: int) -> tuple[Mesh, npt.NDArray[np.uint16], float]:
    """The body's mesh neither too fine nor with edges longer than what roughness looks at; parts of its triangles."""
    mesh, part = body.mesh, body.part_of_triangle
    if len(mesh.triangles) > most:
        found = thinned(mesh, most)
        return found.mesh, part[found.kept], found.cell_mm
    corners = mesh.corners
    area = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    # Halving leaves triangles of at least an eighth of the square of the longest edge.
    longest = max(ROUND_MM, float(np.sqrt(8.0 * area.sum() / most)))
    split, origin = split_long_edges(mesh, longest)
    return split, part[origin], 0.0


def _vectors(points, triangles) -> npt.NDArray[np.float64]:
    a, b, c = (points[triangles[:, k]] for k in range(3))
    normal = 0.5 * np.cross(b - a, c - a)
    return np.column_stack([normal, np.linalg.norm(normal, axis=1)])


def _rings(count: int, triangles) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]]:
    ring_start = np.zeros(count + 1, np.int32)
    ring_start[1:] = np.cumsum(2 * np.bincount(triangles.ravel(), minlength=count))
    ring = np.empty(2 * triangles.size, np.int32)
    used = kernels.list_rings(triangles, ring_start, ring)
    return ring_start, ring[:used].copy()


def _roughness(third, ring_start, ring, areas) -> npt.NDArray[np.float64]:
    """(v,) one less the length of the mean normal within about `ROUND_MM` of each vertex; `third` (v, 4) as of its own."""
    count = len(third)
    rounds = int(np.clip(np.ceil((ROUND_MM / _even_edge(areas)) ** 2), 1, MOST_ROUNDS))
    near = csr_matrix((np.ones(len(ring)), ring, ring_start), shape=(count, count))
    share = diags_array(1.0 / (np.diff(ring_start) + 1.0))
    mean = third
    for _ in range(rounds):
        mean = share @ (mean + near @ mean)
    return 1.0 - np.linalg.norm(mean[:, :3], axis=1) / np.maximum(mean[:, 3], 1e-300)


def _even_edge(areas) -> float:
    """Length of an edge if all triangles were even, mm."""
    return max(float(np.sqrt(4.0 / np.sqrt(3.0) * areas.mean())), 1e-9)


def _precious(places_mm, part, names, zones) -> npt.NDArray[np.bool_]:
    inside = np.zeros(len(places_mm), np.bool_)
    for zone in zones:
        if zone.meaning is ZoneMeaning.PRECIOUS:
            inside |= zone.contains(places_mm, part_of_point=part, part_names=names)
    return inside


def _sole(points, places, vectors) -> npt.NDArray[np.bool_]:
    """(m,) which facets the figure stands on."""
    return (places[:, 2] < points[:, 2].min() + SOLE_MM) & (vectors[:, 2] < -0.7 * vectors[:, 3])


def _seen(points, places, vectors) -> npt.NDArray[np.float64]:
    """(m,) 0 to 1: how much of each facet is seen from round and above, against an open one that faces sideways."""
    frames = _views()
    reach = float(np.linalg.norm(points, axis=1).max()) + 1e-6
    # Dots are some 0.6 edges apart: in cells of an edge they leave no gaps to look through.
    cell = max(2.0 * reach / (VIEW_CELLS - 2), _even_edge(vectors[:, 3]))
    dots = np.ascontiguousarray(np.concatenate([points, places]))
    front = np.full((len(frames), VIEW_CELLS, VIEW_CELLS), -np.inf, np.float32)
    origin = np.array([0.0, 0.0, 0.0, -reach - cell, -reach - cell])
    run_blocks(kernels.draw_fronts, len(frames), frames, origin, cell, dots, front, block=4)
    seen = np.zeros(len(places))
    run_blocks(
        kernels.see_facets,
        len(places),
        frames,
        origin,
        cell,
        places,
        vectors,
        front,
        seen,
        block=FACET_BLOCK,
    )
    sideways = np.maximum(frames[:, 2] @ [0.0, -1.0, 0.0], 0.0).sum()
    return np.minimum(seen / sideways, 1.0)


def _views() -> npt.NDArray[np.float64]:
    """(k, 3, 3) right, up, towards the viewer, evenly spread above `LOWEST_VIEW_DEG`."""
    lowest = np.sin(np.radians(LOWEST_VIEW_DEG))
    n = np.arange(VIEWS)
    z = lowest + (1.0 - lowest) * (n + 0.5) / VIEWS
    angle = n * np.pi * (3.0 - np.sqrt(5.0))
    level = np.sqrt(1.0 - z * z)
    towards = np.column_stack([level * np.cos(angle), level * np.sin(angle), z])
    right = np.column_stack([-np.sin(angle), np.cos(angle), np.zeros(VIEWS)])
    return np.ascontiguousarray(np.stack([right, np.cross(towards, right), towards], axis=1))
