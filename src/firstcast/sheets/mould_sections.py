"""A section through a mould: the body hatched, either half in its tone, the parting between them as a line."""

import math

import numpy as np
from PIL import Image, ImageDraw

from firstcast.moulding.sections import Section
from firstcast.sheets.dimensions import arrow
from firstcast.sheets.face import FAINT_INK, INK, PAPER
from firstcast.sheets.setting import FINE, Box, Page

UPPER_TONE, LOWER_TONE = (226, 205, 170), (168, 182, 190)
"""Bone for the half that leaves along the pull, slate for the other: told apart by lightness too."""

SMALL_PX = 17.0
HATCH_PX, ROOM_PX = 9.0, 34.0


def draw_section(page: Page, section: Section, box: Box, name: str) -> None:
    """Draw a section within a box of the page, its name below it, the pull as an arrow at its left."""
    rows, columns = section.upper.shape
    wide_mm, tall_mm = (columns - 1) * section.step_mm, (rows - 1) * section.step_mm
    scale = min((box.right - box.left - ROOM_PX) / wide_mm, (box.bottom - box.top - ROOM_PX) / tall_mm)
    wide, tall = max(2, round(wide_mm * scale)), max(2, round(tall_mm * scale))
    left = round((box.left + ROOM_PX + box.right - wide) / 2)
    top = round(box.bottom - ROOM_PX - tall)
    page.image.paste(_halves(section, wide, tall), (left, top))
    _hatch_body(page, section, (left, top), (wide, tall), scale)
    frame = [(left, top), (left + wide, top), (left + wide, top + tall), (left, top + tall), (left, top)]
    page.line([(float(x), float(y)) for x, y in frame], width_px=1.4)
    x, middle = left - 18.0, top + tall / 2
    page.line([(x, middle + 40), (x, middle - 28)], width_px=1.5)
    arrow(page, (x, middle - 40), (0.0, -1.0))
    page.label((left + wide / 2, box.bottom - 6), name, size_px=14, anchor="ms")
    page.text((x, middle + 60), "pull", size_px=SMALL_PX, colour=FAINT_INK, anchor="ms")


def _halves(section: Section, wide: int, tall: int) -> Image.Image:
    """The halves in their tones and the line between them, the pull upwards."""
    fine = (wide * FINE, tall * FINE)
    # the body's places take the value of the nearest that have one, so that the line runs on to the body
    value = _filled(section.upper)
    grown = np.asarray(
        Image.fromarray(np.ascontiguousarray(value[::-1])).resize(fine, Image.Resampling.BILINEAR)
    )
    picture = np.empty((*grown.shape, 3), np.uint8)
    picture[:] = LOWER_TONE
    picture[grown > 0.0] = UPPER_TONE
    slope = np.hypot(*np.gradient(grown))
    line = np.abs(grown) < 1.3 * FINE / 2 * np.maximum(slope, 1e-6)
    picture[line] = INK
    return Image.fromarray(picture).resize((wide, tall), Image.Resampling.BOX)


def _filled(value):
    """Values with NaN replaced by the mean of what lies beside it, ring by ring."""
    value = value.copy()
    for _ in range(4):
        gone = np.isnan(value)
        if not gone.any():
            break
        padded = np.pad(value, 1, constant_values=np.nan)
        beside = np.stack([padded[:-2, 1:-1], padded[2:, 1:-1], padded[1:-1, :-2], padded[1:-1, 2:]])
        there = ~np.isnan(beside)
        count = there.sum(axis=0)
        mean = np.where(there, beside, 0.0).sum(axis=0) / np.maximum(count, 1)
        value = np.where(gone & (count > 0), mean, value)
    return np.nan_to_num(value, nan=1.0)


def _hatch_body(
    page: Page, section: Section, corner: tuple[int, int], size: tuple[int, int], scale: float
) -> None:
    """The cut body: paper, hatched at 45 degrees, outlined in ink."""
    wide, tall = size
    inside = np.zeros((tall * FINE, wide * FINE), np.bool_)
    loops = [np.column_stack([loop[:, 0] * scale, tall - loop[:, 1] * scale]) for loop in section.outlines]
    for loop in loops:
        mask = Image.new("1", (wide * FINE, tall * FINE))
        if len(loop) >= 3:
            ImageDraw.Draw(mask).polygon([tuple(spot) for spot in (loop * FINE).tolist()], fill=1)
        # what is within an odd number of outlines is body
        inside ^= np.asarray(mask)
    soft = Image.fromarray(np.where(inside, 255, 0).astype(np.uint8)).reduce(FINE)
    hatched = Image.new("RGB", (wide * FINE, tall * FINE), PAPER)
    pen = ImageDraw.Draw(hatched)
    step = round(HATCH_PX * math.sqrt(2.0) * FINE)
    for start in range(-tall * FINE, wide * FINE, step):
        pen.line(
            [(start, tall * FINE), (start + tall * FINE, 0)], fill=FAINT_INK, width=max(1, round(0.9 * FINE))
        )
    page.image.paste(hatched.reduce(FINE), corner, soft)
    for loop in loops:
        spots = [(corner[0] + float(x), corner[1] + float(y)) for x, y in [*loop, loop[0]]]
        page.line(spots, width_px=1.6)
