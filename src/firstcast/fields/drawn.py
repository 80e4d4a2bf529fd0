"""A surface together with the bricks it was drawn in: what distances are measured from, and what films work on."""

from dataclasses import dataclass, replace

import numpy as np

from firstcast.fields.blocks import run_blocks
from firstcast.fields.contour import BLOCK, Contour, Traced, trace, trace_field
from firstcast.fields.near import INSIDE, SIDE, NearField
from firstcast.fields.union import Occupancy
from firstcast.kernels.handing import hand_on, seed_cells, write_distances
from firstcast.kernels.room import mark_room

OUTWARD, INWARD, BOTH = 0, 1, 2
"""On which side of a surface distances are wanted."""


@dataclass(frozen=True)
class Drawn:
    """A closed surface, the signs on both sides of it, and which triangles lie in which cell."""

    surface: Contour
    occupancy: Occupancy
    traced: Traced


def drawn_of(field: NearField) -> Drawn:
    """The zero contour of a field."""
    return Drawn(*trace_field(field))


def near_of(drawn: Drawn, reach_mm: float, side: int = BOTH) -> NearField:
    """Signed distances up to `reach_mm` from a surface, on the lattice it was drawn on; a pitch at least on either side.

    Notes
    -----
    Exact within a pitch of the surface. Farther out each voxel is held against the triangles of its neighbours
    only, so that it may miss a nearer one by a little: tests/forecast/test_forward.py has how little. Parts are not kept.
    """
    roomy = with_room(drawn, reach_mm)
    surface, occupancy, traced = roomy.surface, roomy.occupancy, roomy.traced
    count, lattice = len(occupancy.places), occupancy.lattice
    owner, level = np.empty((count, *(SIDE,) * 3), np.int32), np.empty((count, *(SIDE,) * 3), np.uint8)
    mesh = (surface.points, surface.triangles, lattice.origin_mm, lattice.pitch_mm)
    run_blocks(
        seed_cells, count, occupancy.places, occupancy.index, traced.strip_triangles, traced.triangle_starts, *mesh,
        owner, level, block=BLOCK,
    )  # fmt: skip
    # turns go from side to side: across a cell's diagonal three are needed
    for turn in range(1, int(np.ceil(np.sqrt(3) * reach_mm / lattice.pitch_mm.min())) + 1):
        run_blocks(
            hand_on, count, occupancy.places, occupancy.index, occupancy.bits, side, turn, reach_mm, *mesh, owner,
            level, block=BLOCK,
        )  # fmt: skip
    pool = np.empty(owner.shape, np.float32)
    run_blocks(
        write_distances, count, occupancy.places, occupancy.bits, *mesh, reach_mm, owner, pool, block=BLOCK
    )
    nobody = np.zeros((0, SIDE, SIDE, SIDE), np.uint16)
    return NearField(lattice.origin_mm, lattice.pitch_mm, occupancy.index, pool, nobody, reach_mm)


def with_room(drawn: Drawn, reach_mm: float) -> Drawn:
    """The same surface in all bricks that come within `reach_mm` of it, and in no others.

    Bricks that hold vertices keep their order, so vertices and triangles keep their numbers.
    """
    occupancy, traced = drawn.occupancy, drawn.traced
    lattice, index = occupancy.lattice, occupancy.index
    reach = np.ceil(reach_mm / lattice.pitch_mm).astype(np.int64) + 1
    mask = np.zeros(index.shape, np.uint8)
    run_blocks(mark_room, len(occupancy.places), occupancy.places, traced.flags, reach, mask, block=BLOCK)
    # a brick without vertices may hold cells whose vertices its neighbours own
    used = (np.diff(traced.vertex_starts) > 0) | (np.diff(traced.triangle_starts) > 0)
    kept = occupancy.places[used]
    mask[tuple(kept.T)] = 0
    added = np.argwhere(mask).astype(np.int32)
    before = index[tuple(added.T)]
    bits = np.where(before == INSIDE, -1, 0).astype(np.int64)[:, None].repeat(SIDE, axis=1)
    bits[before >= 0] = occupancy.bits[before[before >= 0]]
    return _arranged(drawn, np.concatenate([kept, added]), np.concatenate([occupancy.bits[used], bits]))


def _arranged(drawn: Drawn, places: np.ndarray, bits: np.ndarray) -> Drawn:
    """The surface with its bricks at `places`; bricks no longer held are wholly inside or outside."""
    occupancy = drawn.occupancy
    index = occupancy.index.copy()
    gone = occupancy.places
    index[tuple(gone.T)] = np.where(occupancy.bits[:, 0] & 1, INSIDE, INSIDE + 1)
    index[tuple(places.T)] = np.arange(len(places), dtype=np.int32)
    lattice = occupancy.lattice
    traced = trace(lattice.origin_mm, lattice.pitch_mm, index, places, bits)
    return Drawn(drawn.surface, replace(occupancy, index=index, places=places, bits=bits), traced)
