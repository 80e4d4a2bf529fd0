"""The pages of the print: a piece on its props, and the platform from above."""

import numpy as np
import pytest
import trimesh

from firstcast.geometry.mesh import Mesh
from firstcast.printing.run import Placement, Run
from firstcast.sheets.face import PAPER
from firstcast.sheets.plate import Title
from firstcast.sheets.platform_page import draw_platform_page, write_platform_page
from firstcast.sheets.print_page import Fact, draw_print_page, write_print_page

TITLE = Title(job="a job", piece="body", date="")
SQUARE = (np.array([(-10.0, -10.0), (10.0, -10.0), (10.0, 10.0), (-10.0, 10.0)]),)


def solid(shape, up_mm):
    shape.apply_translation((0, 0, up_mm))
    return Mesh(np.asarray(shape.vertices), np.asarray(shape.faces, np.int32))


def standing():
    piece = solid(trimesh.creation.capsule(height=14, radius=5), 17)
    post = solid(trimesh.creation.cylinder(radius=0.6, height=6), 3)
    return piece, post


def texts_keep_apart(page):
    boxes = [text.box for text in page.texts]
    for number, box in enumerate(boxes):
        assert box.left >= 0
        assert box.top >= 0
        assert box.right <= page.width_px
        assert box.bottom <= page.height_px
        assert not any(box.overlaps(other) for other in boxes[number + 1 :])


def test_a_piece_stands_on_its_props_at_one_scale(tmp_path):
    piece, props = standing()
    facts = [
        Fact(
            "props",
            "12 tips on 3 posts; the fullest bears 71 % of what it may, and so on until the line is full",
        )
    ]
    drawn = draw_print_page(
        piece, props, title=TITLE, facts=facts, reasons=["It leans."], foot="Wide figures."
    )
    texts_keep_apart(drawn.page)
    said = " ".join(text.text for text in drawn.page.texts)
    height = max(piece.bounds[1, 2], props.bounds[1, 2])
    assert f"{height:.1f} mm" in said
    assert {"FRONT", "SIDE", "BACK"} <= {text.text.upper() for text in drawn.page.texts}
    # slate below the figure, which is grey
    pixels = np.asarray(drawn.page.image, np.int16)
    bluish = (pixels[..., 2] > pixels[..., 0] + 4).sum()
    # three views of a post 1.2 mm wide, 5 mm of it seen below the figure; part of it is ink and light
    assert bluish > 0.5 * 3 * 1.2 * 4.0 * drawn.px_per_mm**2
    write_print_page(tmp_path / "page.png", drawn)
    assert (tmp_path / "page.png").stat().st_size < 300_000


def shade_at(drawn, x_mm, y_mm):
    """The page's tone at a place of the platform."""
    x, y = drawn.place_px(x_mm, y_mm)
    return int(np.asarray(drawn.page.image.convert("L"))[round(y), round(x)])


def test_what_stands_above_another_is_darker(tmp_path):
    run = Run("run 1", (Placement("body", 30.0, 40.0), Placement("arm", 46.0, 40.0, 90.0)))
    build = (120.0, 80.0)
    page = draw_platform_page(
        run,
        {"body": SQUARE, "arm": SQUARE},
        build,
        title=TITLE,
        facts=[Fact("layers", "868 of 0.05 mm")],
        foot="Wide.",
    )
    texts_keep_apart(page.page)
    said = [text.text for text in page.page.texts]
    assert "120.0 mm" in said
    assert "80.0 mm" in said
    assert any("× 1" in text for text in said)
    bare, one, both = (shade_at(page, x, 36.0) for x in (90.0, 24.0, 38.0))
    assert bare == pytest.approx(sum(PAPER) / 3, abs=6)
    assert both < one < bare
    write_platform_page(tmp_path / "page.png", page)
    assert (tmp_path / "page.png").stat().st_size < 300_000


def test_a_hole_stays_paper_and_quarter_turns_go_counter_clockwise():
    ring = (SQUARE[0], SQUARE[0][::-1] * 0.5)
    bar = (np.array([(0.0, -2.0), (20.0, -2.0), (20.0, 2.0), (0.0, 2.0)]),)
    run = Run("run 1", (Placement("ring", 30.0, 40.0), Placement("bar", 90.0, 30.0, 90.0)))
    build = (120.0, 80.0)
    page = draw_platform_page(run, {"ring": ring, "bar": bar}, build, title=TITLE)
    paper = shade_at(page, 60.0, 40.0)
    assert shade_at(page, 30.0, 43.0) == paper
    assert shade_at(page, 23.0, 40.0) < paper
    # turned once, what ran along x runs along y
    assert shade_at(page, 90.0, 45.0) < paper
    assert shade_at(page, 105.0, 30.0) == paper


def test_much_to_say_is_set_smaller_and_stays_on_the_page():
    facts = [
        Fact(f"fact {n}", "as much as a maker may want to know of it, and then a little more than that")
        for n in range(9)
    ]
    piece, props = standing()
    drawn = draw_print_page(
        piece, props, title=TITLE, facts=facts, reasons=["Because of this and that."] * 4, foot="Wide."
    )
    texts_keep_apart(drawn.page)
    few = draw_print_page(piece, props, title=TITLE, facts=facts[:2])
    tall = [
        text.box.bottom - text.box.top
        for page in (drawn.page, few.page)
        for text in page.texts
        if "maker" in text.text
    ]
    assert tall[0] < tall[-1]
