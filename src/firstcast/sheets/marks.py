"""Numbered marks for findings: a shape for each verdict, and leaders from the mark to the place.

ring = sound, triangle = watch, square = stop. Only what must be decided is in the accent.
"""

from dataclasses import dataclass

import numpy as np

from firstcast.sheets.face import ACCENT, INK, PAPER
from firstcast.sheets.setting import Box, Page, Place
from firstcast.vocabulary import Verdict

MARK_PX = 19.0
"""Half-size of a mark on a plate."""


@dataclass(frozen=True)
class Mark:
    """A numbered mark on a plate: where it stands, and the place that its leader points at."""

    number: int
    verdict: Verdict
    view: str
    mark_px: Place
    place_px: Place
    hidden: bool


def draw_shape(page: Page, place: Place, verdict: Verdict, half_px: float, number: str = "") -> Box:
    """The verdict's shape about `place`, with a number in it; returns the shape's box."""
    x, y = place
    if verdict is Verdict.STOP:
        half = 0.88 * half_px
        page.box(Box(x - half, y - half, x + half, y + half), colour=ACCENT)
        _number(page, (x, y), number, half_px, PAPER)
    elif verdict is Verdict.WATCH:
        low = y + 0.24 * half_px
        _triangle(page, x, low, 1.32 * half_px, INK)
        _triangle(page, x, low, 1.32 * half_px - 2.0 * max(1.7, 0.12 * half_px), PAPER)
        _number(page, (x, low + 0.02 * half_px), number, 0.80 * half_px, INK)
    else:
        page.disc(place, 0.96 * half_px, colour=INK)
        page.disc(place, 0.96 * half_px - 2.2 * max(0.8, half_px / MARK_PX), colour=PAPER)
        _number(page, (x, y), number, half_px, INK)
    return Box(x - half_px, y - half_px, x + half_px, y + half_px)


def _triangle(page: Page, x: float, y: float, radius_px: float, colour) -> None:
    """An upright triangle whose corners are `radius_px` from its centroid (x, y)."""
    page.polygon(
        [
            (x, y - radius_px),
            (x + 0.866 * radius_px, y + 0.5 * radius_px),
            (x - 0.866 * radius_px, y + 0.5 * radius_px),
        ],
        colour=colour,
    )


def _number(page: Page, place: Place, number: str, half_px: float, colour) -> None:
    if number:
        page.text(
            place,
            number,
            size_px=1.28 * half_px if len(number) < 2 else 1.08 * half_px,
            colour=colour,
            anchor="mm",
        )


def spread(wanted: list[float], least_gap: float, low: float, high: float) -> list[float]:
    """Heights as near as can be to the wanted ones (ascending), at least `least_gap` apart, within low .. high.

    Runs that touch are moved together to the mean of what they want: the least-squares answer to ordered
    places with a gap (pooled neighbours; Barlow, Bartholomew, Bremner, Brunk 1972, from memory).
    """
    runs: list[list[float]] = []
    for index, want in enumerate(wanted):
        runs.append([want - index * least_gap, 1.0])
        while len(runs) > 1 and runs[-2][0] > runs[-1][0]:
            mean, count = runs.pop()
            runs[-1] = [
                (runs[-1][0] * runs[-1][1] + mean * count) / (runs[-1][1] + count),
                runs[-1][1] + count,
            ]
    bases = [mean for mean, count in runs for _ in range(int(count))]
    top = high - (len(wanted) - 1) * least_gap
    return [float(np.clip(base, low, max(low, top))) + index * least_gap for index, base in enumerate(bases)]


def draw_mark(page: Page, mark: Mark) -> Box:
    """A leader with a dot on the place, then the mark; a hidden place gets a dashed leader, as hidden edges do."""
    colour = ACCENT if mark.verdict is Verdict.STOP else INK
    (x, y), (px, py) = mark.mark_px, mark.place_px
    side = 1.0 if px > x else -1.0
    start = x + side * (MARK_PX + 1.0)
    knee = start + side * min(14.0, 0.4 * abs(px - start))
    path = [(start, y), (knee, y), (px, py)]
    page.line(path, width_px=4.2, colour=PAPER)
    page.line(path, width_px=1.5, colour=colour, dash_px=(7.0, 5.0) if mark.hidden else None)
    page.disc((px, py), 6.4, colour=PAPER)
    page.disc((px, py), 4.2, colour=colour)
    if mark.hidden:
        page.disc((px, py), 2.2, colour=PAPER)
    return draw_shape(page, (x, y), mark.verdict, MARK_PX, str(mark.number))
