"""Pins, blades and props as beams: when they buckle, how far they bend, at what load they break.

Euler-Bernoulli beams of one section along their length (any textbook of strength of materials). Shear, left
out, would bend a blade further by about 0.8 (t / L)² of it (Timoshenko): a tenth at three thicknesses long.
The root is taken for rigid and without a notch: a rounded root or a taper bears more, a notch at a layer less.
"""

import math
from dataclasses import dataclass

from firstcast.errors import InputError
from firstcast.process.materials import Casting, Resin
from firstcast.ranges import SCENARIOS, Range

FIXED_FIXED, FIXED_PINNED, PINNED_PINNED, FIXED_FREE = 0.5, 0.7, 1.0, 2.0
"""Effective length over length, for Euler's load; 0.7 is the usual rounding of 0.699."""


@dataclass(frozen=True)
class RoundSection:
    """A round pin."""

    diameter_mm: float

    def __post_init__(self) -> None:
        _positive(self.diameter_mm)

    @property
    def area_mm2(self) -> float:
        """π d² / 4."""
        return math.pi * self.diameter_mm**2 / 4.0

    @property
    def second_moment_mm4(self) -> float:
        """π d⁴ / 64."""
        return math.pi * self.diameter_mm**4 / 64.0

    @property
    def modulus_mm3(self) -> float:
        """Second moment over the distance to the outermost fibre: π d³ / 32."""
        return math.pi * self.diameter_mm**3 / 32.0


@dataclass(frozen=True)
class BladeSection:
    """A blade, bent across its thickness."""

    width_mm: float
    thickness_mm: float

    def __post_init__(self) -> None:
        _positive(self.width_mm)
        _positive(self.thickness_mm)

    @property
    def area_mm2(self) -> float:
        """b t."""
        return self.width_mm * self.thickness_mm

    @property
    def second_moment_mm4(self) -> float:
        """b t³ / 12."""
        return self.width_mm * self.thickness_mm**3 / 12.0

    @property
    def modulus_mm3(self) -> float:
        """b t² / 6."""
        return self.width_mm * self.thickness_mm**2 / 6.0


Section = RoundSection | BladeSection


def _positive(length_mm: float) -> None:
    if not (math.isfinite(length_mm) and length_mm > 0):
        raise InputError(f"a section of {length_mm} mm", where="strength", mend="Give more than 0.")


def euler_load_n(
    modulus_mpa: float, section: Section, length_mm: float, effective: float = FIXED_FREE
) -> float:
    """Load along a pin at which it buckles, π² E I / (K L)². A blade buckles across its thickness."""
    return math.pi**2 * modulus_mpa * section.second_moment_mm4 / (effective * length_mm) ** 2


def tip_deflection_mm(load_n: float, modulus_mpa: float, section: Section, length_mm: float) -> float:
    """How far a load across its tip bends a cantilever, F L³ / 3 E I: for small bends."""
    return load_n * length_mm**3 / (3.0 * modulus_mpa * section.second_moment_mm4)


def deflecting_load_n(deflection_mm: float, modulus_mpa: float, section: Section, length_mm: float) -> float:
    """Load across the tip that bends a cantilever so far: `tip_deflection_mm` turned round."""
    return 3.0 * modulus_mpa * section.second_moment_mm4 * deflection_mm / length_mm**3


def root_stress_mpa(load_n: float, section: Section, length_mm: float) -> float:
    """Bending stress at a cantilever's root under a load across its tip, F L / W."""
    return load_n * length_mm / section.modulus_mm3


def breaking_load_n(strength_mpa: float, section: Section, length_mm: float) -> float:
    """Load across the tip at which the root's stress reaches the strength, f W / L: it bends for good or breaks."""
    return strength_mpa * section.modulus_mm3 / length_mm


def pull_load_n(strength_mpa: float, section: Section) -> float:
    """Load along it that a neck bears, f A."""
    return strength_mpa * section.area_mm2


def separation_load_n(stress_kpa: float, area_mm2: float) -> float:
    """Load that parts a layer, or a cup, from the film: stress times area."""
    return stress_kpa * 1e-3 * area_mm2


def suction_load_n(viscosity_pa_s: float, speed_mm_s: float, radius_mm: float, gap_mm: float) -> float:
    """Viscous suction of a flat disc lifted off a film through resin (J. Stefan, 1874): 3 π μ v R⁴ / 2 h³."""
    # Pa s · mm/s · mm⁴ / mm³ = Pa · mm² = 1e-6 N.
    return 1.5e-6 * math.pi * viscosity_pa_s * speed_mm_s * radius_mm**4 / gap_mm**3


@dataclass(frozen=True)
class Stuff:
    """What a pin is made of: modulus and strength in one state."""

    name: str
    modulus_mpa: Range
    strength_mpa: Range


def green(resin: Resin) -> Stuff:
    """The print as it leaves the vat."""
    return Stuff(f"{resin.title}, green", resin.green_modulus_mpa, resin.green_strength_mpa)


def cured(resin: Resin) -> Stuff:
    """The print after post-cure."""
    return Stuff(f"{resin.title}, post-cured", resin.modulus_mpa, resin.strength_mpa)


def cast(casting: Casting) -> Stuff:
    """The casting."""
    return Stuff(casting.title, casting.modulus_mpa, casting.strength_mpa)


@dataclass(frozen=True)
class Bears:
    """What a pin or blade bears, low to high.

    Attributes
    ----------
    buckles_n : Range
        Load along it, held as given.
    breaks_n : Range
        Load across its tip at which its root breaks or bends for good.
    gives_mm : Range
        How far its tip has bent by then.
    """

    buckles_n: Range
    breaks_n: Range
    gives_mm: Range


def bears(stuff: Stuff, section: Section, length_mm: float, effective: float = FIXED_FREE) -> Bears:
    """What a pin or blade of this stuff bears, fixed at its root.

    Raises
    ------
    InputError
        The stuff has no modulus, as where nothing is cast.
    """
    modulus, strength = stuff.modulus_mpa, stuff.strength_mpa
    if modulus.low <= 0:
        raise InputError("no modulus", where=stuff.name, mend="Give its modulus in [process.override].")
    weaker = modulus if not modulus.calibrated else strength
    buckles = modulus.map(lambda e: euler_load_n(e, section, length_mm, effective))
    breaks = strength.map(lambda f: breaking_load_n(f, section, length_mm))
    least, likely, most = (
        tip_deflection_mm(breaks.scenario(at), modulus.scenario(stiff), section, length_mm)
        for at, stiff in zip(SCENARIOS, reversed(SCENARIOS), strict=True)
    )
    return Bears(
        Range(buckles.low, buckles.likely, buckles.high, "N", modulus.basis, modulus.source),
        Range(breaks.low, breaks.likely, breaks.high, "N", strength.basis, strength.source),
        Range(least, likely, most, "mm", weaker.basis, weaker.source),
    )
