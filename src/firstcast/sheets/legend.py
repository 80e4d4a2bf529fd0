"""The legend of a map: the scale with its ticks and unit, what its ends mean, the limit, and what grey means."""

from PIL import Image

from firstcast.sheets.face import ACCENT, FAINT_INK, INK
from firstcast.sheets.scales import NOT_READ, SurfaceMap, draw_legend
from firstcast.sheets.setting import Box, Page, Place, text_width

WIDE_PX, MARGIN_PX = 760, 48
TEXT_PX, ROW_PX = 20.0, 30.0
STRIP_PX, BELOW_STRIP_PX = 20.0, 30.0
"""How tall the strip of `draw_legend` is, and what it sets below it."""


def draw_whole_legend(
    page: Page, surface_map: SurfaceMap, place: Place, width_px: float, *, grey_says: str = "not read"
) -> Box:
    """The scale, its ends in plain words, its limit in the accent, and a patch of grey; upper left at `place`."""
    strip = draw_legend(page, surface_map, place, width_px)
    left, right = strip.left, strip.right
    if surface_map.limit is not None:
        _draw_limit(page, surface_map, strip)
    y = strip.bottom + 0.8 * ROW_PX
    if surface_map.low_says:
        page.text((left, y), surface_map.low_says, size_px=TEXT_PX)
    if surface_map.high_says:
        page.text((right, y), surface_map.high_says, size_px=TEXT_PX, anchor="rs")
    if surface_map.low_says or surface_map.high_says:
        y += ROW_PX
    page.box(Box(left, y - 15.0, left + 34.0, y), colour=INK)
    page.box(Box(left + 1.2, y - 13.8, left + 32.8, y - 1.2), colour=NOT_READ)
    box = page.text((left + 44.0, y), grey_says, size_px=TEXT_PX, colour=FAINT_INK)
    return Box(left, place[1], max(right, box.right), y + 0.2 * TEXT_PX)


def _draw_limit(page: Page, surface_map: SurfaceMap, strip: Box) -> None:
    """A stroke through the strip at the limit, an arrowhead above it, and its words at the upper right."""
    bottom = strip.bottom - BELOW_STRIP_PX
    top = bottom - STRIP_PX
    share = (float(surface_map.limit or 0.0) - surface_map.low) / (surface_map.high - surface_map.low)
    x = strip.left + min(1.0, max(0.0, share)) * (strip.right - strip.left)
    page.line([(x, top - 2.0), (x, bottom + 7.0)], width_px=2.4, colour=ACCENT)
    page.polygon([(x, top), (x - 5.5, top - 11.0), (x + 5.5, top - 11.0)], colour=ACCENT)
    words = surface_map.limit_says
    if words:
        wide = text_width(words, TEXT_PX)
        heading = text_width(f"{surface_map.name}, {surface_map.unit}", 22)
        beside = min(max(x - wide / 2, strip.left + heading + 24.0), strip.right - wide)
        page.text((beside, strip.top + 0.72 * 22), words, size_px=TEXT_PX, colour=ACCENT)


def legend_picture(surface_map: SurfaceMap, *, title: str = "", grey_says: str = "not read") -> Image.Image:
    """A map's legend as a picture of its own, to lie beside the coloured files.

    `title` heads it, over a double rule; the picture is as tall as what it says.
    """
    page = Page(WIDE_PX, 400)
    y = float(MARGIN_PX)
    right = WIDE_PX - MARGIN_PX
    if title:
        page.text((MARGIN_PX, y + 18), title, size_px=34.0)
        page.line([(MARGIN_PX, y + 34), (right, y + 34)], width_px=2.2)
        page.line([(MARGIN_PX, y + 39), (right, y + 39)], width_px=1.0)
        y += 64.0
    box = draw_whole_legend(page, surface_map, (MARGIN_PX, y), right - MARGIN_PX, grey_says=grey_says)
    return page.image.crop((0, 0, WIDE_PX, round(box.bottom) + MARGIN_PX))
