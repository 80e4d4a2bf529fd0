"""How thick a neck must become for a ring of rubber to be inside its bounds, and what that takes to fill."""

import numpy as np

from firstcast.process.materials import choose
from firstcast.process.release import ring_strain, strained

from .plot import Frame, axes, placed, spot
from .sheet import ACCENT, HEADING, arrow, circle, line, sheet, words

RUBBER = choose("mould", "addition-silicone-30a")
BULB_MM, NECK_MM, HIGH_MM = 10.0, 4.0, 4.0
"""The tests' mushroom: a cap of 10 mm on a stem of 4 mm, 4 mm high."""

SHARE = 0.15
"""From which a place is told, at the high end."""


def share(neck_mm: float) -> float:
    """What the ring asks for of what the rubber bears, at the high end."""
    asked = strained(ring_strain(BULB_MM, neck_mm), RUBBER)
    return max(asked.of_break.high, asked.of_tear.high)


def least_neck_mm() -> float:
    """The thinnest neck that is not told, by halving."""
    low, high = NECK_MM, BULB_MM
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if share(middle) < SHARE else (middle, high)
    return high


def _shares() -> list[str]:
    frame = Frame(64, 92, 470, 250, (NECK_MM, BULB_MM), (0.0, 1.0))
    parts = axes(
        frame,
        (4, 5, 6, 7, 8, 9, 10),
        (0, 0.25, 0.5, 0.75, 1),
        x_title="neck as it is filled, mm",
        y_title="of what it bears",
    )
    necks = np.linspace(*frame.x, 61)
    shares = np.array([share(neck) for neck in necks])
    seen = shares <= frame.y[1]
    parts += [line(placed(frame, necks[seen], shares[seen]), width=2.0)]
    parts += [line(placed(frame, frame.x, SHARE), width=1.0, dash="2 3")]
    x, y = spot(frame, frame.x[0], SHARE)
    parts += [words(x + 8, y - 8, f"told from {SHARE:g}")]
    neck = least_neck_mm()
    at, foot = spot(frame, neck, SHARE), spot(frame, neck, 0.0)
    volume = np.pi / 4.0 * (neck**2 - NECK_MM**2) * HIGH_MM
    parts += [
        arrow((at[0], at[1] - 70), (at[0], at[1] - 5), ink=ACCENT),
        circle(at[0], at[1], 4.0, fill=ACCENT),
    ]
    parts += [words(at[0] - 8, at[1] - 96, f"{neck:.1f} mm: {volume:.0f} mm³ to fill", ink=ACCENT)]
    assert foot[1] > at[1]
    return parts


def picture() -> str:
    """The page's picture as SVG text."""
    title = f"A ring below a bulb of {BULB_MM:g} mm, its neck of {NECK_MM:g} mm filled from the deepest place"
    parts = [words(20, 28, title, size=HEADING), *_shares()]
    said = "Share of what the rubber bears that a ring asks for, over the thickness of its neck, down to where it is not told any more"
    return sheet(408, said, parts)
