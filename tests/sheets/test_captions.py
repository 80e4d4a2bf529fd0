from firstcast.sheets._captions import even_lines
from firstcast.sheets._rings import LETTER_TURNS_DEG, box_about, draw_ring
from firstcast.sheets.setting import Page, text_width, wrap

SAYS = "likely; the master exaggerates by at most 0.08 mm"


def test_lines_are_as_few_as_the_width_allows_and_no_word_is_left_alone():
    plain, even = wrap(SAYS, 20.0, 360), even_lines(SAYS, 20.0, 360)
    assert len(plain) == len(even) == 2
    assert " ".join(plain) == " ".join(even) == SAYS
    widths = [text_width(line, 20.0) for line in even]
    assert max(widths) <= 360
    assert min(widths) > 0.5 * max(widths)
    assert text_width(plain[1], 20.0) < 0.25 * text_width(plain[0], 20.0)
    assert even_lines("as sculpted", 20.0, 360) == ["as sculpted"]


def test_a_text_too_long_ends_in_an_ellipsis():
    lines = even_lines(SAYS * 9, 20.0, 360)
    assert len(lines) == 4
    assert lines[-1].endswith("…")


def test_letters_of_rings_about_one_place_stand_apart():
    page, taken = Page(200, 200), []
    for letter in "ABCDEFGH":
        taken.append(draw_ring(page, letter, (100.0, 100.0), 40.0, hidden=False, taken=taken))
    assert len(LETTER_TURNS_DEG) == len(taken)
    for number, one in enumerate(taken):
        assert not any(one.overlaps(other) for other in taken[number + 1 :])
    # Where no direction is free the letter stands at the first all the same.
    again = draw_ring(page, "I", (100.0, 100.0), 40.0, hidden=True, taken=[box_about((100.0, 100.0), 90.0)])
    assert again == taken[0]
