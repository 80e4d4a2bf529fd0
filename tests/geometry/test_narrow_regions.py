"""Narrow places gathered: both sides of a wall as one region, the gravest first, with its part and area."""

import numpy as np
import pytest

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.narrow import narrow_regions
from firstcast.geometry.walls import read_widths
from geometry import width_solids as solids


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
    found = narrow_regions(mesh, widths.wall_mm, widths.wall_opposite, limit_mm=0.3, part_of_triangle=part)
    assert [region.part for region in found] == [7, 4]
    np.testing.assert_allclose([region.least_mm for region in found], [0.1, 0.2], rtol=1e-5)
    np.testing.assert_allclose([region.middle_mm for region in found], [0.1, 0.2], rtol=1e-5)
    for region, thickness in zip(found, (0.1, 0.2), strict=True):
        # two sides of 2 by 2 mm, and up to the thirds of rim triangles that hang on the sides' corners
        assert 8.0 - 1e-9 <= region.area_mm2 <= 8.0 + 4 * 2.0 * thickness + 1e-9
        assert region.place_mm[2] == pytest.approx(10.0 if thickness == 0.1 else 0.0, abs=thickness)
        np.testing.assert_array_equal(region.vertices, np.unique(region.vertices))


def test_regions_part_all_that_is_narrow(three_plates):
    mesh, _, widths = three_plates
    found = narrow_regions(mesh, widths.wall_mm, widths.wall_opposite, limit_mm=0.6, least_area_mm2=0.0)
    together = np.concatenate([region.vertices for region in found])
    np.testing.assert_array_equal(np.sort(together), np.flatnonzero(widths.wall_mm < 0.6))


def test_grains_are_left_out_and_nothing_narrow_gives_nothing(three_plates):
    mesh, _, widths = three_plates
    assert narrow_regions(mesh, widths.wall_mm, widths.wall_opposite, limit_mm=0.05) == []
    assert narrow_regions(mesh, widths.wall_mm, widths.wall_opposite, limit_mm=0.3, least_area_mm2=50.0) == []


def test_readings_of_another_mesh_are_refused(three_plates):
    _, _, widths = three_plates
    with pytest.raises(InputError, match="widths and"):
        narrow_regions(solids.plate(0.3), widths.wall_mm, widths.wall_opposite, limit_mm=0.3)
