"""What peels at a print, layer by layer, and what bears it: reach of a fresh layer, wedges, necks.

A layer that is parted from the film bears the separation stress over its area (`strength.separation_load_n`). A fresh
underside is a plate as thick as light cures it, held at its edge; a sloping one is a wedge that thickens inward. How necks share
a load: `neck_groups.py`.
"""

import math

from firstcast.errors import InputError
from firstcast.process.strength import RoundSection, pull_load_n

GRAVITY_N_G = 9.80665e-3
"""Weight of a gram (standard gravity, BIPM 1901)."""


def bending_reach_mm(stress_kpa: float, strength_mpa: float, thick_mm: float) -> float:
    """How far a plate held at one edge may stand out under an even stress: t √(f / 3 q), from q L² / 2 = f t² / 6."""
    _positive(stress_kpa, strength_mpa, thick_mm)
    return thick_mm * math.sqrt(strength_mpa / (3.0 * stress_kpa * 1e-3))


def sagging_reach_mm(stress_kpa: float, modulus_mpa: float, thick_mm: float, sag_mm: float) -> float:
    """How far it may stand out until its edge bends by `sag_mm`: from w = q L⁴ / 8 E I, I = t³ / 12."""
    _positive(stress_kpa, modulus_mpa, thick_mm, sag_mm)
    return (sag_mm * modulus_mpa * thick_mm**3 / (1.5 * stress_kpa * 1e-3)) ** 0.25


def bearing_slope_deg(stress_kpa: float, strength_mpa: float) -> float:
    """The underside, over level, that bears an even stress however long it is: tan² = 3 q / f.

    A wedge that is x tan θ thick at x from its edge has the same bending stress everywhere.
    """
    _positive(stress_kpa, strength_mpa)
    return math.degrees(math.atan(math.sqrt(3.0 * stress_kpa * 1e-3 / strength_mpa)))


def neck_bears_n(strength_mpa: float, diameter_mm: float, safety: float) -> float:
    """What a round neck may bear along it: f π d² / 4, over the factor of safety."""
    _positive(strength_mpa, diameter_mm, safety)
    return pull_load_n(strength_mpa, RoundSection(diameter_mm)) / safety


def _positive(*figures: float) -> None:
    if not all(math.isfinite(figure) and figure > 0.0 for figure in figures):
        raise InputError(f"figures {figures}", where="peel", mend="Give finite figures above zero.")
