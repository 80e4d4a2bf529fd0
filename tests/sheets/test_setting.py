import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcast.sheets.dimensions import SCALES, drawing_scale, said_mm
from firstcast.sheets.face import lettering
from firstcast.sheets.marks import spread
from firstcast.sheets.setting import Box, Page, plain, text_width, wrap

WORDS = st.text(st.sampled_from("abcdefg mmm.,;0123456789µ≤"), min_size=1, max_size=200)


@given(text=WORDS, width=st.floats(40, 400), size=st.floats(12, 40))
def test_wrapped_lines_fit_and_lose_nothing(text, width, size):
    lines = wrap(text, size, width)
    assert all(text_width(line, size) <= width or len(line) == 1 for line in lines)
    assert "".join(lines).replace(" ", "") == plain(text).replace(" ", "")


@given(
    text=st.text(st.sampled_from("AVTaoWe.,;fil “”µ²·"), min_size=1, max_size=40),
    size=st.sampled_from((17.0, 22.4, 66.0)),
)
def test_the_width_of_a_text_is_what_its_lettering_takes(text, size):
    assert text_width(text, size) == pytest.approx(lettering(size).getlength(text), abs=1e-9)


def test_what_does_not_fit_ends_in_an_ellipsis():
    lines = wrap("one two three four five six seven eight nine ten", 20, 90, 2)
    assert len(lines) == 2
    assert lines[-1].endswith("…")
    assert all(text_width(line, 20) <= 90 for line in lines)


def test_signs_that_the_lettering_lacks_are_said():
    assert plain("wall ≤ 0.6 mm → thicken") == "wall at most 0.6 mm to thicken"


@given(
    wanted=st.lists(st.floats(0, 500), min_size=1, max_size=10).map(sorted),
    gap=st.floats(10, 45),
)
def test_marks_are_spread_in_order_and_apart(wanted, gap):
    placed = spread(wanted, gap, 0.0, 500.0)
    assert all(b - a >= gap - 1e-6 for a, b in itertools.pairwise(placed))
    assert placed[0] >= 0.0
    assert placed[-1] <= 500.0 + 1e-6


def test_marks_with_room_stay_where_they_want_to_be():
    assert spread([40.0, 120.0, 300.0], 50.0, 0.0, 500.0) == [40.0, 120.0, 300.0]


def test_crowded_marks_move_least():
    np.testing.assert_allclose(spread([100.0, 100.0, 100.0], 50.0, 0.0, 500.0), [50.0, 100.0, 150.0])


@given(most=st.floats(1e-3, 1e3))
def test_drawing_scales_fit_and_are_not_needlessly_small(most):
    scale = drawing_scale(most)
    assert scale <= most * (1 + 1e-12)
    assert scale >= 0.74 * most


def test_drawing_scales_are_what_a_ruler_can_use():
    assert drawing_scale(1.99) == 1.75
    assert drawing_scale(2.0) == 2.0
    assert list(SCALES) == sorted(SCALES)


def test_lengths_are_said_in_millimetres():
    assert (said_mm(54.04), said_mm(9.876)) == ("54.0 mm", "9.88 mm")


def test_the_box_of_a_text_holds_its_ink():
    page = Page(400, 120)
    blank = np.asarray(page.image).copy()
    box = page.text((60, 70), "Height 54.0 (gauge)", size_px=30)
    row, column, _ = np.nonzero(np.asarray(page.image) != blank)
    assert box.left - 1 <= column.min()
    assert column.max() + 1 <= box.right + 1
    assert box.top - 2 <= row.min()
    assert row.max() + 1 <= box.bottom + 2


def test_boxes_overlap_only_where_they_share_an_area():
    assert Box(0, 0, 10, 10).overlaps(Box(9, 9, 20, 20))
    assert not Box(0, 0, 10, 10).overlaps(Box(10, 0, 20, 10))


def test_dashes_leave_gaps_and_solid_lines_none():
    page = Page(220, 20)
    page.line([(10, 5), (210, 5)], width_px=2.0)
    page.line([(10, 15), (210, 15)], width_px=2.0, dash_px=(7.0, 5.0))
    dark = np.asarray(page.image)[:, :, 0] < 128
    assert dark[5, 12:208].all()
    assert 0.5 < dark[15, 12:208].mean() < 0.65


def test_a_number_stays_with_its_unit():
    for text in ("must stretch by 2 to 9 %", "the neck is 2.1 mm", "holds 14 mm³ of it"):
        width = text_width(text, 20) - 1
        assert not any(line.startswith(("%", "mm")) for line in wrap(text, 20, width))
    assert wrap("nine per cent", 20, text_width("nine per", 20)) == ["nine per", "cent"]
