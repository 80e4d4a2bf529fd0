"""The page of a block that is poured in one: the line for the knife on the figure, and its wave on the block's face rolled out.

The wave can be drawn at its true size on a strip of paper that is laid round the block.
"""

from collections.abc import Sequence

import numpy as np

from firstcast.geometry.mesh import Mesh
from firstcast.moulding.knife import KnifeCut
from firstcast.sheets import dimensions
from firstcast.sheets.face import ACCENT, FAINT_INK, SHADOW
from firstcast.sheets.mould_page import LOW_PX, LOW_TALL_PX, MouldPage, draw_held_figure
from firstcast.sheets.mould_sections import UPPER_TONE
from firstcast.sheets.mould_views import BETWEEN_PX, DPI, MARGIN_PX, SMALL_PX, WIDE_PX, WORDS_PX, Held
from firstcast.sheets.plate import Title
from firstcast.sheets.print_page import Fact
from firstcast.sheets.pull_map import PullMap, draw_pull_map
from firstcast.sheets.setting import Box, Page

SIDES = ("front", "its left", "behind", "its right")
"""What lies a quarter of the way round the face from the one before, seen from outside, the gate below."""

GATE_SAYS, FACE_SAYS = "gate's end", "the block's face, rolled out"


def draw_knife_page(
    mesh: Mesh,
    knife: KnifeCut,
    pulls: PullMap,
    *,
    title: Title,
    held: Sequence[Held] = (),
    facts: Sequence[Fact] = (),
    foot: str = "",
    kind: str = "where the block is cut",
) -> MouldPage:
    """Draw a body with the line along which its block is cut open.

    Parameters
    ----------
    mesh : Mesh
        The body, in figure space, mm.
    knife : KnifeCut
    pulls : PullMap
        What every pull would hold.
    held : sequence of Held
        Places that hold the rubber, what matters most first; they are numbered in this order.
    facts, foot
        The column of words: figures, the last sentence.
    kind : str
        What stands at the right of the heading.
    """
    tones = np.tile(np.asarray(UPPER_TONE, np.float32), (len(mesh.points), 1))
    page, scale = draw_held_figure(
        mesh, tones, [knife.on_body_mm], title=title, kind=kind, held=held, facts=facts,
        reasons=knife.words, foot=foot, key=_draw_key,
    )  # fmt: skip
    room = WIDE_PX - 2 * MARGIN_PX - WORDS_PX
    map_px = LOW_TALL_PX - 20.0
    _draw_face(
        page, knife, Box(MARGIN_PX, LOW_PX, MARGIN_PX + room - map_px - 2 * BETWEEN_PX, LOW_PX + LOW_TALL_PX)
    )
    draw_pull_map(page, pulls, (MARGIN_PX + room - map_px / 2 - 52, LOW_PX + map_px / 2 + 4), map_px / 2)
    return MouldPage(page, scale)


def _draw_key(page: Page, left: float, top: float) -> None:
    """What the lines mean."""
    for number, (seen, says) in enumerate(
        ((True, "the blade's tip follows it"), (False, "behind the figure"))
    ):
        y = top + 28.0 * number
        line = [(left, y + 9), (left + 34, y + 9)]
        if seen:
            page.line(line, width_px=2.6)
        else:
            page.line(line, width_px=1.1, colour=FAINT_INK, dash_px=(5.0, 5.0))
        page.text((left + 46, y + 16), says, size_px=SMALL_PX)
    page.line([(left, top + 60), (page.width_px - MARGIN_PX, top + 60)], width_px=1.0, colour=SHADOW)


def _draw_face(page: Page, knife: KnifeCut, box: Box) -> None:
    """The block's face rolled out, the wave in its middle, the gate's end below."""
    round_mm, long_mm = knife.face_mm
    # sides are named above it; its size stands below and at its left
    room = box.right - box.left - 70.0, box.bottom - box.top - 96.0
    most = min(room[0] / round_mm, room[1] / long_mm)
    scale = dimensions.drawing_scale(most * 25.4 / DPI) * DPI / 25.4
    wide, tall = round_mm * scale, long_mm * scale
    left = box.left + 70.0 + (room[0] - wide) / 2.0
    foot = box.top + 40.0 + tall
    middle_mm = float(np.median(knife.on_face_mm[:, 0]))
    page.line(
        [(left, foot), (left + wide, foot), (left + wide, foot - tall), (left, foot - tall), (left, foot)], width_px=1.4
    )  # fmt: skip
    _name_sides(page, (left, foot - tall, foot), scale, middle_mm - round_mm / 2.0, round_mm)
    wave = [
        (left + (x - middle_mm + round_mm / 2.0) * scale, foot - y * scale)
        for x, y in knife.on_face_mm.tolist()
    ]
    # the cut goes on to both ends of the block
    page.line([(wave[0][0], foot), *wave, (wave[-1][0], foot - tall)], width_px=2.6)
    page.disc((wave[0][0], foot), 6.0, colour=ACCENT)
    page.text((wave[0][0] + 14.0, foot - 8.0), GATE_SAYS, size_px=SMALL_PX)
    dimensions.height_line(page, foot - tall, foot, box.left + 24.0, (left + wide, left), long_mm, SMALL_PX)
    says = f"{FACE_SAYS}, {round_mm:.0f} mm round"
    page.label((left + wide / 2.0, foot + 34.0), says, size_px=14, anchor="ms")


def _name_sides(
    page: Page, at: tuple[float, float, float], scale: float, first_mm: float, round_mm: float
) -> None:
    """A fine line up the face at every quarter turn, and the side of the figure that it is before."""
    left, top, foot = at
    quarter = round_mm / 4.0
    for number in range(int(np.ceil(first_mm / quarter)), int(np.floor((first_mm + round_mm) / quarter)) + 1):
        x = left + (number * quarter - first_mm) * scale
        page.line([(x, top), (x, foot)], width_px=1.0, colour=FAINT_INK, dash_px=(3.0, 6.0))
        if left + 30.0 < x < left + round_mm * scale - 30.0:
            page.text((x, top - 10.0), SIDES[number % 4], size_px=SMALL_PX, colour=FAINT_INK, anchor="ms")
