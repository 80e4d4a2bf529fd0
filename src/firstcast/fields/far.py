"""The far field: a dense, coarse grid of signed distances, for openings, walls, props, mould and pour."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from firstcast.arrays import Corners, Field, Points, check_points
from firstcast.errors import InputError
from firstcast.fields.blocks import run_blocks
from firstcast.fields.memory import check_fits
from firstcast.fields.near import SIDE
from firstcast.fields.union import Lattice, Shells, read_columns
from firstcast.kernels.far import carry_layer, mark_band, read_far, sign_columns

BAND_PITCHES = 2.0
"""Distances up to here are exact; beyond, nearest triangles are carried from point to point."""

WORTH_PITCHES = 0.25
"""A neighbour's triangle is measured if its nearest place is at most so much farther than what is known."""

TRIANGLE_BLOCK = 1 << 14
PLACE_BLOCK = 1 << 14
ROW_BLOCK = 48
"""Rows of a layer that one thread takes."""
QUERY_BLOCK = 1 << 21
"""Band points measured at a time: keeps their coordinates small beside the grid."""

BYTES_PER_VOXEL = 26
"""Distance, nearest triangle and place, mask and what the signs of columns take, per lattice point."""

BYTES_PER_TRIANGLE = 130
"""Corners, and what the crossings of columns take."""


Closest = Callable[[Points], tuple[npt.NDArray[np.float64], Points, npt.NDArray[np.int32]]]
"""Gives distance (n,), nearest place (n, 3) and its triangle (n,) for places (n, 3), exactly: a search tree."""


@dataclass(frozen=True)
class FarField:
    """Signed distances at all lattice points origin + pitch · (i, j, k).

    Attributes
    ----------
    origin_mm, pitch_mm : (3,) float64
    values : (nx, ny, nz) float32
        Signed distance in mm, negative inside.
    """

    origin_mm: npt.NDArray[np.float64]
    pitch_mm: npt.NDArray[np.float64]
    values: Field

    @property
    def bounds(self) -> np.ndarray:
        """(2, 3): the first and the last lattice point."""
        last = self.origin_mm + (np.array(self.values.shape) - 1) * self.pitch_mm
        return np.array([self.origin_mm, last])


def far_lattice(bounds_mm: np.ndarray, pitch_mm, margin_mm: float) -> Lattice:
    """A lattice on multiples of the pitch, with at least `margin_mm` round the bounds (2, 3).

    Raises
    ------
    InputError
        The pitch or the margin is not a positive length.
    """
    pitch = np.broadcast_to(np.asarray(pitch_mm, np.float64), (3,)).copy()
    if not (np.isfinite(pitch).all() and (pitch > 0.0).all() and margin_mm >= 0.0):
        raise InputError(
            f"pitch {pitch.tolist()} mm and margin {margin_mm} mm",
            where="far field",
            mend="Give positive lengths.",
        )
    first = np.floor((bounds_mm[0] - margin_mm) / pitch) - 1
    last = np.ceil((bounds_mm[1] + margin_mm) / pitch) + 1
    bricks = np.ceil((last - first + 1) / SIDE).astype(int)
    return Lattice(first * pitch, pitch, (int(bricks[0]), int(bricks[1]), int(bricks[2])))


def build_far(
    shells: Shells, closest: Closest, *, pitch_mm, margin_mm: float = 1.0, where: str = "far field"
) -> FarField:
    """Signed distances from closed outward shells, on a grid that reaches `margin_mm` beyond them.

    Parameters
    ----------
    shells : Shells
        Closed and outward. Where they overlap, what is inside is the union; distances there are to the
        nearest surface, buried ones included.
    closest : callable
        `geometry.tree.closest_points` with the search tree of the same triangles.
    pitch_mm : (3,) float, or one float for all axes
    margin_mm : float
    where : str
        What an error should call this field.

    Raises
    ------
    SizeError
        The grid would not fit this machine.
    InputError
        There are no triangles, or a shell is not closed.

    Notes
    -----
    Exact within two pitches of the surface. Beyond, each point tries the triangles that its neighbours found
    nearest, in sweeps both ways along x, y and z. What it takes is the true distance to some triangle, so
    values never come out too small. They came out too large by at most 0.08 of a pitch, and by 0.04 at one
    point in a thousand (a ball with relief, 29 × 29 × 60 mm at 0.15 mm, 20,000 points tried).
    """
    if not len(shells.triangles):
        raise InputError("there are no triangles", where=where, mend="Leave empty meshes out.")
    points = np.ascontiguousarray(shells.points, dtype=np.float64)
    lattice = far_lattice(np.array([points.min(axis=0), points.max(axis=0)]), pitch_mm, margin_mm)
    needed = BYTES_PER_VOXEL * float(np.prod(lattice.size.astype(float)))
    check_fits(
        needed + BYTES_PER_TRIANGLE * len(shells.triangles),
        where=where,
        mend=f"Take a pitch coarser than {lattice.pitch_mm.min():g} mm, or a smaller margin.",
    )
    values = _distances(np.ascontiguousarray(points[shells.triangles]), closest, lattice)
    _sign(values, Shells(points, shells.triangles, shells.part), lattice, where)
    return FarField(lattice.origin_mm, lattice.pitch_mm, values)


def _distances(corners: Corners, closest: Closest, lattice: Lattice) -> Field:
    """Unsigned distances at all lattice points."""
    origin, pitch = lattice.origin_mm, lattice.pitch_mm
    shape = tuple(int(n) for n in lattice.size)
    exact = np.zeros(shape, np.uint8)
    reach = BAND_PITCHES * float(pitch.max())
    run_blocks(mark_band, len(corners), corners, origin, pitch, reach, exact, block=TRIANGLE_BLOCK)
    state = np.full((*shape, 4), np.inf, np.float32)
    nearest = np.full(shape, -1, np.int32)
    marked = np.flatnonzero(exact)
    for start in range(0, len(marked), QUERY_BLOCK):
        some = marked[start : start + QUERY_BLOCK]
        distance, place, triangle = closest(origin + np.stack(np.unravel_index(some, shape), axis=1) * pitch)
        state.reshape(-1, 4)[some, :3] = place - origin
        state.reshape(-1, 4)[some, 3] = distance
        nearest.reshape(-1)[some] = triangle
    worth = np.float32(WORTH_PITCHES * float(pitch.min()))
    _carry_outward(origin, pitch, corners, exact, state, nearest, worth)
    return np.ascontiguousarray(state[..., 3])


def _carry_outward(origin, pitch, corners, exact, state, nearest, worth) -> None:
    """Sweep both ways along x, y and z, layer by layer, the rows of a layer in threads; and once more.

    The second round mends what was passed over because the point straight behind was not yet right: on a
    ball with relief the greatest error fell from 0.53 to 0.06 of a pitch.
    """
    shape = nearest.shape
    common = (origin, pitch, corners, exact, state, nearest, worth)
    with ThreadPoolExecutor(numba.get_num_threads()) as pool:
        for axis in (0, 1, 2, 0, 1, 2):
            rows = shape[1] if axis == 0 else shape[0]
            starts = range(0, rows, ROW_BLOCK)
            for step in (-1, 1):
                layers = range(1, shape[axis]) if step < 0 else range(shape[axis] - 2, -1, -1)
                for at in layers:
                    parts = [
                        pool.submit(carry_layer, start, min(start + ROW_BLOCK, rows), axis, step, at, *common)
                        for start in starts
                    ]
                    for part in parts:
                        part.result()


def _sign(values: Field, shells: Shells, lattice: Lattice, where: str) -> None:
    """Make `values` negative inside: where the winding number along the lattice's columns is positive."""
    columns = read_columns(shells, lattice)
    if columns.leaking:
        raise InputError(
            f"a shell is not closed: {columns.leaking} lattice lines enter it and don't leave it, or the reverse",
            where=where,
            mend="Pass it through intake, which closes holes, or fuse it first.",
        )
    run_blocks(
        sign_columns, len(values), columns.bases[2], columns.size[1], columns.starts, columns.kept,
        columns.positions, columns.hits, values, block=8,
    )  # fmt: skip


def sample(field: FarField, points_mm: Points) -> npt.NDArray[np.float64]:
    """Signed distance at places (n, 3), by trilinear interpolation.

    Outside the grid: the value at the grid's nearest place plus the way there, which is at least the
    distance from the surface.
    """
    return _read(field, points_mm)[0]


def gradient(field: FarField, points_mm: Points) -> npt.NDArray[np.float64]:
    """Gradient (n, 3) of the trilinear interpolant: away from the surface, of length near 1 off the middle axis.

    It jumps at the cells' faces. Outside the grid it points away from the grid.
    """
    return _read(field, points_mm)[1]


def _read(field: FarField, points_mm: Points) -> tuple[np.ndarray, np.ndarray]:
    places = check_points(points_mm, where="sample")
    out, slope = np.empty(len(places)), np.empty((len(places), 3))
    run_blocks(
        read_far, len(places), places, field.origin_mm, field.pitch_mm, field.values, out, slope,
        block=PLACE_BLOCK,
    )  # fmt: skip
    return out, slope
