"""The page of a mould: two tones, a seam of ink between them, sections, the map of pulls, words that keep apart."""

from itertools import combinations

import numpy as np
import pytest
from manifold3d import Manifold
from PIL import Image

from firstcast.moulding.parting import part_mould
from firstcast.moulding.pull import half_sphere
from firstcast.sheets.face import INK
from firstcast.sheets.mould_page import HELD_SAYS, draw_mould_page, write_mould_page
from firstcast.sheets.mould_sections import LOWER_TONE, UPPER_TONE
from firstcast.sheets.mould_views import Held
from firstcast.sheets.plate import Title
from firstcast.sheets.pull_map import PullMap, draw_pull_map, spot_of
from firstcast.sheets.scales import scale_colours
from firstcast.sheets.setting import Page
from mould_bodies import body_of

TITLE = Title("The egg", "egg", "30 November 2026")


@pytest.fixture(scope="module")
def drawn():
    body = body_of(Manifold.sphere(4.0, 48).scale((1.0, 0.8, 2.0)))
    parting = part_mould(body, (0.0, 1.0, 0.0), pitch_mm=0.4)
    pulls = half_sphere(200)
    pull_map = PullMap(pulls, 100.0 * np.abs(pulls[:, 0]), np.abs(pulls[:, 2]) < 0.2, parting.pull)
    held = [
        Held((0.0, -3.4, 2.0), 12.3, "a ledge under 'hood'"),
        Held((0.0, 3.4, 2.0), 4.5, "behind", captive=True),
    ]
    return draw_mould_page(body.mesh, parting, pull_map, title=TITLE, held=held)


def near(pixels, tone, reach: float):
    return np.abs(pixels.astype(float) - tone).max(axis=-1) <= reach


def test_each_half_shows_in_its_tone_on_its_side(drawn):
    pixels = np.asarray(drawn.page.image)[150:742]
    front, back = pixels[:, 150:480], pixels[:, 880:1200]
    # the pull leads to the back, so the back leaves along it
    warm = lambda part: (part[..., 0].astype(int) - part[..., 2] > 25).sum()  # noqa: E731
    cold = lambda part: (part[..., 2].astype(int) - part[..., 0] > 5).sum()  # noqa: E731
    assert cold(front) > 10_000 > 10 * warm(front)
    assert warm(back) > 10_000 > 10 * cold(back)


def test_the_sections_show_both_halves_and_the_line_between(drawn):
    low = np.asarray(drawn.page.image)[826:1150]
    for tone in (UPPER_TONE, LOWER_TONE):
        assert near(low, tone, 1.0).sum() > 5_000
    assert near(low, INK, 12.0).sum() > 1_000


def test_words_keep_apart_and_on_the_paper(drawn):
    boxes = [text.box for text in drawn.page.texts if text.text.strip()]
    for box in boxes:
        assert box.left >= 0
        assert box.top >= 0
        assert box.right <= drawn.page.width_px
        assert box.bottom <= drawn.page.height_px
    # numbers on the figure may lie where they must
    said = [text.box for text in drawn.page.texts if len(text.text) > 2]
    assert not [pair for pair in combinations(said, 2) if pair[0].overlaps(pair[1])]


def test_places_that_hold_are_numbered_and_told(drawn):
    texts = [text.text for text in drawn.page.texts]
    assert sum(text == "1" for text in texts) >= 1
    assert any("12.3 mm" in text for text in texts)
    assert any("hood" in text for text in texts)
    assert HELD_SAYS in texts or any(HELD_SAYS.split()[0] in text for text in texts)


def test_the_map_has_the_front_in_its_middle_and_the_left_hand_at_the_right():
    assert spot_of((0.0, 1.0, 0.0), (100.0, 100.0), 50.0) == pytest.approx((100.0, 100.0))
    assert spot_of((0.0, -1.0, 0.0), (100.0, 100.0), 50.0) == pytest.approx((100.0, 100.0))
    assert spot_of((1.0, -1e-9, 0.0), (100.0, 100.0), 50.0) == pytest.approx((150.0, 100.0))
    assert spot_of((0.0, -1e-9, 1.0), (100.0, 100.0), 50.0) == pytest.approx((100.0, 50.0))
    # areas are true: half of the half-sphere lies within 60° of its middle
    tilt = np.radians(60.0)
    x, _ = spot_of((np.sin(tilt), -np.cos(tilt), 0.0), (0.0, 0.0), 1.0)
    assert x**2 == pytest.approx(0.5)


def test_the_map_is_dark_where_most_is_locked():
    page = Page(400, 400)
    pulls = half_sphere(2000)
    draw_pull_map(
        page, PullMap(pulls, np.abs(pulls[:, 0]) * 500.0, np.ones(2000, bool), (0, 0, 1)), (200, 200), 100
    )
    pixels = np.asarray(page.image).astype(float)
    colours = scale_colours("even")
    # what is locked least, in the middle, and most, at the right; the 98th of a hundred is the scale's end
    assert np.abs(pixels[200, 200] - colours[0]).max() < 12
    assert np.abs(pixels[200, 296] - colours[-1]).max() < 12


def test_it_is_written_small(drawn, tmp_path):
    write_mould_page(tmp_path / "page.png", drawn)
    with Image.open(tmp_path / "page.png") as image:
        assert image.size == (1754, 1240)
        assert image.mode == "P"
    assert (tmp_path / "page.png").stat().st_size < 600_000
