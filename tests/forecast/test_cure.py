from dataclasses import replace

import numba
import numpy as np
import pytest
import trimesh

from firstcast.fields.cure import cure
from firstcast.forecast.light import light_of
from firstcast.process.chain import null_chain
from firstcast.process.light import overdose_ratio, underside_growth_mm
from firstcast.process.spread import GaussianSpread, heavy_tailed_like
from firstcast.process.spread_patterns import square_grating

PIXEL, LAYER = 0.035, 0.03


def chain(sigma_mm=0.0, depth_mm=0.0, cured_mm=0.0, *, heavy=False):
    spread = GaussianSpread(sigma_mm)
    found = replace(null_chain((PIXEL, PIXEL), LAYER), spread=heavy_tailed_like(spread) if heavy else spread)
    if not depth_mm:
        return found
    return replace(found, depth_mm=depth_mm, overdose=overdose_ratio(cured_mm, depth_mm))


def cured(solid, figures):
    return cure(np.asarray(solid.vertices), np.asarray(solid.faces, np.int32), light_of(figures)).surface


def turned_box(tilt, shift=(0.013, 0.004, 0.0077)):
    turn = trimesh.transformations.euler_matrix(0, 0, tilt)
    box = trimesh.creation.box((3, 3, 2))
    box.apply_transform(turn)
    box.apply_translation(shift)
    return box, turn[:3, :3], np.array(shift)


def comb(period, deep, *, lines=8, high=0.6, thick=0.3):
    """A plate in the x, y plane whose side towards +y carries ridges along z, one per period of x."""
    x = np.arange(lines + 1) * period
    base = trimesh.creation.box(bounds=[(0, 0, 0), (x[-1], thick - deep, high)])
    ridges = [
        trimesh.creation.box(bounds=[(a, thick - deep - 0.05, 0), (a + period / 2, thick, high)])
        for a in x[:-1]
    ]
    return trimesh.boolean.union([base, *ridges], engine="manifold")


def assert_closed(surface):
    solid = trimesh.Trimesh(surface.points, surface.triangles, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert solid.volume > 0


def test_nothing_happens_to_a_large_ball_without_spread_or_decay():
    # a tenth of a pixel: what a ball may lose or gain; 6 subdivisions lie within 0.3 µm of the sphere
    middle = np.array([0.0123, 0.007, 0.3])
    ball = trimesh.creation.icosphere(6, 2.0)
    ball.apply_translation(middle)
    surface = cured(ball, chain())
    assert_closed(surface)
    off = np.linalg.norm(surface.points - middle, axis=1) - 2.0
    assert abs(off.mean()) < 0.001
    assert np.abs(off).max() < 0.1 * PIXEL


@pytest.mark.parametrize("along", [0, 2])
def test_nothing_happens_to_relief_of_four_pixels_without_spread_or_decay(along):
    period, deep = 8 * PIXEL, 4 * PIXEL
    plate = comb(period, deep)
    plate.apply_translation((0.0131, 0.0057, 0.0049))
    if along == 2:
        plate.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, (1, 0, 0)))
    surface = cured(plate, chain())
    assert_closed(surface)
    solid = trimesh.Trimesh(surface.points, surface.triangles, process=False)
    # ridges and grooves end where they did: half of what stands out is there, over the plate's middle
    inner = plate.bounds.copy()
    inner[:, 0] += (2 * period, -2 * period)
    axis = 1 if along == 0 else 2
    places = surface.points[(surface.points[:, 0] > inner[0, 0]) & (surface.points[:, 0] < inner[1, 0])]
    level = places[:, axis]
    outer = level[level > plate.bounds[1, axis] - deep / 2]
    tops = outer[outer > np.quantile(outer, 0.5)]
    inner_levels = level[
        (level > plate.bounds[1, axis] - 1.3 * deep) & (level < plate.bounds[1, axis] - deep / 2)
    ]
    floors = inner_levels[inner_levels < np.quantile(inner_levels, 0.5)]
    assert np.median(tops) - np.median(floors) > 0.995 * deep
    # outer edges are cut by the lattice: an eighth of a pixel squared along each
    assert abs(solid.volume / plate.volume - 1) < 0.02


@pytest.mark.parametrize(
    ("sigma", "depth", "cured_mm"), [(0.02, 0.10, 0.10), (0.035, 0.16, 0.14), (0.02, 0.06, 0.08)]
)
@pytest.mark.parametrize("tilt", [0.0, 0.1, 0.3])
def test_walls_undersides_and_tops_grow_by_the_closed_forms(sigma, depth, cured_mm, tilt):
    figures = chain(sigma, depth, cured_mm)
    box, turn, shift = turned_box(tilt)
    surface = cured(box, figures)
    assert_closed(surface)
    places = (surface.points - shift) @ turn
    wall = places[(np.abs(places[:, 1]) < 0.8) & (np.abs(places[:, 2]) < 0.5) & (places[:, 0] > 0), 0] - 1.5
    # between pixels the dose is read off a normal distribution, which pixel boxes make it only nearly
    assert abs(wall.mean() - figures.edge_growth_mm) < 0.05 * PIXEL
    assert wall.std() < 0.1 * PIXEL
    middle = np.abs(places[:, :2]).max(axis=1) < 1.0
    top = places[middle & (places[:, 2] > 0), 2] - 1.0
    assert np.abs(top).max() < 1e-3 * LAYER
    under = -places[middle & (places[:, 2] < 0), 2] - 1.0
    # layers are read in five slices: a tenth of a layer
    expected = underside_growth_mm(figures.overdose, layer_mm=LAYER, depth_mm=depth)
    assert np.abs(under - expected).max() < 0.1 * LAYER


def test_undersides_lie_as_deep_wherever_the_layers_begin():
    figures, found = chain(0.02, 0.10, 0.10), []
    for rise in np.linspace(0, LAYER, 7):
        box, _, shift = turned_box(0.0, (0.013, 0.004, rise))
        places = cured(box, figures).points - shift
        found.append(places[np.abs(places[:, :2]).max(axis=1) < 1.0, 2].min())
    assert np.ptp(found) < 0.2 * LAYER


def test_heavy_tails_grow_walls_by_the_closed_form():
    figures = chain(0.02, 0.10, 0.10, heavy=True)
    box, turn, shift = turned_box(0.1)
    places = (cured(box, figures).points - shift) @ turn
    wall = places[(np.abs(places[:, 1]) < 0.5) & (np.abs(places[:, 2]) < 0.3) & (places[:, 0] > 0), 0] - 1.5
    # the closed form is that of a half-plane; a box of 3 mm lacks the tails of what lies beyond it: γ / (π 3 mm)
    assert abs(wall.mean() - figures.edge_growth_mm) < 0.08 * PIXEL


def test_ridges_and_grooves_of_a_grating_are_cured_where_the_series_says():
    period, sigma = 10 * PIXEL, 0.025
    figures = chain(sigma, 0.10, 0.10)
    bars = [
        trimesh.creation.box(bounds=[(n * period + 0.011, 0, 0), ((n + 0.5) * period + 0.011, 2.0, 1.5)])
        for n in range(9)
    ]
    surface = cured(trimesh.util.concatenate(bars), figures)
    level = 0.75
    cut = trimesh.Trimesh(surface.points, surface.triangles, process=False).section(
        (0, 0, 1), (0, 1.0, level)
    )
    row = cut.vertices[np.abs(cut.vertices[:, 1] - 1.0) < 0.2, 0] - 0.011
    middle = row[(row > 3.5 * period) & (row < 5.5 * period)]
    edges = (middle + period / 4) % period - period / 4
    growth_left, growth_right = -edges[edges < period / 4], edges[edges > period / 4] - period / 2
    light = light_of(figures)
    places = np.linspace(-period / 4, period / 4, 4001)
    dose = square_grating(figures.spread, places + period / 4, period, period / 2, pixel_mm=PIXEL, boxes=2)
    expected = places[np.argmin(np.abs(np.asarray(dose) - 1 / light.deep))]
    assert len(growth_left)
    assert len(growth_right)
    for growth in (growth_left.mean(), growth_right.mean()):
        assert abs(growth - abs(expected)) < 0.1 * PIXEL


def test_the_same_bytes_on_one_and_two_threads():
    box, _, _ = turned_box(0.3)
    before, results = numba.get_num_threads(), []
    for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
        numba.set_num_threads(threads)
        surface = cured(box, chain(0.02, 0.10, 0.10))
        results.append((surface.points.tobytes(), surface.triangles.tobytes()))
    numba.set_num_threads(before)
    assert results[0] == results[1]


def test_without_grey_edges_pixels_are_whole():
    box, _, shift = turned_box(0.0)
    places = cured(box, replace(chain(), grey_edges=False)).points - shift
    wall = places[(np.abs(places[:, 1:]) < 0.5).all(axis=1) & (places[:, 0] > 0), 0] + shift[0]
    assert np.ptp(wall) < 1e-6
    assert abs(wall[0] - (1.5 + shift[0])) <= PIXEL / 2 + 1e-6
