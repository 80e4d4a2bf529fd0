import itertools

import numpy as np
import pytest
from PIL import Image

from firstcast.findings import Finding, Measure
from firstcast.sheets.dimensions import SCALES
from firstcast.sheets.files import write_plate
from firstcast.sheets.marks import MARK_PX
from firstcast.sheets.plate import DPI, PAGE_PX, Title, draw_plate
from firstcast.sheets.scales import SurfaceMap
from firstcast.sheets.setting import Box
from firstcast.sheets.views import FOUR_VIEWS
from firstcast.vocabulary import Verdict
from part_shapes import ball, box, joined

TITLE = Title("heron", "body", "2026-11-24", "two-part-block")
LONG = (
    "The wall at the left hand is 0.42 mm (0.38 to 0.47), below the 0.60 mm that this resin needs once it is "
    "cast in a two-part block, and below the 0.50 mm that the printer needs to hold it while it is peeled."
)


def figure():
    """A standing figure of simple solids, 17 x 21.5 x 54 mm, with an arm held forward."""
    return joined(
        box((16.0, 14.0, 3.0), (0.0, 0.0, 1.5)),
        box((7.0, 6.0, 40.0), (0.0, 0.0, 22.0)),
        ball(6.0, (0.0, 0.0, 48.0), 3),
        box((3.0, 16.0, 3.0), (-7.5, -6.5, 30.0)),
    )


def findings(count, says=LONG):
    rng = np.random.default_rng(63041)
    points = figure().points
    return [
        Finding(
            "fuse",
            f"code-{k % 4}",
            (Verdict.STOP, Verdict.WATCH, Verdict.WATCH, Verdict.SOUND)[k % 4],
            "left hand",
            says,
            "Thicken the wall there to 0.60 mm, or lower min_wall_mm in the job file and accept what breaks.",
            None if k == 4 else tuple(float(c) for c in points[rng.integers(len(points))]),
            0.42,
            0.60,
        )
        for k in range(count)
    ]


@pytest.fixture(scope="module")
def crowded():
    shape = figure()
    measures = [
        Measure("volume of the body with its tab and gate", 5234.2, "mm³"),
        Measure("triangles", 20662, ""),
    ]
    return draw_plate(shape.points, shape.triangles, title=TITLE, findings=findings(14), measures=measures)


@pytest.fixture(scope="module")
def mapped():
    shape = figure()
    values = np.linspace(0.3, 2.0, len(shape.points))
    return draw_plate(
        shape.points,
        shape.triangles,
        title=Title(
            "a job whose name runs on for longer than any heading holds, and on " * 2, "its piece", ""
        ),
        findings=[Finding("fuse", "x", Verdict.WATCH, "arm", "Far off.", "", (500.0, 0.0, 0.0))],
        surface_map=SurfaceMap("wall", values, "mm", 0.3, 2.0),
    )


def mark_boxes(sheet):
    half = 0.86 * MARK_PX
    return [
        Box(m.mark_px[0] - half, m.mark_px[1] - half, m.mark_px[0] + half, m.mark_px[1] + half)
        for m in sheet.marks
    ]


@pytest.mark.parametrize("name", ["crowded", "mapped"])
def test_no_texts_overlap_and_nothing_leaves_the_page(name, request):
    sheet = request.getfixturevalue(name)
    for one, two in itertools.combinations(sheet.page.texts, 2):
        assert not one.box.overlaps(two.box), (one.text, two.text)
    for text in sheet.page.texts:
        assert text.box.left >= 0, text.text
        assert text.box.top >= 0, text.text
        assert text.box.right <= PAGE_PX[0], text.text
        assert text.box.bottom <= PAGE_PX[1], text.text


def test_ten_findings_are_marked_but_for_one_without_a_place(crowded):
    assert len(crowded.notes) == 10
    placed = [k + 1 for k, note in enumerate(crowded.notes) if note.place_mm is not None]
    assert [mark.number for mark in crowded.marks] == placed
    assert any("and 4 more" in text.text for text in crowded.page.texts)


def test_a_place_that_no_view_can_show_gets_no_mark_but_is_listed(mapped):
    assert mapped.marks == ()
    assert any("Far off." in text.text for text in mapped.page.texts)


def test_what_is_not_given_is_left_out_of_the_title_block(crowded, mapped):
    assert any(text.text == "DATE" for text in crowded.page.texts)
    assert not any(text.text in ("DATE", "PROCESS") for text in mapped.page.texts)


def test_maps_keep_their_colours_and_show_the_unit(mapped, tmp_path):
    assert any(text.text == "wall, mm" for text in mapped.page.texts)
    write_plate(tmp_path / "map.png", mapped)
    with Image.open(tmp_path / "map.png") as image:
        assert image.mode == "RGB"


def test_leaders_point_at_the_projected_places(crowded):
    by_name = {view.name: view for view in FOUR_VIEWS}
    for mark in crowded.marks:
        view = by_name[mark.view]
        place = np.array(crowded.notes[mark.number - 1].place_mm)
        # The place, worked out afresh from the view's axes, the scale and the drawn outline's left end.
        picture, corner = crowded.pictures[view.name], crowded.corners_px[view.name]
        columns = np.nonzero(np.isfinite(picture.depth_mm).any(axis=0))[0]
        right = view.axes[0]
        left_mm = (figure().points @ right).min()
        expected_x = corner[0] + columns.min() + (place @ right - left_mm) * crowded.px_per_mm
        assert mark.place_px[0] == pytest.approx(expected_x, abs=1.5)
        rows = np.nonzero(np.isfinite(picture.depth_mm).any(axis=1))[0]
        top_mm = (figure().points @ view.axes[1]).max()
        expected_y = corner[1] + rows.min() + (top_mm - place @ view.axes[1]) * crowded.px_per_mm
        assert mark.place_px[1] == pytest.approx(expected_y, abs=1.5)


def test_a_mark_that_is_not_hidden_points_at_what_can_be_seen(crowded):
    for mark in crowded.marks:
        shown = crowded.pictures[mark.view].shows([crowded.notes[mark.number - 1].place_mm], slack_mm=0.7)
        assert mark.hidden != bool(shown[0])


def test_marks_stand_apart_and_off_the_texts(crowded):
    boxes = mark_boxes(crowded)
    numbers = {str(mark.number) for mark in crowded.marks}
    for one, two in itertools.combinations(boxes, 2):
        assert not one.overlaps(two)
    for text in crowded.page.texts:
        if text.text not in numbers:
            assert not any(mark.overlaps(text.box) for mark in boxes), text.text
    for mark in boxes:
        assert mark.left >= 0
        assert mark.right <= PAGE_PX[0]


def test_dimensions_say_the_measured_size_and_span_it(crowded):
    points = figure().points
    wide, deep, tall = points.max(axis=0) - points.min(axis=0)
    said = [text.text for text in crowded.page.texts if text.text.endswith(" mm") and text.text[0].isdigit()]
    assert [f"{wide:.1f} mm", f"{deep:.1f} mm", f"{tall:.1f} mm"] == [s for s in said if "." in s][:3]
    depth = crowded.pictures["front"].depth_mm
    columns = np.nonzero(np.isfinite(depth).any(axis=0))[0]
    assert np.ptp(columns) + 1 == pytest.approx(wide * crowded.px_per_mm, abs=1.5)


def test_a_ruler_on_the_paper_reads_true(crowded):
    assert min(abs(crowded.px_per_mm * 25.4 / DPI - scale) for scale in SCALES) < 1e-9


def test_plates_are_the_same_bytes_each_time_and_light(crowded, tmp_path):
    shape = figure()
    again = draw_plate(
        shape.points,
        shape.triangles,
        title=TITLE,
        findings=findings(14)[::-1],
        measures=[
            Measure("volume of the body with its tab and gate", 5234.2, "mm³"),
            Measure("triangles", 20662, ""),
        ],
    )
    write_plate(tmp_path / "one.png", crowded)
    write_plate(tmp_path / "two.png", again)
    written = (tmp_path / "one.png").read_bytes()
    assert written == (tmp_path / "two.png").read_bytes()
    assert len(written) < 1_000_000
    with Image.open(tmp_path / "one.png") as image:
        assert image.size == PAGE_PX
        assert image.info["dpi"][0] == pytest.approx(DPI, abs=0.1)
