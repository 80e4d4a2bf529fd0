"""The page of a mould: the figure in two tones, as the halves hold it, the seam as an ink line on it; sections; what every pull holds.

Drawn as a pattern-maker draws a parting: what lies behind is dashed, the body is hatched where it is cut, the lines of the
parting run on to the block's edge.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points
from firstcast.geometry.mesh import Mesh
from firstcast.moulding.parting import Parting
from firstcast.sheets import dimensions
from firstcast.sheets._few_colours import in_few_colours
from firstcast.sheets.face import INK, SHADOW
from firstcast.sheets.heading import draw_page_heading
from firstcast.sheets.light import light_mesh
from firstcast.sheets.mould_sections import LOWER_TONE, UPPER_TONE, draw_section
from firstcast.sheets.mould_views import (
    BETWEEN_PX,
    DPI,
    FEET_PX,
    MARGIN_PX,
    MOST_NUMBERS,
    SMALL_PX,
    TALL_PX,
    TOP_PX,
    WIDE_PX,
    WORDS_PX,
    Held,
    draw_mould_views,
)
from firstcast.sheets.plate import Title
from firstcast.sheets.print_page import Fact, draw_facts
from firstcast.sheets.pull_map import PullMap, draw_pull_map
from firstcast.sheets.setting import Box, Page

LOW_PX, LOW_TALL_PX = 826, 318
"""Where the row below the views begins, and how tall it is."""

COLOURS = 128
HELD_SAYS = "places that hold the mould"


@dataclass(frozen=True)
class MouldPage:
    """The finished page and the scale of its views."""

    page: Page
    px_per_mm: float


def draw_mould_page(
    mesh: Mesh,
    parting: Parting,
    pulls: PullMap,
    *,
    title: Title,
    held: Sequence[Held] = (),
    facts: Sequence[Fact] = (),
    reasons: Sequence[str] = (),
    foot: str = "",
    kind: str = "how the mould parts",
) -> MouldPage:
    """Draw a body in the halves of its mould.

    Parameters
    ----------
    mesh : Mesh
        The body that was parted, in figure space.
    parting : Parting
    pulls : PullMap
        What every pull holds.
    held : sequence of Held
        Places that hold the mould, what matters most first; they are numbered in this order.
    facts, reasons, foot
        The column of words: figures, sentences, the last sentence.
    kind : str
        What stands at the right of the heading.
    """
    closed = [np.concatenate([curve, curve[:1]]) for curve in parting.seams]
    page, scale = draw_held_figure(
        mesh, _tones(mesh, parting), closed, title=title, kind=kind, held=held, facts=facts,
        reasons=(*parting.words, *reasons), foot=foot, key=_draw_key,
    )  # fmt: skip
    _draw_low_row(page, parting, pulls, WIDE_PX - 2 * MARGIN_PX - WORDS_PX)
    return MouldPage(page, scale)


def draw_held_figure(
    mesh: Mesh,
    colours: npt.NDArray[np.float32],
    lines_mm: Sequence[Points],
    *,
    title: Title,
    kind: str,
    held: Sequence[Held],
    facts: Sequence[Fact],
    reasons: Sequence[str],
    foot: str,
    key: Callable[[Page, float, float], None],
) -> tuple[Page, float]:
    """A page with its heading, the figure's views with lines on them, and the column of words; and the views' scale.

    `colours` are of vertices, (n, 3); `key` draws what tones and lines mean at a place of the page.
    """
    page = Page(WIDE_PX, TALL_PX)
    draw_page_heading(page, title, kind, MARGIN_PX)
    lit = light_mesh(np.asarray(mesh.points, np.float64), mesh.triangles)
    scale = draw_mould_views(page, lit, colours, lines_mm, held)
    dimensions.scale_bar(page, (MARGIN_PX, FEET_PX + 46), scale, 220.0, SMALL_PX)
    heading = [Fact(HELD_SAYS, "")] if held else []
    told = [_fact(number, each) for number, each in enumerate(held[:MOST_NUMBERS], start=1)]
    left = WIDE_PX - MARGIN_PX - WORDS_PX + 40
    key(page, left, TOP_PX - 22)
    draw_facts(page, [*facts, *heading, *told], list(reasons), foot, left=left, top=TOP_PX + 76)
    return page, scale


def write_mould_page(path: Path | str, drawn: MouldPage | Page) -> None:
    """The page as a small PNG that prints at its true size."""
    page = drawn if isinstance(drawn, Page) else drawn.page
    in_few_colours(page.image, COLOURS).save(path, format="PNG", dpi=(DPI, DPI), optimize=True)


def _fact(number: int, held: Held) -> Fact:
    return Fact(f"{number}  ·  {held.volume_mm3:.1f} mm³", held.says)


def _tones(mesh: Mesh, parting: Parting) -> npt.NDArray[np.float32]:
    """A colour per vertex: of the half in which most of the triangles round it lie."""
    corners = mesh.triangles.ravel()
    votes = np.repeat(parting.half_of_triangle.astype(np.float64), 3)
    count = len(mesh.points)
    share = np.bincount(corners, weights=votes, minlength=count) / np.maximum(
        np.bincount(corners, minlength=count), 1
    )
    return np.where(share[:, None] >= 0.5, UPPER_TONE, LOWER_TONE).astype(np.float32)


def _draw_low_row(page: Page, parting: Parting, pulls: PullMap, room: float) -> None:
    """The sections, and what every pull holds."""
    map_px = LOW_TALL_PX - 20.0
    wide = (room - map_px - 3 * BETWEEN_PX - 28) / max(1, len(parting.sections))
    left = float(MARGIN_PX)
    for section, name in zip(parting.sections, ("section across", "section along"), strict=False):
        draw_section(page, section, Box(left, LOW_PX, left + wide, LOW_PX + LOW_TALL_PX), name)
        left += wide + BETWEEN_PX
    draw_pull_map(page, pulls, (MARGIN_PX + room - map_px / 2 - 52, LOW_PX + map_px / 2 + 4), map_px / 2)


def _draw_key(page: Page, left: float, top: float) -> None:
    """Which tone is which half."""
    for number, (tone, says) in enumerate(
        ((UPPER_TONE, "leaves along the pull"), (LOWER_TONE, "leaves against it"))
    ):
        y = top + 28.0 * number
        page.box(Box(left, y, left + 34, y + 18), colour=INK)
        page.box(Box(left + 1.2, y + 1.2, left + 32.8, y + 16.8), colour=tone)
        page.text((left + 46, y + 16), says, size_px=SMALL_PX)
    page.line([(left, top + 60), (page.width_px - MARGIN_PX, top + 60)], width_px=1.0, colour=SHADOW)
