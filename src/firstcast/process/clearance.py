"""How much a tab may have to spare in its slot once every size step has done what it may."""

from collections.abc import Sequence

import numpy as np

from firstcast.process.shrink import SizeStep, spread_of


def clearances_mm(
    steps: Sequence[SizeStep], tab_mm: float, slot_mm: float, *, slot_is_cast: bool, offset_mm: float
) -> tuple[float, float]:
    """Least and greatest width of the slot less that of the tab, mm, along the least favourable axis.

    Parameters
    ----------
    steps : sequence of SizeStep
        All steps, in the figure's axes.
    tab_mm, slot_mm : float
        Nominal widths.
    slot_is_cast : bool
        Whether the slot shrinks like the tab, or comes at its size from elsewhere.
    offset_mm : float
        What every outer length of a cast gains; an inner one loses as much.
    """
    found: list[float] = []
    for axis in range(3):
        ratio = spread_of(steps, np.eye(3)[axis])
        for end in (ratio.low, ratio.high):
            slot = slot_mm * end - offset_mm if slot_is_cast else slot_mm
            found.append(slot - (tab_mm * end + offset_mm))
    return min(found), max(found)
