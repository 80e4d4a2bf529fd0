"""The page of a run: the build platform from above with what stands on it, and what the run comes to."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from string import ascii_uppercase

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageChops, ImageDraw

from firstcast.printing.run import Placement, Run
from firstcast.sheets import dimensions
from firstcast.sheets._few_colours import in_few_colours
from firstcast.sheets.face import PAPER
from firstcast.sheets.heading import draw_page_heading
from firstcast.sheets.plate import Title
from firstcast.sheets.print_page import Fact, draw_facts
from firstcast.sheets.setting import Page

DPI = 150
WIDE_PX, TALL_PX, MARGIN_PX = 1754, 1240, 56
"""A4 across at 150 dots per inch."""

TOP_PX, WORDS_PX, SIDE_PX = 210, 430, 78
TEXT_PX, SMALL_PX = 23.0, 19.0
SHADE, OUTLINE = (216, 206, 191), (92, 84, 76)
"""What a piece covers: where two are above one another the tones multiply."""

EDGE_PX, FRONT_PX = 20.0, 7.0
"""How far from an edge its name stands, and how broad the printer's front is drawn."""

FINE = 3
COLOURS = 64

Loops = Sequence[npt.NDArray[np.float64]]


@dataclass(frozen=True)
class PlatformPage:
    """The finished page: its scale, and the pixel of the platform's corner 0, 0."""

    page: Page
    px_per_mm: float
    corner_px: tuple[float, float]

    def place_px(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Where a place of the platform falls on the page."""
        return self.corner_px[0] + x_mm * self.px_per_mm, self.corner_px[1] - y_mm * self.px_per_mm


def draw_platform_page(
    run: Run,
    outlines: Mapping[str, Loops],
    build_mm: tuple[float, float],
    *,
    title: Title,
    facts: Sequence[Fact] = (),
    reasons: Sequence[str] = (),
    foot: str = "",
    front: str = "",
) -> PlatformPage:
    """Draw a filled platform from above, its corner 0, 0 at the lower left.

    Parameters
    ----------
    run : Run
    outlines : mapping of master to loops (n, 2) float64
        What each covers seen from above, mm from its middle, holes clockwise.
    build_mm : (float, float)
        Width and depth of the platform.
    front : str
        Which edge is the printer's front: "first row", "last row", "first column" or "last column" of the images, else unknown.
    """
    page = Page(WIDE_PX, TALL_PX)
    draw_page_heading(page, title, "the platform from above", MARGIN_PX)
    room = (WIDE_PX - 2 * MARGIN_PX - WORDS_PX - SIDE_PX - 60, TALL_PX - TOP_PX - MARGIN_PX - 110)
    scale = min(room[0] / build_mm[0], room[1] / build_mm[1])
    left, bottom = MARGIN_PX + SIDE_PX, TOP_PX + build_mm[1] * scale
    right, top = left + build_mm[0] * scale, float(TOP_PX)
    letters = {
        master: _letter(number)
        for number, master in enumerate(dict.fromkeys(each.master for each in run.placements))
    }
    _shade(page, run, outlines, scale, (left, bottom))
    corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
    page.line(corners, width_px=2.0)
    _name_edges(page, front, (left, top, right, bottom))
    for placement in run.placements:
        loops = [_on_page(loop, placement, scale, (left, bottom)) for loop in outlines[placement.master]]
        page.text(_middle(loops), letters[placement.master], size_px=SMALL_PX, anchor="mm")
    dimensions.width_line(page, left, right, bottom + 46, (bottom, bottom), build_mm[0], SMALL_PX)
    dimensions.height_line(page, top, bottom, left - 46, (left, left), build_mm[1], SMALL_PX)
    dimensions.scale_bar(page, (MARGIN_PX, TALL_PX - MARGIN_PX), scale, 260.0, SMALL_PX)
    counts = {master: sum(each.master == master for each in run.placements) for master in letters}
    standing = [Fact(f"{letter}  ×  {counts[master]}", master) for master, letter in letters.items()]
    draw_facts(page, [*standing, *facts], reasons, foot, left=WIDE_PX - MARGIN_PX - WORDS_PX + 20, top=TOP_PX)
    return PlatformPage(page, scale, (left, bottom))


def _name_edges(page: Page, front: str, box: tuple[float, float, float, float]) -> None:
    """Which edge the images' first row is, and which is drawn broad: the printer's front, where that is known."""
    left, top, right, bottom = box
    middle = (left + right) / 2, (top + bottom) / 2
    edges = {
        "first row": ((left, bottom), (right, bottom)),
        "last row": ((left, top), (right, top)),
        "first column": ((left, top), (left, bottom)),
        "last column": ((right, top), (right, bottom)),
    }
    first = "first row of the images" + (", the printer's front" if front == "first row" else "")
    page.text((middle[0], bottom + EDGE_PX), first, size_px=SMALL_PX, anchor="mm")
    if front in edges:
        page.line(edges[front], width_px=FRONT_PX)
    told = "the printer's front"
    if front == "last row":
        page.text((middle[0], top - EDGE_PX), told, size_px=SMALL_PX, anchor="mm")
    elif front in ("first column", "last column"):
        x = left - EDGE_PX if front == "first column" else right + EDGE_PX
        page.text_up((x, middle[1]), told, size_px=SMALL_PX)


def write_platform_page(path: Path | str, drawn: PlatformPage) -> None:
    """The page as a small PNG that prints at its true size."""
    in_few_colours(drawn.page.image, COLOURS).save(path, format="PNG", dpi=(DPI, DPI), optimize=True)


def _shade(
    page: Page, run: Run, outlines: Mapping[str, Loops], scale: float, corner: tuple[float, float]
) -> None:
    """Each piece's shadow on the page, darker where one reaches above another, with its outline."""
    for placement in run.placements:
        loops = [_on_page(loop, placement, scale, corner) for loop in outlines.get(placement.master, ())]
        if not loops:
            continue
        low = np.floor(np.min([loop.min(axis=0) for loop in loops], axis=0)).astype(int) - 2
        high = np.ceil(np.max([loop.max(axis=0) for loop in loops], axis=0)).astype(int) + 2
        size = tuple((high - low).tolist())
        mask = Image.new("L", (size[0] * FINE, size[1] * FINE))
        pen = ImageDraw.Draw(mask)
        # holes come after what they are in: they are the smaller ones
        for loop in sorted(loops, key=lambda each: -abs(_area(each))):
            spots = [tuple(spot) for spot in ((loop - low) * FINE).tolist()]
            # on the page y runs down, so that what was counter-clockwise is clockwise
            pen.polygon(spots, fill=255 if _area(loop) < 0 else 0)
        tone = Image.new("RGB", size, PAPER)
        tone.paste(SHADE, (0, 0), mask.resize(size, Image.Resampling.BOX))
        box = (int(low[0]), int(low[1]), int(high[0]), int(high[1]))
        below = page.image.crop(box)
        page.image.paste(_over_paper(below, tone), box)
        for loop in loops:
            spots = [(float(x), float(y)) for x, y in [*loop, loop[0]]]
            page.line(spots, width_px=1.2, colour=OUTLINE)


def _over_paper(below: Image.Image, tone: Image.Image) -> Image.Image:
    """A tone laid on what is there, as a glaze on paper: both taken as shares of the paper's own light."""
    paper = np.array(PAPER, np.float32)
    laid = np.asarray(below, np.float32) * (np.asarray(tone, np.float32) / paper)
    return ImageChops.darker(below, Image.fromarray(np.clip(laid + 0.5, 0, 255).astype(np.uint8)))


def _on_page(
    loop: npt.NDArray[np.float64], placement: Placement, scale: float, corner: tuple[float, float]
) -> npt.NDArray[np.float64]:
    """A loop turned, moved and brought to the page's pixels."""
    cosine, sine = placement.cosine_sine
    x = cosine * loop[:, 0] - sine * loop[:, 1] + placement.x_mm
    y = sine * loop[:, 0] + cosine * loop[:, 1] + placement.y_mm
    return np.column_stack([corner[0] + x * scale, corner[1] - y * scale])


def _letter(number: int) -> str:
    """A, B, to Z, then AA, AB."""
    first, last = divmod(number, len(ascii_uppercase))
    return (ascii_uppercase[first - 1] if first else "") + ascii_uppercase[last]


def _middle(loops: Loops) -> tuple[float, float]:
    """Centre of area of the largest loop."""
    loop = max(loops, key=lambda each: abs(_area(each)))
    after = np.roll(loop, -1, axis=0)
    cross = loop[:, 0] * after[:, 1] - after[:, 0] * loop[:, 1]
    x, y = ((loop + after) * cross[:, None]).sum(axis=0) / (6.0 * _area(loop))
    return float(x), float(y)


def _area(loop: npt.NDArray[np.float64]) -> float:
    x, y = loop.T
    return 0.5 * float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
