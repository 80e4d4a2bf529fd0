"""Where two pieces meet for a joint: the seat, what both have of room there, and the bed in which one lies."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from manifold3d import CrossSection, Manifold

from firstcast.forecast.joint_casts import Half
from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.footing import FLAT_GRID_MM, Frame, section_at
from firstcast.geometry.joint_room import Column, column_of, depth_in
from firstcast.geometry.joints import bed_of, directions_round, joint_frame
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.pieces import JointWanted, Side
from firstcast.geometry.solids import from_manifold, raw_manifold, union
from firstcast.process.joints import size_spread_of

STEP_MM = 0.2
"""Levels at which pieces are read."""

DEEPEST_MM = 8.0
"""No socket goes deeper than this by itself."""

FIRST_MM = 0.05
"""The first level on either side of the seat: on the seat itself a cut face lies."""

CELLS_MM = (0.8, 1.6, 1e3)
"""Side of the columns in which a bed follows what lies in it: the first that rounding leaves free of crossings."""

FINE_MM = 0.01
"""Facets of a bed are put together to half of this on either side, and the bed is so much wider."""

TOUCHES_MM = 0.02
"""What reaches less deep into the other piece only touches it, as two sides of a cut do after rounding."""

BLOCKS_MM3 = 0.05
"""Less of the other piece in the way bends, or is rubbed off."""

WAY_MM = 0.25
"""Levels at which the way in is looked at."""

Values = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Seat:
    """Where a joint sits.

    Attributes
    ----------
    frame : Frame
        `into` leads into the socket's piece.
    place_mm : (3,) float64
        A place of the seat; the joint's own where `chosen` is False.
    chosen : bool
        Whether the joint may move on the seat to where there is most room.
    root, hole : Column
        Of the peg's piece, beneath the seat; of the socket's, beyond it. About `place_mm`.
    """

    frame: Frame
    place_mm: Values
    chosen: bool
    root: Column
    hole: Column

    @property
    def missing(self) -> tuple[bool, bool]:
        """Whether the peg's piece, and the socket's, is not there on its own side of the seat."""
        if not self.root.common or not self.hole.common:
            return not self.root.common, not self.hole.common
        if self.chosen:
            apart = (self.root.common[0] ^ self.hole.common[0]).area() <= FLAT_GRID_MM
            return False, apart
        here = [float(depth_in(column.common[0], (0.0, 0.0))[0]) > 0.0 for column in (self.root, self.hole)]
        return not here[0], not here[1]

    @property
    def meets(self) -> bool:
        """Whether both pieces are there, on their own sides of the seat."""
        return not any(self.missing)


def seat_of(wanted: JointWanted, peg: Half, socket: Half, root_mm: float) -> Seat:
    """The seat of a joint: where the job says, or where a piece is cut.

    Parameters
    ----------
    root_mm : float
        How deep beneath the seat the peg's piece is looked at.
    """
    place, toward = _place(wanted, peg.piece.keep, socket.piece.keep)
    frame = joint_frame(toward, wanted.turn_deg)
    down = -np.arange(FIRST_MM, root_mm + STEP_MM, STEP_MM)
    up = np.arange(FIRST_MM, DEEPEST_MM, STEP_MM)
    return Seat(
        frame, place, wanted.place_mm is None,
        column_of(peg.body.mesh, frame, place, down), column_of(socket.body.mesh, frame, place, up),
    )  # fmt: skip


def _place(wanted: JointWanted, peg: Side | None, socket: Side | None) -> tuple[Values, Values]:
    """A place of the seat and the way into the socket's piece."""
    if wanted.place_mm is not None and wanted.toward is not None:
        return np.array(wanted.place_mm), np.array(wanted.toward)
    if peg is not None:
        return np.array(peg.place_mm), -np.array(peg.toward)
    assert socket is not None  # the job file is refused otherwise
    return np.array(socket.place_mm), np.array(socket.toward)


@dataclass(frozen=True)
class Bed:
    """What the socket's piece loses so that the other can lie on it.

    Attributes
    ----------
    solids : tuple of Manifold
        In figure mm, one for each place where the pieces overlap; of columns, each as deep as what lies in it.
    volume_mm3 : float
        Of the overlap itself.
    beyond_mm : float
        How far the peg's piece reaches beyond the seat, into the other.
    blocked_mm3 : float
        What of the socket's piece is in the way as the other comes along the joint's axis, bed taken out.
    blocked_at_mm : (3,) float64 or None
        Where most of it is.
    """

    solids: tuple[Manifold, ...]
    volume_mm3: float
    beyond_mm: float
    blocked_mm3: float
    blocked_at_mm: Values | None


def bed_between(seat: Seat, peg: Half, socket: Half, least_mm: float, most_mm: float) -> Bed:
    """The bed of the peg's piece in the socket's, wider by what both grow and the least play at worst, as for sockets."""
    toward = seat.frame.into
    overlap = raw_manifold(peg.body.mesh) ^ raw_manifold(socket.body.mesh)
    wider = _wider_by(peg, socket, least_mm, most_mm)
    spread = size_spread_of(peg.sizes, socket.sizes)
    regions, volume, beyond = [], 0.0, 0.0
    for region in overlap.decompose():
        corners = np.asarray(from_manifold(region).points)
        if float(np.ptp(corners, axis=0).min()) < TOUCHES_MM:
            continue
        volume += region.volume()
        beyond = max(beyond, float(((corners - seat.place_mm) @ toward).max()))
        size_mm = spread * float(np.linalg.norm(np.ptp(corners, axis=0))) / 2.0
        # what goes on beyond the seat is told; up to the seat it lies in the bed as if it were cut there
        before = region.trim_by_plane(tuple(-toward), -float(seat.place_mm @ toward))
        regions.append((before, wider + size_mm + FINE_MM))
    solids: list[Manifold] = []
    for cell_mm in CELLS_MM:
        solids = _beds(regions, seat, cell_mm)
        if not any(_crosses(solid) for solid in solids):
            break
    blocked, where = _blocked(seat, peg.body.mesh, socket.body.mesh, solids)
    return Bed(tuple(solids), volume, beyond if beyond > TOUCHES_MM else 0.0, blocked, where)


def _beds(regions: Sequence[tuple[Manifold, Values]], seat: Seat, cell_mm: float) -> list[Manifold]:
    """The beds of regions, each with what it is wider by, in columns of a width; those that meet are one."""
    beds = [
        bed_of(from_manifold(cell).points, seat.place_mm, seat.frame.into, wider)
        for region, wider in regions
        for cell in _cells(region, seat.frame, cell_mm)
    ]
    some = [bed.simplify(FINE_MM / 2.0) for bed in beds if not bed.is_empty()]
    return union(some).simplify(FINE_MM / 2.0).decompose() if some else []


def _crosses(solid: Manifold) -> bool:
    """Whether a solid crosses itself once its corners are rounded to float32."""
    mesh = from_manifold(solid)
    return len(crossing_pairs(Mesh(mesh.points.astype(np.float32), mesh.triangles), limit=1)) > 0


def _cells(region: Manifold, frame: Frame, cell_mm: float) -> list[Manifold]:
    """A region in columns along the way in: what is in one passes through that one alone, so that each has its own bed."""
    cells = [region]
    for way in (frame.along, frame.across):
        halves = []
        for cell in cells:
            heights = np.asarray(from_manifold(cell).points) @ way
            rest = cell
            for level in np.arange(np.floor(heights.min() / cell_mm) + 1.0, heights.max() / cell_mm):
                # what lies along the way comes first
                rest, before = rest.split_by_plane(tuple(way), float(level) * cell_mm)
                halves.append(before)
            halves.append(rest)
        cells = [half for half in halves if not half.is_empty()]
    return cells


def _wider_by(peg: Half, socket: Half, least_mm: float, most_mm: float) -> Values:
    """(n,) how far faces of the two that look at each other come together, and their play, along `directions_round()`."""
    normals = directions_round()
    ours, theirs = peg.faces(normals), socket.faces(-normals)
    left = ours.left_mm.max(axis=0) + theirs.left_mm.max(axis=0)
    return np.maximum(ours.likely_mm + theirs.likely_mm, 0.0) + np.minimum(least_mm + left, most_mm)


def _blocked(seat: Seat, peg: Mesh, socket: Mesh, solids: Sequence[Manifold]) -> tuple[float, Values | None]:
    """How much of the socket's piece the other would run into on its way along the axis, and where most.

    Level by level, from the seat outward: what of the peg's piece lies nearer the seat has passed there.
    """
    frame = seat.frame
    seat_level = float(seat.place_mm @ frame.into)
    lowest = float((np.asarray(peg.points, np.float64) @ frame.into).min())
    passed, total, worst, where = CrossSection(), 0.0, 0.0, None
    for level in np.arange(seat_level - WAY_MM, lowest, -WAY_MM):
        passed = (passed + section_at(peg, frame, float(level) + WAY_MM / 2.0)).simplify(TOUCHES_MM / 2.0)
        there = section_at(socket, frame, float(level)) ^ passed
        for solid in solids:
            there = there - _section_of(solid, frame, float(level))
        # rims as thin as rounding are not in the way
        there = there.offset(-TOUCHES_MM).offset(TOUCHES_MM)
        area = there.area()
        total += area * WAY_MM
        if area > worst:
            worst = area
            low_u, low_v, high_u, high_v = max(there.decompose(), key=lambda one: one.area()).bounds()
            where = np.array([(low_u + high_u) / 2.0, (low_v + high_v) / 2.0, level]) @ np.stack([*frame])
    return (total, where) if total > BLOCKS_MM3 else (0.0, None)


def _section_of(solid: Manifold, frame: Frame, level: float) -> CrossSection:
    """The section of a solid in the frame's axes."""
    axes = np.column_stack([np.stack([*frame]), np.zeros(3)])
    return solid.transform(axes).slice(level)
