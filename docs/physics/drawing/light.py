"""Light in resin: an edge under two kinds of spread, and how deep a flat ceiling is printed through."""

import math

import numpy as np

from firstcast.process.light import overdose_ratio, print_through_mm
from firstcast.process.materials import choose
from firstcast.process.spread import GaussianSpread, LorentzianSpread, Spread

from .plot import Frame, axes, placed, spot
from .sheet import (
    ACCENT,
    CLAY,
    FILM,
    HEADING,
    INK,
    SMALL,
    area,
    arrow,
    dimension,
    line,
    sheet,
    words,
)

LAYER_MM = 0.05
PRINTER, RESIN = choose("printer", "mono-35"), choose("resin", "standard")

STACKS = (1, 2, 5, math.inf)
"""Layers over the ceiling."""

SHOWN = 6
"""Layers that are drawn where there are many."""

SCALE = 400.0
"""Pixels of the section to a millimetre."""

TAIL_MM = 0.10
"""Where the tails are read: so far outside of the edge."""


def rise_mm(spread: Spread) -> float:
    """Width over which an edge's light rises from 10 to 90 % of full."""
    return spread.edge_growth_mm(0.1) - spread.edge_growth_mm(0.9)


def two_kinds() -> tuple[GaussianSpread, LorentzianSpread]:
    """The printer's Gaussian, and the Lorentzian whose edge rises from 10 to 90 % over the same width."""
    gaussian = GaussianSpread(PRINTER.blur_mm.likely)
    return gaussian, LorentzianSpread(rise_mm(gaussian) / rise_mm(LorentzianSpread(1.0)))


def _edge() -> list[str]:
    """Light across the edge of a lit half-plane, in per cent, for both kinds."""
    gaussian, lorentzian = two_kinds()
    frame = Frame(50, 92, 300, 186, (-0.15, 0.15), (0.0, 100.0))
    foot = frame.top + frame.height
    parts = axes(
        frame,
        (-0.15, -0.1, -0.05, 0, 0.05, 0.1, 0.15),
        (0, 10, 50, 90, 100),
        x_title="mm into the lit side",
        y_title="light, %",
    )
    x = np.linspace(*frame.x, 121)
    for spread, dash in ((gaussian, ""), (lorentzian, "7 4")):
        parts.append(line(placed(frame, x, 100.0 * spread.edge_response(x)), dash=dash, width=2.0))
    parts += [line([spot(frame, 0, 0), spot(frame, frame.x[1], 0)], width=4.0)]
    parts += [words(frame.left + frame.width, foot - 9, "lit", anchor="end")]
    parts += [words(*spot(frame, 0.017, 62), "Gaussian"), words(*spot(frame, 0.055, 81), "Lorentzian")]
    rise, above = rise_mm(gaussian), frame.top - 14
    for share in (10.0, 90.0):
        at = spot(frame, math.copysign(0.5 * rise, share - 50.0), share)
        parts.append(line([at, (at[0], above - 5)], width=0.8))
    parts += [dimension(*((spot(frame, end, 0)[0], above) for end in (-0.5 * rise, 0.5 * rise)))]
    parts += [words(spot(frame, 0, 0)[0], above - 10, f"10 to 90 %: {rise:.3f} mm", anchor="middle")]
    return [*parts, *_tail(frame)]


def _tail(frame: Frame) -> list[str]:
    """What is left of the light well outside of the edge."""
    gaussian, lorentzian = (100.0 * float(spread.edge_response(-TAIL_MM)) for spread in two_kinds())
    x, y = spot(frame, -TAIL_MM, lorentzian)
    return [
        arrow((x, y - 50), (x, y - 3), ink=ACCENT),
        words(frame.left + 5, y - 92, f"{TAIL_MM:.2f} mm outside", ink=ACCENT),
        words(frame.left + 5, y - 74, f"still {lorentzian:.1f} %", ink=ACCENT),
        words(frame.left + 5, y - 56, f"Gaussian {gaussian:.4f} %", size=SMALL),
    ]


def grown_mm(layers: float) -> float:
    """How far a flat ceiling grows under so many layers."""
    overdose = overdose_ratio(RESIN.cure_depth_mm.likely, RESIN.depth_mm.likely)
    return print_through_mm(overdose, layer_mm=LAYER_MM, depth_mm=RESIN.depth_mm.likely, layers=layers)


def _stack(layers: float, left: float, wide: float, ceiling: float) -> list[str]:
    """A section: layers over the ceiling, what hardens under it, and how deep that is."""
    right, grown = left + wide, grown_mm(layers)
    foot, top = ceiling + SCALE * grown, ceiling - SCALE * LAYER_MM * min(layers, SHOWN)
    many = layers == math.inf
    tooth = 5.0 if many else 0.0
    torn = [(left + wide * k / 6, top - tooth * (k % 2)) for k in range(7)]
    parts = [area([(left, ceiling), *torn, (right, ceiling)], CLAY), line(torn)]
    parts += [
        line([(left, y), (right, y)], width=0.7)
        for y in ceiling - SCALE * LAYER_MM * np.arange(1, min(layers, SHOWN))
    ]
    hardened = [(left, top), (left, foot), (right, foot), (right, top)]
    parts += [area([(left, ceiling), (left, foot), (right, foot), (right, ceiling)], FILM), line(hardened)]
    ink = ACCENT if many else INK
    name = "many" if many else f"{layers} layer{'s' if layers > 1 else ''}"
    middle = left + 0.5 * wide
    return [
        *parts,
        dimension((right + 9, ceiling), (right + 9, foot), ink=ink),
        words(middle, foot + 20, f"{grown:.3f}", anchor="middle", ink=ink),
        words(middle, top - 12, name, anchor="middle"),
    ]


def _ceiling() -> list[str]:
    """The same ceiling under more and more layers, light from above."""
    ceiling, left, wide, step = 212.0, 430.0, 46.0, 72.0
    parts = [line([(left - 14, ceiling), (704, ceiling)], width=1.0, dash="2 3")]
    parts += [words(left - 18, ceiling + 5, "ceiling", size=SMALL, anchor="end")]
    parts += [arrow((x, 74), (x, 110)) for x in (436.0, 453.0, 470.0)]
    parts += [words(453, 64, "light", size=SMALL, anchor="middle")]
    for number, layers in enumerate(STACKS):
        parts += _stack(layers, left + step * number, wide, ceiling)
    return parts


def picture() -> str:
    """The page's picture as SVG text."""
    depth, cured = RESIN.depth_mm.likely, RESIN.cure_depth_mm.likely
    figures = f"layers {LAYER_MM:.2f}, Dp {depth:.2f}, one layer cures {cured:.2f} mm deep"
    parts = [
        words(20, 28, "An edge's light", size=HEADING),
        words(416, 28, "How far a flat ceiling grows, mm", size=HEADING),
        *_edge(),
        *_ceiling(),
        words(704, 316, figures, size=SMALL, anchor="end"),
    ]
    shown = (
        "An edge's light, as a Gaussian and as a Lorentzian; a ceiling's growth under 1, 2, 5 and many layers"
    )
    return sheet(332, shown, parts)
