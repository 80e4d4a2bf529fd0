"""The fillet at the rim of a fill: its section in closed form, where it may lie, and that it locks nothing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold
from manifold3d import Mesh as Raw

from firstcast.geometry.tree import build_dipoles, build_tree, winding_number
from firstcast.kernels.locked import BODY, DOWN, LOCKED, UP
from firstcast.moulding.fill_rim import RADIUS_VOXELS, Skin, may_round
from firstcast.moulding.fill_solid import Round, solid_of
from firstcast.moulding.held import Held
from mould_bodies import ASIDE_MM, mesh_of

PITCH = 0.2


ORIGIN_MM = np.array([0.037, 0.021, 0.053])
"""So far aside that the floor lies on no plane of the solid's lattice."""

FLOOR = 14


def held_of(states) -> Held:
    return Held(np.eye(3), ORIGIN_MM, PITCH, states, np.zeros(states.shape, np.int32), 0, 0.0, 0.0)


def corner(thick: int = 12):
    """A floor of so many voxels, rubber over it, and a fill that stands on it right across; the floor as a mesh too."""
    states = np.full((40, 30, 40), LOCKED, np.uint8)
    states[:, :, FLOOR - thick : FLOOR] = BODY
    fill = np.zeros(states.shape, np.bool_)
    fill[8:20, :, FLOOR:26] = True
    low = np.array([0.0, 0.0, FLOOR - thick]) - 0.5
    size = np.array([40, 30, thick]) * PITCH
    return (
        states,
        fill,
        mesh_of(Manifold.cube(tuple(size)).translate(tuple(low * PITCH + ORIGIN_MM - ASIDE_MM))),
    )


def section_mm2(lumps) -> float:
    """Area of a fill above the floor, away from its ends."""
    ends, total = (2.0, 4.0), 0.0
    for mesh in lumps:
        solid = Manifold(Raw(np.asarray(mesh.points, np.float32), np.asarray(mesh.triangles, np.uint32)))
        solid = solid.trim_by_plane((0.0, 0.0, 1.0), (FLOOR - 0.5) * PITCH + ORIGIN_MM[2])
        total += (
            solid.trim_by_plane((0.0, 1.0, 0.0), ends[0]).trim_by_plane((0.0, -1.0, 0.0), -ends[1]).volume()
        )
    return total / (ends[1] - ends[0])


def sections_of(states, fill, mesh, may=None):
    """Section of a fill without its fillet and with it, in mm2, and the solid with it."""
    held = held_of(states)
    may = may_round(states, fill, np.zeros_like(fill)) if may is None else may
    rounded = solid_of(held, fill, Round(Skin(mesh), may))
    return section_mm2(solid_of(held, fill).lumps), section_mm2(rounded.lumps), rounded


OUTSIDE_MM2 = (1.0 - np.pi / 4.0) * (RADIUS_VOXELS * PITCH) ** 2
"""What lies between a right angle and a circle of the fillet's radius in it."""

ROUGH = 0.15
"""The solid's lattice steps by a quarter of the radius: chords of such steps are h²/8r off, over the arc 6 % of the area; as much
again at its two ends, where it lies flat on what it touches."""


def test_the_fillet_of_a_right_angle_takes_what_lies_outside_of_its_circle():
    states, fill, mesh = corner()
    plain, rounded, solid = sections_of(states, fill, mesh)
    assert rounded - plain == pytest.approx(2 * OUTSIDE_MM2, rel=ROUGH)
    assert solid.fillet_mm3 == pytest.approx(2 * OUTSIDE_MM2 * fill.shape[1] * PITCH, rel=ROUGH)
    # its middle lies so far from both
    assert (1.0 - np.sqrt(0.5)) * RADIUS_VOXELS * PITCH < solid.fillet_rise_mm < RADIUS_VOXELS * PITCH
    assert len(solid.lumps) == 1


def test_a_fillet_keeps_to_its_own_side_of_a_wall():
    for thick in (1, 2, 3):
        states, fill, mesh = corner(thick)
        rim = Round(Skin(mesh), may_round(states, fill, np.zeros_like(fill)))
        assert not rim.may[:, :, :FLOOR].any()
        held = held_of(states)
        lowest = [
            min(lump.points[:, 2].min() for lump in solid_of(held, fill, round_).lumps)
            for round_ in (None, rim)
        ]
        # the plain solid reaches so deep by itself
        assert lowest[1] > min(lowest[0], (FLOOR - 0.5 - thick) * PITCH + ORIGIN_MM[2]) - 0.02 * PITCH


def test_no_fillet_lies_where_nothing_may_be_filled():
    states, fill, mesh = corner()
    closed = np.zeros_like(fill)
    closed[20:] = True
    may = may_round(states, fill, closed)
    assert not (may & closed).any()
    plain, rounded, solid = sections_of(states, fill, mesh, may)
    # the other side has its fillet whole
    assert rounded - plain == pytest.approx(OUTSIDE_MM2, rel=ROUGH)
    for lump in solid.lumps:
        beside = lump.points[:, 2] > FLOOR * PITCH + ORIGIN_MM[2]
        assert lump.points[beside, 0].max() < 20.0 * PITCH + ORIGIN_MM[0]


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_what_a_fillet_takes_of_free_rubber_stands_on_the_body(seed):
    draw = np.random.default_rng(seed)
    body = np.zeros((9, 9, 16), np.bool_)
    body[2:-2, 2:-2, 2:-2] = draw.random((5, 5, 12)) < 0.4
    over, under = (
        np.logical_or.accumulate(body, axis=2),
        np.flip(np.logical_or.accumulate(np.flip(body, 2), axis=2), 2),
    )
    states = np.select([body, over & under, over, under], [BODY, LOCKED, UP, DOWN], UP | DOWN).astype(
        np.uint8
    )
    fill = (states == LOCKED) & (draw.random(states.shape) < 0.3)
    closed = draw.random(states.shape) < 0.1
    may = may_round(states, fill, closed & ~fill)
    ground = body | fill
    assert not (may & (ground | closed)).any()
    assert not (may & (states == UP | DOWN)).any()
    for free, step in ((states == UP, -1), (states == DOWN, 1)):
        for i, j, k in np.argwhere(may & free):
            behind = [k + step * n for n in range(1, int(RADIUS_VOXELS) + 1)]
            first = next(n for n, level in enumerate(behind) if ground[i, j, level])
            # nothing that leaves lies between it and what it stands on
            assert all(states[i, j, level] == states[i, j, k] for level in behind[:first])


def test_distances_from_a_box_below_nought_inside():
    low, high = np.array([-2.0, -1.0, -1.5]), np.array([2.0, 1.0, 1.5])
    box = Manifold.cube(tuple(high - low)).translate(tuple(low - np.array(ASIDE_MM)))
    places = np.random.default_rng(4411).uniform(low - 0.5, high + 0.5, (2000, 3))
    beyond = np.maximum(low - places, places - high)
    known = np.where(
        (beyond > 0.0).any(axis=1), np.linalg.norm(np.maximum(beyond, 0.0), axis=1), beyond.max(axis=1)
    )
    found = Skin(mesh_of(box)).outside_mm(places, 0.6)
    within = np.abs(known) < 0.6
    assert found[within] == pytest.approx(known[within], abs=1e-6)
    assert np.isinf(found[~within]).all()


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_no_filled_voxel_is_lost_in_the_smoothing(seed):
    # a slit of one voxel or two, filled here and there
    draw = np.random.default_rng(seed)
    states = np.full((24, 24, 24), BODY, np.uint8)
    states[7:17, 7:17, 12] = LOCKED
    states[7:17, 7:12, 13] = LOCKED
    fill = (states == LOCKED) & (draw.random(states.shape) < 0.4)
    lumps = solid_of(held_of(states), fill).lumps
    places = held_of(states).places_mm(np.argwhere(fill))
    turns = sum(winding_number(tree, build_dipoles(tree), places) for tree in map(build_tree, lumps))
    assert (np.asarray(turns) > 0.5).all()
