"""Regions of a layer's pixels: the same as a general library's, number by number."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import ndimage

from firstcast.kernels.regions import label_pixels

TOUCHING = np.ones((3, 3))
SEED = 118203


def label_regions(image):
    labels = np.empty(image.shape, np.int32)
    # no two of the pixels that start a region touch: a quarter of them can
    room = (image.shape[0] + 1) // 2 * ((image.shape[1] + 1) // 2) + 1
    return labels, label_pixels(image.view(np.uint8), labels, np.empty(room, np.int32))


@given(arrays(bool, st.tuples(st.integers(1, 9), st.integers(1, 9))))
@settings(max_examples=200, deadline=None)
def test_any_small_image_is_labelled_as_scipy_labels_it(image):
    labels, count = label_regions(image)
    theirs, number = ndimage.label(image, TOUCHING)
    assert count == number
    assert (labels == theirs).all()


@pytest.mark.parametrize("share", [0.1, 0.3, 0.45, 0.6])
def test_large_images_too(share):
    image = np.random.default_rng(SEED).random((300, 217)) < share
    labels, count = label_regions(image.view(np.uint8))
    theirs, number = ndimage.label(image, TOUCHING)
    assert count == number
    assert (labels == theirs).all()


def test_a_spiral_is_one_region():
    image = np.zeros((41, 41), bool)
    low, high = 0, 40
    while low < high:
        image[low, low : high + 1] = image[low : high + 1, high] = image[high, low : high + 1] = True
        image[low + 2 : high + 1, low] = True
        image[low + 2, low : low + 2] = True
        low, high = low + 2, high - 2
    assert label_regions(image)[1] == ndimage.label(image, TOUCHING)[1] == 1
