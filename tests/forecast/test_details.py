import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcast.forecast.chain_on_mesh import spanned
from firstcast.forecast.details import Detail, details_of, needed_mm
from firstcast.forecast.retention import Retention
from firstcast.forecast.rings import rings_of, rings_within
from firstcast.forecast.uncrossed import uncrossed
from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.mesh import Mesh
from mesh_bodies import block


def detail(scale, kept, part=0):
    return Detail(part, scale, 1.0, 0.02, (kept,) * 3, (kept,) * 3, (0.0, 0.0, 0.0))


def test_what_is_needed_lies_between_the_scales_that_straddle_it():
    steps = [detail(0.15, 0.2), detail(0.3, 0.6), detail(0.6, 0.8)]
    # by hand: half way from 0.6 to 0.8, on the logarithm from 0.3 to 0.6
    assert needed_mm(steps, 0.7) == pytest.approx(0.3 * 2**0.5)
    assert needed_mm(steps, 0.6) == pytest.approx(0.3)
    assert needed_mm(steps, 0.1) == 0.15
    assert needed_mm(steps, 0.9) == np.inf


@given(st.lists(st.floats(0, 1), min_size=1, max_size=4), st.floats(0.01, 1))
def test_what_is_needed_is_one_of_the_scales_or_between(kept, wanted):
    scales = [0.15, 0.3, 0.6, 1.2][: len(kept)]
    needed = needed_mm([detail(*pair) for pair in zip(scales, kept, strict=True)], wanted)
    assert needed == np.inf or scales[0] <= needed <= scales[-1]
    assert (needed == np.inf) == (max(kept) < wanted)


def test_details_are_means_by_area_and_relief_and_the_place_is_where_most_is_lost():
    n = 400
    rng = np.random.default_rng(5)
    points = np.column_stack([np.linspace(0, 8, n), np.zeros(n), np.zeros(n)])
    areas = np.full(n, 0.02)
    part = (np.arange(n) >= 200).astype(np.uint16)
    relief = np.full((1, n), 0.01)
    share = np.broadcast_to(rng.uniform(0.8, 0.9, n), (3, 1, n)).copy()
    share[:, 0, 100:110] = 0.0
    share[:, 0, 300:] = np.nan
    before = Retention(share, relief, share[:, 0])
    after = Retention(share + 0.1, relief, share[:, 0] + 0.1)
    first, second = details_of(before, after, part, points, areas, (0.3,))
    assert (first.part, second.part) == (0, 1)
    assert first.before[1] == pytest.approx(share[1, 0, :200].mean())
    assert first.after[1] == pytest.approx(share[1, 0, :200].mean() + 0.1)
    assert second.area_mm2 == pytest.approx(2.0)
    assert points[99, 0] < first.place_mm[0] < points[110, 0]


def test_lengths_are_drawn_back_only_where_surfaces_would_cross():
    # two blocks 0.05 mm apart, their faces each moved outward by up to 0.04
    near, far = block(1.0, 1.0, 0.5, 0.1), block(1.0, 1.0, 0.5, 0.1)
    points = np.concatenate([near.points, far.points + np.array([0.0, 0.0, 0.55])])
    triangles = np.concatenate([near.triangles, far.triangles + len(near.points)]).astype(np.int32)
    ways = np.sign(
        np.round(points - np.where(np.arange(len(points))[:, None] < len(near.points), 0, (0, 0, 0.55)), 9)
    )
    ways[:, :2] = 0.0
    length = np.where(points[:, 0] > 0.0, 0.04, 0.01)
    moved = Mesh(points + length[:, None] * ways, triangles)
    assert len(crossing_pairs(moved)) > 0
    found = uncrossed(points, ways, length, triangles, rings_of(triangles, len(points)))
    assert len(crossing_pairs(Mesh(points + found[:, None] * ways, triangles))) == 0
    assert (np.abs(found) <= np.abs(length)).all()
    assert (found[points[:, 0] < -0.3] == 0.01).all()
    # as the master rounds it, at its own size
    for size in (1.008, 1.0123):
        rounded = (size * (points + found[:, None] * ways)).astype(np.float32)
        assert len(crossing_pairs(Mesh(rounded, triangles))) == 0
    # what was shortened doesn't stop at a touch: twice 0.0392 or less would leave nothing of 0.05, 0.95 of what fits leaves microns
    facing = np.abs(points[:, 2] - 0.275) < 0.03
    shortened = facing & (found != length)
    assert shortened.any()
    assert (0.05 - 2.0 * found[shortened]).min() > 1e-3
    outer = (points[:, 2] < -0.2) | (points[:, 2] > 0.75)
    assert (found[outer & (np.abs(points[:, :2]).max(axis=1) < 0.3)] > 0).all()
    # some lengths changed since: what comes out is the same, whether all is searched again or only what they moved
    later = np.where(points[:, 0] > 0.2, 0.04, found)
    again = uncrossed(points, ways, later, triangles, rings_of(triangles, len(points)))
    near_by = uncrossed(points, ways, later, triangles, rings_of(triangles, len(points)), clear=found)
    assert (again != later).any()
    assert np.array_equal(near_by, again)
    untouched = np.zeros(len(points))
    assert (uncrossed(points, ways, untouched, triangles, rings_of(triangles, len(points))) == 0.0).all()


def test_more_crossings_than_are_listed_are_settled_all_the_same(monkeypatch):
    flat = np.array(
        [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0.2, 0.2, 0.05], [0.4, 0.2, 0.05], [0.2, 0.4, 0.05]], float
    )
    points = np.concatenate([flat + np.array([x, 0.0, 0.0]) for x in (0.0, 3.0, 6.0)])
    triangles = np.arange(18, dtype=np.int32).reshape(6, 3)
    # the upper triangle of each pair goes down through the lower one
    ways = np.where((np.arange(18) % 6 >= 3)[:, None], [0.0, 0.0, -1.0], 0.0)
    ways[3::6, 2] = 1.0
    monkeypatch.setattr("firstcast.forecast.uncrossed.MOST_PAIRS", 1)
    found = uncrossed(points, ways, np.full(18, 0.08), triangles, rings_of(triangles, 18))
    assert len(crossing_pairs(Mesh(points + found[:, None] * ways, triangles))) == 0


def test_bridges_are_drawn_as_films_between_their_rims_and_nothing_else_moves():
    mesh = block(1.0, 1.0, 1.0, 0.06)
    points = np.asarray(mesh.points)
    rings = rings_of(mesh.triangles, len(points))
    sunk = (points[:, 2] > 0.49) & (np.abs(points[:, :2]).max(axis=1) < 0.15)
    ends = points.copy()
    ends[sunk, 2] -= 0.3
    shown = spanned(ends, sunk, rings)
    # sunk by 0.3 mm over 5 edges: a dozen means bring back more than half of it, all of it at the rim
    assert np.abs(shown[sunk, 2] - 0.5).max() < 0.3
    assert np.abs(shown[sunk, 2] - 0.5).mean() < 0.5 * 0.3
    far = np.abs(points[:, :2]).max(axis=1) > 0.35
    assert np.array_equal(shown[far], points[far])
    rows = np.array([7, 3, 20])
    few = rings_within(rings, rows)
    for place, row in enumerate(rows):
        own = rings.near[rings.starts[row] : rings.starts[row + 1]]
        assert np.array_equal(few.near[few.starts[place] : few.starts[place + 1]], own)
