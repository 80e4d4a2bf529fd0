"""What a ring and a plug of rubber must stretch by to leave, over bulb and section to neck, beside what rubber bears."""

import numpy as np

from firstcast.process.materials import choose
from firstcast.process.release import gent_modulus_mpa, plug_strain, ring_strain, tearing_stretch

from .plot import Frame, axes, placed, spot
from .sheet import ACCENT, HEADING, arrow, circle, line, sheet, words

RUBBER = choose("mould", "addition-silicone-30a")
BULB_MM, NECK_MM = 10.0, 4.0
"""A worked example: a ball of 10 mm through a neck of 4 mm stretches it by 150 %."""


def _strains() -> list[str]:
    """Strain over bulb and neck as lengths: a ring's, and a plug's, whose sections go as the square."""
    frame = Frame(64, 92, 480, 250, (1.0, 3.0), (0.0, 800.0))
    parts = axes(
        frame,
        (1, 1.5, 2, 2.5, 3),
        (0, 200, 400, 600, 800),
        x_title="bulb over neck",
        y_title="must stretch by, %",
    )
    ratios = np.linspace(1.0, 3.0, 41)
    ring = [100.0 * ring_strain(ratio, 1.0).likely for ratio in ratios]
    plug = [100.0 * plug_strain(ratio**2, 1.0).likely for ratio in ratios]
    parts += [
        line(placed(frame, ratios, ring), width=2.0),
        line(placed(frame, ratios, plug), width=2.0, dash="8 4"),
    ]
    x, y = spot(frame, ratios[-1], ring[-1])
    parts.append(words(x + 8, y + 5, "a ring, round a bulb"))
    x, y = spot(frame, ratios[-1], plug[-1])
    parts.append(words(x + 8, y + 5, "a plug, in a hollow"))
    strain = 100.0 * ring_strain(BULB_MM, NECK_MM).likely
    at, foot = spot(frame, BULB_MM / NECK_MM, strain), spot(frame, BULB_MM / NECK_MM, 0.0)
    parts += [arrow((at[0], foot[1]), (at[0], at[1] + 5), ink=ACCENT), circle(at[0], at[1], 4.0, fill=ACCENT)]
    parts += [words(at[0] + 8, foot[1] - 12, f"{strain:.0f} %", ink=ACCENT)]
    bears = 100.0 * RUBBER.elongation_ratio.likely
    parts += [line(placed(frame, frame.x, bears), width=1.0, dash="2 3")]
    x, y = spot(frame, frame.x[0], bears)
    parts += [words(x + 8, y - 8, f"tears unhurt at {bears:.0f} %")]
    torn = 100.0 * (tearing_stretch(gent_modulus_mpa(RUBBER.shore_a.likely), RUBBER.tear_kn_m.likely) - 1.0)
    if torn < frame.y[1]:
        parts += [line(placed(frame, frame.x, torn), width=1.0, dash="10 3 2 3")]
        x, y = spot(frame, frame.x[0], torn)
        parts += [words(x + 8, y - 8, f"a nick runs on at {torn:.0f} %")]
    return parts


def picture() -> str:
    """The page's picture as SVG text."""
    parts = [
        words(20, 28, f"What locked rubber must stretch by to leave: {RUBBER.title}", size=HEADING),
        *_strains(),
    ]
    return sheet(
        408,
        "Strain of a ring and of a plug of rubber over the ratio of bulb to neck, beside the elongation at which the rubber tears",
        parts,
    )
