"""What a pin's tip bears across, over its thickness: prints, and what is cast from them."""

from typing import NamedTuple

from firstcast.process.filling import GRAVITY_M_S2
from firstcast.process.materials import choose
from firstcast.process.strength import RoundSection, Stuff, bears, cast, cured, green
from firstcast.ranges import Range

from .plot import Frame, axes, placed, spot
from .sheet import ACCENT, CLAY, FILM, HEADING, INK, area, arrow, circle, dimension, line, sheet, words

LENGTH_MM = 5.0
READ_MM = 0.5
"""Thickness at which the ranges are told."""

RESIN = choose("resin", "standard")


class Pin(NamedTuple):
    """What a pin is made of: its name, its dash, and how far from the line's end its name stands."""

    name: str
    dash: str
    down_px: float
    stuff: Stuff


PINS = (
    Pin("zinc alloy", "", 5, cast(choose("cast", "zinc"))),
    Pin("print, post-cured", "8 4", -4, cured(RESIN)),
    Pin("polyurethane", "8 4", -4, cast(choose("cast", "polyurethane"))),
    Pin("tin alloy", "10 3 2 3", 6, cast(choose("cast", "tin-lead-free"))),
    Pin("print, green", "2 3", 8, green(RESIN)),
)
"""The strongest first."""


def breaks_n(stuff: Stuff, diameter_mm: float) -> Range:
    """Load across the tip at which the root breaks or bends for good."""
    return bears(stuff, RoundSection(diameter_mm), LENGTH_MM).breaks_n


def _loads() -> list[str]:
    """Likely loads over thickness, one line for what bears the same."""
    frame = Frame(54, 84, 330, 270, (0.2, 2.0), (0.001, 100.0), log_x=True, log_y=True)
    parts = axes(
        frame,
        (0.2, 0.3, 0.5, 1, 2),
        (0.001, 0.01, 0.1, 1, 10, 100),
        x_title="thickness, mm",
        y_title="load, N",
    )
    ends: dict[tuple[float, float], list[Pin]] = {}
    for pin in PINS:
        loads = [breaks_n(pin.stuff, thickness).likely for thickness in frame.x]
        ends.setdefault((loads[0], loads[1]), []).append(pin)
    for loads, pins in ends.items():
        parts.append(line(placed(frame, frame.x, loads), dash=pins[0].dash, width=2.0))
        x, y = spot(frame, frame.x[1], loads[1])
        parts.append(words(x + 8, y + pins[0].down_px, "; ".join(pin.name for pin in pins)))
    weakest = breaks_n(PINS[-1].stuff, READ_MM).likely
    at, foot = spot(frame, READ_MM, weakest), spot(frame, READ_MM, frame.y[0])
    grams = 1000.0 * weakest / GRAVITY_M_S2
    parts += [arrow((at[0], foot[1]), (at[0], at[1] + 2), ink=ACCENT)]
    parts += [words(at[0] + 10, foot[1] - 40, f"{weakest:.3f} N,", ink=ACCENT)]
    parts += [words(at[0] + 10, foot[1] - 20, f"the weight of {grams:.1f} g", ink=ACCENT)]
    return [*parts, *_sketch()]


def _sketch() -> list[str]:
    """The pin, fixed at its root, and the load across its tip."""
    root, long, thick, middle = 92.0, 100.0, 9.0, 128.0
    high, low = middle - 0.5 * thick, middle + 0.5 * thick
    tip = root + long
    pin = [(root, high), (tip, high), (tip, low), (root, low)]
    return [
        area(
            [(root - 14, middle - 24), (root, middle - 24), (root, middle + 24), (root - 14, middle + 24)],
            FILM,
        ),
        line([(root, middle - 24), (root, middle + 24)]),
        area(pin, CLAY),
        line(pin),
        arrow((tip - 4, high - 26), (tip - 4, high - 1), width=1.6),
        words(tip + 4, high - 12, "load"),
        line([(tip, low + 3), (tip, low + 22)], width=0.8),
        dimension((root, low + 17), (tip, low + 17)),
        words(root + 0.5 * long, low + 36, f"{LENGTH_MM:g} mm", anchor="middle"),
    ]


def _ranges() -> list[str]:
    """Low, likely and high at one thickness."""
    frame = Frame(556, 226, 144, 128, (0.01, 1.0), (0.0, 1.0), log_x=True)
    parts = axes(frame, (0.01, 0.1, 1), (), x_title="load, N")
    parts += [
        words(
            frame.left + frame.width, frame.top - 10, f"{READ_MM:g} mm thick: low, likely, high", anchor="end"
        )
    ]
    for row, pin in enumerate(PINS):
        load = breaks_n(pin.stuff, READ_MM)
        y = frame.top + 14 + 25 * row
        (low, _), (likely, _), (high, _) = placed(frame, [load.low, load.likely, load.high], 0.0)
        parts += [line([(low, y), (high, y)], width=6.0, ink=CLAY), line([(low, y), (high, y)])]
        parts += [circle(float(likely), y, 4.0, fill=INK)]
        parts += [words(frame.left - 8, y + 5, pin.name, anchor="end")]
    return parts


def picture() -> str:
    """The page's picture as SVG text."""
    parts = [
        words(
            20,
            28,
            f"Load across the tip at which a round pin {LENGTH_MM:g} mm long breaks or bends for good",
            size=HEADING,
        ),
        *_loads(),
        *_ranges(),
    ]
    return sheet(
        408,
        "The load that breaks a pin, over its thickness, for prints and casts; and its range at 0.5 mm",
        parts,
    )
