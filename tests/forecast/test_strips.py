"""The print taken in strips: the same as in one piece, within the memory it is given; light against dense arrays."""

import tracemalloc
from dataclasses import replace

import numba
import numpy as np
import pytest
from scipy.ndimage import convolve1d

from firstcast.errors import SizeError
from firstcast.fields import dose
from firstcast.fields.slabs import slabs_of
from firstcast.forecast.chain_on_mesh import normals_of
from firstcast.forecast.light import depth_of
from firstcast.forecast.printed import REACH_MM, blurs_of, print_moves_of, voxels_of
from firstcast.kernels.bricks import INSIDE
from firstcast.process.spread import heavy_tailed_like
from mesh_bodies import LIKELY, NULL, ball, block

MARGIN_MM = (0.1, 0.1, 0.16)
HEAVY = replace(LIKELY, spread=heavy_tailed_like(LIKELY.spread))


def strips_at(points, triangles, chains, most_bytes):
    slabs = slabs_of(points, triangles, voxels_of(chains[0]), MARGIN_MM)
    blurs = [blur for chain in chains for blur in blurs_of(chain)]
    return slabs, dose.strips_of(slabs, search_mm=REACH_MM, blurs=blurs, most_bytes=most_bytes)


def rod_of(blocks):
    """Blocks in a row along x, whose gaps light closes, so that edges are looked for as far as ever, and a ball above."""
    one, (points, triangles) = block(0.31, 0.5, 0.5, 0.05), ball(0.4, 4)
    points = [
        points + np.array([1.0, 0.1, 0.8]),
        *(one.points + np.array([0.33 * n, 0, 0]) for n in range(blocks)),
    ]
    first = np.cumsum([0, *(len(part) for part in points[:-1])])
    triangles = [triangles, *[one.triangles] * blocks]
    points, triangles = (
        np.concatenate(points),
        np.concatenate([part + np.int32(n) for part, n in zip(triangles, first, strict=True)]),
    )
    return points, triangles, normals_of(points, triangles)


@pytest.fixture(scope="module")
def rod():
    """Scenarios of one Gaussian, of none, of several."""
    return *rod_of(12), (LIKELY, NULL, HEAVY)


@pytest.mark.parametrize("megabytes", [0, 8, 12])
def test_strips_are_the_whole_to_the_last_bit(rod, megabytes):
    """Any width: one slab at a time, a few, many; the body whole is one strip."""
    points, triangles, normals, chains = rod
    slabs, strips = strips_at(points, triangles, chains, megabytes << 20)
    assert len(strips) > 1
    assert [slab for strip in strips for slab in strip.own] == list(
        range(strips[0].own.start, strips[-1].own.stop)
    )
    assert len(strips_at(points, triangles, chains, 1 << 30)[1]) == 1
    if megabytes == 0:
        assert {len(strip.own) for strip in strips} == {1}
    else:
        assert max(dose.strip_bytes(slabs, strip) for strip in strips) <= megabytes << 20
    whole = print_moves_of(points, triangles, normals, chains, strip_bytes=1 << 30)
    assert np.abs(whole).max(axis=1).min() > 0.0005
    cut = print_moves_of(points, triangles, normals, chains, strip_bytes=megabytes << 20)
    assert cut.tobytes() == whole.tobytes()


def lights(points, triangles, chain, most_bytes):
    """The lit bricks of every strip, from first to last of the body's, and their light."""
    slabs, strips = strips_at(points, triangles, [chain], most_bytes)
    pool, shares, depth = dose.pool_for(slabs, strips), None, depth_of(chain)
    for strip in strips:
        shares = dose.shares_of(slabs, strip, pool, shares)
        light = dose.light_of_shares(shares, pool, blurs_of(chain), kept=depth.kept, later=depth.later)
        yield slabs.starts[strip.lit.start], slabs.starts[strip.lit.stop], light.pool


@pytest.mark.parametrize("chain", [LIKELY, HEAVY])
def test_all_light_that_a_strip_may_look_at_is_that_of_the_whole(rod, chain):
    """Beside the strip as well, as far as a vertex may look, whether or not one does."""
    ((_, _, whole),) = lights(*rod[:2], chain, 1 << 30)
    for first, last, found in lights(*rod[:2], chain, 8 << 20):
        assert found.tobytes() == whole[first:last].tobytes()


def traced(function):
    tracemalloc.start()
    function()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def test_memory_is_what_strips_are_given_and_the_lists():
    """Beside a strip: vertices and triangles by slab, the bricks' places, the result. Whole it takes three times as much."""
    points, triangles, normals = rod_of(36)
    given = 10 << 20
    slabs, strips = strips_at(points, triangles, [LIKELY], given)
    assert len(strips) > 3
    lists = sum(array.nbytes for array in (slabs.places, slabs.starts, *slabs.vertices, *slabs.faces))
    threads = numba.get_num_threads()
    numba.set_num_threads(min(2, threads))
    print_moves_of(points, triangles, normals, [LIKELY])  # compiles
    whole = traced(lambda: print_moves_of(points, triangles, normals, [LIKELY]))
    cut = traced(lambda: print_moves_of(points, triangles, normals, [LIKELY], strip_bytes=given))
    numba.set_num_threads(threads)
    # a tenth: two threads' bricks of one height, and a strip's lists
    assert 0.9 * given < cut < 1.1 * given + lists + 8 * len(points)
    assert whole > 3 * cut


def test_what_one_slice_cannot_hold_is_refused(rod, monkeypatch):
    points, triangles, normals, chains = rod
    slabs, strips = strips_at(points, triangles, chains, 0)
    least = max(dose.strip_bytes(slabs, strip) for strip in strips)
    monkeypatch.setattr(dose, "MOST_BYTES", least)
    assert print_moves_of(points, triangles, normals, chains, strip_bytes=0).shape == (3, len(points))
    monkeypatch.setattr(dose, "MOST_BYTES", least - 1)
    with pytest.raises(SizeError, match="one slice of the surface"):
        print_moves_of(points, triangles, normals, chains, strip_bytes=0)


def test_without_a_print_nothing_moves(rod):
    points, triangles, normals, _ = rod
    found = print_moves_of(points, triangles, normals, [replace(LIKELY, prints=False), LIKELY])
    assert not found[0].any()
    assert np.abs(found[1]).max() > 0.01


def side_by_side(bricks):
    """(bx, by, bz, 8, 8, 8) as one array."""
    x, y, z = bricks.shape[:3]
    return bricks.transpose(0, 3, 1, 4, 2, 5).reshape(8 * x, 8 * y, 8 * z)


def dense(index, pool, inside):
    """All voxels of a table of bricks; absent ones hold 0 or `inside`."""
    absent = np.where(index == INSIDE, inside, 0.0)[..., None, None, None]
    present = (index >= 0)[..., None, None, None]
    return side_by_side(np.where(present, pool[np.maximum(index, 0)].astype(np.float64), absent))


@pytest.mark.parametrize("chain", [LIKELY, NULL, HEAVY])
def test_light_is_that_of_dense_arrays(chain):
    """Layer upon layer down every column, then sums of weighted shifts, on two balls above each other; to float32."""
    below, triangles = ball(0.45, 4)
    points = np.concatenate([below, below + np.array([0.1, 0.05, 1.5])])
    triangles = np.concatenate([triangles, triangles + np.int32(len(below))])
    slabs, strips = strips_at(points, triangles, [chain], 1 << 30)
    pool = dose.pool_for(slabs, strips)
    shares = dose.shares_of(slabs, strips[0], pool)
    depth, index = depth_of(chain), shares.index
    share = dense(index, shares.pool, 1.0)
    light = dose.light_of_shares(shares, pool, blurs_of(chain), kept=depth.kept, later=depth.later)
    left = np.zeros_like(share)
    for k in range(share.shape[2] - 3, -1, -1):
        left[..., k] = depth.kept * (share[..., k + 2] + left[..., k + 2])
    present = side_by_side(np.broadcast_to((index >= 0)[..., None, None, None], (*index.shape, 8, 8, 8)))
    deep = np.where(share > 0.5, light.deep, 0.0)
    own, expected = np.where(present, share + depth.later * left, deep), np.zeros_like(share)
    for blur in blurs_of(chain):
        in_x = convolve1d(own, blur.along_x.astype(np.float64), axis=0, mode="constant")
        in_x = np.where(present, in_x, deep * blur.along_x.sum())
        expected += convolve1d(in_x, blur.along_y.astype(np.float64), axis=1, mode="constant")
    assert len(light.pool) == (index >= 0).sum()
    lit = slice(8 * (light.first - strips[0].held.start), None)
    found = dense(light.index, light.pool, light.deep)
    rows = slice(lit.start, lit.start + len(found))
    assert np.abs(found - expected[rows])[present[rows]].max() < 3e-6 * light.deep
    assert (index == INSIDE).any()
