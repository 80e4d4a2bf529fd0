import numpy as np
import pytest

from firstcast.sheets.face import ACCENT, PAPER
from firstcast.sheets.legend import MARGIN_PX, WIDE_PX, draw_whole_legend, legend_picture
from firstcast.sheets.scales import (
    NOT_READ,
    SurfaceMap,
    gap_map,
    growth_map,
    retention_map,
    scale_colours,
    wall_map,
)
from firstcast.sheets.setting import Page

VALUES = np.array([0.0, 0.5, np.nan])
MAPS = [
    retention_map(VALUES),
    wall_map(VALUES, most_mm=2.0, least_mm=0.6),
    wall_map(VALUES, most_mm=2.0, least_mm=0.0),
    gap_map(VALUES, most_mm=1.0, least_mm=1.0),
    growth_map(VALUES, reach_mm=0.08),
    SurfaceMap("a reading with a name that goes on and on", VALUES, "µm per turn of the spindle", -3.0, 9.0),
]


@pytest.mark.parametrize("surface_map", MAPS)
def test_texts_stay_apart_and_on_the_paper(surface_map):
    page = Page(760, 300)
    box = draw_whole_legend(page, surface_map, (40, 30), 660, grey_says="not read: no relief there")
    for number, one in enumerate(page.texts):
        assert 30 <= one.box.left < one.box.right <= 710, one.text
        assert 29 <= one.box.top < one.box.bottom <= box.bottom + 1, one.text
        for other in page.texts[number + 1 :]:
            assert not one.box.overlaps(other.box), (one.text, other.text)


def test_it_says_unit_ticks_ends_limit_and_grey():
    page = Page(760, 300)
    draw_whole_legend(page, MAPS[1], (40, 30), 660)
    assert [text.text for text in page.texts] == [
        "wall, mm", "0", "0.5", "1", "1.5", "2", "least 0.6", "thin", "sound", "not read"
    ]  # fmt: skip
    page = Page(760, 300)
    draw_whole_legend(page, MAPS[0], (40, 30), 660)
    said = [text.text for text in page.texts]
    assert said[:7] == ["relief kept, share of its depth", "0", "0.25", "0.5", "0.75", "1", "1.2"]
    assert said[7:] == ["gone", "deeper than sculpted", "not read"]


def test_a_colour_stands_above_its_own_tick():
    """The pixel above the tick of a value has the colour that the map gives the value."""
    page = Page(760, 300)
    left, wide = 40, 660
    draw_whole_legend(page, MAPS[0], (left, 30), wide)
    pixels = np.asarray(page.image).astype(int)
    for value in (0.25, 0.5, 0.75):
        column = round(left + value / 1.2 * wide)
        strip = pixels[30:110, column]
        wanted = retention_map(np.array([value])).colours()[0]
        # The strip is laid in 128 boxes, each two steps of the scale wide: about four levels of 255.
        assert np.abs(strip - wanted).max(axis=1).min() <= 6


def test_the_limit_is_the_only_thing_in_the_accent():
    def accent(image):
        return (np.abs(np.asarray(image).astype(int) - ACCENT).max(axis=2) < 12).any(axis=0)

    marked = accent(legend_picture(MAPS[1]))
    plain = accent(legend_picture(wall_map(VALUES, most_mm=2.0)))
    assert not plain.any()
    wide = WIDE_PX - 2 * MARGIN_PX
    assert marked[round(MARGIN_PX + 0.3 * wide)]  # 0.6 of 2.0


def test_the_picture_is_cut_to_what_it_says():
    plain, titled = legend_picture(MAPS[0]), legend_picture(MAPS[0], title="relief of the body")
    assert plain.size[0] == titled.size[0] == WIDE_PX
    assert titled.size[1] > plain.size[1]
    pixels = np.asarray(titled)
    assert (pixels[-MARGIN_PX + 8 :] == PAPER).all()
    assert (np.abs(pixels.astype(int) - NOT_READ).max(axis=2) == 0).sum() > 200
    assert (np.abs(pixels.astype(int) - scale_colours("kept")[0]).max(axis=2) < 2).any()
