"""The gauge's plaque, read by a general library: closed, one body, every feature of its nominal size."""

import math

import numpy as np
import pytest
import trimesh

from firstcast import gauge_design as numbers
from firstcast.errors import InputError
from firstcast.gauge_design import GaugeDesign
from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.plaque import plaque

PRINTERS = {
    "mono-18": ((0.018, 0.018), 0.03),
    "mono-19x24": ((0.019, 0.024), 0.03),
    "mono-35": ((0.035, 0.035), 0.05),
    "projector-65": ((0.065, 0.065), 0.05),
}
EXACT = 2e-5
"""float32 holds coordinates of 40 mm to 2 µm, of 10 mm to half of one; loops are read from such points."""


def made(printer):
    pixel, layer = PRINTERS[printer]
    return plaque(GaugeDesign(printer, "tough", pixel, layer))


@pytest.fixture(scope="module", params=PRINTERS)
def gauge(request):
    return made(request.param)


@pytest.fixture(scope="module")
def solid(gauge):
    return trimesh.Trimesh(gauge.mesh.points, gauge.mesh.triangles, process=False)


def boxes_at(solid, z):
    """Bounding boxes (n, 4: left, front, right, back) of the loops of a section, whatever is solid."""
    section = solid.section(plane_origin=[0, 0, z], plane_normal=[0, 0, 1])
    return np.array([[*loop[:, :2].min(axis=0), *loop[:, :2].max(axis=0)] for loop in section.discrete])


def within(boxes, group):
    """The boxes that lie in a group's place."""
    slack = 1e-3
    return boxes[
        ((boxes[:, :2] >= np.array(group[:2]) - slack) & (boxes[:, 2:] <= np.array(group[2:]) + slack)).all(
            axis=1
        )
    ]


def levels_at(solid, x, y):
    """Where an upright line through (x, y) enters and leaves, z ascending: plane by plane."""
    a, b, c = (solid.triangles[:, k] for k in range(3))

    def side(p, q):
        return (q[:, 0] - p[:, 0]) * (y - p[:, 1]) - (q[:, 1] - p[:, 1]) * (x - p[:, 0])

    u, v, w = side(b, c), side(c, a), side(a, b)
    hit = ((u > 0) & (v > 0) & (w > 0)) | ((u < 0) & (v < 0) & (w < 0))
    return np.sort(((u * a[:, 2] + v * b[:, 2] + w * c[:, 2]) / np.where(hit, u + v + w, 1.0))[hit])


def heights(design):
    base = design.base_layers * design.layer_mm
    return base, design.relief_layers * design.layer_mm


def test_it_is_closed_manifold_and_one_body(gauge, solid):
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert solid.body_count == 1
    assert solid.volume > 0
    # Six bridges are six handles: Euler's number 2 - 2 · 6.
    assert solid.euler_number == 2 - 2 * len(numbers.BRIDGE_LAYERS)
    edges, counts = np.unique(np.sort(solid.edges, axis=1), axis=0, return_counts=True)
    assert set(counts) == {2}, edges


def test_nothing_of_it_crosses_or_touches_itself():
    assert len(crossing_pairs(made("mono-35").mesh)) == 0


def test_its_points_are_exact_in_float32(gauge):
    assert np.array_equal(gauge.mesh.points.astype(np.float32), gauge.mesh.points)


def test_its_size_is_what_the_design_says(gauge, solid):
    wide, deep = (n * p for n, p in zip(gauge.design.plaque_px, gauge.design.pixel_mm, strict=True))
    tall = gauge.design.layers(max(numbers.HEIGHTS_MM)) * gauge.design.layer_mm
    assert solid.bounds == pytest.approx(np.array([[0, 0, 0], [wide, deep, tall]]), abs=EXACT)


@pytest.mark.parametrize("letter", "xy")
@pytest.mark.parametrize("kind", ["ridge", "groove", "grating"])
def test_lines_have_their_widths(gauge, solid, kind, letter):
    axis = "xy".index(letter)
    base, relief = heights(gauge.design)
    z = base - 0.3 * relief if kind == "groove" else base + 0.6 * relief
    found = within(boxes_at(solid, z), gauge.groups_mm[f"{kind}-{letter}"])
    widths = np.sort(found[:, 2 + axis] - found[:, axis])
    steps = np.repeat(numbers.GRATING_PX, numbers.GRATING_RIDGES) if kind == "grating" else numbers.RIDGE_PX
    assert widths == pytest.approx(np.array(steps) * gauge.design.pixel_mm[axis], abs=EXACT)
    # Edges lie on whole pixels.
    edges = found[:, [axis, 2 + axis]] / gauge.design.pixel_mm[axis]
    assert edges == pytest.approx(np.round(edges), abs=0.002)


@pytest.mark.parametrize("group", ["pin", "hole"])
def test_round_things_have_their_diameters(gauge, solid, group):
    base, relief = heights(gauge.design)
    z = base + 0.6 * relief if group == "pin" else base - 0.3 * relief
    found = within(boxes_at(solid, z), gauge.groups_mm[group])
    steps = numbers.PIN_PX if group == "pin" else numbers.HOLE_PX
    # A polygon's box is narrower than its circle by no more than the sag on each side, a hundredth of the radius.
    wanted = np.array(steps) * gauge.design.pixel_mm[0]
    got = np.sort(found[:, 2] - found[:, 0])
    assert (got <= wanted + EXACT).all()
    assert (got >= 0.99 * wanted - EXACT).all()


def test_gaps_have_their_widths(gauge, solid):
    base, relief = heights(gauge.design)
    found = within(boxes_at(solid, base + 1.6 * relief), gauge.groups_mm["gap"])
    found = found[np.argsort(found[:, 0])]
    gaps = found[1:, 0] - found[:-1, 2]
    assert gaps == pytest.approx(np.array(numbers.GAP_PX) * gauge.design.pixel_mm[0], abs=EXACT)


def test_lugs_are_apart_as_the_table_says(gauge, solid):
    base, _ = heights(gauge.design)
    boxes = boxes_at(solid, base + 1.9)
    spots = {spot.id: spot.nominal_mm for spot in gauge.design.spots()}
    for axis, letter in enumerate("xy"):
        found = within(boxes, gauge.groups_mm[f"lugs-{letter}"])
        assert len(found) == 2
        found = found[np.argsort(found[:, axis])]
        assert found[1, 2 + axis] - found[0, axis] == pytest.approx(spots[f"length-{letter}-2"], abs=EXACT)
        assert found[1, axis] - found[0, 2 + axis] == pytest.approx(spots[f"inner-{letter}-1"], abs=EXACT)


def test_bridges_are_as_thick_as_their_layers_and_clear_below(gauge, solid):
    left, front, right, back = gauge.groups_mm["bridges"]
    section = solid.section(plane_origin=[0, 0.5 * (front + back), 0], plane_normal=[0, 1, 0])
    z = np.concatenate([loop[:, [0, 2]] for loop in section.discrete])
    top = z[z[:, 0] < right + EXACT][:, 1].max()
    pitch = (right - left - gauge.post_mm) / len(numbers.BRIDGE_LAYERS)
    for number, layers in enumerate(numbers.BRIDGE_LAYERS):
        middle = left + gauge.post_mm + (number + 0.5) * pitch - 0.5 * gauge.post_mm
        levels = levels_at(solid, middle, 0.49 * front + 0.51 * back)
        base = gauge.design.base_layers * gauge.design.layer_mm
        assert levels == pytest.approx([0, base, top - layers * gauge.design.layer_mm, top], abs=EXACT)
        # Deeper than anything prints through: Dp 0.28 mm and E0 / Ec 12 reach 0.28 · ln(12 / 0.16) = 1.2 mm.
        assert levels[2] - levels[1] > 1.2


def test_steps_have_their_heights(gauge, solid):
    left, front, right, back = gauge.groups_mm["steps"]
    tread = (right - left) / len(numbers.HEIGHTS_MM)
    spots = {spot.id: spot.nominal_mm for spot in gauge.design.spots()}
    for number in range(len(numbers.HEIGHTS_MM)):
        x, y = left + (number + 0.47) * tread, 0.48 * front + 0.52 * back
        assert levels_at(solid, x, y)[-1] == pytest.approx(spots[f"height-z-{number + 1}"], abs=EXACT)


def test_letters_are_strokes_of_their_widths(gauge, solid):
    base, relief = heights(gauge.design)
    found = within(boxes_at(solid, base + 0.2 * relief), gauge.groups_mm["letter"])
    px, py = gauge.design.pixel_mm
    # Four letters to a word, each five strokes wide and seven tall; an A has a hole, three strokes by two.
    for count in numbers.LETTER_PX:
        down = max(1, round(count * px / py))
        size = np.isclose(found[:, 2] - found[:, 0], 5 * count * px, atol=EXACT)
        assert (size & np.isclose(found[:, 3] - found[:, 1], 7 * down * py, atol=EXACT)).sum() == 4


def test_groups_do_not_overlap_and_lie_on_the_plaque(gauge):
    boxes = [box for name, box in gauge.groups_mm.items() if not name.startswith("length")]
    wide, deep = gauge.mesh.bounds[1, :2]
    for number, (left, front, right, back) in enumerate(boxes):
        assert 1.0 < left < right < wide - 1.0
        assert 1.0 < front < back < deep - 1.0
        for other in boxes[:number]:
            assert right <= other[0] or other[2] <= left or back <= other[1] or other[3] <= front


def test_it_is_the_same_every_time(gauge):
    again = plaque(GaugeDesign(gauge.design.printer, "tough", gauge.design.pixel_mm, gauge.design.layer_mm))
    assert np.array_equal(again.mesh.points, gauge.mesh.points)
    assert np.array_equal(again.mesh.triangles, gauge.mesh.triangles)


@pytest.mark.parametrize(
    ("pixel", "layer"),
    [((0.2, 0.2), 0.05), ((0.05, 0.05), 0.5), ((0.0, 0.05), 0.05), ((0.05, math.nan), 0.05)],
)
def test_pixels_and_layers_that_make_no_gauge_are_refused(pixel, layer):
    with pytest.raises(InputError, match="no gauge for pixels"):
        plaque(GaugeDesign("odd", "tough", pixel, layer))
