"""What layer images light near a mesh's surface, averaged over where the piece lies on pixels and layers.

Bricks of voxels half a pixel wide and half a layer high hold the share of each that the body fills, exactly. Light is
then a sum up each column (layers that come later shine through) and a blur of each layer, brick by brick, so time
grows with the surface. Memory doesn't: the body is taken in strips, each with as many slabs beside it as its blur and the
search for its edges reach. Columns know nothing of each other, so every value comes of the same numbers in the same
order, and is the same to the last bit, however the body is cut.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import SizeError
from firstcast.fields.blocks import run_blocks
from firstcast.fields.slabs import Slabs
from firstcast.kernels.bricks import OUTSIDE, SIDE
from firstcast.kernels.dose import add_later, blur_levels, find_edges
from firstcast.kernels.shares import add_pieces, add_up, move_down

STRIP_BYTES = 1500 << 20
"""What a strip's bricks may take. A ball of 75 mm at pixels of 22 µm, whose mesh with its normals takes 4 GB, is then cut into
strips of nine slabs, each with ten beside it that it shares. Less would make more of the light twice; more would make what
needs strips larger still."""

MOST_BYTES = 6 << 30
"""What the bricks of even the narrowest strip may take."""

BRICK_BYTES = 4 * SIDE**3

COLUMN_BLOCK, HEIGHT_BLOCK, VERTEX_BLOCK = 64, 4, 1 << 13


class Blur(NamedTuple):
    """One part of the spread that comes apart into rows and columns: weights along x and y, odd in number."""

    along_x: npt.NDArray[np.float32]
    along_y: npt.NDArray[np.float32]


class Strip(NamedTuple):
    """Slabs whose vertices are looked at, those that the search for their edges reaches, those that light comes from."""

    own: range
    lit: range
    held: range


class Heights(NamedTuple):
    """The lit rows of a strip by the height of their bricks.

    Attributes
    ----------
    order : (n,) int64
        Height h has order[starts[h] : starts[h + 1]].
    starts : (bz + 1,) int64
    rank : (rows,) int32
        Where in its height each lit row is.
    """

    order: npt.NDArray[np.int64]
    starts: npt.NDArray[np.int64]
    rank: npt.NDArray[np.int32]


class Shares(NamedTuple):
    """The share of each voxel that a body fills, in the bricks of a strip.

    Attributes
    ----------
    strip : Strip
    index : (len(strip.held), by, bz) int32
        Row of the pool, or that the brick is wholly outside or inside.
    places : (rows, 3) int32
        The bricks, among all of the body.
    lit : range
        The rows of the strip's lit slabs.
    heights : Heights
    pool : (rows, 8, 8, 8) float32
        Mean of a voxel and the one above it: of a layer whose middle lies at the voxel's top.
    """

    strip: Strip
    index: npt.NDArray[np.int32]
    places: npt.NDArray[np.int32]
    lit: range
    heights: Heights
    pool: npt.NDArray[np.float32]


class Light(NamedTuple):
    """The light of all layers in a strip's lit slabs, in units of one layer's own full light.

    Attributes
    ----------
    first : int
        The first of the slabs.
    index : (slabs, by, bz) int32
        As of `Shares`: a brick's row of the pool, and `base` more.
    pool : (rows, 8, 8, 8) float32
    base : int
    deep : float
        The light deep inside.
    """

    first: int
    index: npt.NDArray[np.int32]
    pool: npt.NDArray[np.float32]
    base: int
    deep: float


def strips_of(slabs: Slabs, *, search_mm: float, blurs: Sequence[Blur], most_bytes: int) -> list[Strip]:
    """A body in strips, each of as many slabs as `most_bytes` hold, of one at least.

    Parameters
    ----------
    search_mm : float
        How far from a vertex its edge is looked for.
    blurs : sequence of Blur
        All that the strips are to be blurred with.

    Raises
    ------
    SizeError
        A single slab, with what it needs beside it, would take more than 6 GB.
    """
    # the search may end a step farther out, and takes the values round the place
    search = np.ceil((search_mm + slabs.voxel_mm.min()) / slabs.voxel_mm[0]) + 3
    around = int(np.ceil(search / SIDE))
    spread = max(-(-(len(blur.along_x) // 2) // SIDE) for blur in blurs)
    count = int(slabs.bricks[0])

    def strip(first: int, last: int) -> Strip:
        lit = range(max(first - around, 0), min(last + around, count))
        held = range(max(lit.start - spread, 0), min(lit.stop + spread, count))
        return Strip(range(first, last), lit, held)

    full = np.flatnonzero(np.diff(slabs.vertices.starts))
    first, end, found = int(full[0]), int(full[-1]) + 1, []
    while first < end:
        chosen = strip(first, first + 1)
        _check_bytes(strip_bytes(slabs, chosen), slabs.voxel_mm)
        while chosen.own.stop < end:
            wider = strip(first, chosen.own.stop + 1)
            if strip_bytes(slabs, wider) > most_bytes:
                break
            chosen = wider
        found.append(chosen)
        first = chosen.own.stop
    return found


def strip_bytes(slabs: Slabs, strip: Strip) -> int:
    """What a strip's bricks take, and their table and that of the strip before."""
    return BRICK_BYTES * _rows(slabs, strip) + 2 * slabs.table_bytes * len(strip.held)


def _rows(slabs: Slabs, strip: Strip) -> int:
    """Rows for shares, for what is made of them before it is blurred, and for blurred light."""
    return 2 * slabs.rows(strip.held) + slabs.rows(strip.lit)


def _check_bytes(wanted: int, voxel) -> None:
    if wanted > MOST_BYTES:
        raise SizeError(
            f"the light near one slice of the surface would take {wanted / 2**30:.1f} GB at voxels of "
            f"{voxel[0] * 1000:.0f} µm",
            where="forecast",
            mend="Forecast at a coarser pixel, or the pieces one by one.",
        )


def pool_for(slabs: Slabs, strips: Sequence[Strip]) -> npt.NDArray[np.float32]:
    """(rows, 8, 8, 8) float32: room for the bricks of any of some strips, to be used by one after the other."""
    return np.empty((max(_rows(slabs, strip) for strip in strips), SIDE, SIDE, SIDE), np.float32)


def shares_of(
    slabs: Slabs, strip: Strip, pool: npt.NDArray[np.float32], before: Shares | None = None
) -> Shares:
    """The share of each voxel of a strip's bricks that a closed mesh fills.

    The mesh may cross itself: what is inside more than once counts once where it is so in whole voxels.

    Parameters
    ----------
    pool : (rows, 8, 8, 8) float32
        As of `pool_for`; the shares lie at its beginning.
    before : Shares, optional
        Of the strip before, in the same pool. What both hold is taken from there, and they are spent.
    """
    held, first = strip.held, int(slabs.starts[strip.held.start])
    places = slabs.places[first : slabs.starts[held.stop]]
    index = np.full((len(held), *slabs.bricks[1:]), OUTSIDE, np.int32)
    index[places[:, 0] - held.start, places[:, 1], places[:, 2]] = np.arange(len(places), dtype=np.int32)
    known = 0 if before is None else _taken_over(slabs, before, held, index, pool)
    share, area = pool[: len(places)], pool[len(places) : 2 * len(places)]
    fresh, table = range(held.start + known, held.stop), index[known:]
    run_blocks(
        add_pieces, len(fresh), fresh.start, slabs.points, slabs.triangles, slabs.origin_mm, slabs.voxel_mm,
        *slabs.faces, slabs.widest, slabs.starts[fresh.start :] - first, table, share, area, block=1,
    )  # fmt: skip
    run_blocks(add_up, len(fresh) * int(slabs.bricks[1]), table, share, area, block=COLUMN_BLOCK)
    lit = range(int(slabs.starts[strip.lit.start]) - first, int(slabs.starts[strip.lit.stop]) - first)
    return Shares(strip, index, places, lit, _heights(places, lit, int(slabs.bricks[2])), share)


def _taken_over(slabs: Slabs, before: Shares, held: range, index, pool) -> int:
    """How many slabs the strip before holds as well; their shares are moved, and what is inside is noted in `index`."""
    old = before.strip.held
    known = old.stop - held.start
    absent = before.index[held.start - old.start :]
    np.copyto(index[:known], absent, where=absent < 0)
    move_down(slabs.rows(range(old.start, held.start)), slabs.rows(range(held.start, old.stop)), pool)
    return known


def _heights(places: npt.NDArray[np.int32], lit: range, count: int) -> Heights:
    height = places[lit.start : lit.stop, 2]
    order = np.argsort(height, kind="stable")
    starts = np.searchsorted(height, np.arange(count + 1), sorter=order).astype(np.int64)
    rank = np.full(len(places), -1, np.int32)
    rank[lit.start + order] = np.arange(len(lit)) - starts[height[order]]
    return Heights(lit.start + order, starts, rank)


def light_of_shares(
    shares: Shares, pool: npt.NDArray[np.float32], blurs: Sequence[Blur], *, kept: float, later: float
) -> Light:
    """The light of all layers in a strip's lit slabs, in the pool that holds the shares.

    Parameters
    ----------
    kept : float
        Share of light that passes a layer.
    later : float
        How much more later layers count than if each shone from its middle.
    """
    deep = 1.0 + later * kept / (1.0 - kept)
    strip, index, rows = shares.strip, shares.index, len(shares.places)
    own, light = pool[rows : 2 * rows], pool[2 * rows : 2 * rows + len(shares.lit)]
    shining = np.empty(rows, np.bool_)
    columns = index.shape[0] * index.shape[1]
    run_blocks(add_later, columns, index, shares.pool, kept, later, own, shining, block=COLUMN_BLOCK)
    for n, blur in enumerate(blurs):
        run_blocks(
            blur_levels, index.shape[2], *shares.heights, shares.places, index, strip.held.start, shining,
            _runs(own), *blur, deep, n == 0, _runs(light), shares.lit.start, block=HEIGHT_BLOCK,
        )  # fmt: skip
    skipped = strip.lit.start - strip.held.start
    return Light(strip.lit.start, index[skipped : skipped + len(strip.lit)], light, shares.lit.start, deep)


def _runs(pool: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """(rows, 8, 64): the same values, a brick in eight runs."""
    return pool.reshape(len(pool), SIDE, SIDE * SIDE)


def edges_along(
    slabs: Slabs,
    strip: Strip,
    ways: npt.NDArray[np.float64],
    light: Light,
    levels: npt.NDArray[np.float64],
    moved: npt.NDArray[np.float64],
    *,
    reach_mm: float,
) -> None:
    """Write to moved (n,) how many mm from a strip's own vertices along unit vectors (n, 3) light falls to critical.

    `levels` (odd number,) is the critical light by the z of the way, from -1 to 1.
    """
    starts = slabs.vertices.starts
    listed = slabs.vertices.order[starts[strip.own.start] : starts[strip.own.stop]]
    run_blocks(
        find_edges, len(listed), listed, slabs.points, ways, slabs.origin_mm, slabs.voxel_mm, levels, reach_mm,
        *light, moved, block=VERTEX_BLOCK,
    )  # fmt: skip
