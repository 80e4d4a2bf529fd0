"""The page of a print: a piece as it stands on the platform with the props that hold it, from three sides, and what it comes to.

Drawn with the platform below, as the maker takes it off; in the printer it hangs the other way about.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageChops

from firstcast.geometry.mesh import Mesh
from firstcast.sheets import dimensions
from firstcast.sheets._few_colours import in_few_colours
from firstcast.sheets.face import FAINT_INK, INK, SHADOW
from firstcast.sheets.heading import draw_page_heading
from firstcast.sheets.light import LitMesh, light_mesh
from firstcast.sheets.plate import Title
from firstcast.sheets.render import render_lit
from firstcast.sheets.setting import Page, wrap
from firstcast.sheets.views import BACK, FRONT, SIDE, View, extent_mm

DPI = 150
WIDE_PX, TALL_PX, MARGIN_PX = 1754, 1240, 56
"""A4 across at 150 dots per inch."""

WORDS_PX, TOP_PX, BOTTOM_PX, BETWEEN_PX, SIDE_PX = 440, 190, 1090, 50, 96
"""The column of words at the right; where the views begin and the platform lies; room between and beside views."""

SMALL_PX, LEADING = 19.0, 1.32
SIZES_PX = (23.0, 21.0, 19.0, 17.0, 15.0)
"""Lettering of the column: the first that fits, else the last."""

SHARES = {"name": 0.83, "fact": 1.0, "reason": 0.85, "foot": 0.83}
TONES = {"name": FAINT_INK, "fact": INK, "reason": INK, "foot": FAINT_INK}
"""Size of each kind of text over the column's, and its tone."""

GREYS = 96

FIGURE, PROPS = (222.0, 216.0, 208.0), (150.0, 163.0, 170.0)
"""The figure as it is elsewhere; props in slate, a tone that nothing else on a sheet has."""

SAMPLES = 3

VIEWS = (FRONT, SIDE, BACK)
"""Half of all props stand behind the figure."""


@dataclass(frozen=True)
class Fact:
    """A figure of the print: its name, and what is said of it."""

    name: str
    says: str


@dataclass(frozen=True)
class PrintPage:
    """The finished page, and the scale that its views are drawn at."""

    page: Page
    px_per_mm: float


def draw_print_page(
    piece: Mesh,
    props: Mesh,
    *,
    title: Title,
    facts: Sequence[Fact],
    reasons: Sequence[str] = (),
    foot: str = "",
) -> PrintPage:
    """Draw a piece on its props from the front, from the side and from the back.

    Parameters
    ----------
    piece, props : Mesh
        As `Propped` holds them: z = 0 is the platform.
    facts : sequence of Fact
        What stands in the column of words.
    reasons : sequence of str
        Why it stands so, a sentence each.
    foot : str
        A sentence under all of it.
    """
    lit, colours = _lit(piece, props)
    page = Page(WIDE_PX, TALL_PX)
    draw_page_heading(page, title, "on its props", MARGIN_PX)
    extents = [extent_mm(lit.used, view) for view in VIEWS]
    scale = _scale(extents)
    room = WIDE_PX - 2 * MARGIN_PX - WORDS_PX - SIDE_PX
    spare = room - 2 * BETWEEN_PX - scale * sum(float(np.ptp(extent[:, 0])) for extent in extents)
    left = MARGIN_PX + SIDE_PX + spare / 4
    for view, extent in zip(VIEWS, extents, strict=True):
        wide = float(np.ptp(extent[:, 0])) * scale
        _draw_view(page, lit, colours, view, extent, scale, left)
        if view is FRONT:
            top = BOTTOM_PX - float(extent[1, 1]) * scale
            height = float(extent[1, 1])
            line = MARGIN_PX + 40
            dimensions.height_line(page, top, BOTTOM_PX, line, (left + wide / 2, left), height, SMALL_PX)
        page.label((left + wide / 2, BOTTOM_PX + 56), view.name, size_px=15, anchor="ms")
        left += wide + BETWEEN_PX + spare / 4
    ground = (MARGIN_PX + SIDE_PX - 20, WIDE_PX - MARGIN_PX - WORDS_PX + 14)
    page.line([(ground[0], BOTTOM_PX), (ground[1], BOTTOM_PX)], width_px=2.0)
    page.label((ground[1], BOTTOM_PX + 22), "build platform", size_px=13, anchor="rs", colour=FAINT_INK)
    dimensions.scale_bar(page, (MARGIN_PX, TALL_PX - MARGIN_PX), scale, 260.0, SMALL_PX)
    draw_facts(page, facts, reasons, foot, left=WIDE_PX - MARGIN_PX - WORDS_PX + 40, top=TOP_PX)
    return PrintPage(page, scale)


def write_print_page(path: Path | str, drawn: PrintPage) -> None:
    """The page as a small PNG that prints at its true size."""
    image = in_few_colours(drawn.page.image, GREYS)
    image.save(path, format="PNG", dpi=(DPI, DPI), optimize=True)


def _lit(piece: Mesh, props: Mesh) -> tuple[LitMesh, npt.NDArray[np.float32]]:
    """Piece and props as one mesh, and a colour per point."""
    count = len(piece.points)
    points = np.concatenate([piece.points, props.points]).astype(np.float64)
    triangles = np.concatenate([piece.triangles, props.triangles + np.int32(count)])
    colours = np.empty((len(points), 3), np.float32)
    colours[:count], colours[count:] = FIGURE, PROPS
    return light_mesh(points, triangles), colours


def _scale(extents: Sequence[npt.NDArray[np.float64]]) -> float:
    """The greatest drawing scale at which the views fit, pixels per mm."""
    wide = sum(float(np.ptp(extent[:, 0])) for extent in extents)
    tall = max(float(extent[1, 1]) for extent in extents)
    room = WIDE_PX - 2 * MARGIN_PX - WORDS_PX - SIDE_PX - 2 * BETWEEN_PX
    most = min(room / wide, (BOTTOM_PX - TOP_PX) / tall)
    return dimensions.drawing_scale(most * 25.4 / DPI) * DPI / 25.4


def _draw_view(
    page: Page, lit: LitMesh, colours, view: View, extent: npt.NDArray[np.float64], scale: float, left: float
) -> None:
    """One view with its feet on the platform's line, `left` the page's pixel of its left end."""
    wide, tall = round(float(np.ptp(extent[:, 0])) * scale) + 80, round(float(extent[1, 1]) * scale) + 60
    corner = (round(left) - 40, BOTTOM_PX - tall + 20)
    middle = np.array([float(extent[:, 0].mean()), (tall / 2 - 20) / scale, 0.0]) @ view.axes
    picture = render_lit(
        lit, view=view, width_px=wide, height_px=tall, px_per_mm=scale, centre_mm=middle, vertex_colour=colours,
        samples=SAMPLES, ground=False,
    )  # fmt: skip
    box = (*corner, corner[0] + wide, corner[1] + tall)
    page.image.paste(ImageChops.darker(page.image.crop(box), Image.fromarray(picture.rgb)), box)


def draw_facts(
    page: Page, facts: Sequence[Fact], reasons: Sequence[str], foot: str, *, left: float, top: float
) -> None:
    """The column at the right: facts as name and words, reasons, and the foot; in the largest lettering that fits."""
    right, room = page.width_px - MARGIN_PX, page.height_px - MARGIN_PX - top
    entries = _entries(facts, reasons, foot)
    for size in SIZES_PX:
        lines = [(kind, wrap(text, size * SHARES[kind], right - left)) for kind, text in entries]
        tall = sum(_gap(kind, size) + LEADING * SHARES[kind] * size * len(each) for kind, each in lines)
        if tall <= room:
            break
    y = top
    for number, (kind, each) in enumerate(lines):
        y += _gap(kind, size) if number else 0.0
        if kind == "reason" and lines[number - 1][0] == "fact":
            page.line([(left, y - 0.9 * size), (right, y - 0.9 * size)], width_px=1.0, colour=SHADOW)
        for line in each:
            page.text((left, y), line, size_px=size * SHARES[kind], colour=TONES[kind])
            y += LEADING * SHARES[kind] * size


def _entries(facts: Sequence[Fact], reasons: Sequence[str], foot: str) -> list[tuple[str, str]]:
    """All texts of the column in their order, each with its kind."""
    entries = [(kind, text) for fact in facts for kind, text in (("name", fact.name), ("fact", fact.says))]
    entries += [("reason", reason) for reason in reasons]
    return [*entries, *([("foot", foot)] if foot else [])]


def _gap(kind: str, size_px: float) -> float:
    """Room above a text."""
    return {"name": 0.45, "fact": 0.0, "reason": 0.7, "foot": 0.9}[kind] * size_px
