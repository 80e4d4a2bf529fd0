"""What hangs together in a mask of voxels."""

import numpy as np
import numpy.typing as npt
from scipy.ndimage import label

EVERY_WAY = np.ones((3, 3, 3), np.bool_)
"""Voxels that touch by face, edge or corner."""


def labelled(mask, structure=None) -> tuple[npt.NDArray[np.int32], int]:
    """What hangs together in a mask, numbered from 1, by faces unless `structure` says otherwise; and how many."""
    rows = np.empty(mask.shape, np.int32)
    count = label(mask, structure=structure, output=rows)
    return rows, int(count)  # type: ignore[arg-type]
