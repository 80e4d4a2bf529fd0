"""A film of paint in grooves: sections before and after the closing ball, and what depth is left."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.process.films import paint_film, square_groove_left_mm, v_groove_left_mm
from firstcast.process.materials import choose

from .plot import Frame, axes, placed, spot
from .sheet import (
    ACCENT,
    CLAY,
    FILM,
    HEADING,
    INK,
    PAPER,
    SMALL,
    area,
    circle,
    dimension,
    line,
    sheet,
    words,
)

Values = npt.NDArray[np.float64]

PAINT = choose("paint", "brushed")
BALL_MM = paint_film(PAINT, "likely").radius_mm
DEPTH_MM = 0.10

STEP_MM = 0.0005
"""Between the places of a section that discs are rolled over."""

SCALE, LEFT, TOP = 700.0, 31.0, 134.0
"""Pixels of the section to a millimetre; where its surface begins."""


class Groove(NamedTuple):
    """A groove in the section: its name, its width, where it begins, and whether its walls are upright."""

    name: str
    width_mm: float
    begins_mm: float
    square: bool


GROOVES = (
    Groove("square", 0.20, 0.07, True),
    Groove("square", 0.09, 0.34, True),
    Groove("V", 0.20, 0.50, False),
    Groove("V", 0.10, 0.77, False),
)
END_MM = 0.94


def outline() -> Values:
    """(n, 2) mm: the section's surface, corner by corner, 0 at the lands."""
    corners = [(0.0, 0.0)]
    for groove in GROOVES:
        first, last = groove.begins_mm, groove.begins_mm + groove.width_mm
        floor = [first, last] if groove.square else [0.5 * (first + last)]
        corners += [(first, 0.0), *((x, -DEPTH_MM) for x in floor), (last, 0.0)]
    return np.array([*corners, (END_MM, 0.0)])


def rolled(x: Values, radius_mm: float) -> tuple[Values, Values]:
    """Heights of the surface at evenly spaced x after a disc has rolled over it, and of the disc's middle."""
    corners = outline()
    # an upright wall is as wide as a thousandth of a step
    apart = corners[:, 0] + 1e-3 * STEP_MM * np.arange(len(corners))
    surface = np.interp(x, apart, corners[:, 1])
    shifts = np.arange(-int(radius_mm / STEP_MM), int(radius_mm / STEP_MM) + 1)
    disc = np.sqrt(radius_mm**2 - (shifts * STEP_MM) ** 2)
    middle, closed = np.full(len(x), -np.inf), np.full(len(x), np.inf)
    far = np.pad(surface, len(disc), mode="edge")
    around = len(disc) + np.arange(len(x))
    for shift, rise in zip(shifts, disc, strict=True):
        middle = np.maximum(middle, far[around + shift] + rise)
    far = np.pad(middle, len(disc), mode="edge")
    for shift, rise in zip(shifts, disc, strict=True):
        closed = np.minimum(closed, far[around + shift] - rise)
    return closed, middle


def _pixels(x: npt.ArrayLike, height: npt.ArrayLike) -> Values:
    return np.stack([LEFT + SCALE * np.asarray(x), TOP - SCALE * np.asarray(height)], axis=1)


def _section() -> list[str]:
    """All grooves in one body, the film in them, and the ball where it rests."""
    x = np.asarray(STEP_MM * np.arange(round(END_MM / STEP_MM) + 1), np.float64)
    closed, middle = rolled(x, BALL_MM)
    corners, foot = _pixels(*outline().T), TOP + SCALE * DEPTH_MM + 22
    ends = [(corners[-1, 0], foot), (corners[0, 0], foot)]
    film = _pixels(x, closed)
    parts = [area([*film, *ends], FILM), area([*corners, *ends], CLAY), line(corners), line(film, width=2.2)]
    for groove in GROOVES:
        parts += _groove(groove, x, closed, middle)
    return parts


def _groove(groove: Groove, x: Values, closed: Values, middle: Values) -> list[str]:
    """The ball in a groove, how deep the groove is before and after, and both in words."""
    mid = groove.begins_mm + 0.5 * groove.width_mm
    at = int(np.argmin(np.abs(x - mid)))
    left = -float(closed[at])
    expected = (square_groove_left_mm if groove.square else v_groove_left_mm)(
        groove.width_mm, DEPTH_MM, BALL_MM
    )
    if abs(left - expected) > STEP_MM:
        raise ValueError(f"the rolled disc leaves {left} mm of {groove}")
    fits = groove.width_mm >= 2.0 * BALL_MM and groove.square
    rests = groove.begins_mm + BALL_MM if fits else mid
    ball = _pixels([rests], [float(np.interp(rests, x, middle))])[0]
    (across, deep), (_, land) = _pixels([mid, mid], [-left, 0.0])
    across += 12.0 if fits else 0.0
    lost = left < 0.5 * DEPTH_MM
    foot = TOP + SCALE * DEPTH_MM + 42
    begins, ends = (LEFT + SCALE * (groove.begins_mm + share * groove.width_mm) for share in (0, 1))
    return [
        circle(float(ball[0]), float(ball[1]), SCALE * BALL_MM, dash="5 3"),
        line([(begins, land), (ends, land)], width=0.8, dash="2 3"),
        dimension((across, land), (across, deep), ink=ACCENT if lost else INK),
        words(LEFT + SCALE * mid, foot, f"{groove.name}, {groove.width_mm:.2f} wide", anchor="middle"),
        words(
            LEFT + SCALE * mid,
            foot + 20,
            f"{left:.3f} left",
            anchor="middle",
            ink=ACCENT if lost else INK,
        ),
    ]


def _left() -> list[str]:
    """Depth left over the groove's width, for the balls of the mildest, likely and strongest film."""
    frame = Frame(50, 338, 640, 130, (0.0, 0.5), (0.0, DEPTH_MM))
    parts = axes(
        frame,
        (0, 0.1, 0.2, 0.3, 0.4, 0.5),
        (0, 0.05, 0.1),
        x_title="square groove's width, mm",
        y_title="depth left of 0.10, mm",
    )
    drawn = (("low", "2 3", 0.037, 0.075), ("likely", "", 0.14, 0.075), ("high", "8 4", 0.30, 0.02))
    for scenario, dash, x, y in drawn:
        radius = paint_film(PAINT, scenario).radius_mm
        # both sides of the width at which the ball goes in, where the depth left jumps
        jump = 2.0 * radius * np.array([1.0 - 1e-9, 1.0])
        widths = np.sort(np.append(np.linspace(*frame.x, 1001), jump[jump < frame.x[1]]))
        left = [square_groove_left_mm(float(width), DEPTH_MM, radius) for width in widths]
        parts.append(line(placed(frame, widths, left), dash=dash, width=2.0))
        name = {"low": "mildest", "likely": "likely", "high": "strongest"}[scenario]
        parts.append(words(*spot(frame, x, y), f"ball {radius:.3g}, {name}"))
    for groove in GROOVES[:2]:
        left = square_groove_left_mm(groove.width_mm, DEPTH_MM, BALL_MM)
        parts.append(circle(*spot(frame, groove.width_mm, left), 4.5, width=2.0, fill=PAPER))
    return parts


def picture() -> str:
    """The page's picture as SVG text."""
    parts = [
        words(
            20,
            28,
            f"Grooves {DEPTH_MM:.2f} mm deep under paint that levels as a ball of radius {BALL_MM:.3f} mm",
            size=HEADING,
        ),
        *_section(),
        *_left(),
        words(50, 506, f"{PAINT.title}; rings: the square grooves above", size=SMALL),
    ]
    shown = (
        "Sections of square and V grooves before and after a film, and the depth that is left over the width"
    )
    return sheet(520, shown, parts)
