"""Which way is chosen: what is clearly better, what nothing beats, how a direction is told, what the search finds."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from firstcast.geometry.turns import leaned
from firstcast.printing.standing import CRITERIA, Conditions, read_directions, spread_directions
from firstcast.printing.standing_choice import (
    LEAST_COST,
    MARGIN,
    WEIGHTS,
    candidate,
    clearly_better,
    cost_of,
    posture,
    search,
    unbeaten,
    upright_turn,
)
from firstcast.printing.standing_ground import stand_ground
from standing_bodies import body_of, bumpy_ball

CONDITIONS = Conditions(layer_mm=0.05, terrace_deg=9.5, separation_kpa=15.0)
BACK = (0.0, 1.0, 0.0)

readings = arrays(np.float64, len(CRITERIA), elements=st.floats(0, 100, width=16))
directions = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda axis: np.linalg.norm(axis) > 1e-2)


@given(readings, readings)
def test_clearly_better_holds_whichever_single_weight_is_halved_or_doubled(one, other):
    weights = np.array(list(WEIGHTS.values()))
    expected = one @ weights <= MARGIN * (other @ weights)
    for n in range(len(weights)):
        for factor in (0.5, 2.0):
            changed = weights.copy()
            changed[n] *= factor
            expected &= one @ changed < other @ changed - 1e-9
    assert clearly_better(one, other) == expected
    assert not (expected and clearly_better(other, one))


def test_one_reading_alone_does_not_outweigh_its_opposite_by_its_own_weight():
    habit, other = np.zeros(len(CRITERIA)), np.zeros(len(CRITERIA))
    habit[CRITERIA.index("marks_mm2")] = 100.0
    other[CRITERIA.index("starts")] = 55.0
    # 55 for 100; with starts weighed twice, 110 for 100.
    assert cost_of(other) == pytest.approx(0.55 * cost_of(habit))
    assert not clearly_better(other, habit)
    other[CRITERIA.index("starts")] = 45.0
    assert clearly_better(other, habit)


@given(arrays(np.float64, (30, 3), elements=st.integers(0, 4).map(float)))
@settings(max_examples=40)
def test_unbeaten_rows_are_those_that_no_row_beats(rows):
    beaten = [any((other <= row).all() and (other < row).any() for other in rows) for row in rows]
    assert unbeaten(rows).tolist() == [not each for each in beaten]


@given(directions)
def test_a_direction_is_turned_to_the_printer_s_z_by_the_least_rotation(axis):
    way = np.array(axis) / np.linalg.norm(axis)
    turn = upright_turn(way)
    # Below 1e-9 the axis is taken for z itself.
    assert turn @ way == pytest.approx([0.0, 0.0, 1.0], abs=2e-9)
    assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    angle = np.arccos(np.clip((np.trace(turn) - 1.0) / 2.0, -1.0, 1.0))
    assert angle == pytest.approx(np.arccos(np.clip(way[2], -1.0, 1.0)), abs=1e-6)


@given(st.floats(0.6, 89.0), st.sampled_from([BACK, (0.0, -1.0, 0.0), (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)]))
def test_a_lean_is_told_as_it_was_given_and_turned_alike(lean_deg, towards):
    turn = leaned(towards, lean_deg)
    side = {1: "back", -1: "forward"}.get(towards[1]) or {1: "to its left", -1: "to its right"}[towards[0]]
    assert posture(turn[2]) == f"leaned {side} by {lean_deg:.0f}°"
    assert upright_turn(turn[2]) == pytest.approx(turn, abs=1e-9)


def test_other_ways_are_told_too():
    assert posture([0.0, 0.0, 1.0]) == "upright"
    assert posture([0.0, 0.0, -1.0]) == "on its head"
    assert posture(leaned((0.6, 0.8, 0.0), 20.0)[2]) == "leaned back and to its left by 20°"
    assert posture(leaned((-0.6, -0.8, 0.0), 20.0)[2]) == "leaned forward and to its right by 20°"
    assert posture(leaned(BACK, 160.0)[2]).startswith("head down")


def habit_of(ground):
    return candidate("habit", leaned(BACK, 15.0), ground, CONDITIONS, "leaned back by 15°")


def test_the_search_refines_and_keeps_what_it_is_given():
    ground = stand_ground(body_of(bumpy_ball(90311, 5.0, 0.1, 4), trimesh.creation.box((2.0, 3.0, 16.0))))
    habit = habit_of(ground)
    landscape, candidates = search(ground, CONDITIONS, (habit,), count=150)
    assert candidates[0] is habit
    least = next(each for each in candidates if each.name == LEAST_COST)
    spread = cost_of(read_directions(ground, spread_directions(150), CONDITIONS))
    assert least.cost <= spread.min()
    assert least.cost == pytest.approx(float(landscape.costs.min()), rel=1e-6)
    assert landscape.directions[-1] == pytest.approx(habit.direction, abs=1e-6)
    assert landscape.costs[:150] == pytest.approx(spread, rel=1e-5)
    for each in candidates:
        again = read_directions(ground, each.direction[None], CONDITIONS)[0]
        assert (again == each.readings).all()
        assert each.turn @ each.direction == pytest.approx([0.0, 0.0, 1.0], abs=1e-9)
    # Whatever is unbeaten costs least by some weights; what costs least by ours is unbeaten.
    assert landscape.unbeaten[np.argmin(landscape.costs)]


def test_without_directions_only_what_is_given_is_read():
    ground = stand_ground(body_of(trimesh.creation.box((3.0, 4.0, 5.0))))
    habit = habit_of(ground)
    landscape, candidates = search(ground, CONDITIONS, (habit,), count=0)
    assert candidates == (habit,)
    assert len(landscape.costs) == 1


def test_a_long_box_stands_neither_flat_nor_square_in_the_best_way():
    ground = stand_ground(body_of(trimesh.creation.box((10.0, 12.0, 30.0))))
    _, candidates = search(ground, CONDITIONS, (habit_of(ground),), count=500)
    best = min(candidates, key=lambda each: each.cost)
    # No face within 2 degrees of the layers or square to them; which of the slanting ways is left to the weights.
    off_deg = np.degrees(np.arccos(np.abs(best.direction)))
    assert (off_deg > 2.0).all()
    assert (off_deg < 88.0).all()
