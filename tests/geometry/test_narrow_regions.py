"""Narrow places gathered: both sides of a wall as one region, the gravest first, with its parts and area."""

import numpy as np
import pytest
import trimesh

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.narrow import BEHIND_WALL_MM, PATCH_MM2, Places, narrow_regions
from firstcast.geometry.walls import Widths, read_widths
from geometry import width_solids as solids


def walls(widths: Widths) -> Places:
    return Places(widths.wall_mm, widths.wall_opposite, widths.wall_edge_mm)


def gaps(widths: Widths) -> Places:
    return Places(widths.gap_mm, widths.gap_opposite, widths.gap_edge_mm)


@pytest.fixture(scope="module")
def three_plates():
    """Plates of 0.1, 0.2 and 0.5 mm, well apart, as parts 4, 7 and 9; and their readings."""
    plates = [solids.plate(thickness, side=2.0) for thickness in (0.2, 0.5, 0.1)]
    count = np.cumsum([0] + [len(plate.points) for plate in plates])
    mesh = Mesh(
        np.concatenate([plate.points + np.array([0.0, 0.0, 5.0 * n]) for n, plate in enumerate(plates)]),
        np.concatenate([plate.triangles + count[n] for n, plate in enumerate(plates)]).astype(np.int32),
    )
    part = np.repeat(np.array([4, 9, 7]), [len(plate.triangles) for plate in plates])
    return mesh, part, read_widths(mesh, most_mm=1.0)


def test_one_region_per_plate_both_sides_together(three_plates):
    mesh, part, widths = three_plates
    found = narrow_regions(mesh, walls(widths), limit_mm=0.3, part_of_triangle=part)
    assert [(region.part, region.across) for region in found] == [(7, 7), (4, 4)]
    np.testing.assert_allclose([region.least_mm for region in found], [0.1, 0.2], rtol=1e-5)
    np.testing.assert_allclose([region.middle_mm for region in found], [0.1, 0.2], rtol=1e-5)
    for region, thickness in zip(found, (0.1, 0.2), strict=True):
        # two sides of 2 by 2 mm; along the rim, where less than half of what lies round is plate, up to 0.15 mm is left out
        assert 2 * (2.0 - 0.3) ** 2 <= region.area_mm2 <= 8.0 + 4 * 2.0 * thickness + 1e-9
        assert region.place_mm[2] == pytest.approx(10.0 if thickness == 0.1 else 0.0, abs=thickness)
        np.testing.assert_array_equal(region.vertices, np.unique(region.vertices))


def test_small_regions_are_left_out_and_nothing_narrow_gives_nothing(three_plates):
    mesh, _, widths = three_plates
    assert narrow_regions(mesh, walls(widths), limit_mm=0.05) == []
    assert narrow_regions(mesh, walls(widths), limit_mm=0.3, least_area_mm2=50.0) == []


@pytest.mark.parametrize("angle", [15.0, 20.0, 30.0])
def test_a_wedge_counts_by_what_it_measures_behind_its_edge(angle):
    mesh = solids.wedge(angle)
    found = narrow_regions(mesh, walls(read_widths(mesh)), limit_mm=0.6)
    assert len(found) == 1
    half = np.radians(angle / 2)
    # a patch of 0.25 mm² on both sides of 2 mm of blade is 0.0625 mm wide; places lie 0.1 mm apart
    at = 2 * np.tan(half) / np.cos(half) * np.array([BEHIND_WALL_MM, BEHIND_WALL_MM + 0.0625 + 0.1])
    assert at[0] * 0.999 <= found[0].least_mm <= at[1]


def crease(angle: float) -> Mesh:
    """A block with a groove 2 mm deep that runs to nothing."""
    wide = 2.0 * np.tan(np.radians(angle / 2))
    outline = [(-3, -3), (3, -3), (3, 0), (wide, 0), (0, -2.0), (-wide, 0), (-3, 0)]
    return solids.prism(outline, 2.0, 0.08)


@pytest.mark.parametrize(("angle", "count"), [(10.0, 1), (30.0, 0), (45.0, 0)])
def test_a_crease_is_a_gap_only_where_it_stays_narrow(angle, count):
    found = narrow_regions(crease(angle), gaps(read_widths(crease(angle))), limit_mm=0.38, behind_mm=0.76)
    assert len(found) == count
    if count:
        assert found[0].least_mm >= 2 * 0.76 * np.tan(np.radians(angle / 2)) * 0.999


def test_where_a_ball_stands_on_a_block_there_is_no_gap():
    block = solids.of(trimesh.creation.box((4, 4, 1)).subdivide_to_size(0.1))
    ball = trimesh.creation.icosphere(subdivisions=5, radius=1.0)
    ball.apply_translation((0, 0, 1.47))
    both = trimesh.boolean.union([trimesh.Trimesh(block.points, block.triangles), ball], engine="manifold")
    mesh = solids.of(both)
    widths = read_widths(mesh, most_mm=0.5)
    assert (widths.gap_mm < 0.1).sum() > 10
    assert narrow_regions(mesh, gaps(widths), limit_mm=0.3, behind_mm=0.6) == []


@pytest.mark.parametrize("width", [0.15, 0.3])
def test_a_slot_is_a_gap_of_its_width(width):
    half = width / 2
    outline = [(-2, -2), (2, -2), (2, 0), (half, 0), (half, -1), (-half, -1), (-half, 0), (-2, 0)]
    mesh = solids.prism(outline, 3.0, 0.06)
    found = narrow_regions(mesh, gaps(read_widths(mesh, most_mm=0.5)), limit_mm=0.4, behind_mm=0.8)
    assert len(found) == 1
    assert found[0].least_mm == pytest.approx(width, rel=1e-5)
    assert found[0].area_mm2 > 0.7 * 6.0


def test_a_pin_and_a_tube_are_walls():
    pin = solids.of(trimesh.creation.capsule(radius=0.15, height=2.0, count=[64, 64]).subdivide_to_size(0.1))
    found = narrow_regions(pin, walls(read_widths(pin)), limit_mm=0.6)
    assert len(found) == 1
    # 64 sides: see the pin of test_walls
    assert found[0].least_mm == pytest.approx(0.3, rel=0.03)
    tube = trimesh.creation.annulus(r_min=0.8, r_max=1.0, height=2.0, sections=96)
    tube = solids.of(tube.subdivide_to_size(0.1))
    found = narrow_regions(tube, walls(read_widths(tube)), limit_mm=0.6)
    assert len(found) == 1
    assert found[0].least_mm == pytest.approx(0.2, rel=0.02)


def test_a_sound_ball_with_rough_skin_has_no_thin_walls():
    """Noise of a quarter of the edges' length: no place is thin, though facets fold over and face each other."""
    ball = trimesh.creation.icosphere(subdivisions=5, radius=2.0)
    rng = np.random.default_rng(90127)
    rough = ball.vertices + 0.02 * rng.normal(size=ball.vertices.shape)
    mesh = Mesh(np.asarray(rough), np.asarray(ball.faces, np.int32))
    widths = read_widths(mesh)
    for places in (walls(widths), gaps(widths)):
        assert (places.width_mm < 0.6).sum() > 10
        assert narrow_regions(mesh, places, limit_mm=0.6) == []


def test_a_thin_window_in_a_stout_wall_is_found_and_a_nick_is_not():
    """A plate of 0.5 mm with a place of 0.1 mm: 0.8 mm wide, and 0.2 mm wide."""
    for wide, count in ((0.8, 1), (0.2, 0)):
        plate = trimesh.creation.box((3, 3, 0.5))
        cut = trimesh.creation.box((wide, wide, 1.0))
        cut.apply_translation((0, 0, 0.35))
        solid = trimesh.boolean.difference([plate, cut], engine="manifold").subdivide_to_size(0.06)
        mesh = solids.of(solid)
        found = narrow_regions(mesh, walls(read_widths(mesh, most_mm=0.6)), limit_mm=0.3)
        assert len(found) == count
        assert all(region.least_mm == pytest.approx(0.1, rel=1e-3) for region in found)
        assert 2 * 0.2**2 < PATCH_MM2 < 2 * 0.8**2


def test_readings_of_another_mesh_are_refused(three_plates):
    _, _, widths = three_plates
    with pytest.raises(InputError, match="widths and"):
        narrow_regions(solids.plate(0.3), walls(widths), limit_mm=0.3)
