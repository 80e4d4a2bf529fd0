"""How a piece is to be held: what loads it, what bears it, and the tab's end."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.starts import Bearing

Floats = npt.NDArray[np.float64]

ON_TAB_MM = 0.15
"""So near to the plane of the tab's end, and within its outline grown by this, a site is the tab's."""


@dataclass(frozen=True)
class TabEnd:
    """End face of the tab in print space, before the piece is lifted.

    `middle_mm`, `along`, `toward` (3,) float64; `length_mm`, `width_mm` of the face.
    """

    middle_mm: Floats
    along: Floats
    toward: Floats
    length_mm: float
    width_mm: float

    def moved(self, offset_mm: Floats) -> "TabEnd":
        """Moved by an offset."""
        return replace(self, middle_mm=self.middle_mm + offset_mm)

    def holds(self, places: Floats) -> npt.NDArray[np.bool_]:
        """(n,) which places lie on the face."""
        away = places - self.middle_mm
        across = np.cross(self.toward, self.along)
        level = np.abs(away @ self.toward) <= ON_TAB_MM
        within = np.abs(away @ self.along) <= 0.5 * self.length_mm + ON_TAB_MM
        return level & within & (np.abs(away @ across) <= 0.5 * self.width_mm + ON_TAB_MM)


@dataclass(frozen=True)
class Strength:
    """What loads and holds: likely loads against the weakest resin, with a factor between them.

    `stress_kpa` parts a layer from the film; `strength_mpa` and `modulus_mpa` are of the resin as it leaves the vat.
    """

    stress_kpa: float
    strength_mpa: float
    modulus_mpa: float
    density_g_cm3: float
    safety: float


@dataclass(frozen=True)
class Wanted:
    """How a piece is to be held.

    Attributes
    ----------
    pixel_mm : (float, float)
    layer_mm, lift_mm : float
        Height of a layer; of the piece's lowest place over the platform.
    freedom_mm : float
        How far tips may move to smoother spots.
    rounds : int
        How often tips are added where a look at the layers with props still finds something.
    """

    pixel_mm: tuple[float, float]
    layer_mm: float
    lift_mm: float
    freedom_mm: float
    rounds: int
    bearing: Bearing
    strength: Strength
    shapes: PropShapes
