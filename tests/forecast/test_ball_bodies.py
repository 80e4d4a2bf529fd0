import igl
import numba
import numpy as np
import pytest
import trimesh
from ball_solids import RADIUS, block, bumpy_ball, fine_mesh, moves, plate, subdivided_box
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator
from scipy.ndimage import grey_dilation, grey_erosion

from firstcast.fields import films
from firstcast.fields.drawn import near_of
from firstcast.fields.near import sample
from firstcast.forecast.ball import closed_by_ball, opened_by_ball
from firstcast.forecast.forward import as_modelled


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
