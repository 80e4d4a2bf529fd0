"""The run's page says which edge the images' first row is, and which the printer's front."""

import numpy as np
import pytest

from firstcast.printing.run import Placement, Run
from firstcast.sheets.plate import Title
from firstcast.sheets.platform_page import draw_platform_page

SQUARE = (np.array([(-5.0, -5.0), (5.0, -5.0), (5.0, 5.0), (-5.0, 5.0)]),)
BUILD = (120.0, 80.0)
MIDDLES = {
    "first row": (60.0, 0.0),
    "last row": (60.0, 80.0),
    "first column": (0.0, 40.0),
    "last column": (120.0, 40.0),
}


def drawn(front):
    run = Run("trial run", (Placement("body", 60.0, 40.0, 30.0),))
    return draw_platform_page(
        run, {"body": SQUARE}, BUILD, title=Title(job="heron", piece="trial run", date=""), front=front
    )


def breadth(page, x_mm, y_mm):
    """Dark pixels across an edge's line, at a third of its length from its middle."""
    along = 0 if y_mm in (0.0, BUILD[1]) else 1
    x_mm, y_mm = (x_mm + 20.0, y_mm) if along == 0 else (x_mm, y_mm + 20.0)
    column, row = (round(at) for at in page.place_px(x_mm, y_mm))
    image = np.asarray(page.page.image.convert("L"))
    across = image[row - 8 : row + 9, column] if along == 0 else image[row, column - 8 : column + 9]
    return int((across < 128).sum())


@pytest.mark.parametrize("front", MIDDLES)
def test_the_front_is_broad_and_named_at_its_edge(front):
    page = drawn(front)
    plain = drawn("unknown")
    for edge, middle in MIDDLES.items():
        wider = breadth(page, *middle) - breadth(plain, *middle)
        assert (wider >= 4) == (edge == front), edge
    named = [text for text in page.page.texts if "front" in text.text]
    (text,) = named
    x, y = page.place_px(*MIDDLES[front])
    # its middle stands 20 px off the edge
    assert abs((text.box.left + text.box.right) / 2 - x) < 30
    assert abs((text.box.top + text.box.bottom) / 2 - y) < 30


@pytest.mark.parametrize("front", ["unknown", ""])
def test_an_unknown_front_is_not_named(front):
    texts = [text.text for text in drawn(front).page.texts]
    assert "first row of the images" in texts
    assert not [text for text in texts if "front" in text]
