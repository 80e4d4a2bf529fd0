"""Slips of units are named."""

import pytest

from firstcast.process.scale import likely_slip, matching


@pytest.mark.parametrize(
    ("height_mm", "says"),
    [
        (2.1, "likely in inches: then it is 53.34 mm"),
        (54 * 25.4, "likely in mm, but were taken as inches: then it is 54 mm"),
        (0.054, "likely in metres: then it is 54 mm"),
        (54000.0, "likely in mm, but were taken as metres: then it is 54 mm"),
        (540.0, "likely in mm, but were taken as centimetres: then it is 54 mm"),
        (1.75, "modelled life-size in m"),
        (1750.0, "modelled life-size in mm"),
        (1e9, "No usual slip"),
    ],
)
def test_the_likely_slip_is_named(height_mm, says):
    assert says in likely_slip(height_mm)


def test_an_exact_name_fits_itself_alone():
    assert matching(["a[1]", "a1"], "a[1]") == ["a[1]"]
    assert matching(["a1", "a2", "b"], "a[12]") == ["a1", "a2"]
    assert matching(["a"], "c") == []
