"""Regions of a layer: the same as a general library's, number by number."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import ndimage

from firstcast.errors import InputError
from firstcast.printing.regions import label_regions

TOUCHING = np.ones((3, 3))
SEED = 118203


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


def test_what_is_no_image_is_refused():
    with pytest.raises(InputError, match="bool or uint8"):
        label_regions(np.zeros((3, 3), np.float32))
    with pytest.raises(InputError, match="int32 of the image's shape"):
        label_regions(np.zeros((3, 3), bool), labels=np.zeros((2, 3), np.int32))
