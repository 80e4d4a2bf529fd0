"""The gauge's sheet: every place numbered and told, nothing on top of anything, cautions shown."""

import itertools

import pytest
from PIL import Image

from firstcast.gauge_design import GaugeDesign
from firstcast.gauging import write_sheet
from firstcast.geometry.plaque import plaque
from firstcast.process.kinds import cautions
from firstcast.sheets._gauge_texts import PRINT_IT, place_texts
from firstcast.sheets.gauge_sheet import draw_sheet
from firstcast.sheets.plate import DPI, PAGE_PX

DESIGNS = {
    "mono-18": GaugeDesign("mono-18", "high-temperature", (0.018, 0.018), 0.03),
    "mono-35": GaugeDesign("mono-35", "tough", (0.035, 0.035), 0.05),
    "projector-65": GaugeDesign("projector-65", "tough", (0.065, 0.065), 0.05),
}


@pytest.fixture(scope="module", params=DESIGNS)
def sheet(request):
    made = plaque(DESIGNS[request.param])
    return made, draw_sheet(made)


def said(page):
    return [text.text for text in page.texts]


def test_no_two_texts_overlap_and_none_leaves_the_paper(sheet):
    for page in sheet[1]:
        for text in page.texts:
            box = text.box
            assert 0 <= box.left < box.right <= PAGE_PX[0], text.text
            assert 0 <= box.top < box.bottom <= PAGE_PX[1], text.text
        for a, b in itertools.combinations(page.texts, 2):
            assert not a.box.overlaps(b.box), (a.text, b.text)


def test_every_place_has_a_number_on_the_drawing_and_in_the_list(sheet):
    made, (drawing, listed) = sheet
    numbers = [str(n) for n in range(1, len(place_texts(made.design)) + 1)]
    for page in (drawing, listed):
        assert set(numbers) <= set(said(page))


def test_every_row_of_the_table_belongs_to_a_place(sheet):
    made = sheet[0]
    groups = {place.group for place in place_texts(made.design)}
    assert {spot.group for spot in made.design.spots()} == groups == set(made.groups_mm)


def test_cautions_and_what_to_do_are_there_in_full(sheet):
    words = " ".join(said(sheet[1][0]))
    assert "data sheet" in words
    for text in (*cautions({"photopolymer"}), *PRINT_IT):
        assert text in words


def test_it_is_written_as_pictures_and_as_one_document(tmp_path):
    made = plaque(DESIGNS["mono-35"])
    files = write_sheet(tmp_path / "gauge-sheet", made)
    assert [file.name for file in files] == ["gauge-sheet.pdf", "gauge-sheet-1.png", "gauge-sheet-2.png"]
    text = files[0].read_bytes()
    assert text.startswith(b"%PDF")
    assert b"/Count 2" in text
    for file in files[1:]:
        with Image.open(file) as picture:
            assert picture.size == PAGE_PX
            assert picture.info["dpi"] == pytest.approx((DPI, DPI), abs=0.01)
    again = write_sheet(tmp_path / "again", made)
    assert [f.read_bytes() for f in files] == [f.read_bytes() for f in again]
    assert len(list(tmp_path.iterdir())) == 6
