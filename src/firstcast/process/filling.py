"""How sharp a detail a liquid fills at a pressure: mould rubber round a master, casting material in a mould.

A liquid that does not wet (contact angle θ above 90°) is kept out of narrow places by its surface until the
pressure overcomes it (Young and Laplace):

    ΔP = 2 σ |cos θ| / R   in a pin or pit of radius R          ΔP = σ |cos θ| / a   in a slit of half-width a

A liquid that wets (θ below 90°) is drawn in: no pressure is needed and there is no least radius. What it
leaves unfilled then is a matter of time, viscosity and shut-in air, which these formulas do not hold.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, fields
from functools import cache

from firstcast.errors import InputError
from firstcast.process.figures import figure_from, nearest_word, read_data
from firstcast.process.materials import Casting, Mould
from firstcast.ranges import Range
from firstcast.vocabulary import Basis, ProcessKind

GRAVITY_M_S2 = 9.80665
ATMOSPHERE_KPA = 101.325

PIN, SLIT = 2, 1
"""Form of a place to be filled: how many directions its surface is curved in."""

_MM = 1e-3
_FORMULA = "Young and Laplace"


@dataclass(frozen=True)
class Shot:
    """What pushes the casting material into the mould: heads, pressures, spin. See `data/shots.toml`."""

    key: str
    title: str
    head_mm: Range
    gauge_kpa: Range
    speed_rpm: Range
    surface_radius_mm: Range
    detail_radius_mm: Range


USUAL_SHOT = {
    ProcessKind.CUT_BLOCK: "gravity",
    ProcessKind.TWO_PART_BLOCK: "gravity",
    ProcessKind.SPIN_DISC: "spin",
    ProcessKind.HARD_TOOL: "injection",
}
"""The shot of each kind of process that casts."""


@cache
def shot_of(key: str) -> Shot:
    """The packaged shot of that name: gravity, pressure-pot, spin or injection."""
    data = read_data("shots")
    if key not in data:
        raise InputError(f"there is no shot '{key}'", where="shot", mend=nearest_word(key, data))
    table = data[key]
    figures = {
        f.name: figure_from(table[f.name], where=f"shots.toml [{key}] {f.name}")
        for f in fields(Shot)
        if f.name not in ("key", "title")
    }
    return Shot(key=key, title=table["title"], **figures)


def capillary_pressure_pa(tension_n_m: float, angle_deg: float, width_mm: float, form: int = PIN) -> float:
    """Pressure that it takes to enter a pin of that diameter, or a slit of that width; negative: drawn in."""
    resists = -math.cos(math.radians(angle_deg))
    return form * tension_n_m * resists / (0.5 * width_mm * _MM)


def least_radius_mm(tension_n_m: float, angle_deg: float, pressure_pa: float, form: int = PIN) -> float:
    """Radius of the least pin, or half the width of the least slit, that fills; 0 where it wets."""
    resists = -math.cos(math.radians(angle_deg))
    # cos 90° is 6e-17 in floating point: a right angle neither resists nor draws.
    if resists <= 1e-12:
        return 0.0
    return form * tension_n_m * resists / pressure_pa / _MM if pressure_pa > 0 else math.inf


def corner_gap_mm(tension_n_m: float, angle_deg: float, pressure_pa: float, corner_deg: float) -> float:
    """What stays empty at the bottom of a long corner of the mould, from the corner's line to the liquid.

    The surface is a cylinder of radius r = σ / ΔP that meets both walls at θ; with half the corner's angle α
    the gap is r (|cos θ| / sin α - 1), and none where θ ≤ 90° + α (P. Concus and R. Finn, 1969). A
    closing by a ball of radius r is the case θ = 180°, so it leaves more than the liquid does.
    """
    resists = -math.cos(math.radians(angle_deg))
    sharp = resists / math.sin(math.radians(0.5 * corner_deg)) - 1.0
    if sharp <= 0:
        return 0.0
    return tension_n_m / pressure_pa / _MM * sharp if pressure_pa > 0 else math.inf


def head_pressure_pa(head_mm: float, density_g_cm3: float) -> float:
    """Pressure under a head of liquid, ρ g h."""
    return 1000.0 * density_g_cm3 * GRAVITY_M_S2 * head_mm * _MM


def head_mm(pressure_pa: float, density_g_cm3: float) -> float:
    """Head of liquid that makes a pressure."""
    return pressure_pa / (1000.0 * density_g_cm3 * GRAVITY_M_S2) / _MM


def spin_pressure_pa(density_g_cm3: float, speed_rpm: float, from_mm: float, to_mm: float) -> float:
    """Pressure at `to_mm` from the axis of a liquid spun with its free surface at `from_mm`: ρω²(r2² - r1²)/2.

    0 inside the free surface.
    """
    turning = speed_rpm * 2.0 * math.pi / 60.0
    return max(0.0, 500.0 * density_g_cm3 * turning**2 * (to_mm**2 - from_mm**2) * _MM**2)


def fills_from_mm(pressure_pa: float, density_g_cm3: float, speed_rpm: float, from_mm: float) -> float:
    """Distance from the axis from which on a spun liquid has a pressure: `spin_pressure_pa` turned round."""
    turning = speed_rpm * 2.0 * math.pi / 60.0
    return math.sqrt(from_mm**2 + pressure_pa / (500.0 * density_g_cm3 * turning**2) / _MM**2)


def boyle_ratio(from_kpa: float, to_kpa: float) -> float:
    """Volume of shut-in air after its absolute pressure changed, over before."""
    return from_kpa / to_kpa


def bubble_ratio(gauge_kpa: float) -> float:
    """Diameter of a bubble under so much more than an atmosphere, over before: the cube root of Boyle's."""
    return boyle_ratio(ATMOSPHERE_KPA, ATMOSPHERE_KPA + gauge_kpa) ** (1.0 / 3.0)


def shot_pressure_pa(shot: Shot, density_g_cm3: Range) -> Range:
    """Pressure at the detail, head, gas and spin added; low where every figure pushes least."""
    ends = []
    for push, hold in (("low", "high"), ("likely", "likely"), ("high", "low")):
        density = density_g_cm3.scenario(push)
        head = head_pressure_pa(shot.head_mm.scenario(push), density)
        spin = spin_pressure_pa(
            density,
            shot.speed_rpm.scenario(push),
            shot.surface_radius_mm.scenario(hold),
            shot.detail_radius_mm.scenario(push),
        )
        ends.append(head + 1000.0 * shot.gauge_kpa.scenario(push) + spin)
    figures = [getattr(shot, f.name) for f in fields(shot) if f.name not in ("key", "title")]
    return Range(ends[0], ends[1], ends[2], "Pa", _least_sure([density_g_cm3, *figures]), shot.title)


@dataclass(frozen=True)
class LeastFill:
    """The least radius that a liquid fills: `slit_mm` half the width of a slit, `pin_mm` the radius of a pin.

    `wets`: whether it wets in all of its range, so that there is no least radius. `says`: in words.
    """

    slit_mm: Range
    pin_mm: Range
    wets: bool
    says: str


def _least_sure(figures: Iterable[Range]) -> Basis:
    bases = [figure.basis for figure in figures]
    unsure = [figure.basis for figure in figures if not figure.calibrated]
    return (unsure or bases)[0]


def _least_fill(name: str, tension_n_m: Range, angle_deg: Range, pressure_pa: Range) -> LeastFill:
    basis = _least_sure((angle_deg, tension_n_m, pressure_pa))
    slit, pin = (
        Range(
            least_radius_mm(tension_n_m.low, angle_deg.low, pressure_pa.high, form),
            least_radius_mm(tension_n_m.likely, angle_deg.likely, pressure_pa.likely, form),
            least_radius_mm(tension_n_m.high, angle_deg.high, pressure_pa.low, form),
            "mm",
            basis,
            _FORMULA,
        )
        for form in (SLIT, PIN)
    )
    if pin.high == 0:
        says = f"{name} wets: no least radius"
    elif pin.likely == 0:
        says = f"{name} likely wets; where it does not, it fills from {slit.high:.2g} mm radius on"
    else:
        says = (
            f"{name} fills slits from {2 * slit.likely:.2g} mm width on, pins from {2 * pin.likely:.2g} mm on"
        )
    return LeastFill(slit, pin, pin.high == 0, says)


NOTHING_FILLS = LeastFill(
    Range.exactly(0.0, "mm", Basis.STANDARD),
    Range.exactly(0.0, "mm", Basis.STANDARD),
    True,
    "nothing is filled",
)
"""A step without a liquid: a tool that is cut, or no mould at all."""


def mould_fill(mould: Mould) -> LeastFill:
    """How sharp a detail of the master the rubber takes, under its own head (one wall) and what presses it."""
    if mould.chemistry in ("metal", "none"):
        return NOTHING_FILLS
    low, likely, high = (
        head_pressure_pa(mould.wall_mm.scenario(s), mould.density_g_cm3.scenario(s))
        + 1e6 * mould.cure_pressure_mpa.scenario(s)
        for s in ("low", "likely", "high")
    )
    figures = (mould.wall_mm, mould.density_g_cm3, mould.cure_pressure_mpa)
    pressure = Range(low, likely, high, "Pa", _least_sure(figures), "head and press")
    return _least_fill(mould.title, mould.surface_tension_n_m, mould.contact_angle_deg, pressure)


def cast_fill(casting: Casting, shot: Shot) -> LeastFill:
    """How sharp a detail of the mould the casting material fills in a shot, its air let out."""
    if casting.family == "none":
        return NOTHING_FILLS
    pressure = shot_pressure_pa(shot, casting.density_g_cm3)
    return _least_fill(casting.title, casting.surface_tension_n_m, casting.contact_angle_deg, pressure)
