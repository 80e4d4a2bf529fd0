import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.sheets import _ink, _raster, face
from firstcast.sheets.light import (
    cast_lights,
    corner_normals,
    disc_directions,
    even_directions,
    frames_of,
    light_mesh,
)
from firstcast.sheets.render import bands_of, render_lit, render_view
from firstcast.sheets.sky import brightness, sky_and_key
from firstcast.sheets.views import BACK, FOUR_VIEWS, FRONT, SIDE, THREE_QUARTER, View
from part_shapes import ball, box, joined


def raster_twin(screen, triangles, rows, columns):
    """Every sample against every triangle, in plain numpy: the slow, obvious way."""
    depth = np.full((rows, columns), -np.inf)
    name = np.full((rows, columns), -1)
    y, x = np.mgrid[0:rows, 0:columns] + 0.5
    for index, triangle in enumerate(triangles):
        (ax, ay, az), (bx, by, bz), (cx, cy, cz) = screen[triangle]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0:
            continue
        b = ((x - ax) * (cy - ay) - (y - ay) * (cx - ax)) / area
        c = ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / area
        a = 1 - b - c
        z = a * az + b * bz + c * cz
        hit = (a >= 0) & (b >= 0) & (c >= 0) & (z > depth)
        depth[hit], name[hit] = z[hit], index
    return depth, name


def draw(screen, triangles, rows, columns, band=8):
    depth = np.full((rows, columns), -np.inf, np.float32)
    name = np.full((rows, columns), -1, np.int32)
    count = -(-rows // band)
    names = bands_of(screen, triangles, band, count)
    assert len(names) == count
    for k in range(count):
        _raster.raster_band(screen, triangles, names[k], k * band, min(rows, (k + 1) * band), depth, name)
    return depth, name


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_raster_equals_its_twin(seed):
    rng = np.random.default_rng(seed)
    screen = rng.uniform([-8, -8, -5], [38, 30, 5], (30, 3))
    # No two triangles over the same points: which of two equal depths wins is not for the twin to say.
    triangles = np.unique(np.sort(rng.integers(0, 30, (14, 3)), axis=1), axis=0).astype(np.int32)
    triangles = np.ascontiguousarray(rng.permuted(triangles, axis=1))
    depth, name = draw(screen, triangles, 21, 29)
    twin_depth, twin_name = raster_twin(screen, triangles, 21, 29)
    np.testing.assert_array_equal(name, twin_name)
    np.testing.assert_allclose(depth, twin_depth, rtol=1e-6, atol=1e-5)


def test_the_silhouette_of_a_ball_has_the_area_of_its_disc():
    ball_ = ball(radius=7.0, subdivisions=5)
    for view in (FRONT, THREE_QUARTER):
        picture = render_view(
            ball_.points, ball_.triangles, view=view, width_px=300, height_px=300, px_per_mm=18.0, samples=1
        )
        area_mm2 = np.isfinite(picture.depth_mm).sum() / 18.0**2
        assert area_mm2 == pytest.approx(np.pi * 7.0**2, rel=2e-3)


def test_the_depth_of_a_plane_is_exact():
    points = np.array([[-9.0, 0, -7], [8, 0, -9], [1, 0, 11]])
    points[:, 1] = 0.31 * points[:, 0] - 0.17 * points[:, 2] + 4.0
    picture = render_view(points, [[0, 1, 2]], view=FRONT, width_px=120, height_px=130, samples=1)
    row, column = np.nonzero(np.isfinite(picture.depth_mm))
    scale, (x0, y0) = picture.projection.px_per_mm, picture.projection.origin_px
    x, z = (column + 0.5 - x0) / scale, (y0 - row - 0.5) / scale
    assert len(row) > 3000
    # The front view looks along +y: nearer is smaller y.
    np.testing.assert_allclose(picture.depth_mm[row, column], -(0.31 * x - 0.17 * z + 4.0), atol=2e-6)


def test_what_stands_behind_is_hidden():
    near, far = ball(4.0, (0, -20, 0)), ball(2.0, (0, 0, 0))
    both = joined(near, far)
    same = {"view": FRONT, "width_px": 90, "height_px": 90, "px_per_mm": 8.0, "centre_mm": (0, 0, 0)}
    alone = render_view(near.points, near.triangles, **same)
    together = render_view(both.points, both.triangles, **same)
    np.testing.assert_array_equal(alone.depth_mm, together.depth_mm)
    assert not together.shows([(0, -2.0, 0)]).any()
    assert together.shows([(0, -24.0, 0)]).all()
    behind = render_view(both.points, both.triangles, **{**same, "view": BACK})
    assert behind.shows([(0, 2.0, 0)]).all()


@pytest.mark.parametrize("view", FOUR_VIEWS)
def test_places_land_where_they_are_drawn(view):
    """The projection of the farthest points of a box bounds what is drawn, to a pixel."""
    shape = box((8.0, 5.0, 12.0), (3.0, -2.0, 40.0))
    picture = render_view(shape.points, shape.triangles, view=view, width_px=140, height_px=160, samples=1)
    placed = picture.projection.place(shape.points)
    row, column = np.nonzero(np.isfinite(picture.depth_mm))
    np.testing.assert_allclose([column.min(), row.min()], placed.min(axis=0), atol=1.0)
    np.testing.assert_allclose([column.max() + 1, row.max() + 1], placed.max(axis=0), atol=1.0)


def test_views_are_right_handed_and_the_figure_faces_the_front_view():
    for view in (*FOUR_VIEWS, View("above", 25.0, 60.0)):
        axes = view.axes
        np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)
        assert np.linalg.det(axes) == pytest.approx(1.0)
    np.testing.assert_allclose(FRONT.axes[2], (0, -1, 0))
    np.testing.assert_allclose(SIDE.axes[2], (1, 0, 0), atol=1e-12)


def threads_available():
    return min(2, numba.config.NUMBA_NUM_THREADS)


def test_one_and_two_threads_give_the_same_bytes():
    shape = joined(ball(5.0), box((14.0, 9.0, 2.0), (0.0, 0.0, -6.0)))
    before = numba.get_num_threads()
    drawn = []
    try:
        for threads in (1, threads_available()):
            numba.set_num_threads(threads)
            lit = light_mesh(shape.points, shape.triangles)
            drawn.append([render_lit(lit, view=v, width_px=130, height_px=150) for v in FOUR_VIEWS])
    finally:
        numba.set_num_threads(before)
    for one, two in zip(*drawn, strict=True):
        assert one.rgb.tobytes() == two.rgb.tobytes()
        assert one.depth_mm.tobytes() == two.depth_mm.tobytes()


def test_smooth_normals_of_a_ball_point_outwards_and_a_box_keeps_its_edges():
    round_ = ball(3.0, subdivisions=4)
    normals = corner_normals(round_.points, round_.triangles)
    outward = round_.points[round_.triangles] / 3.0
    # Facets of this ball turn by up to 5 degrees; the mean at a corner must come within half a degree.
    assert np.degrees(np.arccos(np.clip((normals * outward).sum(axis=2), -1, 1))).max() < 0.5
    cube = box((2.0, 2.0, 2.0))
    normals = corner_normals(cube.points, cube.triangles)
    assert np.abs(normals).max(axis=2).min() == pytest.approx(1.0)


def test_loose_triangles_shade_like_joined_ones():
    shape = ball(3.0, subdivisions=2)
    loose = shape.points[shape.triangles].reshape(-1, 3)
    names = np.arange(len(loose), dtype=np.int32).reshape(-1, 3)
    np.testing.assert_array_equal(corner_normals(shape.points, shape.triangles), corner_normals(loose, names))


def test_directions_are_even():
    directions = even_directions(96)
    np.testing.assert_allclose(np.linalg.norm(directions, axis=1), 1.0)
    assert np.abs(directions.mean(axis=0)).max() < 0.02
    np.testing.assert_allclose(directions.T @ directions / 96, np.eye(3) / 3, atol=0.02)
    cone = disc_directions(np.array([0.6, 0.0, 0.8]), 13.0, 20)
    assert np.degrees(np.arccos(cone @ [0.6, 0.0, 0.8])).max() <= 13.0
    frames = frames_of(directions)
    np.testing.assert_allclose(np.linalg.det(frames), 1.0)


def exact_maps(lit, frames, size):
    """How far the triangles themselves reach towards each light, at the middle of each cell."""
    scale, maps = size / (2 * lit.radius_mm), []
    for frame in frames:
        screen = (lit.points - lit.middle_mm) @ frame.T
        screen[:, 0] = (lit.radius_mm + screen[:, 0]) * scale
        screen[:, 1] = (lit.radius_mm - screen[:, 1]) * scale
        maps.append(draw(screen, lit.triangles, size, size, band=size)[0])
    return np.array(maps)


@pytest.mark.parametrize(
    "shape", [ball(5.0, subdivisions=2), ball(5.0, subdivisions=6), box((7.0, 4.0, 9.0))]
)
def test_dots_reach_as_far_as_the_triangles_they_stand_for(shape):
    lit = light_mesh(shape.points, shape.triangles, sky_count=6, map_px=96)
    for maps in (lit.sky.maps, cast_lights(lit.dots, even_directions(6), lit.radius_mm, 144).maps):
        size = maps.shape[1]
        exact = exact_maps(lit, frames_of(even_directions(6)), size)
        drawn = np.isfinite(exact)
        cell = 2 * lit.radius_mm / size
        off = np.where(np.isfinite(maps), maps, -1e9)[drawn] - exact[drawn]
        # A dot serves the four cells about it, so on a slope of 45 degrees it may be a cell and a half too near.
        assert np.quantile(np.abs(off), 0.7) < 1.6 * cell
        # Too far only where no dot fell near; a surface seen nearly edge on drops by several cells from one to the next.
        assert (off > -3.0 * cell).mean() > 0.995


@pytest.mark.parametrize("view", FOUR_VIEWS)
def test_the_table_of_unshaded_light_is_the_sum_over_all_lights(view):
    rng = np.random.default_rng(71903)
    shape = ball(3.0)
    lit = light_mesh(shape.points, shape.triangles, map_px=32)
    sky, key = sky_and_key(lit, view)
    table = brightness(view, sky, key)
    seen = rng.normal(size=(400, 3))
    seen /= np.linalg.norm(seen, axis=1)[:, None]
    seen = seen[seen[:, 2] > -0.15]
    exact = sum(np.maximum(0.0, seen @ view.axes @ d[0][:, 2].T) @ d[2] for d in (sky, key))
    read = [_ink.bright_at(table, *normal) for normal in seen]
    # Light is 0 to about 1.2: a step of the pictures is a 255th of it.
    np.testing.assert_allclose(read, exact, atol=1 / 512)


def test_a_pit_is_darker_than_the_plate_about_it():
    plate = box((20.0, 2.0, 20.0))
    walls = [box((3.0, 8.0, 9.0), (x, -5.0, 0.0)) for x in (-3.0, 3.0)]
    walls += [box((9.0, 8.0, 3.0), (0.0, -5.0, z)) for z in (-3.0, 3.0)]
    open_plate = render_view(plate.points, plate.triangles, view=FRONT, width_px=100, height_px=100)
    pit = joined(plate, *walls)
    in_pit = render_view(pit.points, pit.triangles, view=FRONT, width_px=100, height_px=100)
    assert in_pit.rgb[49:52, 49:52].mean() < 0.6 * open_plate.rgb[49:52, 49:52].mean()


def test_light_comes_from_the_upper_left():
    shape = ball(5.0, subdivisions=4)
    rgb = render_view(
        shape.points, shape.triangles, view=FRONT, width_px=120, height_px=120, margin_px=10
    ).rgb
    assert rgb[42:46, 42:46].mean() > 1.25 * rgb[75:79, 75:79].mean()


def test_paper_stays_paper_and_colours_are_kept():
    shape = ball(5.0, subdivisions=3)
    plain = render_view(shape.points, shape.triangles, view=FRONT, width_px=100, height_px=100, ground=False)
    assert (plain.rgb[:4] == face.PAPER).all()
    teal = np.tile(np.float32([0, 128, 128]), (len(shape.points), 1))
    coloured = render_view(
        shape.points, shape.triangles, view=FRONT, width_px=100, height_px=100, vertex_colour=teal
    )
    red, green, blue = coloured.rgb[48:52, 48:52].reshape(-1, 3).mean(axis=0)
    assert red < 3
    assert green == pytest.approx(blue, abs=1.0)
    assert green > 60


def test_what_can_not_be_drawn_is_refused():
    shape = ball()
    with pytest.raises(InputError, match="no triangle"):
        light_mesh(shape.points, np.zeros((0, 3), int))
    with pytest.raises(InputError, match="colours of shape"):
        render_view(
            shape.points, shape.triangles, view=FRONT, width_px=9, height_px=9, vertex_colour=[[1, 2, 3]]
        )
    with pytest.raises(InputError, match="margins that leave room"):
        render_view(shape.points, shape.triangles, view=FRONT, width_px=9, height_px=9, margin_px=5)
    with pytest.raises(InputError, match="0 x 9 pixels"):
        render_view(shape.points, shape.triangles, view=FRONT, width_px=0, height_px=9)
