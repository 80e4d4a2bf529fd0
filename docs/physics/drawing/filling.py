"""What a liquid fills: the least radius of a pin over the pressure, and where the usual shots lie on it."""

import math

import numpy as np

from firstcast.process.filling import cast_fill, least_radius_mm, shot_of, shot_pressure_pa
from firstcast.process.materials import Casting, choose

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

TIN, ZINC, PLASTIC = (choose("cast", key) for key in ("tin-lead-free", "zinc", "polyurethane"))
FRAME = Frame(58, 84, 636, 316, (0.1, 1000.0), (0.001, 10.0), log_x=True, log_y=True)


def _line(casting: Casting, dash: str, scenario: str = "likely") -> str:
    """The least radius over all pressures of the frame."""
    tension = casting.surface_tension_n_m.scenario(scenario)
    angle = casting.contact_angle_deg.scenario(scenario)
    least, most = FRAME.y
    pressures = np.geomspace(*FRAME.x, 401)
    radii = np.array([least_radius_mm(tension, angle, 1000.0 * float(kpa)) for kpa in pressures])
    inside = (radii >= least) & (radii <= most)
    return line(placed(FRAME, pressures[inside], radii[inside]), dash=dash, width=2.0)


def _shot(key: str, name: str, row: float) -> tuple[list[str], tuple[float, float], float]:
    """A shot of tin: its pressures as a bar above, the likely one led down to the line; the dot, and the radius there."""
    pressure = shot_pressure_pa(shot_of(key), TIN.density_g_cm3)
    radius = cast_fill(TIN, shot_of(key)).pin_mm.likely
    low, likely, high = (0.001 * pressure.scenario(end) for end in ("low", "likely", "high"))
    dot = spot(FRAME, likely, radius)
    (first, _), (_, _), (last, _) = placed(FRAME, [low, likely, high], 1.0)
    parts = [
        line([(first, row), (last, row)], width=6.0, ink=CLAY),
        line([(first, row), (last, row)]),
        line([(dot[0], row), dot], width=0.8, dash="2 3"),
        circle(dot[0], row, 4.0, fill=INK),
        circle(*dot, 4.5, width=2.0, fill=INK),
        words(float(last) + 8, row + 5, name),
    ]
    return parts, dot, 2.0 * radius


def _sketch() -> list[str]:
    """Tin at the mouth of a pin that it does not enter yet: a round front that meets the wall at its own angle."""
    left, top, pin, deep, wall = 562.0, 196.0, 56.0, 62.0, 34.0
    turned = math.radians(TIN.contact_angle_deg.likely - 90.0)
    round_px = 0.5 * pin / math.sin(turned)
    sweep = np.linspace(turned, -turned, 41)
    middle = left + wall + 0.5 * pin
    front = np.stack(
        [middle - round_px * np.sin(sweep), top + round_px * (np.cos(sweep) - math.cos(turned))], axis=1
    )
    right = left + 2 * wall + pin
    foot = top + deep + 14
    mould = [
        (left, top),
        (left + wall, top),
        (left + wall, top + deep),
        (right - wall, top + deep),
        (right - wall, top),
        (right, top),
        (right, foot),
        (left, foot),
    ]
    mouth = mould[1:5]
    return [
        area([(left, top - 22), (right, top - 22), (right + 30, foot + 24), (left, foot + 24)], PAPER),
        area([(left, top - 22), (right, top - 22), (right, top), *front[::-1], (left, top)], CLAY),
        area(mould, FILM),
        line([mould[0], *mouth, mould[5]]),
        line(front, width=2.2),
        words(middle, top - 7, "liquid", size=SMALL, anchor="middle", ground=CLAY),
        words(middle, top + deep - 16, "air", size=SMALL, anchor="middle"),
        *(line([(x, top + deep), (x, foot + 20)], width=0.8) for x in (left + wall, right - wall)),
        dimension((left + wall, foot + 14), (right - wall, foot + 14)),
        words(right - wall + 8, foot + 19, "2 R", size=SMALL),
    ]


def picture() -> str:
    """The page's picture as SVG text."""
    parts = axes(
        FRAME,
        (0.1, 1, 10, 100, 1000),
        (0.001, 0.01, 0.1, 1, 10),
        x_title="pressure, kPa",
        y_title="least radius R, mm",
    )
    parts += [_line(ZINC, "8 4"), _line(TIN, ""), _line(PLASTIC, "2 3", "high")]
    poured, dot, width = _shot("gravity", "tin poured", 104.0)
    parts += [*poured, words(dot[0] - 10, dot[1] + 24, "pins of tin fill from", anchor="end", ink=ACCENT)]
    parts += [words(dot[0] - 10, dot[1] + 42, f"{width:.2f} mm width on", anchor="end", ink=ACCENT)]
    spun, dot, width = _shot("spin", "spun", 128.0)
    parts += [*spun, words(dot[0] - 12, dot[1] + 16, f"spun, from {width:.3f} mm width on", anchor="end")]
    angle = PLASTIC.contact_angle_deg
    parts += [
        words(*spot(FRAME, 9, 0.19), "zinc alloy"),
        words(*spot(FRAME, 0.115, 2.6), "tin alloy"),
        words(*spot(FRAME, 0.115, 0.009), f"polyurethane at {angle.high:g}°;"),
        words(*spot(FRAME, 0.115, 0.0052), "below 90° it wets, and"),
        words(*spot(FRAME, 0.115, 0.003), "there is no least radius"),
        *_sketch(),
        words(
            20, 28, "The finest round pin that a liquid enters; slits half as wide fill as well", size=HEADING
        ),
    ]
    return sheet(
        456, "The least radius of a pin that fills, over the pressure, for tin, zinc and polyurethane", parts
    )
