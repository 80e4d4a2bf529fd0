"""What peels at a print, layer by layer, and what bears it: reach of a fresh layer, wedges, necks, groups of tips.

A layer that is parted from the film bears the separation stress over its area (`strength.separation_load_n`). A fresh
underside is a plate as thick as light cures it, held at its edge; a sloping one is a wedge that thickens inward.
"""

import math

import numpy as np
import numpy.typing as npt

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


def neck_for_mm(load_n: float, strength_mpa: float, safety: float) -> float:
    """Diameter of the round neck that just bears a load: `neck_bears_n` turned round."""
    _positive(strength_mpa, safety)
    return math.sqrt(4.0 * safety * max(load_n, 0.0) / (math.pi * strength_mpa))


def share_matrix(
    places_mm: npt.NDArray[np.float64], weights: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """How necks share any load across a stiff body: as bolts share it under a rigid plate.

    Each gives in proportion to its load over its weight, and the body stays plane: F_i = w_i (a + b x_i + c y_i), with the
    sum of forces and of moments that of the load (the group of fasteners of any textbook of machine parts).

    Parameters
    ----------
    places_mm : (n, 2) float64
    weights : (n,) float64
        Areas of the necks.

    Returns
    -------
    (n, 3) float64
        What each bears of a load of 1 at their middle, and what it bears more if that acts 1 mm beside it along x, along y.
    (2,) float64
        Their middle.
    """
    middle = weights @ places_mm / weights.sum()
    away = np.column_stack([np.ones(len(places_mm)), places_mm - middle])
    stiff = away.T @ (weights[:, None] * away)
    # rows closer together than a micrometre have no arm
    return weights[:, None] * (away @ np.linalg.pinv(stiff, rcond=1e-6, hermitian=True)), middle


def share_load(
    places_mm: npt.NDArray[np.float64],
    weights: npt.NDArray[np.float64],
    load_n: float,
    at_mm: npt.NDArray[np.float64],
) -> npt.NDArray[np.float64]:
    """What each of some necks bears of a load that acts at a place: see `share_matrix`.

    Parameters
    ----------
    places_mm : (n, 2) float64
    weights : (n,) float64
        Areas of the necks.
    at_mm : (2,) float64
        Where the load acts.

    Returns
    -------
    (n,) float64
        Below zero where a neck is pressed. Where all stand in one place, or in a row, what they can't hold of the moment
        is left out: see `moment_left`.
    """
    shares, middle = share_matrix(places_mm, weights)
    return shares @ (load_n * np.array([1.0, *(at_mm - middle)]))


def moment_left(
    places_mm: npt.NDArray[np.float64],
    loads_n: npt.NDArray[np.float64],
    load_n: float,
    at_mm: npt.NDArray[np.float64],
) -> float:
    """Moment in N mm that shared loads leave over: what a single neck, or a row, can't hold by pulling."""
    return float(np.linalg.norm(load_n * at_mm - loads_n @ places_mm))


def _positive(*figures: float) -> None:
    if not all(math.isfinite(figure) and figure > 0.0 for figure in figures):
        raise InputError(f"figures {figures}", where="peel", mend="Give finite figures above zero.")
