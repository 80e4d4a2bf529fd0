"""Measures on a drawing: dimension lines with arrows, the scale bar, and drawing scales that a ruler can use."""

import math

from firstcast.sheets.face import INK, PAPER
from firstcast.sheets.setting import Box, Page, Place, text_width

ARROW_PX, ARROW_HALF_PX, STROKE_PX = 15.0, 2.9, 1.5
GAP_PX, OVERSHOOT_PX = 7.0, 7.0
"""Extension lines start a little off the figure and run a little past the dimension line."""

SCALES = (
    0.2,
    0.25,
    0.3,
    0.4,
    0.5,
    0.6,
    0.75,
    1.0,
    1.25,
    1.5,
    1.75,
    2.0,
    2.25,
    2.5,
    2.75,
    3.0,
    3.5,
    4.0,
    5.0,
    6.0,
    8.0,
    10.0,
)
"""Scales to which plates are drawn, so that a ruler on the paper reads true."""

BAR_STEPS_MM = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)


def said_mm(value_mm: float) -> str:
    """A length as a drawing says it: one decimal, two below 10 mm."""
    return f"{value_mm:.2f} mm" if value_mm < 10.0 else f"{value_mm:.1f} mm"


def drawing_scale(most: float) -> float:
    """The greatest of `SCALES` that is not above `most`; `most` itself, at two digits, outside them."""
    fitting = [scale for scale in SCALES if scale <= most]
    if not fitting or most >= 1.1 * SCALES[-1]:
        digits = 10.0 ** (math.floor(math.log10(most)) - 1)
        return math.floor(most / digits) * digits
    return fitting[-1]


def arrow(page: Page, tip: Place, direction: Place) -> None:
    """A slender filled arrowhead whose tip points along the unit `direction`."""
    back = (tip[0] - ARROW_PX * direction[0], tip[1] - ARROW_PX * direction[1])
    across = (-direction[1] * ARROW_HALF_PX, direction[0] * ARROW_HALF_PX)
    page.polygon(
        [tip, (back[0] + across[0], back[1] + across[1]), (back[0] - across[0], back[1] - across[1])]
    )


def width_line(
    page: Page,
    left: float,
    right: float,
    y: float,
    figure_y: tuple[float, float],
    value_mm: float,
    size_px: float,
) -> Box:
    """A horizontal measure at `y` between two pixels; extension lines come from `figure_y` (left, right)."""
    text = said_mm(value_mm)
    wide = text_width(text, size_px) + 0.7 * size_px
    for x, start in ((left, figure_y[0]), (right, figure_y[1])):
        rise = math.copysign(1.0, y - start)
        page.line([(x, start + rise * GAP_PX), (x, y + rise * OVERSHOOT_PX)], width_px=1.0)
    if right - left >= wide + 2.5 * ARROW_PX:
        middle = (left + right) / 2
        page.line([(left, y), (middle - wide / 2, y)], width_px=STROKE_PX)
        page.line([(middle + wide / 2, y), (right, y)], width_px=STROKE_PX)
        arrow(page, (left, y), (-1.0, 0.0))
        arrow(page, (right, y), (1.0, 0.0))
        return page.text((middle, y), text, size_px=size_px, anchor="mm")
    page.line([(left - 2 * ARROW_PX, y), (left, y)], width_px=STROKE_PX)
    page.line([(right, y), (right + 2 * ARROW_PX, y)], width_px=STROKE_PX)
    arrow(page, (left, y), (1.0, 0.0))
    arrow(page, (right, y), (-1.0, 0.0))
    return page.text((right + 2.4 * ARROW_PX, y), text, size_px=size_px, anchor="lm")


def height_line(
    page: Page,
    top: float,
    bottom: float,
    x: float,
    figure_x: tuple[float, float],
    value_mm: float,
    size_px: float,
) -> Box:
    """A vertical measure at `x` between two pixels; extension lines come from `figure_x` (at top, at bottom)."""
    text = said_mm(value_mm)
    tall = text_width(text, size_px) + 0.7 * size_px
    for y, start in ((top, figure_x[0]), (bottom, figure_x[1])):
        side = math.copysign(1.0, x - start)
        page.line([(start + side * GAP_PX, y), (x + side * OVERSHOOT_PX, y)], width_px=1.0)
    middle = (top + bottom) / 2
    fits = bottom - top >= tall + 2.5 * ARROW_PX
    if fits:
        page.line([(x, top), (x, middle - tall / 2)], width_px=STROKE_PX)
        page.line([(x, middle + tall / 2), (x, bottom)], width_px=STROKE_PX)
        arrow(page, (x, top), (0.0, -1.0))
        arrow(page, (x, bottom), (0.0, 1.0))
        return page.text_up((x, middle), text, size_px=size_px)
    page.line([(x, top - 2 * ARROW_PX), (x, top)], width_px=STROKE_PX)
    page.line([(x, bottom), (x, bottom + 2 * ARROW_PX)], width_px=STROKE_PX)
    arrow(page, (x, top), (0.0, 1.0))
    arrow(page, (x, bottom), (0.0, -1.0))
    return page.text_up((x, top - 2.4 * ARROW_PX - tall / 2), text, size_px=size_px)


def scale_bar(page: Page, place: Place, px_per_mm: float, most_px: float, size_px: float) -> Box:
    """A bar of millimetres, parted and filled by turns; its left end at `place`, no wider than `most_px`."""
    step = max((step for step in BAR_STEPS_MM if 4 * step * px_per_mm <= most_px), default=BAR_STEPS_MM[0])
    left, y, tall = place[0], place[1], 0.36 * size_px
    parts = 4
    page.box(Box(left, y - tall, left + parts * step * px_per_mm, y), colour=INK)
    for part in range(1, parts, 2):
        page.box(
            Box(left + part * step * px_per_mm, y - tall + 1.5, left + (part + 1) * step * px_per_mm - (1.5 if part == parts - 1 else 0), y - 1.5),
            colour=PAPER,
        )  # fmt: skip
    for part in range(parts + 1):
        x = left + part * step * px_per_mm
        text = f"{part * step:g} mm" if part == parts else f"{part * step:g}"
        if part == parts:
            number = text_width(f"{part * step:g}", size_px)
            page.text((x - number / 2, y - 1.9 * tall), text, size_px=size_px, anchor="ls")
        else:
            page.text((x, y - 1.9 * tall), text, size_px=size_px, anchor="ms")
    return Box(left, y - tall - 1.6 * size_px, left + parts * step * px_per_mm, y)
