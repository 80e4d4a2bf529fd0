import itertools

import numpy as np
import pytest
import trimesh
from ball_solids import RADIUS, TURN, moves, plate, rolled_in_section, subdivided_box
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.forecast.ball import closed_by_ball, opened_by_ball
from firstcast.kernels.ball_halfspaces import nearest_in_halfspaces
from firstcast.process.films import square_groove_left_mm


@given(seed=st.integers(0, 10**6), count=st.integers(1, 12))
@settings(max_examples=100, deadline=None)
def test_the_nearest_place_in_half_spaces_is_that_of_every_choice_of_three(seed, count):
    rng = np.random.default_rng(seed)
    planes = rng.normal(size=(count, 4))
    planes[:, :3] /= np.linalg.norm(planes[:, :3], axis=1, keepdims=True)
    if count > 3:  # walls that face each other, nearly
        planes[1, :3] = -planes[0, :3] + 1e-4 * rng.normal(size=3)
        planes[1, :3] /= np.linalg.norm(planes[1, :3])
    q, found, best = rng.normal(size=3), np.empty(3), np.inf
    for size in range(min(count, 3) + 1):
        for picks in itertools.combinations(range(count), size):
            a, b = planes[list(picks), :3], planes[list(picks), 3]
            x = q + np.linalg.lstsq(a, b - a @ q, rcond=None)[0] if size else q
            # walls that nearly face each other meet far away, where rounding is larger
            if (planes[:, :3] @ x >= planes[:, 3] - 1e-9 * (1 + np.abs(x).max())).all():
                best = min(best, np.linalg.norm(x - q))
    met = nearest_in_halfspaces(planes, count, q, 1e-9, found)
    if met:
        assert (planes[:, :3] @ found >= planes[:, 3] - 1e-8).all()
        assert np.isclose(np.linalg.norm(found - q), best, rtol=1e-6, atol=1e-8)
    else:
        # none, or one so far away that rounding is more than the slack of 1e-9
        assert best > 100


@pytest.mark.parametrize("angle", [40, 60, 90, 120])
def test_v_grooves_fill_to_an_arc(angle):
    half, edge = np.radians(angle) / 2, 0.0175
    # edges of the given length down the flanks, with vertices in the groove's bottom
    x = np.arange(-20, 21) * edge * np.sin(half)
    points, triangles = plate(x, np.arange(30) * edge, lambda x, y: np.abs(x) / np.tan(half))
    found = closed_by_ball(points @ TURN.T, triangles, RADIUS, reach_mm=0.3)
    after = found.points @ TURN
    middle = (
        (np.abs(points[:, 1] - 0.25) < 0.1) & (points[:, 2] > -0.1) & (np.abs(x).max() > np.abs(points[:, 0]))
    )
    bottom = middle & (points[:, 0] == 0)
    # planes are exact, and the last step's gain is under 5e-4 of the radius
    assert np.abs(after[bottom, 2] - RADIUS * (1 / np.sin(half) - 1)).max() < 5e-4 * RADIUS
    moved = middle & (moves(found, points @ TURN.T) > 0)
    assert moved.sum() > bottom.sum()
    from_axis = np.hypot(after[moved, 0], after[moved, 2] - RADIUS / np.sin(half))
    assert np.abs(from_axis - RADIUS).max() < 5e-4 * RADIUS
    # where the ball touches: r / tan(a / 2) up the flank
    touch = RADIUS / np.tan(half)
    up = np.hypot(points[:, 0], points[:, 2])
    assert moved[middle & (up < touch - edge)].all()
    assert not moved[middle & (up > touch + edge)].any()


@pytest.mark.parametrize("edge", [0.035, 0.0175])
@pytest.mark.parametrize(("period", "left"), [(0.15, 0.46), (0.2, 0.72), (0.3, 0.96), (0.5, 1.0)])
def test_sine_grooves_are_rolled_as_in_the_section(edge, period, left):
    deep = 0.12

    def height(x, y=0.0):
        return deep / 2 * np.cos(2 * np.pi * x / period) + 0 * y

    x = np.arange(0, 4 * period, edge) + 0.003
    points, triangles = plate(x, np.arange(0, 0.5, edge), height)
    found = closed_by_ball(points @ TURN.T, triangles, RADIUS, reach_mm=0.2)
    after = found.points @ TURN
    middle = np.arange(len(points)) < len(points) // 2
    middle &= (np.abs(points[:, 0] - 2 * period) < 1.01 * period) & (np.abs(points[:, 1] - 0.25) < 0.1)
    truth = rolled_in_section(height, after[middle, 0], RADIUS)
    # how far an edge's chord lies off the crest: triangles take half to nine tenths of it back where they resolve it
    chord = edge**2 / 8 * deep / 2 * (2 * np.pi / period) ** 2
    assert np.abs(after[middle, 2] - truth).max() < 0.7 * chord
    dense = np.linspace(period, 3 * period, 401)
    exact = np.ptp(rolled_in_section(height, dense, RADIUS)) / deep
    assert abs(exact - left) < 0.005
    assert abs((deep / 2 - after[middle, 2].min()) / deep - exact) < 0.7 * chord / deep


@pytest.mark.parametrize("width", [0.03, 0.06, 0.09])
def test_a_ball_hangs_between_the_lips_of_a_square_groove(width):
    edge, deep = 0.01, 0.08
    x = np.r_[np.arange(-0.2, -width / 2 - edge / 2, edge), -width / 2 + np.array([0, 1e-6])]
    x = np.r_[
        x,
        np.arange(-width / 2 + edge, width / 2 - edge / 2, edge),
        width / 2 - np.array([1e-6, 0]),
        -x[-3::-1],
    ]
    points, triangles = plate(
        x, np.arange(0, 0.4, edge), lambda x, y: np.where(np.abs(x) < width / 2 - 1e-9, -deep, 0.0)
    )
    found = closed_by_ball(points, triangles, RADIUS, reach_mm=0.2)
    floor = (
        (np.abs(points[:, 0]) < width / 2 - 1e-5)
        & (points[:, 2] == -deep)
        & (np.abs(points[:, 1] - 0.2) < 0.08)
    )
    after = found.points[floor]
    centre = np.sqrt(RADIUS**2 - width**2 / 4)
    # the rim's triangles are flat and exact; steps round the lips end at a gain of 5e-4 of the radius, a few may be left
    assert not found.covered[floor].any()
    assert np.abs(np.hypot(after[:, 0], after[:, 2] - centre) - RADIUS).max() < 2e-3 * RADIUS
    assert abs(-after[:, 2].min() - square_groove_left_mm(width, deep, RADIUS)) < 2e-3 * RADIUS


def test_a_round_pit_fills_to_a_cap():
    rim, deep, step = 0.05, 0.1, 0.01
    line = [(0, -deep), (rim, -deep), (rim, 0), (0.3, 0), (0.3, -0.5), (0, -0.5)]
    profile = []
    for (a, b), (c, d) in itertools.pairwise(line):
        count = int(np.ceil(np.hypot(c - a, d - b) / step))
        profile += [(a + (c - a) * n / count, b + (d - b) * n / count) for n in range(count)]
    solid = trimesh.creation.revolve([*profile, line[-1]], sections=64)
    solid.merge_vertices()
    if solid.volume < 0:
        solid.invert()
    points = np.asarray(solid.vertices) @ TURN.T
    found = closed_by_ball(points, np.asarray(solid.faces, np.int32), RADIUS, reach_mm=0.2)
    after = found.points @ TURN
    pit = (np.hypot(*solid.vertices[:, :2].T) < rim - 1e-6) & (solid.vertices[:, 2] > -deep - 1e-6)
    assert pit.sum() > 200
    centre = np.array([0, 0, np.sqrt(RADIUS**2 - rim**2)])
    # the rim is a polygon: 1 - cos(π / 64) of its radius, and the ball sinks by rim / centre of that
    loose = rim * (1 - np.cos(np.pi / 64)) * rim / centre[2] + 1e-3 * RADIUS
    assert np.abs(np.linalg.norm(after[pit] - centre, axis=1) - RADIUS).max() < loose
    assert not found.covered[pit].any()


def test_closing_moves_nothing_of_convex_bodies():
    for points, triangles in (
        (lambda s: (s.vertices, np.asarray(s.faces, np.int32)))(trimesh.creation.icosphere(4, 0.4)),
        subdivided_box((0.5, 0.4, 0.3), 0.03),
    ):
        found = closed_by_ball(points, triangles, RADIUS, reach_mm=0.2)
        assert np.array_equal(found.points, points)
        assert not found.covered.any()


def test_opening_leaves_a_ball_wider_than_the_tool():
    ball = trimesh.creation.icosphere(5, 0.4)
    found = opened_by_ball(ball.vertices, np.asarray(ball.faces, np.int32), RADIUS, reach_mm=0.2)
    assert np.array_equal(found.points, ball.vertices)


@pytest.mark.parametrize(("edge", "short"), [(0.03, 0.012), (0.015, 0.003)])
def test_opening_rounds_a_box_to_steiners_volume(edge, short):
    sides, radius = np.array([0.6, 0.5, 0.4]), 0.1
    points, triangles = subdivided_box(sides, edge)
    found = opened_by_ball(points @ TURN.T, triangles, radius, reach_mm=0.2)
    after = found.points @ TURN
    assert not found.covered.any()
    # every vertex lies on the inner box widened by the radius: a vertex may stay for a dip of 0.005 of it
    beyond = np.linalg.norm(np.maximum(np.abs(after) - (sides / 2 - radius), 0), axis=1)
    assert np.abs(beyond - radius).max() < 0.005 * radius
    inner = sides - 2 * radius
    a, b, c = inner
    steiner = a * b * c + 2 * (a * b + b * c + c * a) * radius + np.pi * inner.sum() * radius**2
    steiner += 4 / 3 * np.pi * radius**3
    volume = trimesh.Trimesh(after, triangles, process=False).volume
    # chords of the round lie inside it: of second order in the edges, so a half of them lose a quarter
    assert -short * steiner < volume - steiner < 1e-4 * steiner


def test_corners_of_long_triangles_open_as_well():
    box = trimesh.creation.box((1.0, 0.8, 0.6))
    found = opened_by_ball(box.vertices, np.asarray(box.faces, np.int32), RADIUS, reach_mm=0.2)
    # the last step's gain is under 5e-4 of the radius
    assert np.abs(moves(found, box.vertices) - (np.sqrt(3) - 1) * RADIUS).max() < 1e-3 * RADIUS


def test_no_radius_and_no_triangles_move_nothing():
    points, triangles = subdivided_box((0.5, 0.4, 0.3), 0.1)
    assert np.array_equal(closed_by_ball(points, triangles, 0.0, reach_mm=0.2).points, points)
    nothing = opened_by_ball(np.zeros((0, 3)), np.zeros((0, 3), np.int32), 0.1, reach_mm=0.2)
    assert nothing.points.shape == (0, 3)
    assert nothing.covered.shape == (0,)


def test_a_body_that_no_ball_enters_is_covered_all_over():
    points, triangles = subdivided_box((0.3, 0.3, 0.05), 0.03)
    found = opened_by_ball(points, triangles, RADIUS, reach_mm=0.04)
    assert found.covered.all()
    # 0.04 mm inward along unit normals
    assert np.abs(moves(found, points) - 0.04).max() < 1e-12


@pytest.mark.parametrize(("radius", "reach"), [(-0.1, 0.2), (0.1, -0.2), (np.nan, 0.2), (0.1, np.inf)])
def test_lengths_that_make_no_sense_are_refused(radius, reach):
    points, triangles = subdivided_box((0.5, 0.4, 0.3), 0.2)
    with pytest.raises(InputError):
        closed_by_ball(points, triangles, radius, reach_mm=reach)
