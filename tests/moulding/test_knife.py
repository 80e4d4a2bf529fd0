"""The cut that opens a block poured in one: on the side that shows least, past what holds, out of precious places."""

import numpy as np
import pytest
from manifold3d import Manifold

from firstcast.errors import InputError
from firstcast.geometry.zones import Box, Zone
from firstcast.moulding.knife import AMPLITUDE_MM, plan_knife
from firstcast.vocabulary import ZoneMeaning
from mould_bodies import body_of

DOWN = (0.0, 0.0, -1.0)
EGG = body_of(Manifold.sphere(4.0, 48).scale((1.0, 0.8, 2.0)))


def test_it_runs_up_the_back_from_end_to_end():
    cut = plan_knife(EGG, DOWN)
    line = cut.on_body_mm
    assert line[0, 2] < -7.8
    assert line[-1, 2] > 7.8
    middle = line[np.abs(line[:, 2]) < 4.0]
    # the figure faces -y
    assert np.all(middle[:, 1] > -0.5)
    assert cut.seen_mm < 2.0
    # half the girth of an ellipse of half-axes 8 and 3.2 to 4 mm is 18.1 to 19.4; a line along edges of triangles is longer
    assert 17.0 < cut.length_mm < 24.0


def test_the_block_is_cut_in_waves_and_the_figure_true():
    cut = plan_knife(EGG, DOWN, wall_mm=6.0)
    middle = (EGG.mesh.points.min(axis=0) + EGG.mesh.points.max(axis=0)) / 2.0
    reach = np.linalg.norm((cut.on_block_mm - middle)[:, :2], axis=1)
    assert reach == pytest.approx(10.0, abs=0.05)
    assert np.all(np.linalg.norm(cut.on_block_mm - cut.on_body_mm, axis=1) > 5.9)
    away = np.linalg.norm(np.diff(cut.on_block_mm, axis=0), axis=1).sum()
    assert away > 1.1 * np.ptp(cut.on_block_mm[:, 2])
    assert AMPLITUDE_MM > 0.0


def test_it_goes_by_a_place_that_holds():
    at = (3.9, 0.5, 1.0)
    cut = plan_knife(EGG, DOWN, [at, (0.0, -20.0, 0.0)])
    assert cut.frees == (0,)
    assert np.linalg.norm(cut.on_body_mm - at, axis=1).min() < 1.0
    assert any("1 of 2 places" in words for words in cut.words)


def test_it_keeps_out_of_a_precious_back():
    back = Zone("back", ZoneMeaning.PRECIOUS, shape=Box((-2.0, 0.0, -4.0), (2.0, 9.0, 4.0)))
    through = plan_knife(EGG, DOWN).on_body_mm
    assert back.contains(through).sum() > 8
    # the line is evened out over 1 mm, and so may cut a corner
    assert plan_knife(EGG, DOWN, zones=(back,)).crosses_precious_mm < 1.5


def test_a_gate_without_direction_is_refused():
    with pytest.raises(InputError, match="gate"):
        plan_knife(EGG, (0.0, 0.0, 0.0))


def test_on_the_face_it_never_turns_back_and_rolls_out_true():
    at = (3.9, 0.5, 1.0)
    cut = plan_knife(EGG, DOWN, [at], wall_mm=6.0)
    on_face = cut.on_face_mm
    assert np.all(np.diff(on_face[:, 1]) >= -1e-9)
    # rolled out without stretch: steps are as long as on the round face, but for the sag of their chords
    rolled = np.linalg.norm(np.diff(on_face, axis=0), axis=1)
    assert rolled == pytest.approx(np.linalg.norm(np.diff(cut.on_block_mm, axis=0), axis=1), abs=0.01)
    assert cut.face_mm == pytest.approx((2.0 * np.pi * 10.0, 2.0 * (8.0 + 6.0)), abs=0.1)


def test_rolled_out_its_left_hand_is_at_the_right_of_the_front():
    # the back and the right are precious: what is left is the front's left
    back = Zone("back", ZoneMeaning.PRECIOUS, shape=Box((-9.0, 0.5, -9.0), (9.0, 9.0, 9.0)))
    right = Zone("right", ZoneMeaning.PRECIOUS, shape=Box((-9.0, -9.0, -9.0), (-0.5, 9.0, 9.0)))
    cut = plan_knife(EGG, DOWN, zones=(back, right))
    middle = np.abs(cut.on_body_mm[:, 2]) < 4.0
    assert np.median(cut.on_body_mm[middle, 0]) > 0.3
    assert 0.0 < np.median(cut.on_face_mm[middle, 0]) < cut.face_mm[0] / 4.0 + 5.0
