"""Bare starts and overhangs: small grids against plain code, shapes whose starts are known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold
from scipy import ndimage, sparse
from scipy.sparse.csgraph import dijkstra

from firstcast.errors import InputError
from firstcast.fields.coverage import Layers, PixelGrid, section_layers, stream_coverage
from firstcast.geometry.solids import box, cylinder, from_manifold, union
from firstcast.printing.starts import OVERHANG, START, Bearing, find_sites, sites_in

TOUCHING = np.ones((3, 3))
PIXEL, LAYER = 0.05, 0.05
ANY_REACH = Bearing(least_pixels=4, reach_mm=1e3, relief_mm=0.0, tip_radius_mm=0.1)


def grid_of(shape) -> PixelGrid:
    return PixelGrid((0.0, 0.0), PIXEL, PIXEL, shape[1], shape[0])


def plain_starts(images, least=4):
    """Layer and region of each bare start, with a tip under each: nothing but labels and overlaps."""
    held = images[0].copy()
    found = []
    for layer in range(1, len(images)):
        labels, count = ndimage.label(images[layer], TOUCHING)
        now = np.zeros_like(held)
        for label in range(1, count + 1):
            region = labels == label
            if (region & held).any():
                now |= region
            elif region.sum() >= least:
                found.append((layer, label))
                now |= region
        held = now
    return found


@given(st.integers(0, 2**32 - 1), st.floats(0.15, 0.7), st.integers(1, 9))
@settings(max_examples=60, deadline=None)
def test_random_grids_have_the_starts_that_plain_code_finds(seed, share, least):
    rng = np.random.default_rng(seed)
    images = rng.random((7, 13, 11)) < share
    bearing = Bearing(least, 1e3, 0.0, 0.1)
    found = sites_in(images, grid_of((13, 11)), Layers(0.0, LAYER, 7), bearing).sites
    wanted = plain_starts(images, least)
    assert found.starts == len(found.layers) == len(wanted)
    for place, layer, (theirs, label) in zip(found.places_mm, found.layers, wanted, strict=True):
        assert layer == theirs
        column, row = (place[:2] / PIXEL).astype(int)
        assert ndimage.label(images[layer], TOUCHING)[0][row, column] == label


def plain_reach(images, sites, bearing, pixel=PIXEL):
    """Greatest reach that is left in each layer: shortest ways along pixels by Dijkstra, tips as given."""
    before = np.where(images[0], 0.0, np.inf)
    most = [0.0]
    side = images.shape[2]
    for layer in range(1, len(images)):
        image = images[layer]
        at = np.flatnonzero(image.ravel())
        value = np.where(image, np.maximum(before - bearing.relief_mm, 0.0), np.inf)
        labels, _ = ndimage.label(image, TOUCHING)
        for place in sites.places_mm[sites.layers == layer]:
            column, row = (place[:2] / pixel).astype(int)
            v, u = np.indices(image.shape)
            away = np.maximum(np.hypot(v - row, u - column) * pixel - bearing.tip_radius_mm, 0.0)
            value = np.where(labels == labels[row, column], np.minimum(value, away), value)
        rows, columns, ways = [], [], []
        for dy, dx in ((0, 1), (1, 0), (1, 1), (1, -1)):
            for p in at:
                y, x = p // side + dy, p % side + dx
                if 0 <= y < image.shape[0] and 0 <= x < side and image[y, x]:
                    rows.append(p)
                    columns.append(y * side + x)
                    ways.append(pixel * np.hypot(dy, dx))
        # one more node leads to every pixel at what it starts with; a way of no length would be no way to the library
        start = np.flatnonzero(np.isfinite(value.ravel()))
        size = image.size + 1
        graph = sparse.csr_matrix(
            (
                np.r_[ways, value.ravel()[start] + 1.0],
                (np.r_[rows, np.full(len(start), size - 1)].astype(int), np.r_[columns, start].astype(int)),
            ),
            shape=(size, size),
        )
        far = dijkstra(graph, directed=False, indices=size - 1)[:-1] - 1.0
        before = np.where(image, far.reshape(image.shape), np.inf)
        most.append(float(np.max(before[np.isfinite(before)], initial=0.0)))
    return most


@pytest.mark.parametrize("seed", range(8))
def test_tips_leave_nothing_that_stands_out_too_far(seed):
    rng = np.random.default_rng(700 + seed)
    blobs = ndimage.gaussian_filter(rng.random((9, 26, 31)), (0.8, 1.6, 1.6)) > 0.5
    bearing = Bearing(1, 0.2, 0.02, 0.06)
    found = sites_in(blobs, grid_of(blobs.shape[1:]), Layers(0.0, LAYER, 9), bearing).sites
    assert (found.kinds == OVERHANG).any()
    reaches = plain_reach(blobs, found, bearing)
    # float32 sums of up to a hundred steps
    assert max(reaches) <= bearing.reach_mm + 1e-4
    # and every overhang that got a tip stood out farther before: without its last one, some layer does
    last = np.flatnonzero(found.kinds == OVERHANG)[-1]
    fewer = type(found)(
        **{name: np.delete(getattr(found, name), last, axis=0) for name in found.__dataclass_fields__}
    )
    assert max(plain_reach(blobs, fewer, bearing)) > bearing.reach_mm


def sites_of(solid: Manifold, bearing=ANY_REACH):
    mesh = from_manifold(solid)
    low, high = mesh.bounds
    first = np.floor(low[:2] / PIXEL) - 1
    size = np.ceil(high[:2] / PIXEL) + 1 - first
    origin = first * PIXEL
    grid = PixelGrid((float(origin[0]), float(origin[1])), PIXEL, PIXEL, int(size[0]), int(size[1]))
    layers = Layers(0.0, LAYER, int(np.ceil(high[2] / LAYER)))
    return find_sites(section_layers(mesh.points, mesh.triangles, grid, layers), bearing)


def upright(x, y, low, high, wide=0.6):
    return box((wide, wide, high - low), at_mm=(x, y, 0.5 * (low + high)))


def test_an_arch_starts_nowhere():
    arch = union([upright(-1, 0, 0, 2), upright(1, 0, 0, 2), box((2.6, 0.6, 0.5), at_mm=(0, 0, 2.2))])
    assert len(sites_of(arch).sites.layers) == 0


def test_half_of_what_an_arch_spans_bears_itself():
    arch = union([upright(-1, 0, 0, 2), upright(1, 0, 0, 2), box((2.6, 0.6, 0.5), at_mm=(0, 0, 2.2))])
    # 1.4 mm between the feet: the middle stands out 0.7 mm from either
    assert len(sites_of(arch, Bearing(4, 0.75, 0.0, 0.1)).sites.layers) == 0
    assert len(sites_of(arch, Bearing(4, 0.6, 0.0, 0.1)).sites.layers) > 0


def test_a_dangling_pin_starts_once_at_its_end():
    body = union(
        [upright(0, 0, 0, 3), box((2.5, 0.6, 0.5), at_mm=(1.2, 0, 2.8)), upright(2, 0, 1.0, 2.8, 0.3)]
    )
    found = sites_of(body).sites
    assert found.starts == 1
    assert found.places_mm[0] == pytest.approx([2, 0, 1.0], abs=PIXEL)
    assert found.areas_mm2[0] == pytest.approx(0.09, abs=2 * PIXEL * 0.6)


def test_a_ball_on_a_stem_stands_out_but_starts_nowhere():
    body = union([cylinder(3.0, 0.4), Manifold.sphere(1.5, 96).translate((0, 0, 4.0))])
    assert len(sites_of(body).sites.layers) == 0
    # 20 degrees of slope bear themselves: only the cap flatter than that, 1.5 sin 20° = 0.51 mm about the stem, is in doubt
    slope = LAYER / np.tan(np.radians(20.0))
    assert len(sites_of(body, Bearing(4, 0.3, slope, 0.1)).sites.layers) == 0
    assert len(sites_of(body, Bearing(4, 0.3, 0.0, 0.1)).sites.layers) > 0


def test_a_cone_on_its_point_starts_once():
    cone = Manifold.cylinder(2.0, 0.02, 1.5, 64).translate((0, 0, 1.0))
    found = sites_of(cone).sites
    assert found.starts == 1
    # of least size where π r² reaches half a pixel of each of four: within three layers of the point
    assert 1.0 <= found.places_mm[0, 2] <= 1.0 + 3 * LAYER + 1e-9


def test_the_arms_of_a_t_want_tips_so_far_apart_as_they_reach():
    letter = union([upright(0, 0, 0, 3), box((8.0, 0.6, 0.6), at_mm=(0, 0, 3.2))])
    found = sites_of(letter, Bearing(4, 0.8, 0.0, 0.1)).sites
    assert found.starts == 0
    x = np.sort(np.abs(found.places_mm[:, 0]))
    # 3.7 mm of each arm: tips hold 0.9 mm either side, the first none nearer than 0.8 mm to the stem
    assert 2 * 2 <= len(x) <= 2 * 5
    assert x[0] >= 0.3 + 0.8
    assert found.places_mm[:, 2] == pytest.approx(2.9, abs=LAYER)


def test_what_is_too_small_is_counted_only():
    images = np.zeros((4, 9, 9), bool)
    images[0, :2, :2] = images[1, :2, :2] = True
    images[1, 5, 5:8] = True
    images[2, 5, 5:8] = True
    found = sites_in(images, grid_of((9, 9)), Layers(0.0, LAYER, 4), ANY_REACH)
    assert (found.sites.starts, found.flecks) == (0, 1)
    images[3, 5:7, 5:8] = True
    grown = sites_in(images, grid_of((9, 9)), Layers(0.0, LAYER, 4), ANY_REACH)
    # a fleck holds nothing: what grows from it starts bare
    assert (grown.sites.starts, grown.flecks) == (1, 1)


def test_props_hold_what_lies_over_them():
    pin = from_manifold(upright(0, 0, 1.0, 3.0))
    post = from_manifold(upright(0, 0, 0.0, 1.1, 0.3))
    grid, layers = PixelGrid((-1.0, -1.0), PIXEL, PIXEL, 40, 40), Layers(0.0, LAYER, 60)
    piece = section_layers(pin.points, pin.triangles, grid, layers)
    assert find_sites(piece, ANY_REACH).sites.starts == 1
    props = section_layers(post.points, post.triangles, grid, layers)
    assert find_sites(piece, ANY_REACH, others=props).sites.starts == 0
    with pytest.raises(InputError, match="another grid"):
        find_sites(
            piece, ANY_REACH, others=section_layers(post.points, post.triangles, grid, Layers(0.0, 0.1, 30))
        )


def test_windows_that_move_show_what_whole_images_show():
    """Balls strewn over a platform, some hanging together: layers cut to their windows against images of the whole grid."""
    rng = np.random.default_rng(60601)
    balls = [
        Manifold.sphere(r, 16).translate((x, y, z))
        for x, y, z, r in np.column_stack(
            [rng.uniform(-2, 2, (14, 2)), rng.uniform(0.2, 4, 14), rng.uniform(0.2, 0.7, 14)]
        )
    ]
    mesh = from_manifold(union(balls))
    grid, layers = PixelGrid((-3.0, -3.0), PIXEL, PIXEL, 120, 120), Layers(0.0, LAYER, 100)
    sections = section_layers(mesh.points, mesh.triangles, grid, layers)
    images = np.zeros((layers.count, grid.ny, grid.nx), bool)
    for batch in stream_coverage(sections):
        for layer in batch.layers:
            y0, y1, x0, x1 = batch.window(layer)
            images[layer, y0:y1, x0:x1] = batch.image(layer) >= 127.5 / 255.0
    bearing = Bearing(least_pixels=4, reach_mm=0.3, relief_mm=0.05, tip_radius_mm=0.1)
    cut, whole = find_sites(sections, bearing), sites_in(images, grid, layers, bearing)
    assert cut.sites.starts > 3
    for name in ("layers", "kinds", "areas_mm2", "bodies"):
        assert (getattr(cut.sites, name) == getattr(whole.sites, name)).all()
    # sums from another corner: rounding
    assert cut.sites.places_mm == pytest.approx(whole.sites.places_mm, abs=1e-9)
    assert cut.rows == pytest.approx(whole.rows, abs=1e-9)
    assert (cut.joins == whole.joins).all()
    assert (cut.flecks, cut.cured_mm3) == (whole.flecks, whole.cured_mm3)


def test_bodies_are_followed_until_they_join():
    """Two legs on the platform and a third that starts bare join in one slab: areas and joins of each layer are known."""
    body = union(
        [
            upright(-2, 0, 0, 2),
            upright(0, 0, 0, 2),
            upright(2, 0, 1, 2),
            box((4.6, 0.6, 0.5), at_mm=(0, 0, 2.25)),
        ]
    )
    found = sites_of(body)
    assert found.sites.kinds.tolist() == [START]
    by_layer = {layer: found.rows[found.rows[:, 0] == layer] for layer in (0, 10, 25, 45)}
    assert [len(rows) for rows in by_layer.values()] == [2, 2, 3, 1]
    assert by_layer[25][:, 2] == pytest.approx(0.36, abs=4 * PIXEL * 0.6)
    assert sorted(by_layer[25][:, 3]) == pytest.approx([-2, 0, 2], abs=PIXEL)
    assert by_layer[45][0, 2] == pytest.approx(4.6 * 0.6, abs=10.4 * PIXEL)
    assert len(found.joins) == 2
    assert set(found.joins[:, 0]) == {40}
