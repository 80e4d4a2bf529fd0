import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy import ndimage

from firstcast.printing.layer_runs import cured_regions, enclosed_gaps, shared
from firstcast.printing.layer_starts import StartsFollower
from layer_twin import EIGHT, bare_starts_by_force

STACKS = arrays.arrays(
    np.bool_,
    st.tuples(st.integers(1, 7), st.integers(2, 8), st.integers(2, 9)),
    elements=st.sampled_from([True, True, False]),
)


def regions_of(image, corner=(0, 0), rows=None):
    return cured_regions((image * 255).astype(np.uint8), corner, rows or len(image))


def followed(stack, **given_settings):
    follower = StartsFollower(**given_settings)
    for image in stack:
        follower.add(regions_of(image))
    return follower.finish(), follower.flecks


@settings(max_examples=150)
@given(STACKS, st.integers(1, 6), st.integers(0, 3))
def test_bare_starts_are_those_found_by_force(stack, least, within):
    starts, flecks = followed(stack, least_pixels=least, within=within)
    found = sorted((s.layer, s.pixels, -1 if s.joins is None else s.joins) for s in starts)
    assert (found, flecks) == bare_starts_by_force(stack, least, within)


@settings(max_examples=100)
@given(arrays.arrays(np.bool_, st.tuples(st.integers(1, 12), st.integers(1, 14))))
def test_regions_are_those_of_general_labels(image):
    ours = regions_of(image)
    labels, count = ndimage.label(image, EIGHT)
    assert ours.count == count
    assert sorted(ours.pixels) == sorted(np.bincount(labels.ravel())[1:])
    for label in range(ours.count):
        x, y = ours.middle(label)
        assert image[int(y), int(x)]


@settings(max_examples=100)
@given(arrays.arrays(np.bool_, st.tuples(st.integers(3, 12), st.integers(3, 14))))
def test_enclosed_gaps_are_the_holes_of_general_labels(image):
    gaps, outside = enclosed_gaps(regions_of(image))
    holes = ndimage.binary_fill_holes(image) & ~image
    labels, _ = ndimage.label(holes)
    assert sorted(gaps.pixels[~outside]) == sorted(np.bincount(labels.ravel())[1:])


def test_an_image_stands_where_its_corner_is():
    image = np.array([[1, 0, 1], [0, 0, 1]], bool)
    regions = regions_of(image, (3, 10), 8)
    assert regions.runs.tolist() == [[10, 11], [12, 13], [12, 13]]
    assert regions.starts.tolist() == [0, 0, 0, 0, 2, 3, 3, 3, 3]
    whole = np.zeros((8, 20), bool)
    whole[3:5, 10:13] = image
    assert shared(regions, regions_of(whole)).tolist() == [[0, 0], [1, 1]]


def volume(*boxes, shape=(12, 20, 20)):
    """A stack with boxes of (layers, rows, columns) filled."""
    stack = np.zeros(shape, bool)
    for (z0, z1), (y0, y1), (x0, x1) in boxes:
        stack[z0:z1, y0:y1, x0:x1] = True
    return stack


ARCH = volume(((0, 12), (8, 12), (2, 5)), ((0, 12), (8, 12), (15, 18)), ((9, 12), (8, 12), (2, 18)))
DANGLING = volume(((0, 12), (8, 12), (2, 5)), ((4, 12), (8, 12), (15, 18)), ((9, 12), (8, 12), (2, 18)))
SHORT = volume(((0, 12), (8, 12), (2, 5)), ((7, 12), (8, 12), (15, 18)), ((9, 12), (8, 12), (2, 18)))
TEE = volume(((0, 9), (8, 12), (8, 12)), ((9, 12), (8, 12), (2, 18)))


@pytest.mark.parametrize(
    ("stack", "starts"),
    [
        (ARCH, []),
        (TEE, []),
        (DANGLING, [(4, 12, None)]),
        (SHORT, [(7, 12, 2)]),
        (volume(((0, 3), (5, 15), (5, 15)), ((6, 9), (5, 15), (5, 15))), [(6, 100, None)]),
    ],
    ids=["arch", "T", "dangling pin", "pin that joins in two layers", "a lump in the air"],
)
def test_known_shapes(stack, starts):
    found, flecks = followed(stack)
    assert [(s.layer, s.pixels, s.joins) for s in found] == starts
    assert flecks == 0


def test_an_upside_down_cone_begins_once_as_soon_as_it_cures():
    y, x = np.mgrid[:20, :20]
    cone = np.array([np.hypot(y - 9.5, x - 9.5) < 0.75 * k for k in range(1, 12)])
    post = volume(((0, 11), (0, 3), (0, 3)), shape=(11, 20, 20))
    found, flecks = followed(np.concatenate([post[:1], post[:10] | cone[:10]]))
    # two by two pixels from its first layer on: flecks only where the tip is thinner
    assert [(s.layer, s.pixels, s.joins) for s in found] == [(1, 4, None)]
    assert flecks == 0


def test_what_lies_on_a_fleck_alone_is_bare():
    stack = volume(
        ((0, 6), (0, 3), (0, 3)), ((2, 3), (10, 11), (10, 13)), ((3, 6), (9, 12), (9, 12)), shape=(6, 20, 20)
    )
    found, flecks = followed(stack)
    assert [(s.layer, s.pixels, s.joins) for s in found] == [(3, 9, None)]
    assert flecks == 1
