"""How far a large flat face is printed outside of its place, by the way it looks.

An upright wall grows by what light spreads sideways, a face that looks down by what later layers shine through; one that
looks up ends with its last layer. It is the plane of `firstcast.forecast.printed`, whose dose has one place
where it is critical; what bends near the face is not in it.
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from firstcast.forecast.light import depth_of, growth_mm
from firstcast.forecast.printed import plane_dose
from firstcast.process.chain import ChainScenario
from firstcast.process.spread_patterns import gaussian_parts

STEP_MM = 0.001
"""Places along the normal at which the dose is computed; between them it is taken as straight."""

SPREADS = 4.0
"""So many widths of the light's spread beyond the farthest growth are looked at."""


def plane_growth_mm(chain: ChainScenario, upward: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """How far planes of a thick body grow along their outward normals when they are printed.

    Parameters
    ----------
    chain : ChainScenario
    upward : (n,) float64
        The z of each plane's outward unit normal in the printer's axes, -1 (looks down) to 1.

    Returns
    -------
    (n,) float64
        mm at master size; 0 where nothing is printed. Negative: so much stays liquid.

    Notes
    -----
    Of faces that look down the dose is averaged over where the layers lie, which errs by h² / 24 Dp
    (`firstcast.process.light.depth_kernel`); others are as if a layer ended at them.
    """
    ways = np.atleast_1d(np.asarray(upward, dtype=np.float64))
    if not chain.prints:
        return np.zeros(len(ways))
    different, number = np.unique(np.round(ways, 6), return_inverse=True)
    return np.array([_growth(chain, float(way)) for way in different])[number]


@lru_cache(maxsize=4096)
def _growth(chain: ChainScenario, upward: float) -> float:
    depth = depth_of(chain)
    far = growth_mm(chain) + chain.layer_mm + SPREADS * chain.spread.width_mm + 2.0 * max(chain.pixel_mm)
    s = np.arange(-far, far + STEP_MM / 2, STEP_MM)
    sideways = float(np.sqrt(max(1.0 - upward * upward, 0.0)))
    spread = [(weight, sideways * part.sigma_mm) for weight, part in gaussian_parts(chain.spread)]
    boxes = [sideways * max(chain.pixel_mm)] * chain.boxes
    if upward < 0.0:
        boxes.append(chain.layer_mm * -upward)
    dose = plane_dose(s, depth, chain.layer_mm * upward, spread, boxes)
    last = np.flatnonzero(dose >= 1.0)
    if not len(last):
        return -far
    k = int(last[-1])
    if k + 1 >= len(s):
        return far
    return float(s[k] + STEP_MM * (dose[k] - 1.0) / (dose[k] - dose[k + 1]))
