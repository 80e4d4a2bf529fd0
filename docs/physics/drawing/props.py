"""What a tip's neck bears over its thickness, and how far a fresh layer may stand out over the stress that peels it."""

import numpy as np

from firstcast.process.materials import choose
from firstcast.process.peel import bending_reach_mm, neck_bears_n, sagging_reach_mm

from .plot import Frame, axes, placed, spot
from .sheet import ACCENT, HEADING, INK, arrow, circle, line, sheet, words

RESIN = choose("resin", "standard")
PRINTER = choose("printer", "mono-35")
SAFETY, NECK_MM, LAYER_MM = 2.0, 0.3, 0.05


def _necks() -> list[str]:
    """Load over thickness for the weakest, likely and strongest green resin."""
    frame = Frame(54, 92, 270, 250, (0.1, 1.0), (0.01, 20.0), log_x=True, log_y=True)
    parts = axes(
        frame, (0.1, 0.2, 0.3, 0.5, 1), (0.01, 0.1, 1, 10), x_title="neck, mm", y_title="may bear, N"
    )
    green = RESIN.green_strength_mpa
    for strength, dash, name in (
        (green.high, "8 4", "high"),
        (green.likely, "2 3", "likely"),
        (green.low, "", "low"),
    ):
        loads = [neck_bears_n(strength, neck, SAFETY) for neck in frame.x]
        parts.append(line(placed(frame, frame.x, loads), dash=dash, width=2.0))
        x, y = spot(frame, frame.x[1], loads[1])
        parts.append(words(x + 8, y + 5, f"{name}, {strength:g} MPa"))
    bears = neck_bears_n(green.low, NECK_MM, SAFETY)
    at, foot = spot(frame, NECK_MM, bears), spot(frame, NECK_MM, frame.y[0])
    parts += [arrow((at[0], foot[1]), (at[0], at[1] + 5), ink=ACCENT), circle(at[0], at[1], 4.0, fill=ACCENT)]
    parts += [words(at[0] + 10, foot[1] - 22, f"{bears:.3f} N", ink=ACCENT)]
    return parts


def _reaches() -> list[str]:
    """How far a fresh layer stands out by strength and by sag, over the stress."""
    frame = Frame(470, 92, 220, 250, (5.0, 50.0), (0.0, 2.0), log_x=True)
    parts = axes(
        frame, (5, 10, 15, 25, 50), (0, 0.5, 1, 1.5, 2), x_title="separation stress, kPa", y_title="reach, mm"
    )
    cured, strength = RESIN.cure_depth_mm.likely, RESIN.green_strength_mpa.low / SAFETY
    stress = np.geomspace(5.0, 50.0, 40)
    bend = [bending_reach_mm(q, strength, cured) for q in stress]
    sag = [sagging_reach_mm(q, RESIN.green_modulus_mpa.low, cured, 0.5 * LAYER_MM) for q in stress]
    parts += [
        line(placed(frame, stress, bend), width=2.0),
        line(placed(frame, stress, sag), width=2.0, dash="8 4"),
    ]
    x, y = spot(frame, stress[4], bend[4])
    parts.append(words(x + 12, y - 6, "until it breaks, over 2"))
    x, y = spot(frame, stress[10], sag[10])
    parts.append(words(x - 30, y + 62, "until it sags by"))
    parts.append(words(x - 30, y + 80, "half a layer"))
    likely = PRINTER.separation_stress_kpa.likely
    reach = min(
        bending_reach_mm(likely, strength, cured),
        sagging_reach_mm(likely, RESIN.green_modulus_mpa.low, cured, 0.5 * LAYER_MM),
    )
    x, y = spot(frame, likely, reach)
    parts += [circle(x, y, 4.0, fill=ACCENT), words(x + 2, y + 26, f"{reach:.2f} mm", ink=ACCENT)]
    return parts


def picture() -> str:
    """The page's picture as SVG text."""
    parts = [
        words(20, 28, "Green standard resin, a factor of safety of 2", size=HEADING, ink=INK),
        words(20, 54, "What a tip's neck may bear; how far a fresh layer may stand out"),
        *_necks(),
        *_reaches(),
    ]
    return sheet(
        408,
        "The load that a tip's neck may bear over its thickness; the reach of a fresh layer over the separation stress",
        parts,
    )
