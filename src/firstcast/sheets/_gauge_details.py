"""Small sections on the gauge's sheet: where exactly a ridge, a groove, a grating and a bridge are read."""

from firstcast.sheets.dimensions import STROKE_PX, arrow
from firstcast.sheets.face import FAINT_INK
from firstcast.sheets.setting import Page, Place

WIDE_PX, TALL_PX = 500, 250
CUT_TONE = (200, 190, 176)
_FLOOR, _TOP = 186.0, 46.0


def draw_details(page: Page, corner: Place, wide_px: float) -> None:
    """The four sections side by side in a strip that is `wide_px` wide, its upper left corner given."""
    apart = (wide_px - 4 * WIDE_PX) / 3
    for number, (draw, says) in enumerate(
        (
            (_ridge, "ridge: width at the foot"),
            (_groove, "groove: clear width at the bottom"),
            (_grating, "grating: the middle ridge"),
            (_bridge, "bridge: thickness, what has grown included"),
        )
    ):
        x = corner[0] + number * (WIDE_PX + apart)
        draw(page, (x, corner[1]))
        page.text((x + WIDE_PX / 2, corner[1] + TALL_PX + 34), says, size_px=23, anchor="ms")


def _slab(page: Page, corner: Place, *upper: Place) -> None:
    """A cut slab, broken off at its sides; `upper` is its upper side from left to right."""
    outline = [(0.0, TALL_PX), *upper, (WIDE_PX, TALL_PX)]
    places = [(corner[0] + x, corner[1] + y) for x, y in outline]
    page.polygon(places, colour=CUT_TONE)
    page.line(places[1:-1], width_px=2.6)


def _between(page: Page, corner: Place, left: float, right: float, y: float) -> None:
    """A measure between two places, its arrows pointing in from outside."""
    x0, x1, row = corner[0] + left, corner[0] + right, corner[1] + y
    for x, side in ((x0, -1.0), (x1, 1.0)):
        page.line([(x, row - 16), (x, row + 16)], width_px=1.0)
        page.line([(x + side * 60, row), (x, row)], width_px=STROKE_PX)
        arrow(page, (x, row), (-side, 0.0))


def _ridge(page: Page, corner: Place) -> None:
    foot, top = (185.0, 315.0), (200.0, 300.0)
    up, down = ((foot[0], _FLOOR), (top[0], _TOP)), ((top[1], _TOP), (foot[1], _FLOOR))
    _slab(page, corner, (0.0, _FLOOR), *up, *down, (WIDE_PX, _FLOOR))
    _between(page, corner, *foot, _FLOOR - 22)


def _groove(page: Page, corner: Place) -> None:
    mouth, bottom, deep = (180.0, 320.0), (198.0, 302.0), 120.0
    floor = _FLOOR - deep
    down, up = ((mouth[0], floor), (bottom[0], _FLOOR)), ((bottom[1], _FLOOR), (mouth[1], floor))
    _slab(page, corner, (0.0, floor), *down, *up, (WIDE_PX, floor))
    _between(page, corner, *bottom, _FLOOR - 22)


def _grating(page: Page, corner: Place) -> None:
    upper: list[Place] = []
    for k in range(-2, 3):
        middle = WIDE_PX / 2 + 88 * k
        upper += [(middle - 30, _FLOOR), (middle - 22, _TOP), (middle + 22, _TOP), (middle + 30, _FLOOR)]
    _slab(page, corner, (0.0, _FLOOR), *upper, (WIDE_PX, _FLOOR))
    row = corner[1] + _TOP - 22
    for side in (-1.0, 1.0):
        x = corner[0] + WIDE_PX / 2 + 30 * side
        page.line([(x, row - 14), (x, corner[1] + _FLOOR)], width_px=1.0)
        page.line([(x + side * 60, row), (x, row)], width_px=STROKE_PX)
        arrow(page, (x, row), (-side, 0.0))


def _bridge(page: Page, corner: Place) -> None:
    drawn, grown, post = _TOP + 26.0, _TOP + 62.0, 110.0
    outline = [
        (0.0, TALL_PX), (0.0, _TOP), (WIDE_PX, _TOP), (WIDE_PX, TALL_PX), (WIDE_PX - post, TALL_PX),
        (WIDE_PX - post, grown), (post, grown), (post, TALL_PX),
    ]  # fmt: skip
    places = [(corner[0] + x, corner[1] + y) for x, y in outline]
    page.polygon(places, colour=CUT_TONE)
    page.line(places[1:3], width_px=2.6)
    page.line(places[4:], width_px=2.6)
    dashed = [(corner[0] + post, corner[1] + drawn), (corner[0] + WIDE_PX - post, corner[1] + drawn)]
    page.line(dashed, width_px=STROKE_PX, dash_px=(9.0, 6.0))
    page.text(
        (corner[0] + WIDE_PX / 2 - 20, corner[1] + grown + 34),
        "dashed: as drawn",
        size_px=19,
        colour=FAINT_INK,
        anchor="ls",
    )
    x = corner[0] + WIDE_PX / 2 - 40
    for y, side in ((_TOP, -1.0), (grown, 1.0)):
        page.line([(x, corner[1] + y + side * 54), (x, corner[1] + y)], width_px=STROKE_PX)
        arrow(page, (x, corner[1] + y), (0.0, -side))
