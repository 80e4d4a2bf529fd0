"""The cut that parts a mould in halves, beside the greatest flow of scipy.sparse.csgraph (Dinic) through the same network.

A ball of 30 mm with waves of three lengths, and a cone that lies on its side, round which ways are long. "all at once": every
voxel that the pull leaves undecided. "in a band": those near the cut by voxels twice as large, which is what the parting does. The
network is made beforehand and given to either in its own form; only the flow is timed, by turns, three times each, and the
quickest told. Both values must be the same.

    python benchmarks/mincut.py
"""

from typing import NamedTuple

import numpy as np
import trimesh
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_flow

from firstcast.geometry.mesh import Mesh
from firstcast.kernels.mincut import cut
from firstcast.kernels.parting import OPEN
from firstcast.moulding.halves import LOCKED_PER_MM3, contacts_of, halve, known_before, linked
from firstcast.moulding.pull import frame_of
from firstcast.moulding.skin import read_skin
from firstcast.moulding.voxels import mark_voxels
from pull import waved_ball
from tree import timed

MARGIN_MM, TIMES = 3.0, 3
ALL, BAND = "all at once", "in a band"

CASES = (
    ("waved ball", 1.0, ALL),
    ("waved ball", 0.7, ALL),
    ("waved ball", 0.7, BAND),
    ("waved ball", 0.35, BAND),
    ("waved ball", 0.2, BAND),
    ("cone", 1.0, ALL),
    ("cone", 0.7, BAND),
    ("cone", 0.35, BAND),
    ("cone", 0.25, BAND),
)
"""Body, side of the voxels in mm, what is undecided."""


class Network(NamedTuple):
    """As `firstcast.kernels.mincut.cut` takes it."""

    neighbours: np.ndarray
    capacity: np.ndarray
    ends: np.ndarray


def cone() -> Mesh:
    """A cone of 12 mm radius and 30 mm height along x."""
    solid = trimesh.creation.cone(radius=12.0, height=30.0, sections=128)
    solid.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2.0, (0.0, 1.0, 0.0)))
    return Mesh(np.asarray(solid.vertices, np.float64), np.asarray(solid.faces, np.int32))


BODIES = {"waved ball": waved_ball, "cone": cone}


def network_of(mesh: Mesh, pitch_mm: float, undecided: str, pull=(0.1, 0.2, 1.0)) -> Network:
    """The network that parts a body's mould at one level of voxels."""
    skin, frame = read_skin(mesh, pitch_mm), frame_of(np.asarray(pull))
    coarse = halve(mesh, skin, pull, 2.0 * pitch_mm, margin_mm=MARGIN_MM) if undecided == BAND else None
    voxels = mark_voxels(mesh, frame, pitch_mm, MARGIN_MM, bytes_per_voxel=30)
    known = known_before(voxels.states, voxels.origin_mm, pitch_mm, coarse)
    places = np.argwhere(known == OPEN).astype(np.int32)
    contacts = contacts_of(skin, frame, voxels.origin_mm, pitch_mm, voxels.states)
    (neighbours, capacity), ends, _ = linked(
        voxels.states, known, places, contacts, LOCKED_PER_MM3 * pitch_mm
    )
    return Network(neighbours, capacity, ends)


def as_matrix(network: Network) -> csr_array:
    """The same with a source and a sink behind the last place."""
    count = len(network.ends)
    at, d = np.nonzero((network.neighbours >= 0) & (network.capacity > 0))
    gives, takes = np.flatnonzero(network.ends > 0), np.flatnonzero(network.ends < 0)
    first = np.concatenate([at, np.full(len(gives), count), takes])
    second = np.concatenate([network.neighbours[at, d], gives, np.full(len(takes), count + 1)])
    amount = np.concatenate([network.capacity[at, d], network.ends[gives], -network.ends[takes]])
    return csr_array((amount.astype(np.int32), (first, second)), shape=(count + 2, count + 2))


def ours(network: Network) -> tuple[int, float]:
    """The cut's value and the seconds it took."""
    near, capacity, ends = np.zeros(len(network.ends), np.uint8), network.capacity.copy(), network.ends.copy()
    value, seconds, _ = timed(lambda: int(cut(network.neighbours, capacity, ends, near)))
    return value, seconds


def theirs(matrix: csr_array) -> tuple[int, float]:
    """The greatest flow and the seconds it took."""
    count = int(matrix.indptr.size) - 3
    value, seconds, _ = timed(lambda: int(maximum_flow(matrix, count, count + 1).flow_value))
    return value, seconds


def quickest(found: list[tuple[int, float]]) -> tuple[int, float]:
    """The value, which all have, and the least of the seconds."""
    (value,) = {each[0] for each in found}
    return value, min(each[1] for each in found)


def rows() -> list[dict]:
    """One row for each network: its size, the value, and how much longer the general library takes."""
    ours(network_of(cone(), 3.0, ALL))  # compiles
    table_rows = []
    for name, pitch_mm, undecided in CASES:
        network = network_of(BODIES[name](), pitch_mm, undecided)
        matrix = as_matrix(network)
        found = [(ours(network), theirs(matrix)) for _ in range(TIMES)]
        value, seconds = quickest([each[0] for each in found])
        flow, scipy_seconds = quickest([each[1] for each in found])
        if value != flow:
            raise AssertionError(f"{name} at {pitch_mm} mm: {value} is not {flow}")
        table_rows.append(
            {
                "body": name,
                "voxels, mm": pitch_mm,
                "undecided": undecided,
                "places": f"{len(network.ends):,}",
                "links": f"{matrix.nnz:,}",
                "cut = flow": f"{value:,}",
                "ours, s": f"{seconds:.2f}",
                "scipy, s": f"{scipy_seconds:.2f}",
                "scipy / ours": f"{scipy_seconds / seconds:.1f}",
            }
        )
    return table_rows


if __name__ == "__main__":
    from run_all import table

    print(table(rows()))
