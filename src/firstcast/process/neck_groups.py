"""How necks bear a load together under a stiff body: each pulled or pressed, and each bent by itself.

The body stays plane, so the stress is one plane over x and y through the sections of all necks, as in a bar whose section is
made of several discs (the formula of bending and the parallel axes, any textbook of strength of materials): σ = a + b x + c y,
with ∫ σ dA the load and ∫ σ x dA, ∫ σ y dA its moments. A neck far from others bears by its place, A x²; one alone, or a row across,
by its own stiffness in bending, A d² / 16. The greatest stress of a neck is at its rim.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Borne:
    """What each of some necks bears of some loads.

    Attributes
    ----------
    away_mm : (n, 2) float64
        Middles of the necks from the middle of all their sections.
    diameters_mm : (n,) float64
    planes : (3, r) float64
        For each load the stress there in MPa, and by how much it grows with each mm along x and along y.
    """

    away_mm: Floats
    diameters_mm: Floats
    planes: Floats

    @property
    def middle_mpa(self) -> Floats:
        """(n, r) stress in the middle of each neck: above zero pulled by a load above zero."""
        return self.planes[0] + self.away_mm @ self.planes[1:]

    @property
    def bending_mpa(self) -> Floats:
        """(n, r) by how much more the rim is stressed."""
        return rim_mpa(self.planes.T, self.diameters_mm).T

    @property
    def greatest_mpa(self) -> Floats:
        """(n, r) the greatest stress, pulling or pressing."""
        return np.abs(self.middle_mpa) + self.bending_mpa

    @property
    def loads_n(self) -> Floats:
        """(n, r) what pulls each along it; below zero where it is pressed."""
        return areas_mm2(self.diameters_mm)[:, None] * self.middle_mpa

    @property
    def moments_nmm(self) -> Floats:
        """(n, 2, r) what bends each: ∫ σ x dA and ∫ σ y dA about its own middle."""
        return seconds_mm4(self.diameters_mm)[:, None, None] * self.planes[1:]


def share(places_mm: Floats, diameters_mm: Floats, loads_n: Floats, at_mm: Floats) -> Borne:
    """What each neck bears of loads that act at places, whatever those are.

    Parameters
    ----------
    places_mm : (n, 2) float64
    diameters_mm : (n,) float64
        Above zero.
    loads_n : (r,) float64
    at_mm : (r, 2) float64
        Where they act.
    """
    areas = areas_mm2(diameters_mm)
    middle = areas @ places_mm / areas.sum()
    away = places_mm - middle
    stiff = sections(away, diameters_mm).sum(axis=0)
    totals = np.vstack([loads_n, (at_mm - middle).T * loads_n])
    return Borne(away, diameters_mm, np.linalg.solve(stiff, totals))


def sections(places_mm: Floats, diameters_mm: Floats) -> Floats:
    """(..., 3, 3) what the section of each neck adds to a group: ∫ dA, ∫ x dA, ∫ x² dA and so on, in mm² to mm⁴.

    Parameters
    ----------
    places_mm : (..., 2) float64
        From a place near the middle of the group, or figures cancel.
    diameters_mm : (...) float64
        0 adds nothing.
    """
    spots = np.concatenate([np.ones((*places_mm.shape[:-1], 1)), places_mm], axis=-1)
    out = areas_mm2(diameters_mm)[..., None, None] * spots[..., :, None] * spots[..., None, :]
    own = seconds_mm4(diameters_mm)
    out[..., 1, 1] += own
    out[..., 2, 2] += own
    return out


def rim_mpa(planes: Floats, diameters_mm: Floats) -> Floats:
    """(k, n) by how much the rim of each neck is stressed more than its middle, for planes (k, 3)."""
    return np.hypot(planes[:, 1], planes[:, 2])[:, None] * 0.5 * diameters_mm


def areas_mm2(diameters_mm: Floats) -> Floats:
    """π d² / 4."""
    return np.pi / 4.0 * diameters_mm**2


def seconds_mm4(diameters_mm: Floats) -> Floats:
    """Second moment of each section about its own middle: π d⁴ / 64, which is A d² / 16."""
    return np.pi / 64.0 * diameters_mm**4


def neck_grows(pulled: Floats, bent: Floats) -> Floats:
    """By how much necks must be thicker to bear what they do, where they are used by so much: the root of s³ = pulled s + bent.

    What pulls a neck stresses it by the square of its thickness, what bends it by the cube.

    Parameters
    ----------
    pulled, bent : (...) float64
        Stress by either, over what it may be; not below zero.

    Returns
    -------
    (...) float64
        Below 1 where it could be thinner.
    """
    most = np.maximum(np.sqrt(2.0 * pulled), np.cbrt(2.0 * bent))
    out = np.maximum(most, 1e-9)
    # from above, where the cubic is convex, Newton's steps only fall: nine are enough for the last digit
    for _ in range(9):
        out = out - (out**3 - pulled * out - bent) / np.maximum(3.0 * out**2 - pulled, 1e-18)
    return np.where(most > 0.0, out, 0.0)
