"""The figure on the page of its mould: from the front, the side and behind, with ink lines on it and numbers where it is held.

Drawn as a pattern-maker draws a parting: what lies behind is dashed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageChops
from scipy.ndimage import uniform_filter1d

from firstcast.arrays import Points
from firstcast.sheets import dimensions
from firstcast.sheets._rings import box_about
from firstcast.sheets.face import ACCENT, FAINT_INK, INK, PAPER
from firstcast.sheets.light import LitMesh
from firstcast.sheets.render import Picture, render_lit
from firstcast.sheets.setting import Box, Page
from firstcast.sheets.views import BACK, FRONT, SIDE, View, extent_mm

DPI = 150
WIDE_PX, TALL_PX, MARGIN_PX = 1754, 1240, 56
"""A4 across at 150 dots per inch."""

WORDS_PX, TOP_PX, FEET_PX, SIDE_PX, BETWEEN_PX = 420, 150, 742, 70, 44
"""The column of words; where views begin and end; room beside and between views."""

SMALL_PX = 19.0
SAMPLES = 3
VIEWS = (FRONT, SIDE, BACK)
SEAM_PX, HALO_PX = 2.6, 5.2
SLACK_MM = 0.35
"""A line that lies so little behind what is seen is seen."""

SETTLED = 15
"""Places along a line over which it is seen or hidden as a whole."""

MOST_NUMBERS = 12
NUMBER_PX = 10.5


@dataclass(frozen=True)
class Held:
    """A place that holds the mould: where, how much, and what is said of it."""

    place_mm: tuple[float, float, float]
    volume_mm3: float
    says: str
    captive: bool = False


def draw_mould_views(
    page: Page, lit: LitMesh, colours, lines_mm: Sequence[Points], held: Sequence[Held]
) -> float:
    """Draw the views side by side, and return their scale, pixels per millimetre.

    Parameters
    ----------
    page : Page
    lit : LitMesh
    colours : (n, 3) float32
        A colour per vertex.
    lines_mm : sequence of (k, 3) arrays
        On the figure; a closed one ends where it begins.
    held : sequence of Held
        Numbered in this order, where they can be seen.
    """
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
        _draw_lines(page, picture, corner, lines_mm)
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


def _draw_lines(page: Page, picture: Picture, corner, lines_mm: Sequence[Points]) -> None:
    """Ink lines in a halo of paper; behind the figure dashed and fine."""
    for curve in lines_mm:
        spots = picture.projection.place(curve) + corner
        shown = picture.shows(curve, slack_mm=SLACK_MM)
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
    """Without short runs: along an outline a line comes and goes by parts of a pixel."""
    window = min(SETTLED, len(shown))
    return uniform_filter1d(shown.astype(np.float64), window, mode="nearest") >= 0.35


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
