"""Regions of a layer's image: cured pixels that touch by edge or corner."""

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.kernels.regions import label_pixels

Labels = npt.NDArray[np.int32]


def label_regions(cured: npt.ArrayLike, *, labels: Labels | None = None) -> tuple[Labels, int]:
    """Number the regions of a layer.

    Parameters
    ----------
    cured : (h, w) bool or uint8
        Not zero where a pixel is cured.
    labels : (h, w) int32, optional
        Where to write, C-contiguous; new memory costs as much as labelling a sparse layer.

    Returns
    -------
    labels : (h, w) int32
        0 where nothing is cured, else the region's number from 1 up, in the order of regions' first pixels.
    count : int

    Raises
    ------
    InputError
        `cured` is no image, or `labels` doesn't fit it.
    """
    image = np.asarray(cured)
    if image.ndim != 2 or image.dtype not in (np.bool_, np.uint8):
        raise InputError(
            f"an array {image.shape} of {image.dtype}", where="regions", mend="Give (h, w) bool or uint8."
        )
    bits = np.ascontiguousarray(image).view(np.uint8)
    if labels is None:
        labels = np.empty(bits.shape, np.int32)
    elif labels.shape != bits.shape or labels.dtype != np.int32 or not labels.flags.c_contiguous:
        raise InputError(
            f"labels {labels.shape} of {labels.dtype} for an image {bits.shape}",
            where="regions",
            mend="Give int32 of the image's shape, C-contiguous.",
        )
    return labels, int(label_pixels(bits, labels, label_scratch(bits.shape)))


def label_scratch(shape: tuple[int, int]) -> npt.NDArray[np.int32]:
    """Room for the labels of an image: no two of the pixels that start one touch, so a quarter of them can."""
    rows, columns = shape
    return np.empty(((rows + 1) // 2) * ((columns + 1) // 2) + 1, np.int32)
