"""The page of a block that is cut open: the line on the figure, its wave rolled out, words that keep apart."""

from itertools import combinations

import numpy as np
import pytest
from manifold3d import Manifold

from firstcast.moulding.knife import plan_knife
from firstcast.moulding.pull import half_sphere
from firstcast.sheets.face import INK
from firstcast.sheets.knife_page import FACE_SAYS, GATE_SAYS, SIDES, draw_knife_page
from firstcast.sheets.mould_page import LOW_PX, LOW_TALL_PX
from firstcast.sheets.mould_views import FEET_PX, TOP_PX, Held
from firstcast.sheets.plate import Title
from firstcast.sheets.pull_map import PullMap
from mould_bodies import body_of

EGG = body_of(Manifold.sphere(4.0, 48).scale((1.0, 0.8, 2.0)))
HELD = [Held((0.0, 3.4, 2.0), 4.5, "behind the egg: 2.0 mm deep")]


def page_of(knife):
    pulls = half_sphere(200)
    pull_map = PullMap(pulls, 100.0 * np.abs(pulls[:, 0]), np.ones(200, bool), (0.0, 1.0, 0.0))
    return draw_knife_page(
        EGG.mesh, knife, pull_map, title=Title("The egg", "egg", "30 November 2026"), held=HELD
    ).page


@pytest.fixture(scope="module")
def page():
    return page_of(plan_knife(EGG, (0.0, 0.0, -1.0)))


def ink(pixels) -> int:
    return int((np.abs(pixels.astype(int) - INK).max(axis=-1) <= 12).sum())


def test_the_line_is_drawn_on_the_back_and_the_wave_below(page):
    pixels = np.asarray(page.image)
    bare = plan_knife(EGG, (0.0, 0.0, -1.0))
    far = np.full_like(bare.on_body_mm[:2], 50.0)
    without = np.asarray(page_of(type(bare)(**{**vars(bare), "on_body_mm": far})).image)
    views = pixels[TOP_PX:FEET_PX, 850:1240], without[TOP_PX:FEET_PX, 850:1240]
    # some 500 pixels long and 2.6 wide
    assert ink(views[0]) > ink(views[1]) + 600
    assert ink(pixels[LOW_PX : LOW_PX + LOW_TALL_PX, 100:800]) > 1_000


def test_sides_gate_and_size_are_named(page):
    texts = [text.text.lower() for text in page.texts]
    assert GATE_SAYS in texts
    assert sum(side in texts for side in SIDES) >= 3
    assert any(text.startswith(FACE_SAYS.lower()) for text in texts)
    assert any("behind the egg" in text for text in texts)


def test_words_keep_apart_and_on_the_paper(page):
    boxes = [text.box for text in page.texts if len(text.text) > 2]
    assert all(0 <= box.left <= box.right <= page.width_px for box in boxes)
    assert not [pair for pair in combinations(boxes, 2) if pair[0].overlaps(pair[1])]
