"""What layer images light near a mesh's surface, averaged over where the piece lies on pixels and layers.

Bricks of voxels half a pixel wide and half a layer high hold the share of each that the body fills, exactly. Light is
then a sum up each column (layers that come later shine through) and a blur of each layer, brick by brick, so
time and memory grow with the surface.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.errors import SizeError
from firstcast.fields.blocks import run_blocks
from firstcast.kernels.bricks import OUTSIDE, SIDE
from firstcast.kernels.dose import add_later, blur_x, blur_y, find_edges
from firstcast.kernels.shares import add_pieces, add_up, count_columns, fill_columns, mark_near

MOST_BYTES = 6 << 30
"""Most that the bricks of one body may take, three pools together; light of several Gaussians takes a fourth."""

COLUMN_BLOCK, BRICK_BLOCK, VERTEX_BLOCK = 64, 1024, 1 << 13


class Shares(NamedTuple):
    """The share of each voxel that a body fills, in bricks near its surface.

    Attributes
    ----------
    origin_mm, voxel_mm : (3,) float64
    index : (bx, by, bz) int32
        Row of the pool, or that the brick is wholly outside or inside.
    places : (rows, 3) int32
    pool : (rows, 8, 8, 8) float32
        Mean of a voxel and the one above it: of a layer whose middle lies at the voxel's top.
    """

    origin_mm: npt.NDArray[np.float64]
    voxel_mm: npt.NDArray[np.float64]
    index: npt.NDArray[np.int32]
    places: npt.NDArray[np.int32]
    pool: npt.NDArray[np.float32]


class Blur(NamedTuple):
    """One part of the spread that comes apart into rows and columns: weights along x and y, odd in number."""

    along_x: npt.NDArray[np.float32]
    along_y: npt.NDArray[np.float32]


def shares_of(
    points: Points, triangles: Triangles, voxel_mm: npt.ArrayLike, *, reach_mm: npt.ArrayLike
) -> Shares:
    """The share of each voxel within `reach_mm`, a length or one per axis, of a closed mesh's surface that the mesh fills.

    Parameters
    ----------
    points : (n, 3) float64
        mm, in the printer's axes. The mesh may cross itself: what is inside more than once counts once where it is
        so in whole voxels.
    triangles : (m, 3) int32
    voxel_mm : (3,)
        Half a pixel along x and y, half a layer along z.

    Raises
    ------
    SizeError
        The bricks would take more than 6 GB.
    """
    voxel = np.asarray(voxel_mm, np.float64)
    reach = np.ceil(np.broadcast_to(np.asarray(reach_mm, np.float64), 3) / voxel)
    room = (reach + 2 * SIDE) * voxel
    origin = points.min(axis=0) - room
    bricks = np.ceil((np.ptp(points, axis=0) + 2 * room) / voxel / SIDE).astype(np.int64)
    at = (points - origin) / voxel
    mask = np.zeros(bricks, np.uint8)
    # a triangle's middle may lie farther out than its corners by an edge
    edge = max(float(np.abs(at[triangles[:, n]] - at[triangles[:, n - 1]]).max()) for n in range(3))
    mark_near(at, reach + 1 + 0.5 * edge, mask)
    places = np.argwhere(mask).astype(np.int32)
    _check_bytes(len(places), voxel)
    index = np.full(bricks, OUTSIDE, np.int32)
    index[tuple(places.T)] = np.arange(len(places), dtype=np.int32)
    columns = int(bricks[0] * bricks[1])
    starts = np.zeros(columns + 1, np.int64)
    count_columns(at, triangles, bricks[1], starts)
    np.cumsum(starts, out=starts)
    listed = np.empty(int(starts[-1]), np.int32)
    fill_columns(at, triangles, bricks[1], starts[:-1].copy(), listed)
    share, area = (np.zeros((len(places), SIDE, SIDE, SIDE), np.float32) for _ in range(2))
    run_blocks(add_pieces, columns, at, triangles, starts, listed, index, share, area, block=COLUMN_BLOCK)
    run_blocks(add_up, columns, index, share, area, block=COLUMN_BLOCK)
    return Shares(origin, voxel, index, places, share)


def _check_bytes(rows: int, voxel) -> None:
    wanted = 3 * 4 * rows * SIDE**3
    if wanted > MOST_BYTES:
        raise SizeError(
            f"the light near the surface would take {wanted / 2**30:.1f} GB at voxels of {voxel[0] * 1000:.0f} µm",
            where="forecast",
            mend="Forecast at a coarser pixel, or the pieces one by one.",
        )


def light_of_shares(
    shares: Shares, blurs: list[Blur], *, kept: float, later: float
) -> tuple[npt.NDArray[np.float32], float]:
    """The light of all layers, in units of one layer's own full light: the pool, and its value deep inside.

    Parameters
    ----------
    kept : float
        Share of light that passes a layer.
    later : float
        How much more later layers count than if each shone from its middle.
    """
    columns = shares.index.shape[0] * shares.index.shape[1]
    deep = 1.0 + later * kept / (1.0 - kept)
    own = np.empty_like(shares.pool)
    run_blocks(add_later, columns, shares.index, shares.pool, kept, later, own, block=COLUMN_BLOCK)
    scratch = np.empty_like(own)
    light = own if len(blurs) == 1 else np.zeros_like(own)
    for blur in blurs:
        deep_there = np.float32(deep), np.float32(deep * float(blur.along_x.sum()))
        bricks = len(shares.places), shares.places, shares.index
        run_blocks(blur_x, *bricks, own, blur.along_x, deep_there[0], scratch, block=BRICK_BLOCK)
        if light is own:
            light[:] = 0.0
        run_blocks(blur_y, *bricks, scratch, blur.along_y, deep_there[1], light, block=BRICK_BLOCK)
    return light, deep


def edges_along(
    points: Points,
    ways: npt.NDArray[np.float64],
    shares: Shares,
    light: npt.NDArray[np.float32],
    deep: float,
    levels: npt.NDArray[np.float64],
    *,
    reach_mm: float,
) -> npt.NDArray[np.float64]:
    """(n,) mm: how far from points (n, 3) along unit vectors (n, 3) the light falls to its critical level.

    `levels` (odd number,) is that level by the z of the way, from -1 to 1.
    """
    moved = np.empty(len(points))
    at = (points - shares.origin_mm) / shares.voxel_mm
    run_blocks(
        find_edges, len(points), at, ways, shares.voxel_mm, levels, reach_mm, shares.index, light, deep, moved,
        block=VERTEX_BLOCK,
    )  # fmt: skip
    return moved
