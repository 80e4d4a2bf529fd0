"""The proof's own look at layers: regions, starts, hollows and plane cuts, beside general libraries and force."""

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from manifold3d import Manifold
from scipy import ndimage

from firstcast.printing.cups import CupsFollower
from firstcast.printing.layer_runs import cured_regions
from firstcast.printing.layer_starts import StartsFollower
from firstcast.proof.layer_regions import Stack, look_at
from firstcast.proof.layer_sections import section_all
from layer_twin import EIGHT, bare_starts_by_force, mouths_by_force

STACKS = arrays.arrays(
    np.bool_,
    st.tuples(st.integers(1, 7), st.integers(3, 8), st.integers(3, 9)),
    elements=st.sampled_from([True, True, False]),
)


def stacked(images, least, within):
    stack = Stack(least_pixels=least, within=within)
    for image in images:
        stack.add(look_at((image * 255).astype(np.uint8), 128))
    return stack


@settings(max_examples=100)
@given(arrays.arrays(np.bool_, st.tuples(st.integers(1, 12), st.integers(1, 14))))
def test_labels_are_those_of_scipy(image):
    look = look_at((image * 200).astype(np.uint8), 128)
    labels, count = ndimage.label(image, EIGHT)
    assert len(look.pixels) == count + 1
    pairs = set(zip(look.cured[image].tolist(), labels[image].tolist(), strict=True))
    assert len(pairs) == count
    holes = ndimage.binary_fill_holes(image) & ~image
    _, hole_count = ndimage.label(holes)
    assert (look.is_open == 0).sum() == hole_count
    assert look.empty_pixels[look.is_open == 0].sum() == holes.sum()


@settings(max_examples=100)
@given(STACKS, st.integers(1, 5), st.integers(0, 3))
def test_starts_are_those_found_by_force(images, least, within):
    stack = stacked(images, least, within)
    found = sorted((start.layer, start.pixels, start.held_after) for start in stack.starts())
    assert (found, stack.flecks) == bare_starts_by_force(images, least, within)


@settings(max_examples=100)
@given(STACKS)
def test_hollows_hold_what_force_finds_closed(images):
    hollows = stacked(images, 4, 2).hollows()
    mouths = mouths_by_force(images)
    # a pixel that is closed while its layer is printed belongs to a hollow, and none is counted twice
    assert sum(h.voxels for h in hollows) == sum(mouth for rows in mouths for mouth, _ in rows)
    closed = {layer for layer, rows in enumerate(mouths) if rows}
    assert closed == {layer for h in hollows for layer in range(h.first, h.last + 1)} & closed


@settings(max_examples=100)
@given(STACKS, st.integers(1, 5))
def test_totals_are_those_that_were_measured_when_the_images_were_made(images, least):
    starts, cups = StartsFollower(least_pixels=least), CupsFollower()
    levels = (images * 255).astype(np.uint8)
    regions = [starts.add(cured_regions(image, (0, 0), len(image))) for image in levels]
    for entry in regions:
        cups.add(entry)
    counts, largest, closed = stacked(images, least, 2).totals()
    assert counts.tolist() == [entry.count for entry in regions]
    assert largest.tolist() == [int(entry.pixels.max(initial=0)) for entry in regions]
    assert closed.tolist() == cups.closed


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_plane_cuts_are_those_of_a_general_library(seed):
    body = trimesh.creation.icosphere(subdivisions=2, radius=2.0)
    body.apply_transform(
        trimesh.transformations.random_rotation_matrix(np.random.default_rng(seed).random(3))
    )
    body.apply_scale((1.0, 0.7, 1.2))
    body.apply_translation((0.3, 0.2, 2.5))
    count, layer = 60, 0.1
    found = section_all(body.vertices, body.faces.astype(np.int32), layer, count)
    solid = Manifold(manifold3d.Mesh(body.vertices.astype(np.float32), body.faces.astype(np.uint32)))
    cuts = [solid.slice((k + 0.5) * layer) for k in range(count)]
    areas = [cut.area() for cut in cuts]
    lengths = [sum(np.hypot(*(np.roll(p, -1, 0) - p).T).sum() for p in cut.to_polygons()) for cut in cuts]
    # points in float32 there, in float64 here: 2e-7 mm on outlines of 15 mm
    assert found.areas_mm2 == pytest.approx(areas, abs=1e-5)
    assert found.outlines_mm == pytest.approx(lengths, abs=1e-4)
