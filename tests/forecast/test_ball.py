import itertools

import igl
import manifold3d
import numba
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator
from scipy.ndimage import grey_dilation, grey_erosion

from firstcast.errors import InputError
from firstcast.fields import films
from firstcast.fields.drawn import near_of
from firstcast.fields.near import sample
from firstcast.forecast.ball import closed_by_ball, opened_by_ball
from firstcast.forecast.forward import as_modelled
from firstcast.kernels.ball_halfspaces import nearest_in_halfspaces
from firstcast.process.films import square_groove_left_mm

RADIUS = 0.06
TURN = trimesh.transformations.euler_matrix(0.1, 0.2, 0.3)[:3, :3]


def plate(x, y, height, thick=0.4):
    """A closed plate with vertices above the lines x, y at `height`(x, y), and as many below: top vertices come first."""
    rows, columns = len(x), len(y)
    across, along = np.meshgrid(x, y, indexing="ij")
    top = np.c_[across.ravel(), along.ravel(), height(across, along).ravel()]
    n = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = (part.ravel() for part in (n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]))
    even = (np.add.outer(np.arange(rows - 1), np.arange(columns - 1)) % 2 == 0).ravel()[:, None]
    faces = np.r_[
        np.where(even, np.c_[a, b, c], np.c_[a, b, d]), np.where(even, np.c_[a, c, d], np.c_[b, c, d])
    ]
    rim = np.r_[n[:, 0], n[-1, 1:], n[-2::-1, -1], n[0, -2:0:-1]]
    ahead, under = np.roll(rim, -1), len(top)
    sides = np.r_[np.c_[rim, rim + under, ahead + under], np.c_[rim, ahead + under, ahead]]
    points = np.r_[top, top * (1, 1, 0) + (0, 0, top[:, 2].min() - thick)]
    return points, np.r_[faces, faces[:, ::-1] + under, sides].astype(np.int32)


def rolled_in_section(height, x, radius):
    """What a disc leaves of a line height(x), at x: centres and touching by brute force, steps of 0.1 µm over the disc."""
    wide = np.arange(x.min() - 2 * radius, x.max() + 2 * radius, 0.0005)
    offsets = np.linspace(-radius, radius, 1201)
    disc = np.sqrt(np.maximum(radius**2 - offsets**2, 0))
    centre = np.array([(height(s + offsets) + disc).max() for s in wide])
    return np.array([(np.interp(s + offsets, wide, centre) - disc).min() for s in x])


def bumpy_ball(subdivisions, radius, rng, lengths=(0.2, 0.3, 0.6), share=0.07):
    ball = trimesh.creation.icosphere(subdivisions, 1.0)
    height = np.zeros(len(ball.vertices))
    for length in lengths:
        for _ in range(3):
            wave = rng.normal(size=3)
            wave *= 2 * np.pi * radius / length / np.linalg.norm(wave)
            height += share * length * np.cos(ball.vertices @ wave + rng.uniform(0, 2 * np.pi))
    return ball.vertices * (radius + height)[:, None], np.asarray(ball.faces, np.int32)


def subdivided_box(sides, edge):
    box = trimesh.creation.box(sides)
    while box.edges_unique_length.max() > 1.5 * edge:
        box = box.subdivide()
    return np.asarray(box.vertices), np.asarray(box.faces, np.int32)


def block(low, high):
    return manifold3d.Manifold.cube(tuple(np.subtract(high, low))).translate(low)


def fine_mesh(solid, edge):
    mesh = solid.refine_to_length(edge).to_mesh64()
    return np.ascontiguousarray(mesh.vert_properties[:, :3]), mesh.tri_verts.astype(np.int32)


def moves(rolled, points):
    return np.linalg.norm(rolled.points - points, axis=1)


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
    work = (np.empty(3, np.int64), np.empty(3, np.int64), np.empty(3))
    met = nearest_in_halfspaces(planes, count, q, 1e-9, work, found)
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


def test_walls_of_a_gap_narrower_than_the_ball_are_covered():
    wide, reach = 0.09, 0.1
    solid = block((0, 0, 0), (0.8, 0.5, 0.8)) - block((0.35, -1, 0.2), (0.35 + wide, 1, 1))
    points, triangles = fine_mesh(solid, 0.02)
    found = closed_by_ball(points, triangles, RADIUS, reach_mm=reach)
    wall = np.isclose(points[:, 0], 0.35) & (np.abs(points[:, 1] - 0.25) < 0.08)
    deep = wall & (points[:, 2] > 0.25) & (points[:, 2] < 0.8 - reach - RADIUS)
    assert deep.sum() > 50
    assert found.covered[deep].all()
    assert np.allclose(found.points[deep] - points[deep], (reach, 0, 0), atol=1e-12)
    outer = np.abs(points[:, 0] - 0.4) > 0.2
    assert not found.covered[outer].any()
    assert np.array_equal(found.points[outer], points[outer])


def test_no_vertex_goes_through_the_wall_opposite():
    # a gap of 0.05 between walls of 0.04: a free ball stands behind either wall, nearer than the one on top
    edge, thick, wide = 0.02, 0.04, 0.05
    walls = [(0.3, 0.3 + thick), (0.3 + thick + wide, 0.3 + 2 * thick + wide)]
    solid = block((0, 0, 0), (0.8, 1.0, 0.5))
    for left, right in walls:
        solid += block((left, 0, 0.4), (right, 1.0, 1.0))
    points, triangles = fine_mesh(solid, edge)
    found = closed_by_ball(points, triangles, RADIUS, reach_mm=0.2)
    inner = np.isclose(points[:, 0], walls[0][1]) & (np.abs(points[:, 1] - 0.5) < 0.1)
    inner &= (points[:, 2] > 0.55) & (points[:, 2] < 0.7)
    assert inner.sum() > 30
    assert found.covered[inner].all()
    outer = np.isclose(points[:, 0], walls[0][0]) & (points[:, 2] > 0.65) & (points[:, 2] < 0.9)
    assert outer.sum() > 30
    assert np.array_equal(found.points[outer], points[outer])


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


def test_opening_is_the_closing_of_what_is_around():
    points, triangles = bumpy_ball(4, 0.35, np.random.default_rng(31))
    shell = trimesh.creation.box((2, 2, 2))
    around = np.r_[points, shell.vertices]
    rows = np.r_[triangles[:, ::-1], np.asarray(shell.faces) + len(points)].astype(np.int32)
    opened = opened_by_ball(points, triangles, RADIUS, reach_mm=0.2)
    closed = closed_by_ball(around, rows, RADIUS, reach_mm=0.2)
    assert (moves(opened, points) > 0).mean() > 0.05
    # the same balls on cells that begin elsewhere: only the order of what is looked at differs
    assert np.abs(opened.points - closed.points[: len(points)]).max() < 1e-3 * RADIUS
    assert np.array_equal(opened.covered, closed.covered[: len(points)])


def test_closing_takes_nothing_and_does_nothing_twice():
    points, triangles = bumpy_ball(5, 0.5, np.random.default_rng(77))
    once = closed_by_ball(points, triangles, RADIUS, reach_mm=0.2)
    assert (moves(once, points) > 0).mean() > 0.1
    signed = igl.signed_distance(once.points, points, triangles.astype(np.int64))[0]
    assert signed.min() > -1e-9
    twice = closed_by_ball(once.points, triangles, RADIUS, reach_mm=0.2)
    again = moves(twice, once.points)
    edge = np.sqrt(4 / np.sqrt(3) * 4 * np.pi * 0.25 / len(triangles))
    # creases of the closed body run between vertices: the chord of an edge over the ball
    assert np.quantile(again, 0.99) < edge**2 / 8 / RADIUS
    assert again.max() < 3 * edge**2 / 8 / RADIUS


@given(seed=st.integers(0, 10**6), radius=st.floats(0.04, 0.12))
@settings(max_examples=6, deadline=None)
def test_bumpy_plates_close_as_by_brute_force(seed, radius):
    rng = np.random.default_rng(seed)
    waves = [(rng.normal(size=2), length, rng.uniform(0, 6.3)) for length in (0.2, 0.3, 0.5, 0.5)]

    def height(x, y):
        total = 0 * x
        for direction, length, phase in waves:
            u, v = 2 * np.pi / length * direction / np.linalg.norm(direction)
            total = total + 0.06 * length * np.cos(u * x + v * y + phase)
        return total

    edge, fine, side = 0.0175, 0.0025, 1.0
    lines = np.arange(0, side, edge)
    points, triangles = plate(lines, lines, height)
    found = closed_by_ball(points, triangles, radius, reach_mm=0.3)
    grid = np.arange(0, side, fine)
    level = height(*np.meshgrid(grid, grid, indexing="ij"))
    reach = int(radius / fine)
    square = np.add.outer(*[(np.arange(-reach, reach + 1) * fine) ** 2] * 2)
    inside = square <= radius**2
    cap = np.where(inside, np.sqrt(np.maximum(radius**2 - square, 0)), 0)
    centres = grey_dilation(level, footprint=inside, structure=cap)
    closed = grey_erosion(centres, footprint=inside, structure=cap)
    middle = np.arange(len(points)) < len(points) // 2
    middle &= (np.abs(points[:, :2] - side / 2) < side / 2 - 3 * radius).all(axis=1)
    after = found.points[middle]
    truth = RegularGridInterpolator((grid, grid), closed, method="cubic")(after[:, :2])
    off = after[:, 2] - truth
    # the grid's centres miss the creases of the offset by up to half a step at their slope, so that it fills more; a
    # vertex may stay for a dip of 0.005 of the radius. More than the grid: chords of the squares' diagonals
    assert off.min() > -0.6 * fine - 0.005 * radius
    assert off.max() < 2 * edge**2 / 8 / radius


@pytest.mark.parametrize("pitch", [0.02, 0.01])
def test_the_field_route_agrees_as_far_as_its_pitch_lets_it(pitch):
    points, triangles = bumpy_ball(5, 0.5, np.random.default_rng(9), lengths=(0.3, 0.5), share=0.12)
    found = closed_by_ball(points, triangles, RADIUS, reach_mm=0.2)
    drawn = as_modelled(points, triangles, pitch, margin_mm=0.2)
    off = sample(near_of(films.closed_by_ball(drawn, RADIUS), 0.1), found.points)
    deep = moves(found, points) > 0.005
    assert deep.sum() > 300
    # a chord of a cell's diagonal over bumps of 0.06 mm radius, both ways, or the edge of a hollow that is filled more
    assert np.abs(off[moves(found, points) == 0]).max() < 0.4 * pitch
    # the field's offset is blunted at its creases, so it fills more: half a pitch in the middle, less than 1.2 anywhere
    assert -0.5 * pitch < np.median(off[deep]) < 0
    assert -1.2 * pitch < off[deep].min()
    assert off[deep].max() < 0.1 * pitch


def test_what_lies_inside_another_body_is_covered_and_nothing_goes_there():
    ball = trimesh.creation.icosphere(5, 0.4)
    points = np.concatenate([ball.vertices, ball.vertices + np.array([0.55, 0, 0])])
    triangles = np.r_[ball.faces, ball.faces + len(ball.vertices)].astype(np.int32)
    found = closed_by_ball(points, triangles, RADIUS, reach_mm=0.05)
    depth = [0.4 - np.linalg.norm(places - (x, 0, 0), axis=1) for x in (0, 0.55) for places in (points,)]
    inside = np.maximum(*depth) > 0.06
    assert inside.sum() > 100
    assert found.covered[inside].all()
    outside = ~found.covered
    # triangles of the balls lie up to 0.2 µm inside them
    gone = [0.4 - np.linalg.norm(found.points[outside] - (x, 0, 0), axis=1) for x in (0, 0.55)]
    assert np.maximum(*gone).max() < 0.0005
    # in the seam the ball touches both: its centre is 0.46 from both middles
    seam = outside & (np.abs(points[:, 0] - 0.275) < 0.01)
    ring = np.sqrt(0.46**2 - 0.275**2)
    after = found.points[seam]
    from_ring = np.hypot(after[:, 0] - 0.275, np.hypot(after[:, 1], after[:, 2]) - ring)
    assert np.abs(from_ring - RADIUS).max() < 0.002


def test_walls_that_have_passed_through_each_other_are_covered():
    edge, reach = 0.02, 0.1
    low, high = (subdivided_box((0.6, 0.6, 0.4), edge) for _ in range(2))
    points = np.r_[low[0], high[0] + (0.003, 0.005, 0.37)]
    triangles = np.r_[low[1], high[1] + len(low[0])].astype(np.int32)
    found = closed_by_ball(points, triangles, RADIUS, reach_mm=reach)
    middle = (np.abs(points[:, :2]) < 0.1).all(axis=1)
    met = middle & (np.abs(points[:, 2] - 0.185) < 0.02)
    assert met.sum() > 50
    assert found.covered[met].all()
    assert not found.covered[middle & ~met].any()


def test_the_same_bytes_on_one_and_two_threads():
    points, triangles = bumpy_ball(5, 0.5, np.random.default_rng(13))
    before, results = numba.get_num_threads(), []
    for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
        numba.set_num_threads(threads)
        found = closed_by_ball(points, triangles, RADIUS, reach_mm=0.2)
        results.append((found.points.tobytes(), found.covered.tobytes()))
    numba.set_num_threads(before)
    assert results[0] == results[1]


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
