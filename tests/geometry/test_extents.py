"""Extents of parts, and their quarter turns."""

import numpy as np
import pytest

from firstcast.geometry.extents import UP_TURNS, PartExtents, extents_of, turned


def test_extents_are_least_and_greatest():
    found = extents_of("a", [(1, 5, -2), (3, -1, 0)])
    assert found == PartExtents("a", (1.0, -1.0, -2.0), (3.0, 5.0, 0.0))
    assert found.size == (2.0, 6.0, 2.0)


@pytest.mark.parametrize("up", UP_TURNS)
def test_turns_are_quarter_turns(up):
    turn = np.array(UP_TURNS[up])
    assert (turn @ turn.T == np.eye(3)).all()
    assert round(np.linalg.det(turn)) == 1
    box = PartExtents("a", (0.0, -1.0, 2.0), (5.0, 7.0, 3.0))
    assert sorted(turned(box, up).size) == sorted(box.size)


def test_y_up_brings_y_to_z_and_keeps_x():
    box = turned(PartExtents("a", (0.0, 10.0, -3.0), (1.0, 64.0, 5.0)), "y")
    assert box == PartExtents("a", (0.0, -5.0, 10.0), (1.0, 3.0, 64.0))
