"""Lines with sloping sides on bodies whose grooves and ridges are known, and none where there is none."""

import numba
import numpy as np
import pytest
import trimesh
from hypothesis import example, given, settings
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.geometry import lines as lines_module
from firstcast.geometry.lines import APART_MM, LinePlaces, joined, read_lines
from firstcast.geometry.mesh import Mesh
from firstcast.kernels.line_sections import STEPS
from geometry import line_solids as solids
from geometry.width_solids import of, turned

MOST_MM = 0.6
STEP_MM = MOST_MM / STEPS
"""A profile has a place every 0.0125 mm: lips and bottoms lie up to so far from the next."""

BEND = 2.0 * STEP_MM
"""A width reads off by a step at either lip at most."""


def inner(places: LinePlaces, length: float = 3.0) -> LinePlaces:
    """Sections that are 0.2 mm or more from the ends of a block along y."""
    return places.only(np.abs(places.place_mm[:, 1]) < length / 2.0 - 0.2)


def opening(width: float, depth: float) -> float:
    return 2.0 * np.degrees(np.arctan2(width / 2.0, abs(depth)))


@pytest.mark.parametrize(
    ("width", "depth"), [(0.1, 0.1), (0.2, 0.2), (0.3, 0.1), (0.4, 0.4), (0.25, 0.07), (0.5, 0.2)]
)
@pytest.mark.parametrize("raised", [False, True])
def test_a_v_groove_and_a_roof_in_a_block(width, depth, raised):
    body = solids.profile_block(solids.v_top(width, -depth if raised else depth))
    found = inner(read_lines(body, most_mm=MOST_MM))
    # 2.6 mm of line with sections 0.15 to 0.3 mm apart
    assert 9 <= len(found.raised) <= 18
    assert (found.raised == raised).all()
    np.testing.assert_allclose(found.width_mm, width, atol=BEND)
    np.testing.assert_allclose(found.depth_mm, depth, atol=STEP_MM)
    # flanks are straight between a quarter and three quarters of the depth
    np.testing.assert_allclose(found.opening_deg, opening(width, depth), atol=1.0)
    np.testing.assert_allclose(np.abs(found.way), [[0.0, 1.0, 0.0]] * len(found.way), atol=1e-3)
    np.testing.assert_allclose(found.place_mm[:, 0], 0.0, atol=STEP_MM)
    np.testing.assert_allclose(found.place_mm[:, 2], depth if raised else -depth, atol=STEP_MM)


@given(st.floats(0.15, 0.45), st.floats(45.0, 125.0), st.integers(0, 10**6))
@example(0.15, 45.0, 0)
@settings(max_examples=12, deadline=None)
def test_any_v_turned_any_way(width, angle, seed):
    depth = width / 2.0 / np.tan(np.radians(angle / 2.0))
    body = turned(solids.profile_block(solids.v_top(width, depth), length=1.6), seed)
    found = read_lines(body, most_mm=MOST_MM)
    assert len(found.raised) >= 5
    assert not found.raised.any()
    assert np.median(found.width_mm) == pytest.approx(width, abs=BEND)
    assert np.median(found.depth_mm) == pytest.approx(depth, abs=STEP_MM)
    assert np.median(found.opening_deg) == pytest.approx(angle, abs=1.0)


@pytest.mark.parametrize(("width", "depth"), [(0.2, 0.2), (0.4, 0.15)])
def test_a_groove_round_a_rod_is_one_line_as_long_as_the_way_round(width, depth):
    found = read_lines(solids.grooved_rod(1.5, width, depth), most_mm=MOST_MM)
    np.testing.assert_allclose(found.width_mm, width, atol=BEND)
    np.testing.assert_allclose(found.depth_mm, depth, atol=STEP_MM)
    (line,) = joined(found, np.zeros(len(found.raised), np.int64))
    # through the bottom, by chords between sections, without one of them; two ends are added
    assert line.length_mm == pytest.approx(2.0 * np.pi * (1.5 - depth), abs=2.5 * APART_MM)


@pytest.mark.parametrize("radius", [0.03, 0.06])
def test_a_rounded_bottom_is_read_with_the_opening_of_its_flanks(radius):
    width, depth = 0.4, 0.3
    half = np.radians(opening(width, depth) / 2.0)
    found = inner(read_lines(solids.profile_block(solids.round_v_top(width, depth, radius)), most_mm=MOST_MM))
    assert len(found.raised) >= 9
    np.testing.assert_allclose(found.width_mm, width, atol=BEND)
    # a ball of the radius rests R (1 / sin a - 1) above where the flanks meet
    np.testing.assert_allclose(found.depth_mm, depth - radius * (1.0 / np.sin(half) - 1.0), atol=STEP_MM)
    np.testing.assert_allclose(found.opening_deg, np.degrees(2.0 * half), atol=3.0)


def test_unlike_flanks_are_measured_from_the_chord():
    """Flanks of 50 and 30 degrees; the opening is what is between them."""
    depth, left, right = 0.15, 0.15 / np.tan(np.radians(50)), 0.15 / np.tan(np.radians(30))
    top = [(-1.2, 0.0), (-left, 0.0), (0.0, -depth), (right, 0.0), (1.2, 0.0)]
    found = inner(read_lines(solids.profile_block(top), most_mm=MOST_MM))
    assert len(found.raised) >= 9
    np.testing.assert_allclose(found.width_mm, left + right, atol=BEND)
    np.testing.assert_allclose(found.depth_mm, depth, atol=STEP_MM)
    np.testing.assert_allclose(found.opening_deg, 100.0, atol=1.0)


def test_lines_side_by_side_are_lines_of_their_own_and_what_stands_between_is_no_ridge():
    """Five V grooves 0.3 mm wide, lip to lip."""
    teeth = [(x, 0.0 if n % 2 == 0 else -0.15) for n, x in enumerate(np.linspace(-0.75, 0.75, 11))]
    body = solids.profile_block([(-1.5, 0.0), *teeth, (1.5, 0.0)])
    found = inner(read_lines(body, most_mm=MOST_MM))
    assert not found.raised.any()
    lines = joined(found, np.zeros(len(found.raised), np.int64))
    assert len(lines) == 5
    for line in lines:
        # one section may be missing at either end, and each end counts for half a section
        assert line.length_mm == pytest.approx(2.6, abs=2.0 * APART_MM)
        assert np.ptp(found.place_mm[line.rows, 0]) < 2.0 * STEP_MM
    np.testing.assert_allclose(found.width_mm, 0.3, atol=BEND)
    np.testing.assert_allclose(found.depth_mm, 0.15, atol=STEP_MM)


def test_a_groove_along_a_round_crest_is_read_though_the_ground_falls_below_its_bottom():
    """A V of 0.14 by 0.07 mm along the crest of a rod of 0.45 mm, that falls by 0.09 mm within half of the reach."""
    at_lip = np.arcsin(0.07 / 0.45)
    turn = np.linspace(np.pi / 2, at_lip, 24)
    right = np.column_stack([0.45 * np.sin(turn), 0.45 * np.cos(turn)])
    lip = 0.45 * np.cos(at_lip)
    top = [(-1.0, 0.0), *(right * [-1.0, 1.0]), (0.0, lip - 0.07), *right[::-1], (1.0, 0.0)]
    found = inner(read_lines(solids.profile_block(top), most_mm=MOST_MM))
    found = found.only(np.abs(found.place_mm[:, 0]) < 0.1)
    assert len(found.raised) >= 9
    assert not found.raised.any()
    # where the mouth's angle has fallen to half of the flank's, which leans with the ground
    np.testing.assert_allclose(found.width_mm, 0.14, atol=BEND)
    np.testing.assert_allclose(found.depth_mm, 0.07, atol=STEP_MM)


def test_a_notch_with_no_ground_beside_it_is_no_line():
    """A crest of 60 degrees, its top cut by a V of 0.2 by 0.1 mm: within half a width the ground falls by 0.17 mm."""
    foot = 0.1 + 0.6 * np.tan(np.radians(30))
    body = solids.profile_block(
        [(-1.2, -0.6), (-foot, -0.6), (-0.1, 0.0), (0.0, -0.1), (0.1, 0.0), (foot, -0.6), (1.2, -0.6)]
    )
    assert len(inner(read_lines(body, most_mm=MOST_MM)).raised) == 0


def step_block(angle_deg: float) -> Mesh:
    """A block whose top rises at an angle from the middle on: one valley, no mouth to one side."""
    rise = 1.2 * np.tan(np.radians(angle_deg))
    return solids.profile_block([(-1.2, 0.0), (0.0, 0.0), (1.2, rise)])


def saddle_block() -> Mesh:
    """A smooth saddle, 0.05 mm high on 2.4 by 3 mm."""
    body = solids.profile_block([(-1.2, 0.0), (1.2, 0.0)])
    x, y, z = body.points.T
    return Mesh(np.column_stack([x, y, z + 0.05 * (x**2 - y**2) * (z > -1.0)]), body.triangles)


def soft_bowl() -> Mesh:
    """A channel with the section of a ball of 1.5 mm, 0.5 mm wide: 0.02 mm deep."""
    x = np.linspace(-0.25, 0.25, 21)
    deep = np.sqrt(1.5**2 - x**2) - np.sqrt(1.5**2 - 0.25**2)
    return solids.profile_block([(-1.2, 0.0), *np.column_stack([x, -deep]), (1.2, 0.0)])


def rods_that_touch() -> Mesh:
    """Two rods of 0.3 mm side by side, half sunk into a block: they open from nothing, ever wider."""
    turn = np.linspace(np.pi, 0.0, 33)
    rods = [np.column_stack([side + 0.3 * np.cos(turn), 0.3 * np.sin(turn)]) for side in (-0.302, 0.302)]
    return solids.profile_block([(-1.2, 0.0), *rods[0], *rods[1], (1.2, 0.0)], step=0.03)


@pytest.mark.parametrize(
    "body",
    [
        pytest.param(lambda: of(trimesh.creation.icosphere(subdivisions=5, radius=1.5)), id="a ball"),
        pytest.param(lambda: of(trimesh.creation.icosphere(subdivisions=4, radius=0.3)), id="a small ball"),
        pytest.param(lambda: solids.profile_block([(-0.6, 0.0), (0.6, 0.0)], 1.2), id="a box"),
        pytest.param(saddle_block, id="a saddle"),
        pytest.param(soft_bowl, id="a soft bowl"),
        pytest.param(lambda: step_block(45.0), id="a corner between two faces"),
        pytest.param(
            lambda: solids.profile_block(solids.square_top(0.2, 0.2)), id="a square groove"
        ),
        pytest.param(lambda: solids.profile_block(solids.square_top(0.3, 0.12)), id="a shallow square one"),
        pytest.param(lambda: solids.profile_block(
            [(-1.2, 0), (-0.03, 0), (-0.12, -0.12), (0, -0.3), (0.12, -0.12), (0.03, 0), (1.2, 0)]
        ), id="a groove that its lips close over"),
        pytest.param(rods_that_touch, id="a crease between round forms"),
        # its sides slope by 17.7 degrees
        pytest.param(lambda: solids.profile_block(solids.v_top(0.5, 0.08)), id="a V of 145 degrees"),
        pytest.param(lambda: solids.profile_block(solids.v_top(0.8, 0.4)), id="a V wider than asked for"),
        pytest.param(lambda: solids.profile_block(solids.v_top(0.1, 0.02)), id="a scratch"),
        pytest.param(lambda: solids.turned_solid(
            np.array([0.8, 0.8, 0.3, 0.8, 0.8]), np.array([-1.5, -0.5, 0.0, 0.5, 1.5]), 120
        ), id="a waist"),
    ],
)  # fmt: skip
def test_what_is_no_line(body):
    mesh = body()
    for seed in (None, 4):
        found = read_lines(mesh if seed is None else turned(mesh, seed), most_mm=MOST_MM)
        assert len(found.raised) == 0


@pytest.mark.parametrize("high", [-0.12, 0.12])
def test_a_pit_or_a_knob_is_no_line(high):
    """A cone 0.3 mm wide: sections across it may lie round its point, but they follow no line longer than it is wide."""
    body = solids.profile_block([(-0.6, 0.0), (0.6, 0.0)], 1.2, step=0.02)
    x, y, z = body.points.T
    cone = high * np.clip(1.0 - np.hypot(x, y) / 0.15, 0.0, 1.0)
    body = Mesh(np.column_stack([x, y, z + np.where(z > -1.0, cone, 0.0)]), body.triangles)
    found = read_lines(body, most_mm=MOST_MM)
    lines = joined(found, np.zeros(len(found.raised), np.int64))
    # a line's two ends add as much as sections lie apart
    assert all(line.length_mm < 0.3 + APART_MM for line in lines), [line.length_mm for line in lines]


def test_any_number_of_threads_gives_the_same_bytes(monkeypatch):
    monkeypatch.setattr(lines_module, "SHARE", 512)  # many shares
    body = turned(solids.grooved_rod(2.0, 0.3, 0.15), 11)
    threads = numba.get_num_threads()
    found = []
    try:
        for count in (1, threads):
            numba.set_num_threads(count)
            found.append(read_lines(body, most_mm=MOST_MM))
    finally:
        numba.set_num_threads(threads)
    for one, other in zip(*found, strict=True):
        assert one.tobytes() == other.tobytes()


def test_sections_are_joined_along_the_line_only_within_a_group_and_a_side():
    along = np.arange(10) * 0.15
    rows = np.column_stack([along, np.zeros(10), np.zeros(10)])
    beside = rows + np.array([0.0, 0.2, 0.0])
    place = np.concatenate([rows, beside, rows + np.array([0.0, 0.0, 5.0])])
    count = len(place)
    some = np.full(count, 0.2, np.float32)
    places = LinePlaces(
        np.arange(count) >= 20, place, np.tile([1.0, 0.0, 0.0], (count, 1)), some, some, some,
        np.zeros((count, 3), np.int32),
    )  # fmt: skip
    lines = joined(places, np.zeros(count, np.int64))
    assert sorted(line.rows.tolist() for line in lines) == [list(range(k, k + 10)) for k in (0, 10, 20)]
    for line in lines:
        assert line.length_mm == pytest.approx(9 * 0.15 + APART_MM)
    parts = np.repeat([0, 1], 15)
    assert sorted(len(line.rows) for line in joined(places, parts)) == [5, 5, 10, 10]
    half = places._replace(raised=np.arange(count) % 10 >= 4)
    assert sorted(len(line.rows) for line in joined(half, np.zeros(count, np.int64))) == [4, 4, 4, 6, 6, 6]
    assert joined(places.only(np.zeros(count, np.bool_)), np.zeros(0, np.int64)) == []


def test_a_section_that_two_vertices_gave_counts_once():
    place = np.repeat(np.column_stack([np.arange(6) * 0.15, np.zeros(6), np.zeros(6)]), 2, axis=0)
    place[1::2, 1] += 0.02
    some = np.full(12, 0.2, np.float32)
    places = LinePlaces(
        np.zeros(12, np.bool_), place, np.tile([1.0, 0.0, 0.0], (12, 1)), some, some, some,
        np.zeros((12, 3), np.int32),
    )  # fmt: skip
    (line,) = joined(places, np.zeros(12, np.int64))
    assert line.rows.tolist() == [0, 2, 4, 6, 8, 10]
    assert line.length_mm == pytest.approx(5 * 0.15 + APART_MM)


@pytest.mark.parametrize("most", [0.0, -1.0, np.inf, np.nan])
def test_a_width_that_is_none_is_refused(most):
    with pytest.raises(InputError, match="greatest width"):
        read_lines(solids.profile_block([(-0.3, 0.0), (0.3, 0.0)], 0.5), most_mm=most)


def test_a_mesh_without_triangles_is_refused():
    with pytest.raises(InputError, match="without triangles"):
        read_lines(Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32)), most_mm=MOST_MM)
