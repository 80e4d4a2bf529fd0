"""Walls and gaps against bodies whose widths are known, against every triangle tried, and under rigid motions."""

import numba
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from firstcast.errors import InputError
from firstcast.geometry import walls
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.starred import starred
from firstcast.geometry.tree import build_tree
from firstcast.geometry.walls import REACH_MM, WEDGE_DEG, read_widths
from firstcast.kernels import walls as kernels
from geometry import width_solids as solids

SEED = 730219

ROUNDING = 1e-5
"""Readings are float32 of a few tenths of a millimetre; tilting and shifting costs float64 less."""


@pytest.mark.parametrize("thickness", [0.1, 0.2, 0.35, 0.6, 1.0])
def test_a_plate_reads_its_thickness_up_to_its_square_rim(thickness):
    mesh = solids.plate(thickness)
    wall = read_widths(solids.turned(mesh, SEED), most_mm=2.0).wall_mm
    on_rim_face = (np.abs(mesh.points[:, :2]).max(axis=1) > 1.5 - 1e-9) & (
        np.abs(mesh.points[:, 2]) < thickness / 2 - 1e-9
    )
    np.testing.assert_allclose(wall[~on_rim_face], thickness, rtol=ROUNDING)
    assert np.isinf(wall[on_rim_face]).all()


@pytest.mark.parametrize("gap", [0.05, 0.3, 1.0])
def test_two_plates_read_their_gap_and_their_walls(gap):
    mesh = solids.two_plates(gap)
    found = read_widths(solids.turned(mesh, SEED + 1), most_mm=2.0)
    facing = (np.abs(np.abs(mesh.points[:, 2]) - gap / 2) < 1e-9) & (
        np.abs(mesh.points[:, :2]).max(axis=1) < 1.4
    )
    np.testing.assert_allclose(found.gap_mm[facing], gap, rtol=ROUNDING)
    np.testing.assert_allclose(found.wall_mm[facing], 0.8, rtol=ROUNDING)
    outside = np.abs(mesh.points[:, 2]) > gap / 2 + 0.79
    assert np.isinf(found.gap_mm[outside]).all()
    # what lies opposite is of the other plate
    other = mesh.points[mesh.triangles[found.gap_opposite[facing]]].mean(axis=1)[:, 2]
    assert (np.sign(other) == -np.sign(mesh.points[facing, 2])).all()


@pytest.mark.parametrize("angle", [15.0, 20.0, 30.0, 45.0])
def test_a_wedge_reads_its_width_and_how_far_its_edge_is(angle):
    mesh = solids.wedge(angle)
    found = read_widths(solids.turned(mesh, SEED + 2))
    x, z = mesh.points[:, 0], mesh.points[:, 2]
    middle = (z > 0.4) & (z < 1.6)
    half = np.radians(angle / 2)
    # the ball through a place at x touches both sides: its radius is the way to the edge times tan(a/2)
    side = middle & (x > 0.05) & (x < 1.4) & (np.abs(mesh.points[:, 1]) > 0.999 * x * np.tan(half))
    away = np.hypot(x, mesh.points[:, 1])
    expected = 2 * away * np.tan(half)
    seen = side & (expected < 0.9 * 2 * np.tan(half) * 2.0)  # before the ball meets the blunt back
    np.testing.assert_allclose(found.wall_mm[seen], expected[seen], rtol=1e-4)
    # halfway between the places that it touches lies as far from the edge as they do along x
    near = seen & (x < 0.99 * REACH_MM)
    np.testing.assert_allclose(found.wall_edge_mm[near], x[near], rtol=1e-4)
    assert np.isinf(found.wall_edge_mm[seen & (x > 1.01 * REACH_MM)]).all()


@pytest.mark.parametrize("angle", [WEDGE_DEG + 2, 60.0, 75.0, 90.0])
def test_a_blunt_wedge_is_no_wall(angle):
    mesh = solids.wedge(angle)
    wall = read_widths(solids.turned(mesh, SEED + 3), most_mm=1.0).wall_mm
    assert np.isinf(wall).all()


@pytest.mark.parametrize(("angle", "read"), [(20.0, True), (60.0, False), (90.0, False)])
def test_a_groove_is_a_gap_only_where_it_is_sharp(angle, read):
    half = np.radians(angle / 2)
    wide = 1.5 * np.tan(half)
    outline = [(-3, -2.5), (3, -2.5), (3, 0), (wide, 0), (0, -1.5), (-wide, 0), (-3, 0)]
    mesh = solids.prism(outline, 2.0, 0.1)
    found = read_widths(solids.turned(mesh, SEED + 4), most_mm=1.0)
    z, y = mesh.points[:, 2], mesh.points[:, 1]
    bottom = (np.abs(y + 1.5) < 1e-9) & (np.abs(mesh.points[:, 0]) < 1e-9) & (z > 0.4) & (z < 1.6)
    assert bottom.sum() > 5
    if read:
        assert (found.gap_mm[bottom] < 0.1).all()
        # at the bottom a place stands for the middles of the triangles round it, up to a step away
        assert (found.gap_edge_mm[bottom] < 0.1).all()
    else:
        assert np.isinf(found.gap_mm).all()


def test_a_slot_with_a_floor_and_a_plate_are_no_tapers():
    outline = [(-2, -2), (2, -2), (2, 0), (0.11, 0), (0.1, -0.6), (-0.1, -0.6), (-0.11, 0), (-2, 0)]
    mesh = solids.prism(outline, 2.0, 0.06)
    found = read_widths(solids.turned(mesh, SEED + 10), most_mm=0.5)
    x, y, z = mesh.points.T
    flank = (np.abs(x) < 0.12) & (y > -0.55) & (y < -0.05) & (z > 0.1) & (z < 1.9)
    assert flank.sum() > 20
    np.testing.assert_allclose(found.gap_mm[flank], 0.21, atol=0.011)
    assert np.isinf(found.gap_edge_mm[flank]).all()
    assert np.isinf(read_widths(solids.plate(0.2)).wall_edge_mm).all()


def test_a_pin_reads_its_width_along_its_side():
    pin = trimesh.creation.capsule(radius=0.15, height=2.0, count=[64, 64])
    mesh = solids.of(pin.subdivide_to_size(0.15))
    wall = read_widths(solids.turned(mesh, SEED + 5)).wall_mm
    height = mesh.points[:, 2] - mesh.points[:, 2].mean()
    # 64 sides: a place between two has a normal off by up to 2.8°, which widens or narrows by 0.47 times that
    np.testing.assert_allclose(wall[np.abs(height) < 0.95], 0.3, rtol=0.025)
    assert np.median(wall[np.abs(height) < 0.95]) == pytest.approx(0.3, rel=0.015)
    assert wall.min() > 0.3 * 0.97


@pytest.mark.parametrize("thickness", [0.1, 0.3, 0.8])
def test_a_hollow_ball_reads_its_shell_and_its_hollow(thickness):
    outer = 1.5
    mesh = solids.shell(outer, thickness)
    found = read_widths(solids.turned(mesh, SEED + 6), most_mm=3.0)
    # an icosphere's faces lie up to (1 - cos 2.5°) of the radius within it: 0.0014 mm here
    np.testing.assert_allclose(found.wall_mm, thickness, atol=0.004)
    half = len(mesh.points) // 2
    np.testing.assert_allclose(found.gap_mm[half:], 2 * (outer - thickness), rtol=0.005)
    assert np.isinf(found.gap_mm[:half]).all()


def test_a_torus_reads_its_tube_and_its_hole():
    torus = trimesh.creation.torus(major_radius=1.0, minor_radius=0.25, major_sections=160, minor_sections=64)
    mesh = solids.of(torus)
    found = read_widths(solids.turned(mesh, SEED + 7), most_mm=2.0)
    # 64 sides: 0.12 per cent, 160 round: 0.02 per cent; the ball touches facets, not corners
    np.testing.assert_allclose(found.wall_mm, 0.5, rtol=0.005)
    inner = np.hypot(mesh.points[:, 0], mesh.points[:, 1]) < 0.7501
    # the ball across the hole touches all round its waist
    np.testing.assert_allclose(found.gap_mm[inner & (np.abs(mesh.points[:, 2]) < 1e-9)], 1.5, rtol=0.005)


@pytest.mark.parametrize("period", [0.4, 0.8])
def test_a_deep_grating_reads_half_its_period(period):
    depth = 5.0 * period
    mesh = solids.grating(period, depth)
    found = read_widths(solids.turned(mesh, SEED + 8), most_mm=2.0)
    x, y, z = mesh.points.T
    flank = (np.abs(y) < 0.03 * depth) & (np.abs(x) < 2 * period) & (z > 0.2) & (z < 0.4)
    assert flank.sum() > 10
    # at mid-height a flank is half a period from the next; it leans by atan(period / (pi depth)), 3.6°. Places
    # up to 0.03 of the depth off mid-height are narrower or wider by 2 asin(0.06) / pi of it, 4 per cent
    np.testing.assert_allclose(found.wall_mm[flank], period / 2, rtol=0.06)
    np.testing.assert_allclose(found.gap_mm[flank], period / 2, rtol=0.06)


def test_a_fin_shorter_than_the_rim_but_straight_is_a_wall():
    outline = [(-2, -1), (2, -1), (2, 0), (0.05, 0), (0.05, 0.25), (-0.05, 0.25), (-0.05, 0), (-2, 0)]
    mesh = solids.prism(outline, 2.0, 0.06)
    wall = read_widths(mesh, most_mm=0.5).wall_mm
    side = (
        (np.abs(np.abs(mesh.points[:, 0]) - 0.05) < 1e-9)
        & (mesh.points[:, 1] > 0.05)
        & (mesh.points[:, 1] < 0.2)
    )
    np.testing.assert_allclose(wall[side], 0.1, rtol=ROUNDING)


def test_a_sharp_engraved_line_leaves_a_thin_floor():
    outline = [(-2, 0), (2, 0), (2, 1), (0.5, 1), (0, 0.1), (-0.5, 1), (-2, 1)]
    mesh = solids.prism(outline, 0.5, 0.03)
    wall = read_widths(mesh, most_mm=0.5).wall_mm
    assert wall.min() == pytest.approx(0.1, rel=1e-3)


def test_what_is_hidden_does_not_face():
    """A floor under a ceiling, between them a board that stands too steeply to face either."""
    floor, ceiling = solids.plate(0.4), solids.plate(0.4)
    board = solids.of(trimesh.creation.box((0.9, 2.6, 0.05)).subdivide_to_size(0.1))
    board = board.mapped(Rotation.from_euler("y", -60, degrees=True).as_matrix(), np.array([0.0, 0.0, 0.5]))
    count = len(floor.points)
    mesh = Mesh(
        np.concatenate(
            [floor.points - np.array([0, 0, 0.2]), ceiling.points + np.array([0, 0, 1.2]), board.points]
        ),
        np.concatenate([floor.triangles, ceiling.triangles + count, board.triangles + 2 * count]).astype(
            np.int32
        ),
    )
    gap = read_widths(solids.turned(mesh, SEED + 9)).gap_mm
    x, y, z = mesh.points.T
    middle = (np.abs(z) < 1e-9) & (np.abs(y) < 1.0)
    hidden, open_to_it = middle & (x > 0.02) & (x < 0.15), middle & (np.abs(x) > 0.5) & (np.abs(x) < 1.4)
    assert hidden.sum() > 10
    assert np.isinf(gap[hidden]).all()
    np.testing.assert_allclose(gap[open_to_it], 1.0, rtol=ROUNDING)


def test_nothing_that_could_stop_a_ball_is_passed_by():
    """The tree's boxes and cones against every triangle tried."""
    mesh = solids.gyroid(36)
    tree = build_tree(mesh)
    surface = starred(mesh)
    bounds = walls._surroundings(surface, tree)
    everything = (bounds[0].copy(), bounds[1].copy())
    everything[0][7] = np.pi
    everything[0][3] = 1e6
    everything[1][:, 3] = np.pi
    visit = np.random.default_rng(SEED).permutation(len(mesh.points))[:600].astype(np.int32)
    found = []
    for some in (bounds, everything):
        for side in (-1.0, 1.0):
            width = np.full(len(mesh.points), np.inf, np.float32)
            opposite = np.full(len(mesh.points), -1, np.int32)
            edge = np.full(len(mesh.points), np.inf, np.float32)
            kernels.read_widths(
                0, len(visit), visit, side, 1.5, np.cos(np.radians(25)), np.cos(np.radians(35)), 0.3,
                tree[:6], some, tuple(surface), width, opposite, edge,
            )  # fmt: skip
            found.append(width)
    assert np.isfinite(found[0]).sum() > 300
    np.testing.assert_array_equal(found[0], found[2])
    np.testing.assert_array_equal(found[1], found[3])


@settings(max_examples=8, deadline=None)
@given(
    turn=st.tuples(*[st.floats(-3, 3)] * 3),
    shift=st.tuples(*[st.floats(-50, 50)] * 3),
    scale=st.floats(0.1, 10),
)
def test_turns_and_scales_with_the_body(turn, shift, scale):
    mesh = solids.gyroid(24)
    still = read_widths(mesh, most_mm=3.0)
    moved = read_widths(
        mesh.mapped(scale * Rotation.from_rotvec(turn).as_matrix(), np.array(shift)),
        most_mm=3.0 * scale,
        reach_mm=0.8 * scale,
    )
    for name in ("wall_mm", "gap_mm"):
        before, after = getattr(still, name) * np.float32(scale), getattr(moved, name)
        same = np.isclose(before, after, rtol=1e-4) | (np.isinf(before) & np.isinf(after))
        # a place that just faces another, or just misses it, may turn over by rounding: one in two hundred
        assert same.mean() > 0.995


def test_places_that_are_left_out_take_the_reading_of_a_neighbour():
    mesh = solids.plate(0.3)
    every, some = read_widths(mesh), read_widths(mesh, apart_mm=0.2)
    inside = np.abs(mesh.points[:, :2]).max(axis=1) < 1.3
    np.testing.assert_allclose(some.wall_mm[inside], every.wall_mm[inside], rtol=ROUNDING)
    wedge = solids.wedge(30.0)
    every, some = read_widths(wedge, most_mm=0.5), read_widths(wedge, most_mm=0.5, apart_mm=0.05)
    both = np.isfinite(every.wall_mm) & np.isfinite(some.wall_mm)
    # 0.05 mm along a side of 30 degrees
    assert np.abs(every.wall_mm[both] - some.wall_mm[both]).max() < 0.05 * 2 * np.tan(np.radians(15)) + 1e-6


def test_same_for_any_number_of_threads():
    mesh = solids.gyroid(40)
    before = numba.get_num_threads()
    results = []
    try:
        for threads in (1, before):
            numba.set_num_threads(threads)
            results.append(read_widths(mesh))
    finally:
        numba.set_num_threads(before)
    for one, many in zip(*results, strict=True):
        assert one.tobytes() == many.tobytes()


@pytest.mark.parametrize("lengths", [{"most_mm": 0.0}, {"reach_mm": -1.0}, {"most_mm": np.inf}])
def test_lengths_that_are_none_are_refused(lengths):
    with pytest.raises(InputError, match="greatest width"):
        read_widths(solids.plate(0.5), **lengths)


def test_a_tree_of_another_mesh_is_refused():
    with pytest.raises(InputError, match="the tree holds"):
        read_widths(solids.plate(0.5), tree=build_tree(solids.wedge(30.0)))
