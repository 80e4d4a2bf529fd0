"""Scales of figures as published: eyes at 0.93 of stature."""

import pytest

from firstcast.geometry.extents import PartExtents
from firstcast.process.scale import EYES_SHARE, UNITS_MM, USUAL_STATURE_MM
from firstcast.stations.size import Settings, size

# A man of 1739 file units, his eyes at 1618.
MAN = (PartExtents("man", (0.0, 0.0, 0.0), (500.0, 300.0, 1739.0)),)


def scale_of(**landmark):
    return size(extents=MAN, settings=Settings.model_validate({"landmark": landmark}))


def test_eyes_are_at_093_of_stature():
    assert pytest.approx(0.93) == EYES_SHARE
    assert pytest.approx(1618, abs=1) == USUAL_STATURE_MM * EYES_SHARE


def test_28_mm_to_the_eyes():
    # 1618 mm on 28 mm is 1:57.8.
    sized = scale_of(at="eyes", at_file_units=1618.0, height_mm=28.0)
    assert sized.factor_mm * 1618 == pytest.approx(28.0)
    assert sized.ratio == pytest.approx(57.8, abs=0.05)
    assert sized.ratio_says.startswith("1:57.8")


def test_54_mm_of_stature():
    # 1739 mm on 54 mm is 1:32.2.
    sized = scale_of(at="crown", at_file_units=1739.0, height_mm=54.0)
    assert sized.ratio == pytest.approx(32.2, abs=0.05)
    by_total = size(extents=MAN, settings=Settings(total_height_mm=54.0))
    assert by_total.factor_mm == pytest.approx(sized.factor_mm)
    assert by_total.ratio == pytest.approx(32.2, abs=0.05)


@pytest.mark.parametrize(("ratio", "eyes_mm"), [(72, 22), (64, 25), (56, 28.6), (48, 33.3), (35, 45.7)])
def test_eye_heights_of_the_common_scales(ratio, eyes_mm):
    # Eyes at 160 cm: 1:72 22 mm, 1:64 25, 1:56 28.6, 1:48 33.3, 1:35 45.7 (published; digits as printed).
    rule = {"at": "eyes", "at_file_units": 1600.0, "real_stature_mm": 1600.0 / EYES_SHARE, "ratio": ratio}
    sized = scale_of(**rule)
    digits = 0.5 if eyes_mm == int(eyes_mm) else 0.05
    assert sized.factor_mm * 1600 == pytest.approx(eyes_mm, abs=digits)
    assert sized.ratio == ratio


def test_28_mm_is_anywhere_between_two_scales():
    # Makers place "28 mm" anywhere from 1:64 to 1:56: the landmark decides.
    by_eyes = scale_of(at="eyes", at_file_units=1618.0, height_mm=28.0)
    by_crown = scale_of(at="crown", at_file_units=1739.0, height_mm=28.0)
    assert by_eyes.ratio < 58 < 62 < by_crown.ratio


def test_inch_and_foot_are_exact():
    # International yard and pound agreement of 1959: 1 inch is 25.4 mm.
    assert UNITS_MM["inch"] == 25.4
    assert UNITS_MM["foot"] == 304.8
