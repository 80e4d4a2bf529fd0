"""The near field: a sparse set of bricks of signed distances around a surface, and reading it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, check_points
from firstcast.fields.blocks import run_blocks
from firstcast.kernels.bricks import INSIDE, OUTSIDE, SIDE
from firstcast.kernels.sample import sample_trilinear
from firstcast.tolerances import TOLERANCES

PLACE_BLOCK = 1 << 14
"""Places that one thread reads at a time."""


@dataclass(frozen=True)
class NearField:
    """Signed distances at lattice points origin + pitch · (i, j, k), kept in bricks of 8 × 8 × 8.

    Attributes
    ----------
    origin_mm : (3,) float64
        Place of lattice point (0, 0, 0).
    pitch_mm : (3,) float64
        Lattice pitch per axis.
    index : (bx, by, bz) int32
        Per brick: ≥ 0 a row of the pool, -1 wholly outside, -2 wholly inside.
    pool : (n, 8, 8, 8) float32
        Signed distance in mm, negative inside, clamped at the band's half-width.
    part : (n, 8, 8, 8) uint16
        The part whose surface is nearest; rows (0, 8, 8, 8) where nobody asked for it.
    band_mm : float
        Half-width of the band: what absent bricks count as. 0 stands for `TOLERANCES.band_pitches` of the
        coarsest pitch.
    """

    origin_mm: npt.NDArray[np.float64]
    pitch_mm: npt.NDArray[np.float64]
    index: npt.NDArray[np.int32]
    pool: npt.NDArray[np.float32]
    part: npt.NDArray[np.uint16]
    band_mm: float = 0.0

    @property
    def far_mm(self) -> float:
        """The distance that absent bricks count as, in mm."""
        return self.band_mm or TOLERANCES.band_pitches * float(self.pitch_mm.max())

    @property
    def places(self) -> npt.NDArray[np.int32]:
        """(n, 3) int32: the brick coordinates of each row of the pool."""
        places = np.empty((len(self.pool), 3), np.int32)
        held = np.argwhere(self.index >= 0).astype(np.int32)
        places[self.index[self.index >= 0]] = held
        return places


def sample(field: NearField, points_mm: Points) -> npt.NDArray[np.float64]:
    """Signed distance at places (n, 3), by trilinear interpolation; ± the band's width beyond the band.

    Between lattice points the error is of second order in the pitch where the surface is smooth.

    Raises
    ------
    InputError
        The places are not finite rows x, y, z.
    """
    places = check_points(points_mm, where="sample")
    values = np.empty(len(places))
    run_blocks(
        sample_trilinear, len(places), places, field.origin_mm, field.pitch_mm, field.index, field.pool,
        field.far_mm, values, block=PLACE_BLOCK,
    )  # fmt: skip
    return values


def near_from_dense(values: np.ndarray, origin_mm, pitch_mm) -> NearField:
    """The bricks of a dense array that its zero set passes through, with their neighbours.

    Parameters
    ----------
    values : (x, y, z) float32
        Any field, negative inside. Beyond the array everything is outside.
    origin_mm, pitch_mm : (3,) float, or one float for all axes
        The lattice: values[i, j, k] sits at origin + pitch · (i, j, k).
    """
    pitch = np.broadcast_to(np.asarray(pitch_mm, np.float64), (3,)).copy()
    origin = np.broadcast_to(np.asarray(origin_mm, np.float64), (3,)) - SIDE * pitch
    bricks = tuple(-(-n // SIDE) + 2 for n in values.shape)
    padded = np.full(tuple(SIDE * b for b in bricks), pitch.max(), np.float32)
    inner = tuple(slice(SIDE, SIDE + n) for n in values.shape)
    padded[inner] = values
    split = padded.reshape(bricks[0], SIDE, bricks[1], SIDE, bricks[2], SIDE)
    outside = np.asarray((split >= 0).any(axis=(1, 3, 5)))
    inside = np.asarray((split < 0).any(axis=(1, 3, 5)))
    crossed = widened(outside) & widened(inside)
    index = np.where(outside, OUTSIDE, INSIDE).astype(np.int32)
    index[crossed] = np.arange(int(crossed.sum()), dtype=np.int32)
    at = np.nonzero(crossed)
    pool = np.ascontiguousarray(split.transpose(0, 2, 4, 1, 3, 5)[at])
    return NearField(origin, pitch, index, pool, np.zeros((0, SIDE, SIDE, SIDE), np.uint16))


def widened(mask: np.ndarray) -> np.ndarray:
    """The mask and all its 26 neighbours."""
    for axis in range(mask.ndim):
        low = np.moveaxis(mask, axis, 0)
        wide = low.copy()
        wide[1:] |= low[:-1]
        wide[:-1] |= low[1:]
        mask = np.moveaxis(wide, 0, axis)
    return mask
