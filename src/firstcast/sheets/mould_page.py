"""The page of a mould: the figure in two tones, as the halves hold it, the seam as an ink line on it; sections; what every pull holds.

Drawn as a pattern-maker draws a parting: what lies behind is dashed, the body is hatched where it is cut, the lines of the
parting run on to the block's edge.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageChops
from scipy.ndimage import uniform_filter1d

from firstcast.geometry.mesh import Mesh
from firstcast.moulding.parting import Parting
from firstcast.sheets import dimensions
from firstcast.sheets._few_colours import in_few_colours
from firstcast.sheets._rings import box_about
from firstcast.sheets.face import ACCENT, FAINT_INK, INK, PAPER, SHADOW
from firstcast.sheets.heading import draw_page_heading
from firstcast.sheets.light import LitMesh, light_mesh
from firstcast.sheets.mould_sections import LOWER_TONE, UPPER_TONE, draw_section
from firstcast.sheets.plate import Title
from firstcast.sheets.print_page import Fact, draw_facts
from firstcast.sheets.pull_map import PullMap, draw_pull_map
from firstcast.sheets.render import Picture, render_lit
from firstcast.sheets.setting import Box, Page
from firstcast.sheets.views import BACK, FRONT, SIDE, View, extent_mm

DPI = 150
WIDE_PX, TALL_PX, MARGIN_PX = 1754, 1240, 56
"""A4 across at 150 dots per inch."""

WORDS_PX, TOP_PX, FEET_PX, LOW_PX, SIDE_PX, BETWEEN_PX = 420, 150, 742, 826, 70, 44
"""The column of words; where views begin and end; where sections begin; room beside and between views."""

LOW_TALL_PX = 318
SMALL_PX = 19.0
SAMPLES = 3
COLOURS = 128
VIEWS = (FRONT, SIDE, BACK)
SEAM_PX, HALO_PX = 2.6, 5.2
SLACK_MM = 0.35
"""A seam that lies so little behind what is seen is seen."""

SETTLED = 15
"""Places along a seam over which it is seen or hidden as a whole."""

MOST_NUMBERS = 12

HELD_SAYS = "places that hold the mould"
NUMBER_PX = 10.5


@dataclass(frozen=True)
class Held:
    """A place that holds the mould: where, how much, and what is said of it."""

    place_mm: tuple[float, float, float]
    volume_mm3: float
    says: str
    captive: bool = False


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
    page = Page(WIDE_PX, TALL_PX)
    draw_page_heading(page, title, kind, MARGIN_PX)
    lit = light_mesh(np.asarray(mesh.points, np.float64), mesh.triangles)
    scale = _draw_views(page, lit, _tones(mesh, parting), parting, held)
    room = WIDE_PX - 2 * MARGIN_PX - WORDS_PX
    _draw_low_row(page, parting, pulls, room)
    dimensions.scale_bar(page, (MARGIN_PX, FEET_PX + 46), scale, 220.0, SMALL_PX)
    heading = [Fact(HELD_SAYS, "")] if held else []
    told = [_fact(number, each) for number, each in enumerate(held[:MOST_NUMBERS], start=1)]
    left = WIDE_PX - MARGIN_PX - WORDS_PX + 40
    _draw_key(page, left, TOP_PX - 22)
    draw_facts(page, [*facts, *heading, *told], [*parting.words, *reasons], foot, left=left, top=TOP_PX + 76)
    return MouldPage(page, scale)


def write_mould_page(path: Path | str, drawn: MouldPage) -> None:
    """The page as a small PNG that prints at its true size."""
    in_few_colours(drawn.page.image, COLOURS).save(path, format="PNG", dpi=(DPI, DPI), optimize=True)


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


def _draw_views(page: Page, lit: LitMesh, colours, parting: Parting, held: Sequence[Held]) -> float:
    extents = [extent_mm(lit.used, view) for view in VIEWS]
    room = WIDE_PX - 2 * MARGIN_PX - WORDS_PX - SIDE_PX - 2 * BETWEEN_PX
    wide = sum(float(np.ptp(extent[:, 0])) for extent in extents)
    tall = max(float(np.ptp(extent[:, 1])) for extent in extents)
    most = min(room / wide, (FEET_PX - TOP_PX) / tall)
    scale = dimensions.drawing_scale(most * 25.4 / DPI) * DPI / 25.4
    spare = room - scale * wide
    left = MARGIN_PX + SIDE_PX + spare / 4
    for view, extent in zip(VIEWS, extents, strict=True):
        across = float(np.ptp(extent[:, 0])) * scale
        picture, corner = _draw_view(page, lit, colours, view, extent, scale, left)
        _draw_seams(page, picture, corner, parting)
        _draw_numbers(page, picture, corner, held)
        if view is FRONT:
            top = FEET_PX - float(np.ptp(extent[:, 1])) * scale
            dimensions.height_line(
                page, top, FEET_PX, MARGIN_PX + 24, (left + across / 2, left), float(np.ptp(extent[:, 1])), SMALL_PX
            )  # fmt: skip
        page.label((left + across / 2, FEET_PX + 44), view.name, size_px=15, anchor="ms")
        left += across + BETWEEN_PX + spare / 4
    return scale


def _draw_view(
    page: Page, lit: LitMesh, colours, view: View, extent, scale: float, left: float
) -> tuple[Picture, tuple[float, float]]:
    wide, tall = (round(float(np.ptp(extent[:, k])) * scale) + 60 for k in (0, 1))
    corner = (round(left) - 30, FEET_PX - tall + 30)
    picture = render_lit(
        lit, view=view, width_px=wide, height_px=tall, px_per_mm=scale, centre_mm=extent.mean(axis=0) @ view.axes,
        vertex_colour=colours, samples=SAMPLES, ground=False,
    )  # fmt: skip
    box = (*corner, corner[0] + wide, corner[1] + tall)
    page.image.paste(ImageChops.darker(page.image.crop(box), Image.fromarray(picture.rgb)), box)
    return picture, (float(corner[0]), float(corner[1]))


def _draw_seams(page: Page, picture: Picture, corner, parting: Parting) -> None:
    """Seams as ink lines in a halo of paper; behind the figure dashed and fine."""
    for curve in parting.seams:
        closed = np.concatenate([curve, curve[:1]])
        spots = picture.projection.place(closed) + corner
        shown = picture.shows(closed, slack_mm=SLACK_MM)
        for halo in (True, False):
            for seen, run in _runs(shown):
                line = [(float(x), float(y)) for x, y in spots[run]]
                if seen:
                    colour, width = (PAPER, HALO_PX) if halo else (INK, SEAM_PX)
                    _stroke(page, line, width, colour)
                elif not halo:
                    page.line(line, width_px=1.1, colour=FAINT_INK, dash_px=(5.0, 5.0))


def _stroke(page: Page, line, width: float, colour) -> None:
    """A line with round joints: many short pieces would show gaps between them."""
    page.line(line, width_px=width, colour=colour)
    if width > 2.0:
        for place in line[:: max(1, len(line) // 400)]:
            page.disc(place, 0.48 * width, colour=colour)


def _runs(shown) -> list[tuple[bool, slice]]:
    """Runs of places that are all seen or all hidden, each with the place after it so that they join."""
    shown = _settled(shown)
    changes = np.flatnonzero(shown[1:] != shown[:-1]) + 1
    bounds = [0, *changes.tolist(), len(shown)]
    return [(bool(shown[first]), slice(first, min(stop + 1, len(shown)))) for first, stop in pairwise(bounds)]


def _settled(shown) -> npt.NDArray[np.bool_]:
    """Without short runs: along an outline a seam comes and goes by parts of a pixel."""
    window = min(SETTLED, len(shown))
    return uniform_filter1d(shown.astype(np.float64), window, mode="wrap") >= 0.35


def _draw_numbers(page: Page, picture: Picture, corner, held: Sequence[Held]) -> None:
    """A number on each place that holds the mould, where the figure lets it be seen."""
    taken: list[Box] = []
    for number, each in enumerate(held[:MOST_NUMBERS], start=1):
        place = np.array([each.place_mm])
        # the place is in the mould's material beside the figure
        if not picture.shows(place, slack_mm=1.5)[0]:
            continue
        x, y = (picture.projection.place(place)[0] + corner).tolist()
        box = box_about((x, y), NUMBER_PX)
        while any(box.overlaps(other) for other in taken):
            y -= 2.0
            box = box_about((x, y), NUMBER_PX)
        taken.append(box)
        page.disc((x, y), NUMBER_PX + 1.5, colour=PAPER)
        page.disc((x, y), NUMBER_PX, colour=ACCENT if each.captive else INK)
        page.text((x, y), str(number), size_px=1.45 * NUMBER_PX, colour=PAPER, anchor="mm")


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
