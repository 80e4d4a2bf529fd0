"""The union of closed shells on a lattice: what is inside, and where lattice edges pass the surface.

Lattice lines along x, y and z are crossed with every shell; a crossing counts where the winding number
passes between zero and more. So overlapping, nested and self-crossing shells become one body, buried
surfaces vanish, and the crossings that are left lie on the union's surface exactly.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.errors import InputError, SizeError
from firstcast.fields.blocks import run_blocks
from firstcast.fields.near import INSIDE, OUTSIDE, SIDE, widened
from firstcast.kernels.columns import (
    FIXED,
    cross_triangles,
    group_by_line,
    mark_bricks,
    settle_lines,
    sign_bricks,
    vote_bricks,
)

MOST_VOXELS = 8192
"""Lattice points along an axis at most: what 64-bit integers can compare exactly."""

TRIANGLE_BLOCK = 1 << 14
LINE_BLOCK = 1 << 15
AREA_BLOCK = 1 << 18


class Shells(NamedTuple):
    """Closed, outward shells of many parts in one: points (n, 3), triangles (m, 3), part (m,) uint16."""

    points: Points
    triangles: Triangles
    part: npt.NDArray[np.uint16]


class Lattice(NamedTuple):
    """Lattice points origin + pitch · (i, j, k), in `bricks` bricks of 8 along each axis."""

    origin_mm: npt.NDArray[np.float64]
    pitch_mm: npt.NDArray[np.float64]
    bricks: tuple[int, int, int]

    @property
    def size(self) -> npt.NDArray[np.int64]:
        """(3,) int64: lattice points along each axis."""
        return SIDE * np.asarray(self.bricks, dtype=np.int64)


class Columns(NamedTuple):
    """The crossings of all lattice lines that lie on the union's surface.

    Lines along axis a are bases[a] + at[u] · size[v] + at[v]. Line n holds rows starts[n] .. starts[n] + kept[n]
    of positions (c,) float64, in pitches, and hits (c,) int32: the triangle, or ~triangle where the
    line leaves the body.
    """

    size: npt.NDArray[np.int64]
    bases: npt.NDArray[np.int64]
    starts: npt.NDArray[np.int64]
    kept: npt.NDArray[np.int32]
    positions: npt.NDArray[np.float64]
    hits: npt.NDArray[np.int32]
    leaking: int


@dataclass(frozen=True)
class Occupancy:
    """What is inside, brick by brick.

    index (bx, by, bz) int32 as in `NearField`; places (n, 3) int32; bits (n, 8) int64, word i of a brick
    holding voxel (i, j, k) at bit 8 j + k, set inside; disagreements: lattice points on which the three
    directions don't agree.
    """

    lattice: Lattice
    index: npt.NDArray[np.int32]
    places: npt.NDArray[np.int32]
    bits: npt.NDArray[np.int64]
    disagreements: int


def lattice_around(points: Points, pitch_mm, reach_mm: float) -> Lattice:
    """A lattice around some points with room for a band of `reach_mm` and a brick on every side.

    Raises
    ------
    SizeError
        More than 8192 lattice points along an axis.
    """
    pitch = np.broadcast_to(np.asarray(pitch_mm, np.float64), (3,)).copy()
    if not (pitch > 0).all() or not np.isfinite(pitch).all():
        raise InputError(f"pitch {pitch.tolist()} mm", where="near field", mend="Give a pitch above zero.")
    margin = np.ceil(reach_mm / pitch) + 2
    low, high = (points.min(axis=0), points.max(axis=0)) if len(points) else (np.zeros(3), np.zeros(3))
    first = np.floor(low / pitch) - margin
    last = np.ceil(high / pitch) + margin
    bricks = np.ceil((last - first + 1) / SIDE).astype(int)
    if (bricks * SIDE > MOST_VOXELS).any():
        extent = float((high - low).max())
        raise SizeError(
            f"{extent:.1f} mm at a pitch of {pitch.min():g} mm is {int(bricks.max()) * SIDE} lattice points, "
            f"more than {MOST_VOXELS}",
            where="near field",
            mend=f"Take a pitch of {extent / (MOST_VOXELS - 64):.3f} mm or more, or cut the piece in two.",
        )
    return Lattice(first * pitch, pitch, (int(bricks[0]), int(bricks[1]), int(bricks[2])))


def estimate_bytes(shells: Shells, lattice: Lattice, band_mm: float = 0.0) -> float:
    """What uniting the shells on the lattice takes at its peak, in bytes, beside the shells themselves.

    Crossings, surface and bricks grow with the area that the shells show along x, y and z, in lattice cells;
    a field's bricks hold 3 kB each. The factors were fitted to the peaks of benchmarks/fuse.py and err on the
    large side.
    """
    cells = cells_shown(shells.points, shells.triangles, lattice.pitch_mm)
    lines = float((lattice.size.prod() / lattice.size).sum())
    table = 14.0 * float(np.prod(lattice.bricks))
    band = max(band_mm / float(lattice.pitch_mm.min()), 1.0)
    bricks = cells / 75.0 * (1.0 + band / 4.0)
    per_brick = 3700.0 if band_mm else 700.0
    return 30.0 * len(shells.points) + 14.0 * lines + table + 80.0 * cells + per_brick * bricks


def cells_shown(points: Points, triangles: Triangles, pitch_mm) -> float:
    """How many lattice edges some triangles cross: the area that they show along x, y and z, in lattice cells."""
    cells = 0.0
    for start in range(0, len(triangles), AREA_BLOCK):
        rows = triangles[start : start + AREA_BLOCK]
        a, b, c = (points[rows[:, n]] / pitch_mm for n in range(3))
        cells += float(np.abs(np.cross(b - a, c - a)).sum()) / 2
    return cells


def estimate_route_bytes(crossings: float) -> float:
    """What a body whose surface crosses so many lattice edges takes at the peak of the route, in bytes.

    Its contour has two triangles per crossing; from fuse to proof the public figures took 340 to 380 bytes a
    triangle (docs/public-figures.md).
    """
    return 2 * 380.0 * crossings


def read_columns(shells: Shells, lattice: Lattice) -> Columns:
    """Cross every lattice line with every shell and keep what lies on the union's surface."""
    return _read(shells, lattice, (0, 1, 2))


def read_lines(shells: Shells, lattice: Lattice, axis: int) -> Columns:
    """The same along one axis only: line i of it is at[u] · size[v] + at[v]."""
    return _read(shells, lattice, (axis,))


def _read(shells: Shells, lattice: Lattice, axes: tuple[int, ...]) -> Columns:
    # the nearest odd number of steps
    fixed = np.floor((shells.points - lattice.origin_mm) / lattice.pitch_mm * (FIXED / 2))
    points = np.ascontiguousarray(2 * fixed + 1, dtype=np.int32)
    size = lattice.size
    across = np.array([size[(axis + 1) % 3] * size[(axis + 2) % 3] for axis in axes])
    bases = np.concatenate([[0], np.cumsum(across)[:-1]]).astype(np.int64)
    found = [_cross(points, shells.triangles, axis, size) for axis in axes]
    starts = np.zeros(across.sum() + 1, np.int64)
    for n, (lines, _, _) in enumerate(found):
        starts[bases[n] + 1 : bases[n] + across[n] + 1] = np.bincount(lines, minlength=across[n])
    np.cumsum(starts, out=starts)
    cursor = starts.copy()
    positions, hits = np.empty(starts[-1], np.float64), np.empty(starts[-1], np.int32)
    for n in range(len(axes)):
        group_by_line(*found[n], bases[n], cursor, positions, hits)
        found[n] = (np.empty(0, np.int32), np.empty(0), np.empty(0, np.int32))
    kept, leaks = np.empty(len(starts) - 1, np.int32), np.empty(len(starts) - 1, np.uint8)
    run_blocks(settle_lines, len(kept), starts, positions, hits, kept, leaks, block=LINE_BLOCK)
    return Columns(size, bases, starts, kept, positions, hits, int(np.count_nonzero(leaks)))


def _cross(points, triangles, axis: int, size) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lines, positions and hits of all crossings along an axis, in the order of the triangles."""
    blocks = -(-len(triangles) // TRIANGLE_BLOCK)
    counts = np.zeros(blocks + 1, np.int64)
    nothing = (np.empty(0, np.int32), np.empty(0, np.float64), np.empty(0, np.int32))
    common = (points, triangles, axis, size)
    run_blocks(
        cross_triangles,
        len(triangles),
        *common,
        False,
        counts[1:],
        TRIANGLE_BLOCK,
        *nothing,
        block=TRIANGLE_BLOCK,
    )
    np.cumsum(counts, out=counts)
    total = counts[-1]
    found = (np.empty(total, np.int32), np.empty(total, np.float64), np.empty(total, np.int32))
    run_blocks(
        cross_triangles, len(triangles), *common, True, counts, TRIANGLE_BLOCK, *found, block=TRIANGLE_BLOCK
    )
    return found


def occupy(columns: Columns, lattice: Lattice, reach_mm: float) -> Occupancy:
    """Signs of every brick that comes within `reach_mm` of the surface, by majority of three directions."""
    mask = np.zeros(lattice.bricks, np.uint8)
    reach = np.ceil(reach_mm / lattice.pitch_mm).astype(np.int64)
    lines = columns[2:6]
    across = np.diff(np.append(columns.bases, len(columns.kept)))
    for axis in range(3):
        run_blocks(
            mark_bricks, int(across[axis]), axis, columns.size, columns.bases, *columns[2:5], reach, mask,
            block=LINE_BLOCK,
        )  # fmt: skip
    votes = np.zeros(lattice.bricks, np.uint8)
    for axis in range(3):
        vote_bricks(axis, columns.size, columns.bases, *lines, votes)
    if columns.leaking:
        # where a shell is open no line is crossed: hold the bricks between inside and outside as well
        mask |= (widened(votes >= 2) & widened(votes < 2)).astype(np.uint8)
    index = np.where(votes >= 2, INSIDE, OUTSIDE).astype(np.int32)
    places = np.argwhere(mask).astype(np.int32)
    index[mask > 0] = np.arange(len(places), dtype=np.int32)
    bits, disagreements = np.empty((len(places), SIDE), np.int64), np.empty(len(places), np.int32)
    run_blocks(
        sign_bricks, len(places), places, columns.size, columns.bases, *lines, bits, disagreements, block=1024
    )
    return Occupancy(lattice, index, places, bits, int(disagreements.sum()))
