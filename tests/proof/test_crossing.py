"""Self-crossing: against rational arithmetic, against CGAL, and known faults."""

from itertools import combinations

import numpy as np
import pytest

from firstcast.errors import InputError
from firstcast.proof.crossing import crossing_depths, find_crossings
from firstcast.proof.tree import build_tree

from . import rational, solids

SEED = 518204


def crossings(points, triangles):
    tree = build_tree(points[triangles].astype(np.float64))
    return find_crossings(points, triangles, tree)


def slow_pairs(points, triangles):
    places = rational.exact(points)
    rows = [tuple(places[k] for k in row) for row in triangles]
    whole = [t for t, row in enumerate(rows) if rational.has_area(*row)]
    return sum(rational.triangles_meet(rows[t], rows[u]) for t, u in combinations(whole, 2))


@pytest.mark.parametrize("grid", [1, 2, 3, 5])
def test_every_kind_of_meeting_equals_rational_arithmetic(grid):
    """Few places on a coarse grid: shared corners and edges, flat, touching, collinear, all at once."""
    rng = np.random.default_rng(SEED + grid)
    met = apart = 0
    for _ in range(40):
        cells = np.unique(rng.integers(0, grid + 1, (9, 3)), axis=0)
        points = cells.astype(np.float32) * np.float32(0.7)
        triangles = np.array([rng.permutation(len(points))[:3] for _ in range(7)], dtype=np.int32)
        truth = slow_pairs(points, triangles)
        assert crossings(points, triangles).pairs == truth
        met, apart = met + truth, apart + 21 - truth
    assert met > 50
    assert apart > 50


def test_flat_triangles_in_a_slanted_plane_equal_rational_arithmetic():
    """Rounded to float32 such a plane is flat to the last digit only: the filter can't decide."""
    rng = np.random.default_rng(SEED)
    across = np.array([[0.36, 0.48, 0.8], [0.8, -0.6, 0.0]])
    met = 0
    for _ in range(40):
        points = (rng.integers(0, 4, (9, 2)) @ across + [30.0, 20.0, 10.0]).astype(np.float32)
        points = np.unique(points, axis=0)
        triangles = np.array([rng.permutation(len(points))[:3] for _ in range(6)], dtype=np.int32)
        truth = slow_pairs(points, triangles)
        assert crossings(points, triangles).pairs == truth
        met += truth
    assert met > 50


@pytest.mark.parametrize("shared", [0, 1, 2])
@pytest.mark.parametrize("flat", [True, False])
def test_pairs_that_share_some_corners_equal_rational_arithmetic(shared, flat):
    """Touching at places and edges, folded, within one another; every turn of the rows; slivers a last digit wide."""
    rng = np.random.default_rng(SEED + shared)
    met = apart = 0
    for round_ in range(150):
        cells = rng.permutation(np.stack(np.meshgrid(*[np.arange(4)] * 3), axis=-1).reshape(-1, 3))
        cells = cells[cells[:, 2] == 0] if flat else cells
        points = (cells[: 6 - shared] * [1.0, 0.7, 1.0] + 0.3).astype(np.float32)
        if round_ % 3 == 0:
            points[2, :2] = (points[0, :2] + points[1, :2]) / np.float32(2.0)
            points[2, 0] = np.nextafter(points[2, 0], np.float32(9.0))
        triangles = np.array([[0, 1, 2], [*range(shared), *range(3, 6 - shared)]], np.int32)
        triangles = np.array([rng.permutation(row) for row in triangles], np.int32)[rng.permutation(2)]
        truth = slow_pairs(points, triangles)
        assert crossings(points, triangles).pairs == truth
        met, apart = met + truth, apart + 1 - truth
    assert apart > 10
    assert met > 10 or (shared == 2 and not flat)


def test_random_overlapping_solids_equal_cgal():
    cgal = pytest.importorskip("igl.copyleft.cgal")
    rng = np.random.default_rng(SEED)
    for _ in range(3):
        parts = [
            solids.ball(radius, 2, centre)
            for radius, centre in zip(rng.uniform(1, 2, 4), rng.uniform(-1.5, 1.5, (4, 3)), strict=True)
        ]
        points, triangles = solids.together(*parts)
        found = crossings(points, triangles)
        reference = cgal.remesh_self_intersections(
            points.astype(np.float64), triangles.astype(np.int64), detect_only=True
        )
        pairs = next(part for part in reference if part.ndim == 2 and part.shape[1] == 2)
        assert found.pairs == len({tuple(sorted(pair)) for pair in pairs.tolist()}) > 100


@pytest.mark.parametrize(
    "mesh", [solids.ball(), solids.torus(), solids.box(), solids.box(subdivisions=3)], ids="bTBS"
)
def test_sound_solids_do_not_cross(mesh):
    found = crossings(*mesh)
    assert found.pairs == 0
    assert len(found.without_area) == 0


def test_a_corner_pushed_a_tenth_of_a_micron_through_another_sheet_is_caught():
    plate, triangles = solids.box((10, 10, 1.0), subdivisions=4)
    upper = np.flatnonzero((np.abs(plate[:, :2]) < 2).all(axis=1) & (plate[:, 2] > 0))[0]
    for depth_mm, pairs in ((-1e-4, 0), (1e-4, 1)):
        points = plate.copy()
        points[upper, 2] = -0.5 - depth_mm
        found = crossings(points, triangles)
        assert (found.pairs >= 1) == (pairs == 1)
        if pairs:
            depth = crossing_depths(points[triangles].astype(np.float64), found.first).max()
            assert 0.2e-4 < depth < 2e-4


def test_two_surfaces_that_only_touch_are_caught():
    lower, upper = solids.box((4, 4, 2), (0, 0, -1), 1), solids.box((2, 2, 2), (0.3, 0.2, 1.0), 1)
    assert crossings(*solids.together(lower, upper)).pairs > 0
    lifted = (upper[0] + np.float32([0, 0, 1e-6]), upper[1])
    assert crossings(*solids.together(lower, lifted)).pairs == 0


def test_a_triangle_folded_back_onto_its_neighbour_is_caught():
    points = np.array([[0, 0, 0], [2, 0, 0], [1, 2, 0], [1, 1, 0], [1, -1, 0]], np.float32)
    folded = np.array([[0, 1, 2], [1, 0, 3]], np.int32)
    flat = np.array([[0, 1, 2], [1, 0, 4]], np.int32)
    assert crossings(points, folded).pairs == 1
    assert crossings(points, flat).pairs == 0


def test_coordinates_that_float32_cannot_hold_are_refused():
    points, triangles = solids.ball(1.0, 1)
    with pytest.raises(InputError, match="not exact in float32"):
        find_crossings(points.astype(np.float64) + 1e-12, triangles, build_tree(points[triangles]))


def test_triangles_without_area_are_named():
    points = np.array([[0, 0, 0], [1, 1, 1], [3, 3, 3], [0, 1, 0]], np.float32)
    found = crossings(points, np.array([[0, 1, 3], [0, 1, 2]], np.int32))
    assert found.without_area.tolist() == [1]


def test_found_places_name_real_pairs_and_any_thread_count_gives_the_same(monkeypatch):
    points, triangles = solids.together(solids.ball(2.0, 3), solids.ball(2.0, 3, (1.1, 0.3, 0.2)))
    found = crossings(points, triangles)
    places = rational.exact(points)
    for t, u in found.first[:12]:
        rows = [tuple(places[k] for k in triangles[row]) for row in (t, u)]
        assert rational.triangles_meet(*rows)
    monkeypatch.setattr("firstcast.proof.threads.numba.get_num_threads", lambda: 1)
    alone = crossings(points, triangles)
    assert alone.pairs == found.pairs
    assert np.array_equal(alone.first, found.first)
