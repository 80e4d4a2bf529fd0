import os

import numba
import numpy as np
import pytest
from PIL import Image

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.sheets.plate import Title
from firstcast.sheets.render import render_view
from firstcast.sheets.scales import retention_map
from firstcast.sheets.side_by_side import (
    DPI,
    RING_PX,
    CloseUp,
    Version,
    draw_side_by_side,
    write_side_by_side,
)
from firstcast.sheets.views import SIDE
from part_shapes import ball, box, joined

TITLE = Title(job="heron", piece="body", date="2026-11-25")
BALL = ball(5.0, (1.0, 2.0, 8.0), subdivisions=5)
PLACE = (1.0, -3.0, 8.0)
"""The foremost place of the ball."""


def about(share: float) -> np.ndarray:
    """The ball grown about its middle."""
    return (BALL.points - (1.0, 2.0, 8.0)) * share + (1.0, 2.0, 8.0)


def three(**settings) -> list[Version]:
    return [
        Version("the sculpture", BALL.points, "10.0 mm tall"),
        Version("cast without carry", about(0.98), "a caption that takes more than one line of its column"),
        Version("cast with carry", about(1.01), "", **settings),
    ]


@pytest.fixture(scope="module")
def drawn():
    close_ups = (
        CloseUp("belt rope", PLACE, 1.0, ("as sculpted", "keeps 62 % of its depth", "keeps 91 %")),
        CloseUp("buckle", (6.0, 2.0, 8.0), 0.8, ("as sculpted",), SIDE),
        CloseUp("hem", (1.0, 2.0, 3.0), 2.0),
    )
    values = np.where(BALL.points[:, 2] > 8.0, 0.4, np.nan)
    versions = three(surface_map=retention_map(values))
    return draw_side_by_side(BALL.triangles, versions, title=TITLE, close_ups=close_ups, foot="A trial." * 9)


def test_every_version_is_seen_by_the_same_camera(drawn):
    for row in (drawn.whole, *drawn.close):
        assert len(row) == 3
        for picture in row[1:]:
            assert picture.projection == row[0].projection


def test_a_close_up_is_the_ball_that_was_named(drawn):
    (first, second, _) = drawn.close
    for pictures, place, radius in ((first, PLACE, 1.0), (second, (6.0, 2.0, 8.0), 0.8)):
        for picture in pictures:
            assert picture.rgb.shape == (RING_PX, RING_PX, 3)
            assert picture.projection.px_per_mm == pytest.approx(RING_PX / (2 * radius))
            np.testing.assert_allclose(picture.projection.place([place]), [[RING_PX / 2] * 2], atol=1e-9)


def test_a_close_up_shows_its_own_version(drawn):
    """Seen along the side view's axis, the middle of the ring is the ball's foremost place: its radius is read off."""
    for picture, share in zip(drawn.close[1], (1.0, 0.98, 1.01), strict=True):
        depth = picture.depth_mm[RING_PX // 2 - 2 : RING_PX // 2 + 2, RING_PX // 2 - 2 : RING_PX // 2 + 2]
        # Facets of 0.17 mm lie within 0.17² / 8 / 5 = 0.7 µm of the ball.
        np.testing.assert_allclose(depth.mean() - 1.0, 5.0 * share, atol=0.002)


def test_what_a_ring_holds_is_what_the_whole_figure_shows_there():
    """Cutting out what is drawn close up changes nothing within the ring, posts in front of it included."""
    post = box((0.3, 0.3, 14.0), (1.4, -9.0, 8.0))
    both = joined(BALL, post)
    close_up = CloseUp("belt", PLACE, 1.0)
    (pictures,) = draw_side_by_side(
        both.triangles, [Version("the sculpture", both.points)], title=TITLE, close_ups=[close_up]
    ).close
    whole = render_view(
        both.points, both.triangles, view=pictures[0].projection.view, width_px=RING_PX, height_px=RING_PX,
        px_per_mm=RING_PX / 2.0, centre_mm=PLACE, samples=3, ground=False,
    )  # fmt: skip
    row, column = np.mgrid[0:RING_PX, 0:RING_PX] + 0.5
    ring = np.hypot(row - RING_PX / 2, column - RING_PX / 2) < RING_PX / 2
    np.testing.assert_allclose(pictures[0].depth_mm[ring], whole.depth_mm[ring], atol=1e-5)


def test_texts_stay_apart_and_on_the_paper(drawn):
    page = drawn.page
    assert page.image.size == (page.width_px, page.height_px)
    for number, one in enumerate(page.texts):
        assert 0 <= one.box.left < one.box.right <= page.width_px, one.text
        assert 0 <= one.box.top < one.box.bottom <= page.height_px, one.text
        for other in page.texts[number + 1 :]:
            assert not one.box.overlaps(other.box), (one.text, other.text)


def test_it_says_what_it_was_given(drawn):
    said = " ".join(text.text for text in drawn.page.texts)
    for words in (
        "the sculpture",
        "cast without carry",
        "10.0 mm tall",
        "belt rope",
        "keeps 62 % of its depth",
    ):
        assert words in said
    assert "2.00 mm across" in said
    assert [text.text for text in drawn.page.texts].count("A") == 4  # three rings and the row's head


def colourfulness(rgb):
    """How far the channels lie apart, by pixel."""
    return np.ptp(rgb.astype(int), axis=2)


def test_a_map_colours_its_version_alone_and_brings_its_legend(drawn):
    assert drawn.coloured
    plain, coloured = drawn.whole[0].rgb, drawn.whole[2].rgb
    middle = coloured.shape[0] // 2
    high, low = slice(middle - 110, middle - 70), slice(middle + 70, middle + 110)
    across = slice(coloured.shape[1] // 2 - 20, coloured.shape[1] // 2 + 20)
    # The figure's grey spans up to 22 levels from red to blue; at 0.4 the scale's blue-green over 60.
    assert colourfulness(plain[high, across]).max() < 30
    assert colourfulness(coloured[high, across]).mean() > 40
    assert colourfulness(coloured[low, across]).max() < 30
    assert "relief kept, share of its depth" in [text.text for text in drawn.page.texts]


def test_files_are_small_and_print_true(drawn, tmp_path):
    path = tmp_path / "side by side.png"
    write_side_by_side(path, drawn)
    assert os.path.getsize(path) < 400_000
    with Image.open(path) as image:
        assert image.size == drawn.page.image.size
        assert image.info["dpi"] == pytest.approx((DPI, DPI), abs=0.1)
        off = np.abs(np.asarray(image.convert("RGB")).astype(int) - np.asarray(drawn.page.image).astype(int))
    assert np.quantile(off.max(axis=2), 0.999) <= 10


def test_one_and_two_threads_give_the_same_page():
    before = numba.get_num_threads()
    pages = []
    try:
        for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
            numba.set_num_threads(threads)
            close_up = CloseUp("belt rope", PLACE, 1.0)
            pages.append(draw_side_by_side(BALL.triangles, three()[:1], title=TITLE, close_ups=[close_up]))
    finally:
        numba.set_num_threads(before)
    assert pages[0].page.image.tobytes() == pages[1].page.image.tobytes()


def test_without_places_and_words_the_page_is_short():
    one = draw_side_by_side(BALL.triangles, [Version("the sculpture", BALL.points)], title=TITLE)
    assert not one.coloured
    assert one.close == ()
    assert one.page.height_px < 700


def test_what_can_not_be_drawn_is_refused():
    other = Mesh(BALL.points[:-1], BALL.triangles)
    with pytest.raises(InputError, match="share their triangles"):
        draw_side_by_side(BALL.triangles, [*three()[:1], Version("other", other.points)], title=TITLE)
    with pytest.raises(InputError, match="0 versions"):
        draw_side_by_side(BALL.triangles, [], title=TITLE)
    with pytest.raises(InputError, match="4 places"):
        draw_side_by_side(BALL.triangles, three(), title=TITLE, close_ups=[CloseUp("a", PLACE, 1.0)] * 4)
    with pytest.raises(InputError, match="no point of the body within 1 mm"):
        draw_side_by_side(BALL.triangles, three(), title=TITLE, close_ups=[CloseUp("a", (50, 0, 0), 1.0)])
    with pytest.raises(InputError, match="indices run from"):
        draw_side_by_side(BALL.triangles, [Version("the sculpture", BALL.points[:100])], title=TITLE)
