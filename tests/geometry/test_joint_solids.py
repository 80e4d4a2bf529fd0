"""Pegs, keys, beds, and the room for them: by formula."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as trial
from hypothesis import strategies as st
from manifold3d import CrossSection

from firstcast.errors import InputError
from firstcast.geometry.fittings import Fitting, fitted
from firstcast.geometry.joint_room import best_place, column_of, depth_in, least_wall_mm, widest_place
from firstcast.geometry.joints import (
    FLAT_SHARE,
    bed_of,
    convex_outline,
    directions_round,
    joint_frame,
    key_sides,
    peg_sides,
    plug_of,
)
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.solids import box, from_manifold, raw_manifold, union

UP = joint_frame((0, 0, 1), 0.0)


def key(width=1.0, length=2.0, **given_):
    shape = {"depth_mm": 1.5, "draft_deg": 0.0, "lead_mm": 0.0, "root_mm": 0.5} | given_
    return plug_of(UP, (0, 0, 0), key_sides(width, length), **shape)


def body_of(solid) -> Mesh:
    mesh = from_manifold(solid)
    return Mesh(mesh.points.astype(np.float32), mesh.triangles)


def test_a_key_is_a_frustum():
    slope = np.tan(np.radians(3.0))
    solid = key(draft_deg=3.0).solid(from_mm=0.0)
    a, b = 1.0, 2.0
    end_a, end_b = a - 2 * 1.5 * slope, b - 2 * 1.5 * slope
    frustum = 1.5 / 6.0 * (a * b + (a + end_a) * (b + end_b) + end_a * end_b)
    assert solid.volume() == pytest.approx(frustum, rel=1e-9)
    assert key().solid().volume() == pytest.approx(2.0 * 2.0, rel=1e-9)


def test_a_chamfer_takes_a_wedge_off_every_edge_of_the_end():
    # one of 0.2 all round: the prism up to it, and a frustum of 0.2 that loses 0.4 both ways
    solid = key(lead_mm=0.2).solid(from_mm=0.0)
    frustum = 0.2 / 6.0 * (2.0 + (1.0 + 0.6) * (2.0 + 1.6) + 0.6 * 1.6)
    assert solid.volume() == pytest.approx(1.3 * 2.0 + frustum, rel=1e-9)


def test_a_round_peg_has_its_diameter_and_one_flat():
    peg = plug_of(UP, (3, 4, 5), peg_sides(1.0), depth_mm=2.0, draft_deg=0.0, lead_mm=0.0, root_mm=0.0)
    outline = peg.outline(0.0)
    assert peg.width_mm == pytest.approx(2.0)
    assert outline[:, 0].max() == pytest.approx(FLAT_SHARE)
    far = np.linalg.norm(outline, axis=1)
    # corners stand a little outside the circle, sides touch it
    assert far.max() < 1.0 + 0.006
    turned = outline[outline[:, 0] < FLAT_SHARE - 1e-9]
    assert np.linalg.norm(turned, axis=1).min() > 1.0 - 1e-9
    area = np.pi - (np.arccos(FLAT_SHARE) - FLAT_SHARE * np.sqrt(1 - FLAT_SHARE**2))
    # the polygon round the circle has up to 1/3 (pi/32)² more
    assert peg.solid().volume() == pytest.approx(2.0 * area, rel=0.005)
    assert from_manifold(peg.solid()).bounds[0, 2] == pytest.approx(5.0)


def test_sides_move_along_their_normals():
    moved = key(draft_deg=5.0).moved([0.1, 0.2, 0.0, -0.1], 0.3)
    before = key(draft_deg=5.0)
    assert moved.depth_mm == pytest.approx(1.8)
    for side, by in enumerate((0.1, 0.2, 0.0, -0.1)):
        normal = before.normals[side]
        old, new = (before.at(plug.outline(0.7), 0.7) for plug in (before, moved))
        assert (new @ normal).max() - (old @ normal).max() == pytest.approx(by, abs=1e-12)


def test_too_much_draft_leaves_nothing():
    with pytest.raises(InputError, match="nothing is left"):
        key(width=0.2, draft_deg=20.0).solid()


@trial(deadline=None, max_examples=40, derandomize=True)
@given(st.lists(st.tuples(st.floats(0.0, 2.0 * np.pi), st.floats(0.2, 2.0)), min_size=3, max_size=12))
def test_an_outline_is_what_lies_within_all_its_lines(lines):
    turns = np.concatenate([[0.0, 2.1, 4.2], [turn for turn, _ in lines]])
    reach = np.concatenate([[1.0, 1.0, 1.0], [far for _, far in lines]])
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    outline = convex_outline(ways, reach)
    assert (outline @ ways.T <= reach + 1e-9).all()
    # manifold3d's intersection of half-planes as squares
    shape = CrossSection.square((50.0, 50.0), True)
    for turn, far in zip(turns, reach, strict=True):
        half = CrossSection.square((100.0, 100.0), True).translate((far - 50.0, 0.0))
        shape = shape ^ half.rotate(float(np.degrees(turn)))
    assert CrossSection([outline]).area() == pytest.approx(shape.area(), abs=1e-4)


def test_lines_that_leave_nothing():
    ways = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
    assert convex_outline(ways, np.array([1.0, -2.0, 1.0, 1.0])).shape == (0, 2)


def test_a_bed_lets_pass_what_it_was_made_over():
    points = np.random.default_rng(5).uniform(-1.0, 1.0, (60, 3)) - (0.0, 0.0, 3.0)
    wide = np.full(len(directions_round()), 0.1)
    bed = bed_of(points, (0, 0, 0), (0, 0, 1), wide)
    # each point, and it a step outward, lies in the bed; a small ball about it too, as far as 46 directions are one
    for step in (0.0, 0.5):
        at = points - (0, 0, step)
        kept = at[at[:, 2] >= points[:, 2].min()]
        grown = union([raw_manifold(Mesh(box_mesh.points * 0.05 + p, box_mesh.triangles)) for p in kept])
        assert (grown - bed).volume() < 1e-9
    low, high = from_manifold(bed).bounds
    assert low[2] == pytest.approx(points[:, 2].min() - 0.1, abs=1e-9)
    assert high[2] <= 0.0


box_mesh = from_manifold(box((1.0, 1.0, 1.0)))


def test_a_bed_ends_at_the_seat():
    points = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1.0, 1.0)])
    bed = bed_of(points, (0, 0, 0), (0, 0, 1), np.full(len(directions_round()), 0.2))
    assert bed.is_empty() or from_manifold(bed).bounds[1, 2] <= 1e-9
    assert bed_of(points + np.array([0, 0, 5.0]), (0, 0, 0), (0, 0, 1), np.full(46, 0.2)).is_empty()


@pytest.mark.parametrize(
    ("loops", "radius"),
    [
        ([[(0, 0), (4, 0), (4, 2), (0, 2)]], 1.0),
        # in the corner of an L the circle touches both outer sides and the inner corner: r² - 6 r + 5 = 0
        ([[(0, 0), (5, 0), (5, 1), (2, 1), (2, 5), (0, 5)]], 1.0),
        # in the corner under a notch it touches two sides and the notch's corner (1, 1): r = 2 - √2
        ([[(0, 0), (3, 0), (3, 3), (0, 3)], [(1, 1), (1, 3), (2, 3), (2, 1)]], 0.5857864),
    ],
)
def test_the_widest_place(loops, radius):
    section = CrossSection([np.array(loop, dtype=float) for loop in loops])
    middle, found = widest_place(section)
    assert found == pytest.approx(radius, abs=0.01)
    assert depth_in(section, middle)[0] == pytest.approx(found)


def test_the_best_place_between_two_wants():
    """Two cones of one slope, tops 1 and 2 high and 3 apart: between them both are worth 0 at most, 1 from the lower top."""
    low, high = np.array([0.0, 0.0]), np.array([3.0, 0.0])

    def worth(spots):
        first = 1.0 - np.linalg.norm(spots - low, axis=1)
        return np.minimum(first, 2.0 - np.linalg.norm(spots - high, axis=1))

    (u, v), found = best_place((-4.0, -3.0, 5.0, 2.5), worth)
    assert found == pytest.approx(0.0, abs=0.01)
    # it lies where both lines meet; beside them the worth falls with the square of the distance
    assert u == pytest.approx(1.0, abs=0.01)
    assert abs(v) <= 0.2


def test_depth_in_a_section_is_signed():
    section = CrossSection.square((4.0, 4.0), True) - CrossSection.square((1.0, 1.0), True)
    spots = [(1.0, 0.0), (0.0, 0.0), (1.9, 1.9), (3.0, 0.0), (3.0, 3.0)]
    np.testing.assert_allclose(depth_in(section, spots), [0.5, -0.5, 0.1, -1.0, -np.sqrt(2.0)], atol=1e-12)
    assert depth_in(CrossSection(), [(0.0, 0.0)])[0] == -np.inf


def test_a_column_through_a_step():
    # a wide block on a narrow one: from z = 2 on there is only the narrow one, 2 mm wide, off the middle
    body = body_of(union([box((6, 6, 2), at_mm=(0, 0, 1)), box((2, 2, 4), at_mm=(1, 0, 3.5))]))
    column = column_of(body, UP, (1.0, 0.0, 0.0), [0.5, 1.5, 2.5, 4.5, 6.0])
    assert [round(section.area(), 6) for section in column.common] == [36.0, 36.0, 4.0, 4.0]
    assert column.common[2].bounds() == pytest.approx((-1.0, -1.0, 1.0, 1.0))
    outline = np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)])
    assert least_wall_mm(column, [outline] * 2) == pytest.approx(1.5)
    assert least_wall_mm(column, [outline] * 4) == pytest.approx(0.5)
    assert least_wall_mm(column, [outline] * 5) == 0.0


@pytest.mark.parametrize("adds", [True, False])
def test_a_fitting_on_a_body(adds):
    body = body_of(box((6, 6, 4), at_mm=(0, 0, -2.0)))
    plug = key(draft_deg=2.0) if adds else key(draft_deg=2.0, root_mm=0.5)
    turned = Mesh(
        from_manifold(plug.solid()).points * (1, 1, 1 if adds else -1), from_manifold(plug.solid()).triangles
    )
    if not adds:
        turned = Mesh(turned.points, np.ascontiguousarray(turned.triangles[:, ::-1]))
    fitting = Fitting("a", "key", adds, turned, np.array([0.0, 0.0, -1.0]))
    _, joined, crossings = fitted(body, fitting)
    assert crossings == 0
    beyond = plug.solid(from_mm=0.0).volume()
    expected = 144.0 + (beyond if adds else -beyond)
    assert measure_solid(joined.mesh).volume == pytest.approx(expected, abs=1e-4)
    assert (joined.source < 0).any()


def test_what_is_taken_out_of_thin_air_changes_nothing():
    body = body_of(box((6, 6, 4)))
    away = Mesh(
        from_manifold(key().solid()).points + np.array([0, 0, 20.0]), from_manifold(key().solid()).triangles
    )
    _, joined, crossings = fitted(body, Fitting("a", "bed", False, away, np.array([0.0, 0.0, -1.0])))
    assert crossings == 0
    assert not len(joined.seam)
    np.testing.assert_array_equal(joined.mesh.points, body.points)
