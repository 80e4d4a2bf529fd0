import manifold3d
import numba
import numpy as np
import pytest
import trimesh
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from solids import ball, cylinder, flipped, moved, relief_ball, shells_of

from firstcast.errors import InputError
from firstcast.fields.coverage import (
    Layers,
    PixelGrid,
    coverage_of,
    section_layers,
    stream_coverage,
    thresholded,
)
from part_shapes import public_mesh
from reference.coverage_twin import polygon_shares

ROUNDED = 2e-7
"""Shares are stored as float32, whose step below 1 is 6e-8: computed two ways they differ by a step or two."""


def sections_of(*solids, grid, layers):
    shells = shells_of(*solids)
    return section_layers(shells.points, shells.triangles, grid, layers)


def whole_images(sections):
    """All layers on the whole grid, (count, ny, nx)."""
    coverage = coverage_of(sections, 0, sections.layers.count)
    images = np.zeros((sections.layers.count, sections.grid.ny, sections.grid.nx), np.float32)
    for k in coverage.layers:
        y0, y1, x0, x1 = coverage.window(k)
        images[k, y0:y1, x0:x1] = coverage.image(k)
    return images


def cut(*solids, grid, layers):
    return whole_images(sections_of(*solids, grid=grid, layers=layers))


def areas_mm2(images, grid):
    return images.sum(axis=(1, 2), dtype=np.float64) * grid.pixel_x_mm * grid.pixel_y_mm


def box(low, high):
    return trimesh.creation.box(bounds=[low, high])


def overlap(first, pitch, count, low, high):
    """The share of each pixel along one axis that low .. high covers."""
    edges = first + pitch * np.arange(count + 1)
    return np.clip(np.minimum(edges[1:], high) - np.maximum(edges[:-1], low), 0, None) / pitch


GRID = PixelGrid((-2.0, -1.5), 0.05, 0.04, 80, 75)


@pytest.mark.parametrize("offset", [0.0, 120.0])
def test_a_box_off_the_grid_covers_the_product_of_its_overlaps(offset):
    # at 120 mm a coordinate rounds by 1e-14 mm, far below what float32 shares show
    low, high = np.array([-1.333, -0.717, 0.1]), np.array([1.713, 0.291, 0.9])
    grid = GRID._replace(origin_mm=(GRID.origin_mm[0] + offset, GRID.origin_mm[1] + offset))
    solid = moved(box(low, high), (offset, offset, 0))
    images = cut(solid, grid=grid, layers=Layers(0, 0.1, 10))
    exact = np.outer(overlap(-1.5, 0.04, 75, low[1], high[1]), overlap(-2.0, 0.05, 80, low[0], high[0]))
    inside = [k for k in range(10) if 0.1 < 0.1 * (k + 0.5) < 0.9]
    assert len(inside) == 8
    for k in range(10):
        assert np.abs(images[k] - (exact if k in inside else 0.0)).max() < ROUNDED


def test_a_slanting_prism_halves_its_pixels_and_moves_with_height():
    # a right triangle with legs of 32 pixels: the diagonal halves 32 pixels; sheared by a pixel per layer
    corners = np.array([[0, 0], [32, 0], [0, 32]], float)
    ends = np.r_[np.c_[corners, np.zeros(3)], np.c_[corners, np.full(3, 8.0)]]
    ends[3:, 0] += 8
    prism = trimesh.convex.convex_hull(ends)
    grid = PixelGrid((0.5, 0.0), 1.0, 1.0, 48, 40)
    images = cut(prism, grid=grid, layers=Layers(0.0, 1.0, 8))
    rows, columns = np.mgrid[:40, :48]
    for k in range(8):
        steps = rows + columns - k
        exact = np.where(steps < 31, 1.0, np.where(steps == 31, 0.5, 0.0)) * (columns >= k)
        assert np.abs(images[k] - exact).max() < ROUNDED


@pytest.mark.parametrize("hollow", [False, True])
def test_disc_and_ring_have_the_area_of_their_polygons(hollow):
    # n corners on a circle: n/2 r² sin(2π/n); rounding of 1e-7 in each of ~500 edge pixels of 2e-3 mm² remains
    solids = [cylinder(1.2, 2.0, 2)] + ([flipped(cylinder(0.7, 4.0, 2))] if hollow else [])
    shares = areas_mm2(cut(*solids, grid=GRID, layers=Layers(-1.0, 0.25, 8)), GRID)
    polygon = 128 * np.sin(2 * np.pi / 256)
    assert np.allclose(shares, polygon * (1.2**2 - (0.7**2 if hollow else 0)), rtol=0, atol=1e-7)


def test_nested_shells_alternate():
    solids = [ball(1.4), flipped(ball(1.0)), ball(0.5)]
    layers = Layers(-1.4, 0.2, 14)
    separate = [
        areas_mm2(cut(solid, grid=GRID, layers=layers), GRID) for solid in (ball(1.4), ball(1.0), ball(0.5))
    ]
    together = areas_mm2(cut(*solids, grid=GRID, layers=layers), GRID)
    assert np.allclose(together, separate[0] - separate[1] + separate[2], rtol=0, atol=1e-6)


def octahedron(centre=(0, 0, 0)):
    corners = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], float)
    return moved(trimesh.convex.convex_hull(corners), centre)


def test_planes_through_vertices_and_faces_give_closed_sections():
    # planes at exactly -1, 0, 1: an apex, the four middle corners, an apex; area 2 (1 - |z|)²
    layers = Layers(-1.5, 1.0, 3)
    assert np.allclose(areas_mm2(cut(octahedron(), grid=GRID, layers=layers), GRID), [0, 2, 0], atol=1e-6)
    # two that touch in a point on the plane, and turned so that whole edges lie in planes
    two = cut(octahedron((0, 0, 1)), octahedron((0, 0, -1)), grid=GRID, layers=layers)
    assert np.allclose(areas_mm2(two, GRID), [2, 0, 2], atol=1e-6)
    lying = octahedron()
    lying.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    assert np.allclose(areas_mm2(cut(lying, grid=GRID, layers=layers), GRID), [0, 2, 0], atol=1e-6)


def test_boxes_stacked_on_a_plane_cover_it_once():
    layers = Layers(-0.5, 1.0, 4)  # planes at 0, 1, 2, 3
    lower, upper = box((-1, -1, 0), (1, 1, 1)), box((-1, -1, 1), (1, 1, 2))
    assert np.allclose(areas_mm2(cut(lower, grid=GRID, layers=layers), GRID), [0, 4, 0, 0], atol=1e-6)
    assert np.allclose(areas_mm2(cut(upper, grid=GRID, layers=layers), GRID), [0, 0, 4, 0], atol=1e-6)
    assert np.allclose(areas_mm2(cut(lower, upper, grid=GRID, layers=layers), GRID), [0, 4, 4, 0], atol=1e-6)


def test_float32_points_give_what_their_float64_twins_give():
    solid = relief_ball(np.random.default_rng(70411), (1.2, 1.0, 1.4), (120, 120, 0))
    grid, layers = GRID._replace(origin_mm=(118.0, 118.5)), Layers(-1.5, 0.11, 27)
    points, triangles = solid.vertices.astype(np.float32), np.asarray(solid.faces, np.int32)
    narrow = section_layers(points, triangles, grid, layers)
    assert narrow.stack.points.dtype == np.float32
    wide = section_layers(points.astype(np.float64), triangles, grid, layers)
    assert coverage_of(narrow, 0, 27).shares.tobytes() == coverage_of(wide, 0, 27).shares.tobytes()


def manifold_of(solid):
    points, triangles = np.asarray(solid.vertices, np.float64), np.asarray(solid.faces, np.uint64)
    body = manifold3d.Manifold(manifold3d.Mesh64(points, triangles))
    assert body.status() == manifold3d.Error.NoError
    return body


@pytest.mark.parametrize("name", ["koala.obj", "skull.obj"])
def test_a_public_figure_covers_what_its_polygons_cover(name):
    solid = trimesh.load(public_mesh(name), force="mesh", process=True)
    solid.apply_translation(-solid.bounds[0])
    solid.apply_scale(4.0 / solid.extents[2])
    grid = PixelGrid((-0.013, -0.017), 0.083, 0.071, 60, 70)
    layers = Layers(0.0, 0.2, 20)
    body = manifold_of(solid)
    coverage = coverage_of(sections_of(solid, grid=grid, layers=layers), 0, 20)
    areas = areas_mm2(cut(solid, grid=grid, layers=layers), grid)
    for k in coverage.layers:
        section = body.slice(layers.middle_mm(k))
        apart = coverage.image(k) - polygon_shares(section, grid, *coverage.window(k))
        # the reference rounds corners to 1e-8 mm: 1e-7 of a pixel's width at each of the few within a pixel
        assert np.abs(apart).max() < 1e-6
        assert abs(areas[k] - section.area()) < ROUNDED * section.area()


def test_volume_converges_at_second_order():
    # sections at mid-layer are the midpoint rule; layers begin and end at the poles
    errors, heights = [], (0.2, 0.1, 0.05)
    solid = ball(1.0, subdivisions=6)
    for height in heights:
        layers = Layers(-1.0, height, round(2 / height))
        areas = areas_mm2(cut(solid, grid=GRID, layers=layers), GRID)
        errors.append(abs(areas.sum() * height - solid.volume))
    slope = np.polyfit(np.log(heights), np.log(errors), 1)[0]
    assert abs(slope - 2) < 0.2, f"observed order {slope:.2f}"


STEP = 2.0**-16
"""Coordinates on this grid and pixels of 1/16 can be moved by whole pixels without rounding."""


def clouds_of(most, step):
    rows = st.lists(st.tuples(*[st.integers(-most, most)] * 3), min_size=8, max_size=24, unique=True)
    return rows.map(lambda rows: step * np.array(rows, float))


# coarse ones have vertices, edges and faces on the planes and on the borders of pixels
clouds = clouds_of(60_000, STEP) | clouds_of(14, 1 / 16)
square = PixelGrid((-1.0, -1.0), 1 / 16, 1 / 16, 32, 32)
thin = Layers(-1.0, 0.125, 16)


def hull_of(points):
    hull = trimesh.convex.convex_hull(points)
    assume(hull.is_watertight and hull.volume > 1e-3)
    return hull


@settings(max_examples=60)
@given(clouds, st.integers(-9, 9), st.integers(-9, 9))
def test_moving_by_whole_pixels_moves_the_image(points, right, up):
    hull = hull_of(points)
    grid = square._replace(origin_mm=(-2.0, -2.0), nx=64, ny=64)
    here = cut(hull, grid=grid, layers=thin)
    there = cut(moved(hull, (right / 16, up / 16, 0)), grid=grid, layers=thin)
    assert np.abs(np.roll(here, (up, right), axis=(1, 2)) - there).max() < ROUNDED


@settings(max_examples=60)
@given(clouds, st.integers(0, 20), st.integers(0, 20), st.integers(1, 30), st.integers(1, 30))
def test_a_smaller_grid_shows_a_part_of_the_image(points, left, low, nx, ny):
    hull = hull_of(points)
    whole = cut(hull, grid=square, layers=thin)[:, low : low + ny, left : left + nx]
    part = PixelGrid((left / 16 - 1, low / 16 - 1), 1 / 16, 1 / 16, whole.shape[2], whole.shape[1])
    assert np.abs(cut(hull, grid=part, layers=thin) - whole).max() < ROUNDED


@settings(max_examples=60)
@given(clouds)
def test_four_pixels_average_to_one_twice_as_wide_and_the_sum_is_the_section(points):
    hull = hull_of(points)
    fine = cut(hull, grid=square, layers=thin)
    wide = PixelGrid((-1.0, -1.0), 1 / 8, 1 / 8, 16, 16)
    coarse = cut(hull, grid=wide, layers=thin)
    assert np.abs(fine.reshape(16, 16, 2, 16, 2).mean(axis=(2, 4)) - coarse).max() < ROUNDED
    body = manifold_of(hull)
    # planes through vertices are decided otherwise there: an area that jumps at a face is not compared
    areas = areas_mm2(fine, square)
    for k in range(16):
        z = thin.middle_mm(k)
        if np.abs(hull.vertices[:, 2] - z).min() > STEP / 2:
            assert abs(areas[k] - body.slice(z).area()) < ROUNDED * max(areas[k], square.pixel_x_mm)


def test_any_batches_in_any_order_on_any_threads_are_the_same_bytes():
    rng = np.random.default_rng(61207)
    # a bumpy ball of small triangles and a tall pillar of long ones
    solids = [relief_ball(rng, (1.2, 1.0, 1.4), (0, 0, 0)), moved(cylinder(0.2, 2.9, 2), (1.6, 0, 0))]
    before, results = numba.get_num_threads(), []
    for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
        numba.set_num_threads(threads)
        sections = sections_of(*solids, grid=GRID, layers=Layers(-1.5, 0.03, 100))
        assert len(sections.stack.order) <= len(sections.stack.triangles)
        whole = coverage_of(sections, 0, 100)
        results.append(whole.shares.tobytes())
        for descending in (False, True):
            seen = []
            for batch in stream_coverage(sections, descending=descending, most_bytes=100_000):
                seen += list(batch.layers)
                assert batch.shares.nbytes <= 100_000
                assert all(batch.image(k).tobytes() == whole.image(k).tobytes() for k in batch.layers)
            assert sorted(seen) == list(range(100))
            assert (seen[0] > seen[-1]) == descending
    numba.set_num_threads(before)
    assert results[0] == results[1]


def test_windows_are_tight():
    sections = sections_of(ball(1.0), grid=GRID, layers=Layers(-1.5, 0.1, 30))
    images = whole_images(sections)
    for image, (y0, y1, x0, x1) in zip(images, sections.windows, strict=True):
        rows, columns = np.flatnonzero(image.any(axis=1)), np.flatnonzero(image.any(axis=0))
        tight = (rows[0], rows[-1] + 1, columns[0], columns[-1] + 1) if len(rows) else (0, 0, 0, 0)
        assert (y0, y1, x0, x1) == tight
    y0, y1, x0, x1 = sections.window
    assert not np.delete(images, np.s_[y0:y1], axis=1).any()
    assert not np.delete(images, np.s_[x0:x1], axis=2).any()


def test_half_a_pixel_and_more_is_whole_without_grey_edges():
    grid, layers = PixelGrid((0.0, 0.0), 1.0, 1.0, 8, 8), Layers(0.0, 1.0, 1)
    coverage = coverage_of(sections_of(box((1.5, 1.51, 0), (5.5, 6, 1)), grid=grid, layers=layers), 0, 1)
    image = thresholded(coverage).image(0)
    assert image.shape == (5, 5)
    assert (image == np.outer([0, 1, 1, 1, 1], np.ones(5))).all()


def test_nothing_gives_nothing_and_what_is_wrong_is_told():
    empty = section_layers(np.zeros((0, 3)), np.zeros((0, 3), np.int32), GRID, Layers(0.0, 0.1, 5))
    assert len(coverage_of(empty, 0, 5).shares) == 0
    assert empty.window == (0, 0, 0, 0)
    outside = sections_of(moved(ball(), (9, 0, 0)), grid=GRID, layers=Layers(-1.0, 0.1, 20))
    assert not outside.windows.any()
    one = box((-1, -1, 0), (1, 1, 1))
    open_mesh = (one.vertices, one.faces[one.face_normals[:, 0] < 0.5])
    with pytest.raises(InputError, match="isn't closed"):
        coverage_of(section_layers(*open_mesh, GRID, Layers(0, 0.1, 10)), 0, 10)
    with pytest.raises(InputError, match="layers 3 to 9 of 5"):
        coverage_of(empty, 3, 9)
    with pytest.raises(InputError, match="above zero"):
        section_layers(np.zeros((0, 3)), np.zeros((0, 3), np.int32), GRID, Layers(0.0, 0.0, 5))
