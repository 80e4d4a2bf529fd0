"""The print as a map of vertices, against volumes, closed forms of planes and the response of gratings."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from firstcast.fields.dose import pool_for, shares_of, strips_of
from firstcast.fields.slabs import slabs_of
from firstcast.forecast.chain_on_mesh import forward_of, normals_of
from firstcast.forecast.printed import REACH_MM, blurs_of, critical_levels, print_moves_of
from firstcast.kernels.bricks import INSIDE
from firstcast.process.light import print_through_mm
from firstcast.process.spread import GaussianSpread
from firstcast.process.spread_patterns import sine_response
from mesh_bodies import LIKELY, NULL, ball, block, depth_left, lit, of_face, ribbed


@pytest.mark.parametrize("turn", [0.0, 0.3, 1.1])
def test_shares_add_up_to_the_volume(turn):
    """Every voxel's share is exact, so their sum is the mesh's volume by the divergence theorem, to float32."""
    points, triangles = ball(0.8, 4)
    c, s = np.cos(turn), np.sin(turn)
    points = points @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    slabs = slabs_of(points, triangles, (0.02, 0.03, 0.025), 0.1)
    (strip,) = strips_of(slabs, search_mm=0.1, blurs=blurs_of(NULL), most_bytes=1 << 30)
    shares = shares_of(slabs, strip, pool_for(slabs, [strip]))
    cells = float(shares.pool.sum(dtype=np.float64)) + 512.0 * float((shares.index == INSIDE).sum())
    volume = cells * np.prod(slabs.voxel_mm)
    assert volume == pytest.approx(trimesh.Trimesh(points, triangles).volume, rel=2e-6)


def test_null_print_leaves_a_ball():
    """A ball of 1.5 mm moves by the mean over a pixel and a layer of its own bend, (p²/6 + ...)/2R, and no more: 0.5 µm."""
    points, triangles = ball(1.5, 6)
    normals = normals_of(points, triangles)
    moved = print_moves_of(points, triangles, normals, [NULL])[0]
    # a tenth of a pixel is asked for; the boxes' second moments over twice the radius are 0.2 µm
    assert np.abs(moved).max() < 0.001
    assert abs(moved.mean()) < 0.0003


@pytest.mark.parametrize("chain", [lit(0.01, 0.06, 0.08), LIKELY])
def test_flat_faces_move_as_closed_forms_say(chain):
    """Tops stay, walls grow as an edge does, undersides by the print-through averaged over the layers' place.

    Half a layer of interpolation stands for 1.5 µm on tops and walls. Undersides: print-through of a stack that
    starts at the face, its first layer's place within a layer evenly spread: within 4 µm of the mean.
    """
    mesh = block(1.6, 1.6, 1.6, 0.05)
    points, normals = mesh.points, normals_of(mesh.points, mesh.triangles)
    moved = print_moves_of(points, mesh.triangles, normals, [chain])[0]
    inner = np.sort(np.abs(points), axis=1)[:, 1] < 0.3
    top, below, side = (
        inner & (normals[:, 2] > 0.9),
        inner & (normals[:, 2] < -0.9),
        np.abs(normals[:, 2]) < 0.1,
    )
    assert np.abs(moved[top]).max() < 0.0015
    assert np.abs(moved[inner & side] - chain.edge_growth_mm).max() < 0.0015
    through = print_through_mm(chain.overdose, layer_mm=chain.layer_mm, depth_mm=chain.depth_mm)
    expected = min(through + 0.5 * chain.layer_mm, REACH_MM)
    assert moved[below].mean() == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize("period", [0.2, 0.3, 0.5])
def test_null_print_of_a_grating_keeps_what_two_pixel_boxes_pass(period):
    """sinc² of pixel over period (`sine_response`); within 1 of 100, the second harmonic of a sine 0.12 mm deep."""
    mesh, out = ribbed(period)
    normals = normals_of(mesh.points, mesh.triangles)
    moved = print_moves_of(mesh.points, mesh.triangles, normals, [NULL])[0]
    face = of_face(mesh, normals)
    # a length along the normal is read where the vertex is: at crests and troughs it is that of the relief
    expected = sine_response(GaussianSpread(0.0), period, pixel_mm=0.035, boxes=2)
    assert depth_left(out[face], moved[face]) == pytest.approx(expected, abs=0.01)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    st.integers(4, 8), st.floats(4.0, 7.0), st.booleans(), st.floats(-90, 90), st.floats(0, 360), st.tuples(*[st.floats(0, 1)] * 3)
)  # fmt: skip
def test_null_print_keeps_relief_of_four_pixels(across, high, sunk, lean_deg, turn_deg, phase):
    """A ridge or a trench across a plate, four pixels wide and high or more, keeps 99.5 of 100 of its height: however the
    plate leans and turns, and wherever pixels and layers begin.

    Its top is read in the middle: the two boxes of a pixel reach 0.05 mm at most, less than half of four pixels. A relief
    without a flat top keeps what these boxes pass, as the gratings above do.
    """
    pixel = NULL.pixel_mm[0]
    plate = block(1.4, 1.0, 0.6, pixel / 2)
    rise = high * pixel * (-1.0 if sunk else 1.0)
    x, y, z = plate.points.T
    top, inner = z > 0.29, np.abs(y) < 0.2
    band = top & (np.abs(x) < across * pixel / 2 + 1e-4)
    middle, floor = band & inner & (np.abs(x) < 0.01), top & inner & (np.abs(x) > 0.42) & (np.abs(x) < 0.55)
    points = plate.points + band[:, None] * np.array([0.0, 0.0, rise])
    turned = Rotation.from_euler("yz", [lean_deg, turn_deg], degrees=True).as_matrix()
    placed = points @ turned.T + np.array(phase) * (*NULL.pixel_mm, NULL.layer_mm)
    normals = np.tile(turned[:, 2], (len(points), 1))
    moved = print_moves_of(placed, plate.triangles, normals, [NULL])[0]
    assert 1 + (moved[middle].mean() - moved[floor].mean()) / rise > 0.995


def test_paint_after_light_fills_grooves_and_everything_grows_with_the_scenario():
    chains = [
        replace(lit(0.01, 0.06, 0.08), paint=replace(NULL.paint, radius_mm=0.04)),
        replace(LIKELY, paint=replace(NULL.paint, radius_mm=0.06)),
    ]
    mesh, out = ribbed(0.3)
    normals = normals_of(mesh.points, mesh.triangles)
    found = forward_of(mesh.points, mesh.triangles, normals, chains)(np.zeros(len(mesh.points)))
    face = of_face(mesh, normals)
    left = [depth_left(out[face], row[face]) for row in found]
    # a dense trial at half a pixel found 92 and 77 (decision 0008): another numerical form, so 3 of 100
    assert left[0] == pytest.approx(0.92, abs=0.03)
    assert left[1] == pytest.approx(0.77, abs=0.03)
    assert (found[1][face] > found[0][face] - 0.002).mean() > 0.95


def test_critical_levels_of_the_null_process_are_the_critical_dose_itself():
    """Half the light at every slope; half a step of the table is 0.8 of 100 of a layer, so twice that is allowed."""
    np.testing.assert_allclose(critical_levels(NULL, 9), 1.0, atol=0.017)


def test_same_bytes_for_any_number_of_threads():
    import numba

    points, triangles = ball(0.6, 4)
    normals = normals_of(points, triangles)
    threads, found = numba.get_num_threads(), []
    for count in (1, min(2, threads)):
        numba.set_num_threads(count)
        found.append(print_moves_of(points, triangles, normals, [LIKELY]))
    numba.set_num_threads(threads)
    assert found[0].tobytes() == found[1].tobytes()
