"""What a post costs in resin before the frame is known: enough to choose between ways."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.stepped import HELD_SQUARED, stepped_loads_n

Floats = npt.NDArray[np.float64]
Figures = npt.NDArray[np.floating] | np.floating | float


@dataclass(frozen=True)
class PostCost:
    """Resin that a post takes: by its least thickness, by what presses it before it buckles, by what bends it.

    Attributes
    ----------
    least_mm : float
        Least diameter.
    buckles_mm4_n : float
        A post of diameter d and length l bears d⁴ / (this · l²), in N; see `cost_of`.
    bends_mm3_nmm : float
        A post of diameter d bears a moment of d³ / this, in N mm.
    foot_mm3 : float
    """

    least_mm: float
    buckles_mm4_n: float
    bends_mm3_nmm: float
    foot_mm3: float

    @property
    def least_mm2(self) -> float:
        """Section of the thinnest post."""
        return float(np.pi / 4.0 * self.least_mm**2)

    def area_mm2(self, load_n: Figures, length_mm: Figures, moment_nmm: Figures) -> Floats:
        """Section that a load over a length, and a load beside the post, ask for.

        Hinged at its tips and held at its foot, a post bends by half the moment at most, at the foot.
        """
        fourth = self.buckles_mm4_n * np.asarray(load_n) * np.asarray(length_mm) ** 2
        third = self.bends_mm3_nmm * 0.5 * np.asarray(moment_nmm)
        wide = np.maximum(np.maximum(fourth, 0.0) ** 0.25, np.cbrt(third))
        return np.pi / 4.0 * np.maximum(wide, self.least_mm) ** 2

    def stress_use(self, load_n: float, wide_mm: float) -> float:
        """What a load along a round post stresses it by, over what it may: F / (π d² / 4) over f / s."""
        return load_n * self.bends_mm3_nmm / (8.0 * wide_mm**2)

    def buckling_use(self, load_n: float, lengths_mm: Floats, wide_mm: Floats) -> float:
        """What presses a post of parts (k,), hinged at both ends, over what it may bear before it buckles."""
        softness = self.buckles_mm4_n * HELD_SQUARED * np.pi / 64.0
        return float(load_n * softness / stepped_loads_n(1.0, [lengths_mm], [wide_mm])[0])

    def down_mm3(self, load_n: Figures, length_mm: Figures, moment_nmm: Figures) -> Floats:
        """A post of such a length, and its foot."""
        return self.area_mm2(load_n, length_mm, moment_nmm) * length_mm + self.foot_mm3


def cost_of(shapes: PropShapes, modulus_mpa: float, strength_mpa: float, safety: float) -> PostCost:
    """Euler's load turned round, with a foot that is held: d⁴ = 64 s F l² / 20.19 π E; and bending: d³ = 32 s M / π f."""
    foot = np.pi / 4.0 * shapes.foot_mm**2 * 0.6 * shapes.foot_height_mm
    buckles, bends = (
        64.0 * safety / (HELD_SQUARED * np.pi * modulus_mpa),
        32.0 * safety / (np.pi * strength_mpa),
    )
    return PostCost(shapes.post_mm, buckles, bends, float(foot))
