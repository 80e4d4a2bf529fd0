"""Guesses about a folder of parts: right on plain cases, and what they rest on is told."""

import tomllib

import pytest

from firstcast.io._guesses import (
    guess_pieces,
    guess_ruler,
    guess_unit,
    guess_up,
    ruler_length_mm,
    words_in,
)
from firstcast.io._job_models import JobTables
from firstcast.io.new_job import job_text
from firstcast.stations import size
from found_boxes import ARM, HEAD, LANTERN, RULER, TORSO, box


@pytest.mark.parametrize(
    ("name", "length_mm"),
    [
        ("ruler_30mm", 30.0),
        ("Ruler 2.5 cm", 25.0),
        ("scale 1in", 25.4),
        ("gauge 2 inch", 50.8),
        ("ruler 30mmx", None),
        ("ruler", None),
        ("ruler 0mm", None),
        ("ruler_12,5mm", 12.5),
    ],
)
def test_the_length_in_a_rulers_name(name, length_mm):
    assert ruler_length_mm(name) == (None if length_mm is None else pytest.approx(length_mm))


def test_words_are_cut_at_signs_digits_and_capitals():
    assert words_in("LeftArm02_lantern-top") == {"left", "arm", "lantern", "top"}
    assert words_in("armour") == {"armour"}


def test_a_ruler_is_one_part_beside_others():
    assert guess_ruler([TORSO, RULER]) == "ruler_30mm"
    assert guess_ruler([RULER]) is None
    assert guess_ruler([TORSO, RULER, box("gauge", (0, 0, 0), (1, 1, 1))]) is None


def test_scales_of_armour_are_no_ruler():
    worn = box("scale armour", (1, 1, 20), (9, 9, 38))
    beside = box("scale", (60, 0, 0), (62, 2, 30))
    assert guess_ruler([TORSO, HEAD, worn]) is None
    assert guess_ruler([TORSO, HEAD, worn, beside]) == "scale"
    assert guess_ruler([TORSO, HEAD, beside, RULER]) == "ruler_30mm"


def test_a_ruler_without_a_length_takes_the_guessed_unit():
    ruler = box("ruler", (30, 0, 0), (30.2, 0.2, 1.0))
    inches = box("body", (0, 0, 0), (0.5, 0.5, 1.1))
    text = job_text("a", ".", (inches, ruler))
    settings = size.Settings.model_validate(tomllib.loads(text)["size"])
    assert settings.ruler.height_mm == pytest.approx(25.4)
    lying = box("ruler", (30, 0, 0), (60, 1, 0.0))
    text = job_text("a", ".", (TORSO, lying))
    assert size.Settings.model_validate(tomllib.loads(text)["size"]).ruler.width_mm == 30.0


def test_the_up_axis_is_declared_or_the_longer():
    assert guess_up([TORSO]).value == "z"
    assert guess_up([box("a", (0, 0, 0), (10, 54, 10))]).value == "y"
    assert guess_up([box("a", (0, 0, 0), (10, 11, 10))]).value == "z"
    assert guess_up([box("a", (0, 0, 0), (1, 1, 5), up="y")]).value == "y"
    assert "look at it" in guess_up([box("a", (0, 0, 0), (10, 11, 10))]).why
    assert "look at it" not in guess_up([TORSO]).why
    mixed = [box("a", (0, 0, 0), (1, 1, 5), up="y"), box("b", (0, 0, 0), (1, 1, 5), up="z")]
    assert guess_up(mixed).value == "z"


@pytest.mark.parametrize(
    ("height", "unit_mm", "key", "value"),
    [
        (54, None, "unit", "mm"),
        (5.4, None, "unit", "cm"),
        (172, None, "unit", "mm"),
        (9.27, None, "unit", "cm"),
        (2.9, None, "unit", "cm"),
        (0.94, None, "unit", "inch"),
        (1.721, None, "real", {"unit": "m", "ratio": 31.9}),
        (2.1, None, "real", {"unit": "m", "ratio": 38.9}),
        (2000, None, "real", {"unit": "mm", "ratio": 37.0}),
        (495, None, "total_height_mm", 54.0),
        (0.3, None, "total_height_mm", 54.0),
        (54, 1.0, "unit", "mm"),
        (0.054, 1000.0, "unit", "m"),
        (1.8, 1000.0, "real", {"unit": "m", "ratio": 33.3}),
        (17.65, 1000.0, "total_height_mm", 54.0),
        (1e-4, 1000.0, "total_height_mm", 54.0),
        (54, 3.7, "unit", "mm"),
    ],
)
def test_a_scale_rule_is_guessed(height, unit_mm, key, value):
    found = guess_unit([box("a", (0, 0, 0), (1, 1, height), unit_mm=unit_mm)], "z")
    assert (found[0], found[1].value) == (key, value)
    assert found[1].why
    if key == "real":
        # The ratio is one of three digits: the height that it makes is the usual one to within half a digit.
        unit_mm = {"m": 1000.0, "mm": 1.0}[value["unit"]]
        assert height * unit_mm / value["ratio"] == pytest.approx(54.0, rel=0.005)


def test_pieces_by_touching_and_by_name():
    far_hand = box("hand", (200, 0, 0), (201, 1, 1))
    pieces = guess_pieces([far_hand, TORSO, HEAD, ARM, LANTERN])
    assert [(p.name, p.parts) for p in pieces] == [
        ("body", ("torso", "head")),
        ("hand", ("hand",)),
        ("Left arm", ("Left arm", "lantern")),
    ]


def test_two_arms_that_do_not_touch_are_two_pieces():
    right = box("Right arm", (9.5, 2, 20), (15, 5, 35))
    assert [p.name for p in guess_pieces([TORSO, ARM, right])] == ["body", "Left arm", "Right arm"]


def test_a_folder_of_nothing_but_arms_has_a_body():
    assert [p.name for p in guess_pieces([ARM])] == ["body"]


def test_groups_join_through_a_third_part():
    a, b = box("a", (0, 0, 0), (1, 1, 10)), box("b", (5, 0, 0), (6, 1, 10))
    link = box("c", (0.5, 0, 0), (5.5, 1, 1))
    assert len(guess_pieces([a, b])) == 2
    assert guess_pieces([a, b, link])[0].parts == ("a", "b", "c")


def test_names_that_differ_in_signs_only_become_pieces_of_different_names():
    parts = [
        box("torso", (0, 0, 0), (50, 50, 50)),
        box("a:b", (200, 0, 0), (201, 1, 1)),
        box("a*b", (300, 0, 0), (301, 1, 1)),
    ]
    assert [p.name for p in guess_pieces(parts)] == ["body", "a_b", "a_b 2"]


def test_names_that_no_file_may_have_become_names_that_one_may():
    long, device = "鷺" * 90, "nul"
    parts = [box("torso", (0, 0, 0), (50, 50, 50))]
    parts += [box(name, (200 * n, 0, 0), (200 * n + 1, 1, 1)) for n, name in enumerate((long, device), 1)]
    parts += [box(f"{long} ", (900, 0, 0), (901, 1, 1))]
    pieces = guess_pieces(parts)
    tables = {"name": "a"}, {"parts": "b"}, [{"name": p.name, "parts": list(p.parts)} for p in pieces]
    read = JobTables.model_validate(dict(zip(("job", "folders", "piece"), tables, strict=True)))
    assert [piece.name for piece in read.piece][0::2] == ["body", "piece nul"]
    assert len({piece.name for piece in read.piece}) == 4
