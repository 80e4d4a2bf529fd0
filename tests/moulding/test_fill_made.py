"""A fill read as the solid that it will be: the same voxels as with the body, and a fill that leaves its place told is not proposed."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis.extra.numpy import arrays
from manifold3d import Manifold

from firstcast.kernels.locked import BODY, DOWN, LOCKED, UP
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.fill import LOCK
from firstcast.moulding.fill_check import SURE, FillCheck, Left, high_end
from firstcast.moulding.fill_made import place_it_was, states_with, voxels_within
from firstcast.moulding.fill_maker import FillMaker
from firstcast.moulding.fill_tries import Tried, lock_fills
from firstcast.moulding.fill_union import with_lumps
from firstcast.moulding.fill_window import window_round
from firstcast.moulding.held import hold
from firstcast.moulding.reading import Read, read_mould
from firstcast.moulding.relieve import filled, propose_fills, relieve
from firstcast.process.materials import choose
from mould_bodies import ASIDE_MM, body_of, cylinder, dovetail, mesh_of, mushroom, socket

UP_Z = (0.0, 0.0, 1.0)
PITCH, LATTICE, WALL = 0.2, 0.15, 0.6
RUBBER = choose("mould", "addition-silicone-30a")
BOUNDS = Bounds(share=0.15, tongue_ratio=4.0, tongue_base_mm=3.0, least_mm3=0.5)
HARD = Bounds(share=0.15, tongue_ratio=4.0, tongue_base_mm=3.0, least_mm3=0.5, stretches=False)

SMALL = mushroom(0.9, 2.0, 1.2, 2.6)


def from_lattice(solid: Manifold, pitch_mm: float = LATTICE):
    """A body as fuse makes it: no vertex moves when something is united with it. The speck lies inside."""
    speck = Manifold.cube((0.4, 0.4, 0.4)).translate((0.0, 0.0, -1.0))
    return with_lumps(body_of(solid), (("speck", (mesh_of(speck),)),), pitch_mm).body


def read_of(body, bounds=BOUNDS) -> Read:
    return read_mould(body, UP_Z, PITCH, RUBBER, bounds)


def brute_states(body):
    """Line by line what a line of the pull says of each voxel."""
    out = np.zeros(body.shape, np.uint8)
    for at in np.ndindex(body.shape[:2]):
        line = body[at]
        for k in range(body.shape[2]):
            if line[k]:
                out[(*at, k)] = BODY
            else:
                up, down = not line[k + 1 :].any(), not line[:k].any()
                out[(*at, k)] = UP * up | DOWN * down or LOCKED
    return out


masks = arrays(np.bool_, (3, 4, 7))


@settings(max_examples=60, deadline=None)
@given(masks, masks)
def test_states_with_more_body_are_those_of_the_body_with_it(body, more):
    np.testing.assert_array_equal(states_with(brute_states(body), more), brute_states(body | more))


def test_voxels_of_a_solid_are_those_whose_middle_lies_in_it():
    ball, frame = Manifold.sphere(1.5, 128), np.linalg.qr(np.arange(9.0).reshape(3, 3) ** 2 + np.eye(3))[0]
    # a grid that ends in the middle of the ball, and one that it doesn't reach
    for first, reached in (((-12, -11, -10), True), ((40, 40, 40), False)):
        origin = np.array(first) * PITCH
        found = voxels_within([mesh_of(ball)], frame, origin, PITCH, (14, 20, 22))
        away = np.linalg.norm(
            (origin + np.indices(found.shape).reshape(3, -1).T * PITCH) @ frame - ASIDE_MM, axis=1
        ).reshape(found.shape)
        # a ball of 128 segments is a thousandth short
        assert found[away < 1.495].all()
        assert not found[away > 1.5].any()
        assert found.any() == reached


@pytest.mark.parametrize(("solid", "bounds"), [(SMALL, BOUNDS), (dovetail(1.6, 3.6, 2.0, 2.0), HARD)])
def test_a_proposed_fill_is_read_as_it_is_made_and_frees_its_place(solid, bounds):
    # as fine beside the voxels as a job's lattice is
    lattice_mm = 0.4 * PITCH
    body = from_lattice(solid, lattice_mm)
    read = read_of(body, bounds)
    fills = propose_fills(body, read, RUBBER, (), bounds=bounds, wall_mm=WALL)
    assert fills
    for fill in fills:
        held = read.held
        inside = voxels_within(fill.lumps, held.frame, held.origin_mm, PITCH, held.states.shape)
        foretold = states_with(held.states, inside)
        made = filled(body, [fill], lattice_mm).body
        new = (foretold == BODY) & (held.states != BODY)
        # the union draws the solid's surface anew, on its own lattice: a few voxels whose middle it passes
        assert ((hold(made.mesh, UP_Z, PITCH).states == BODY) != (foretold == BODY)).sum() <= 0.03 * new.sum()
        again = read_of(made, bounds)
        left = [
            lock
            for n, lock in enumerate(again.locks, start=1)
            if place_it_was(read.numbers, again.numbers == n) - 1 in fill.rows
        ]
        assert not [lock for lock in left if bounds.told(lock)]
        asks = max((high_end(lock) for lock in left), default=0.0)
        # what was foretold; a voxel's difference on the way through is some hundredths of it
        assert asks == pytest.approx(fill.after, rel=1.0 - SURE + 0.02)
        assert fill.after < BOUNDS.share


def test_what_a_solid_leaves_is_told():
    body = body_of(SMALL)
    read = read_of(body)
    whole = window_round(read.held, read.room, read.hollows, np.argwhere(read.numbers == 1))
    check = FillCheck(read, RUBBER, BOUNDS)
    before = check.of_locks(whole, [0], [], links=False)
    assert before.words.startswith("a ring of")
    assert before.after == pytest.approx(high_end(read.locks[0]), rel=1e-6)
    # a sleeve that thickens the neck by what is a third of the way leaves a ring still; one as wide as the cap leaves nothing
    thin, thick = (mesh_of(cylinder(radius, -0.5, 1.6)) for radius in (1.2, 2.0))
    assert check.of_locks(whole, [0], [thin], links=False).words.startswith("a ring of")
    assert check.of_locks(whole, [0], [thick], links=False) == Left("", 0.0)


def test_what_a_solid_would_lock_anew_is_held_against_it():
    body = body_of(SMALL)
    read = read_of(body)
    whole = window_round(read.held, read.room, read.hollows, np.argwhere(read.numbers == 1))
    # the sleeve frees the ring, and its brim, as wide as the plate nearly, holds a ring of its own below
    sleeve = mesh_of(cylinder(2.0, -0.5, 1.6) + cylinder(2.5, 1.0, 1.6))
    left = FillCheck(read, RUBBER, HARD).of_locks(whole, [0], [sleeve], links=False)
    assert left.words.startswith("a ring of")


def test_a_fill_goes_further_until_its_solid_frees_the_place(monkeypatch):
    body = body_of(SMALL)
    (least,) = propose_fills(body, read_of(body), RUBBER, (), bounds=BOUNDS, wall_mm=WALL)
    answers = iter([Left("a ring of 9.9 mm³, 1.0 mm deep", 1.0)] * 2 + [Left("", 0.1)])
    with monkeypatch.context() as patch:
        patch.setattr(FillCheck, "of_locks", lambda *_, **__: next(answers))
        (further,) = propose_fills(body, read_of(body), RUBBER, (), bounds=BOUNDS, wall_mm=WALL)
    assert not list(answers)
    assert further.volume_mm3 > least.volume_mm3
    with monkeypatch.context() as patch:
        patch.setattr(FillCheck, "of_locks", lambda *_, **__: Left("a ring of 9.9 mm³, 1.0 mm deep", 1.0))
        (vain,) = propose_fills(body, read_of(body), RUBBER, (), bounds=BOUNDS, wall_mm=WALL)
    assert "leaves a ring of 9.9 mm³" in vain.why_not
    assert not vain.lumps
    assert vain.volume_mm3 == 0.0
    assert vain.split is not None


def test_steps_further_hold_what_was_filled_before_and_end_with_all():
    read = read_of(body_of(dovetail(1.6, 6.0, 2.4, 3.0)))
    window = window_round(read.held, read.room, read.hollows, np.argwhere(read.numbers == 1))
    steps = list(lock_fills(window, np.zeros(window.mine.shape, np.bool_), RUBBER, BOUNDS))
    assert len(steps) > 2
    assert all(step.passes for step in steps)
    for less, more in pairwise(steps):
        assert (less.fill <= more.fill).all()
        assert more.fill.sum() > less.fill.sum()
    assert np.array_equal(steps[-1].fill, window.mine)


def test_a_hard_tool_is_filled_by_another_step_where_something_is_told(monkeypatch):
    body = body_of(dovetail(1.6, 3.6, 2.0, 5.0))
    read = read_of(body, HARD)
    outward: list[float] = []
    solid_of_try = FillMaker._solid

    def solid(self, window, tried: Tried):
        outward.append(tried.outward)
        return solid_of_try(self, window, tried)

    monkeypatch.setattr(FillMaker, "_solid", solid)
    kept = FillCheck.of_locks
    answers = iter([Left("a ledge of 1.0 mm³, 0.4 mm deep", 0.0)])
    monkeypatch.setattr(FillCheck, "of_locks", lambda *a, **k: next(answers, None) or kept(*a, **k))
    fills = propose_fills(body, read, RUBBER, (), bounds=HARD, wall_mm=WALL)
    assert outward == [0.5, 0.25, 0.5]
    assert all(fill.lumps for fill in fills)


def test_only_what_is_asked_for_is_made_before_the_body_changes(monkeypatch):
    two = SMALL + mushroom(0.8, 2.2, 1.4, 2.6).translate((5.1, 0.0, 0.0))
    body = from_lattice(two)
    read = read_of(body)
    assert [lock.kind for lock in read.locks] == ["ring", "ring"]
    made: list[int] = []
    one = FillMaker._of_one

    def counted(self, whole, n):
        made.append(n)
        return one(self, whole, n)

    monkeypatch.setattr(FillMaker, "_of_one", counted)
    first_place = read.locks[1].place_mm
    found = relieve(
        body, read, RUBBER, (), bounds=BOUNDS, wall_mm=WALL, lattice_mm=LATTICE,
        asked=lambda _, now: frozenset(
            (LOCK, row) for row, lock in enumerate(now.locks) if np.allclose(lock.place_mm, first_place, atol=1.0)
        ),
    )  # fmt: skip
    # the one that is asked for; then, when nothing is asked for any more, the other
    assert len(found.taken) == 1
    assert made == [1, 0]
    # and that is the one which is made of the body as it came out, array for array
    (other,) = found.proposed
    (scratch,) = propose_fills(found.body, found.read, RUBBER, (), bounds=BOUNDS, wall_mm=WALL)
    for a, b in zip(other.lumps, scratch.lumps, strict=True):
        assert np.array_equal(a.points, b.points)
        assert np.array_equal(a.triangles, b.triangles)
    assert other.volume_mm3 == scratch.volume_mm3
    # no other is made for it before
    assert propose_fills(body, read, RUBBER, (), bounds=BOUNDS, wall_mm=WALL, only=frozenset()) == ()


def test_captive_rubber_is_shut_by_its_solid_and_what_is_left_is_told_with_it():
    # a socket with a hole through its wall into the open: the wall's hole links up, the socket is a plug once it is shut
    holed = socket(1.8, 0.9) - cylinder(0.5, 0.0, 9.0).rotate((0.0, 90.0, 0.0))
    body = body_of(holed)
    read = read_mould(body, (0.0, 1.0, 0.0), PITCH, RUBBER, BOUNDS)
    assert any(lock.captive for lock in read.locks)
    fills = propose_fills(body, read, RUBBER, (), bounds=BOUNDS, wall_mm=WALL)
    assert fills
    made = filled(body, [fill for fill in fills if fill.lumps], LATTICE).body
    again = read_mould(made, (0.0, 1.0, 0.0), PITCH, RUBBER, BOUNDS)
    assert not [lock for lock in again.locks if BOUNDS.told(lock)]
