"""The size station: each rule, their disagreements, slips of units, the up axis."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from firstcast.errors import JobError
from firstcast.geometry.extents import UP_TURNS, PartExtents, extents_of, turned
from firstcast.stations.size import Settings, size
from firstcast.vocabulary import Verdict

BODY = PartExtents("body", (0.0, 0.0, 0.0), (1.0, 0.8, 1.5))
HEAD = PartExtents("head", (0.2, 0.2, 1.4), (0.8, 0.8, 1.8))
EYE = PartExtents("eye_left", (0.3, 0.1, 1.62), (0.4, 0.2, 1.66))
RULER = PartExtents("ruler", (3.0, 0.0, -0.5), (3.1, 0.2, 2.5))
FIGURE = (BODY, HEAD, EYE)


def sized(*extents, **settings):
    return size(extents=extents or FIGURE, settings=Settings.model_validate(settings))


def codes(result):
    return {finding.code: finding.verdict for finding in result.findings}


def test_total_height_counts_all_parts_but_the_ruler():
    result = sized(*FIGURE, RULER, total_height_mm=54, ruler={"part": "ruler", "height_mm": 90})
    assert result.height_mm == pytest.approx(1.8 * 30)
    assert result.ruler_parts == ("ruler",)
    assert [rule.name for rule in result.rules] == ["ruler", "total"]
    assert not result.findings


def test_the_rulers_width_is_its_larger_extent_across():
    assert sized(*FIGURE, RULER, ruler={"part": "rul*", "width_mm": 6}).factor_mm == pytest.approx(30)


def test_units_and_life_size_with_a_ratio():
    assert sized(unit="inch").factor_mm == 25.4
    assert sized(unit="cm").factor_mm == 10.0
    real = sized(real={"unit": "m", "ratio": 32})
    assert real.factor_mm == pytest.approx(1000 / 32)
    assert real.ratio == 32
    assert "1:32" in real.ratio_says


def test_eyes_by_a_part_and_by_a_height():
    by_part = sized(landmark={"at": "eyes", "part": "eye*", "height_mm": 28})
    assert by_part.factor_mm * 1.64 == pytest.approx(28)
    by_height = sized(landmark={"at": "eyes", "at_file_units": 1.64, "height_mm": 28})
    assert by_height.factor_mm == pytest.approx(by_part.factor_mm)
    stature = sized(landmark={"at": "eyes", "at_file_units": 1.64, "stature_mm": 28 / 0.93})
    assert stature.factor_mm == pytest.approx(by_part.factor_mm)


@pytest.mark.parametrize(
    ("edge", "height"), [("top", 1.66), ("bottom", 1.62), ("middle", 1.64), (None, 1.64)]
)
def test_a_landmark_parts_edges(edge, height):
    result = sized(landmark={"part": "eye_left", "edge": edge, "height_mm": 10})
    assert result.factor_mm * height == pytest.approx(10)


def test_the_crown_is_the_top_of_its_part():
    assert sized(landmark={"at": "crown", "part": "head", "height_mm": 36}).factor_mm == pytest.approx(20)


def test_the_base_may_be_a_parts_bottom_or_the_ground_it_is():
    ground = PartExtents("ground", (-1.0, -1.0, -0.2), (2.0, 2.0, 0.0))
    rule = {"at": "crown", "part": "head", "height_mm": 36}
    assert sized(*FIGURE, ground, landmark=rule).factor_mm == pytest.approx(18)
    on_top = {**rule, "base_part": "ground", "base_edge": "top"}
    assert sized(*FIGURE, ground, landmark=on_top).factor_mm == pytest.approx(20)
    assert sized(*FIGURE, ground, landmark={**rule, "base_part": "body"}).factor_mm == pytest.approx(20)


def test_a_crouching_figure_is_straightened():
    rule = {"at": "crown", "part": "head", "real_stature_mm": 1739, "ratio": 32.2}
    upright, crouching = sized(landmark=rule), sized(landmark={**rule, "straightened": 1.5})
    assert upright.factor_mm == pytest.approx(1.5 * crouching.factor_mm)
    assert crouching.height_mm == pytest.approx(36, abs=0.01)
    assert crouching.ratio == 32.2


def test_no_rule_is_taken_as_millimetres_and_said():
    result = sized(PartExtents("body", (0, 0, 0), (10, 10, 54)))
    assert result.factor_mm == 1.0
    assert codes(result) == {"no-rule": Verdict.WATCH}


@pytest.mark.parametrize(
    ("total_mm", "expected"),
    [
        (45.0, {}),
        (45.4, {}),
        (45.5, {"rules-differ-total": Verdict.WATCH}),
        (47.0, {"rules-differ-total": Verdict.WATCH}),
        (47.4, {"rules-differ-total": Verdict.STOP}),
        (40.0, {"rules-differ-total": Verdict.STOP}),
    ],
)
def test_rules_that_differ_are_both_shown(total_mm, expected):
    result = sized(*FIGURE, RULER, ruler={"part": "ruler", "height_mm": 75}, total_height_mm=total_mm)
    assert codes(result) == expected
    for finding in result.findings:
        assert "ruler gives 25 mm" in finding.says
        assert f"{total_mm / 1.8:.6g} mm" in finding.says


def test_a_rule_by_the_published_eye_height_never_stops():
    eyes = {"at": "eyes", "part": "eye_left", "stature_mm": 54}
    assert codes(sized(landmark=eyes, total_height_mm=60)) == {"rules-differ-total": Verdict.WATCH}
    ruler = {"part": "ruler", "height_mm": 120}
    second = sized(*FIGURE, RULER, ruler=ruler, landmark=eyes)
    assert codes(second) == {"rules-differ-landmark": Verdict.WATCH}
    own = {**eyes, "eyes_share": 0.92}
    assert codes(sized(landmark=own, total_height_mm=60)) == {"rules-differ-total": Verdict.STOP}


def test_the_maker_may_say_which_rule_counts():
    result = sized(unit="cm", total_height_mm=18.1, use="total")
    assert result.factor_mm == pytest.approx(18.1 / 1.8)
    with pytest.raises(JobError, match="rule 'ruler' is not given"):
        sized(unit="cm", use="ruler")


def test_a_size_out_of_range_stops_and_names_the_slip():
    small = sized(unit="mm")
    assert codes(small) == {"out-of-range": Verdict.STOP}
    assert "inches" in small.findings[0].says
    assert "life-size in m" in small.findings[0].says
    large = sized(unit="m")
    assert codes(large) == {"out-of-range": Verdict.STOP}
    assert (large.findings[0].measured, large.findings[0].limit, large.findings[0].worse) == (
        1800,
        400,
        "high",
    )


@given(st.floats(0.01, 1e4), st.floats(10, 150))
def test_the_factor_takes_file_units_to_the_wanted_height(height, wanted_mm):
    result = sized(PartExtents("a", (0, 0, -height), (1, 1, 0)), total_height_mm=wanted_mm)
    assert result.height_mm == pytest.approx(wanted_mm)
    assert result.factor_mm * height == pytest.approx(wanted_mm)


@given(st.floats(1e-3, 1e3), st.floats(0.8, 1.25))
def test_rules_disagree_alike_whatever_the_files_units(scale, differ):
    def scaled(part):
        return PartExtents(part.name, *(tuple(c * scale for c in end) for end in (part.low, part.high)))

    settings = {"ruler": {"part": "ruler", "height_mm": 75}, "total_height_mm": 45 * differ}
    plain, other = sized(*FIGURE, RULER, **settings), sized(*map(scaled, (*FIGURE, RULER)), **settings)
    assert other.factor_mm * scale == pytest.approx(plain.factor_mm)
    if min(abs(abs(differ - 1) - limit) for limit in (0.01, 0.05)) > 1e-6:
        assert codes(other) == codes(plain)


@pytest.mark.parametrize("up", UP_TURNS)
def test_the_turn_brings_the_files_up_axis_to_z(up):
    turn = np.array(UP_TURNS[up], dtype=float)
    axis = np.eye(3)["xyz".index(up[-1])] * (-1 if up.startswith("-") else 1)
    assert (turn @ axis == [0, 0, 1]).all()
    assert np.linalg.det(turn) == pytest.approx(1)
    corners = np.array([[-1.0, 2, 5], [4, 3, 9], [0, -7, 6]])
    box = PartExtents("a", tuple(corners.min(axis=0)), tuple(corners.max(axis=0)))
    assert turned(box, up) == extents_of("a", corners @ turn.T)
    result = sized(box, up=up, total_height_mm=50)
    assert np.allclose(result.matrix_mm, result.factor_mm * turn)
    mapped = corners @ result.matrix_mm.T
    assert np.ptp(mapped[:, 2]) == pytest.approx(50)


def test_a_landmark_height_is_along_the_up_axis_even_downward():
    lying = PartExtents("a", (0, -18.0, 0), (5, 0, 5))
    rule = {"at": "crown", "at_file_units": -18.0, "height_mm": 54}
    assert sized(lying, up="-y", landmark=rule).factor_mm == pytest.approx(3)


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({"ruler": {"part": "rule", "height_mm": 3}}, "fits no part. Did you mean 'ruler'"),
        ({"ruler": {"part": "*e*", "height_mm": 3}}, "fits 3 parts: head, eye_left, ruler"),
        ({"landmark": {"part": "haed", "height_mm": 3}}, "Did you mean 'head'"),
        ({"landmark": {"part": "eye*", "base_part": "floor", "height_mm": 3}}, "'floor' fits no part"),
        ({"landmark": {"at_file_units": -1, "height_mm": 3}}, "not above the base"),
    ],
)
def test_rules_that_name_nothing_are_errors(settings, says):
    with pytest.raises(JobError, match=says.replace("*", r"\*")):
        sized(*FIGURE, RULER, **settings)


def test_figures_without_parts_or_height_are_errors():
    with pytest.raises(JobError, match="no part to size"):
        sized(RULER, ruler={"part": "ruler", "height_mm": 3})
    with pytest.raises(JobError, match="no height"):
        sized(PartExtents("flat", (0, 0, 1), (1, 1, 1)), unit="mm")
    flat = PartExtents("ruler", (0, 0, 1), (1, 1, 1))
    with pytest.raises(JobError, match="has no extent"):
        sized(*FIGURE, flat, ruler={"part": "ruler", "height_mm": 3})


@pytest.mark.parametrize(
    "settings",
    [
        {"ruler": {"part": "a"}},
        {"ruler": {"part": "a", "height_mm": 1, "width_mm": 1}},
        {"landmark": {"height_mm": 3}},
        {"landmark": {"part": "a", "at_file_units": 1, "height_mm": 3}},
        {"landmark": {"part": "a"}},
        {"landmark": {"part": "a", "height_mm": 3, "stature_mm": 3}},
        {"landmark": {"part": "a", "real_stature_mm": 3}},
        {"landmark": {"part": "a", "height_mm": 3, "ratio": 3}},
        {"total_height_mm": 0},
        {"total_height_mm": float("nan")},
        {"unit": "yard"},
        {"up": "w"},
        {"real": {"unit": "m"}},
    ],
)
def test_settings_that_say_too_little_or_too_much_are_refused(settings):
    with pytest.raises(ValidationError):
        Settings.model_validate(settings)


def test_the_unit_that_files_declare_serves_where_the_job_gives_no_rule():
    extents = (PartExtents("body", (0.0, 0.0, 0.0), (1.0, 1.0, 2.0)),)
    sized = size(extents=extents, declared_unit_mm=25.4, settings=Settings())
    assert sized.height_mm == pytest.approx(50.8)
    assert [rule.name for rule in sized.rules] == ["declared"]
    told = size(extents=extents, declared_unit_mm=25.4, settings=Settings(total_height_mm=30.0))
    assert told.height_mm == pytest.approx(30.0)
    assert told.findings == ()
