"""Details as a drawing shows them: a ring with a letter about a place, and the ring enlarged."""

from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageDraw

from firstcast.sheets.dimensions import BAR_STEPS_MM
from firstcast.sheets.face import INK, PAPER
from firstcast.sheets.setting import FINE, Box, Page, Place

LETTER_PX = 12.0
"""Half-size of the disc that a letter stands on."""
LEAST_RING_PX = 9.0
MOST_BAR_PX = 150.0
LETTER_TURNS_DEG = (-45, 45, -135, 135, 0, 180, -90, 90)


def draw_letter(page: Page, letter: str, place: Place, half_px: float = LETTER_PX) -> Box:
    """A letter in paper on a disc of ink; returns the disc's box."""
    page.disc(place, half_px, colour=INK)
    page.text(place, letter, size_px=1.5 * half_px, colour=PAPER, anchor="mm")
    return box_about(place, half_px)


def draw_ring(
    page: Page, letter: str, place: Place, radius_px: float, *, hidden: bool, taken: Sequence[Box]
) -> Box:
    """A ring about a place, dashed where the place is hidden, as hidden edges are; its letter where room is.

    The letter stands in the first of eight directions in which it overlaps none of the `taken` boxes; returns its
    own.
    """
    radius = max(LEAST_RING_PX, radius_px)
    ring(page, place, radius, width_px=4.0, paper=True)
    ring(page, place, radius, width_px=1.6, dashed=hidden)
    turns = np.radians(LETTER_TURNS_DEG)
    out = radius + LETTER_PX
    seats = [(place[0] + out * float(np.cos(t)), place[1] + out * float(np.sin(t))) for t in turns]
    free = (seat for seat in seats if not any(box_about(seat, LETTER_PX).overlaps(other) for other in taken))
    return draw_letter(page, letter, next(free, seats[0]))


def ring(
    page: Page, place: Place, radius_px: float, *, width_px: float, dashed: bool = False, paper: bool = False
) -> None:
    """A circle's line, in ink or in paper."""
    turns = np.linspace(0.0, 2.0 * np.pi, max(24, round(radius_px)) + 1)
    places = [
        (place[0] + radius_px * float(np.cos(t)), place[1] + radius_px * float(np.sin(t))) for t in turns
    ]
    page.line(
        places, width_px=width_px, colour=PAPER if paper else INK, dash_px=(5.0, 4.0) if dashed else None
    )


def paste_ring(page: Page, picture: Image.Image, corner: tuple[int, int]) -> None:
    """A square picture cut to its inscribed circle, with a line around it; its upper left at `corner`."""
    wide = picture.width
    mask = Image.new("L", (wide * FINE, wide * FINE), 0)
    ImageDraw.Draw(mask).ellipse((FINE, FINE, (wide - 1) * FINE, (wide - 1) * FINE), fill=255)
    page.image.paste(picture, corner, mask.reduce(FINE))
    ring(page, (corner[0] + wide / 2, corner[1] + wide / 2), wide / 2 - 1.0, width_px=2.0)


def draw_bar(page: Page, right: float, y: float, px_per_mm: float, size_px: float) -> Box:
    """A bar of a round length, its end at `right` but for the number beside it."""
    step = max((s for s in BAR_STEPS_MM if s * px_per_mm <= MOST_BAR_PX), default=BAR_STEPS_MM[0])
    number = page.text((right, y + 0.35 * size_px), f"{step:g} mm", size_px=size_px, anchor="rs")
    end = number.left - 9.0
    start = end - step * px_per_mm
    page.box(Box(start, y - 2.5, end, y + 2.5), colour=INK)
    for x in (start, end):
        page.line([(x, y - 8), (x, y + 8)], width_px=1.4)
    return Box(start, y - 8, right, y + 8)


def box_about(place: Place, half_px: float) -> Box:
    """A square box about a place."""
    return Box(place[0] - half_px, place[1] - half_px, place[0] + half_px, place[1] + half_px)
