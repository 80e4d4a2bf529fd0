"""The page of places that hold a mould: an egg with two dimples, one before and one behind, and a hollow inside."""

from itertools import combinations

import numpy as np
import pytest
from manifold3d import Manifold
from PIL import Image

from firstcast.sheets.light import light_mesh
from firstcast.sheets.mould_page import write_mould_page
from firstcast.sheets.mould_views import Held
from firstcast.sheets.places_page import CUT_SAYS, TOP_PX, Place, draw_places_page
from firstcast.sheets.plate import Title
from firstcast.sheets.sightings import DIRECTIONS, lookout, spots_of
from mould_bodies import mesh_of

TITLE = Title("The egg", "egg", "30 November 2026")
FRONT, BEHIND, INSIDE = (0.0, -3.4, 2.0), (0.0, 3.4, 2.0), (0.0, 0.0, -1.0)


@pytest.fixture(scope="module")
def egg():
    solid = Manifold.sphere(4.0, 96).scale((1.0, 0.9, 1.6))
    for spot in (FRONT, BEHIND, INSIDE):
        solid -= Manifold.sphere(1.0, 48).translate(spot)
    return mesh_of(solid)


def touching(mesh, spot, radius_mm=1.02):
    """Vertices of the ball that was taken out of the egg there."""
    away = np.linalg.norm(np.asarray(mesh.points) - np.asarray(spot) - (0.071, 0.033, 0.057), axis=1)
    return np.flatnonzero(away < radius_mm)


@pytest.fixture(scope="module")
def places(egg):
    says = ("a dimple before that is 'wide' and must stretch by 30 to 120 %", "behind", "in 'egg'")
    return [
        Place(Held(spot, 4.2 - number, word, captive=number == 1), touching(egg, spot))
        for number, (spot, word) in enumerate(zip((FRONT, BEHIND, INSIDE), says, strict=True))
    ]


@pytest.fixture(scope="module")
def page(egg, places):
    return draw_places_page(egg, places, title=TITLE)


def reddish(pixels):
    """Pixels far redder than the bone of the figure (226, 205, 170 by light) and than ink."""
    red, green = pixels[..., 0].astype(int), pixels[..., 1].astype(int)
    return (red > 70) & (red > 1.6 * green)


def slate(pixels):
    return (pixels[..., 2].astype(int) - pixels[..., 0] > 5) & (pixels[..., 2] > 60)


def columns(page):
    pixels = np.asarray(page.image)
    # the number's own red disc stands in the upper left corner
    return [pixels[TOP_PX + 60 : 1080, left + 60 : left + 500] for left in (56, 56 + 557, 56 + 1114)]


def test_each_place_is_seen_from_its_own_side(egg, places):
    front, behind, inside = lookout(egg).sightings(
        spots_of(light_mesh(egg.points, egg.triangles), [each.vertices for each in places])
    )
    assert front.view.axes[2][1] < -0.5
    assert behind.view.axes[2][1] > 0.5
    assert front.cut_mm is None
    assert behind.cut_mm is None
    assert min(front.share, behind.share) > 0.5
    assert inside.cut_mm is not None
    # half a ball lies behind the plane through its middle, and all of that is seen but for its edge-on rim
    assert 0.35 < inside.share <= 0.55


def test_from_where_is_said_of_each_direction():
    assert len({view.name for view in DIRECTIONS}) == len(DIRECTIONS) == 40
    for view in DIRECTIONS:
        towards = view.axes[2]
        assert ("behind" in view.name) == (towards[1] > 0.1)
        assert ("front" in view.name) == (towards[1] < -0.1)
        assert ("its left" in view.name) == (towards[0] > 0.1)
        assert ("its right" in view.name) == (towards[0] < -0.1)
        assert ("above" in view.name) == (towards[2] > 0.1)
        assert ("below" in view.name) == (towards[2] < -0.1)


def test_the_tint_is_on_the_place_alone(page):
    for column in columns(page):
        share = reddish(column).mean()
        assert 0.01 < share < 0.3


def test_only_the_hidden_place_is_cut_open(page):
    front, behind, inside = columns(page)
    assert not slate(front).any()
    assert not slate(behind).any()
    assert slate(inside).mean() > 0.02
    assert sum(CUT_SAYS in text.text for text in page.texts) == 1


def test_words_keep_apart_and_on_the_paper(egg, places):
    for count in (4, 9):
        page = draw_places_page(egg, (places[:2] * 5)[:count], title=TITLE)
        boxes = [text.box for text in page.texts]
        assert all(
            box.left >= 0 and box.top >= 0 and box.right <= page.width_px and box.bottom <= page.height_px
            for box in boxes
        )
        assert not [pair for pair in combinations(boxes, 2) if pair[0].overlaps(pair[1])]
        texts = [text.text for text in page.texts]
        assert [str(number) in texts for number in range(1, count + 1)] == [True] * count
        assert sum("mm³" in text for text in texts) == count


def test_a_place_that_touches_nothing_is_shown_where_it_is_nearest(egg):
    # before its belly, nearer to one spot of the front than to all others
    speck = Place(Held((0.0, -4.0, -1.0), 0.1, "a speck"), np.zeros(0, np.int64))
    page = draw_places_page(egg, [speck], title=TITLE)
    assert any("front" in text.text for text in page.texts)


def test_it_is_written_small(page, tmp_path):
    write_mould_page(tmp_path / "page.png", page)
    with Image.open(tmp_path / "page.png") as image:
        assert image.size == (1754, 1240)
        assert image.mode == "P"
    assert (tmp_path / "page.png").stat().st_size < 900_000
