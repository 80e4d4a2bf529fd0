"""The stand station: rotations, the side it leans to, what is refused, and which faces are told."""

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy.spatial.transform import Rotation

from firstcast import values
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.terraces import LEAST_MM2
from firstcast.geometry.turns import leaned, nearest_turn, turn_about
from firstcast.geometry.zones import Ball, Zone
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials, catalogue, choose, overridden
from firstcast.process.shrink import SizeStep, even_step
from firstcast.ranges import Range
from firstcast.sheets.views import BACK, FRONT
from firstcast.stations.stand import FLAT_MM2, Settings, stand
from firstcast.vocabulary import Basis, ProcessKind, Verdict, ZoneMeaning
from standing_bodies import body_of, bowl

EXACT = 1e-14
"""A rotation's entries are at most 1, and a few roundings of 1e-16 go into each."""


BOX = body_of(trimesh.creation.box((6.0, 8.0, 10.0)))
BALL = body_of(trimesh.creation.icosphere(subdivisions=4, radius=5.0))


MATERIALS = Materials(
    printer=choose("printer", "mono-35"),
    resin=choose("resin", "standard"),
    **{word: next(iter(catalogue(word).values())) for word in ("mould", "cast", "paint")},
)


def stood(
    body=BALL,
    kind=ProcessKind.CUT_BLOCK,
    steps=(),
    layer_mm=0.05,
    materials=MATERIALS,
    zones=(),
    directions=0,
    **settings,
):
    limits = Limits(
        kind=kind,
        pixel_mm=(0.035, 0.035),
        layer_mm=layer_mm,
        pitch_mm=(0.035,) * 3,
        reduce_tolerance_mm=0.01,
        wall_mm=Range.exactly(0.6),
        gap_mm=Range.exactly(0.3),
    )
    return stand(
        piece="body",
        body=body,
        limits=limits,
        materials=materials,
        zones=zones,
        size_steps=steps,
        settings=Settings.model_validate({"directions": directions, **settings}),
    )


def found(result, *left_out):
    """Findings by code, without those of `left_out` and without the one that compares ways of standing."""
    return {f.code: f for f in result.findings if f.code not in ("better-stand", *left_out)}


directions = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda axis: np.linalg.norm(axis) > 1e-3)


@given(directions, st.floats(-720, 720))
def test_a_turn_about_an_axis_is_the_rotation_of_that_name(axis, angle_deg):
    turn = turn_about(axis, angle_deg)
    unit = np.array(axis) / np.linalg.norm(axis)
    # The two take sine and cosine of slightly different roundings of the same angle, up to 4 π.
    assert np.allclose(turn, Rotation.from_rotvec(np.radians(angle_deg) * unit).as_matrix(), atol=4 * EXACT)
    assert np.allclose(turn @ turn.T, np.eye(3), atol=EXACT)
    assert np.linalg.det(turn) == pytest.approx(1, abs=EXACT)
    assert np.allclose(turn @ unit, unit, atol=EXACT)


@given(directions, st.floats(-180, 180), st.tuples(*[st.floats(-5e-4, 5e-4)] * 9))
def test_rows_written_with_three_decimals_become_the_rotation_nearest_to_them(axis, angle_deg, slips):
    rows = turn_about(axis, angle_deg) + np.reshape(slips, (3, 3))
    turn = nearest_turn(rows)
    assert np.allclose(turn @ turn.T, np.eye(3), atol=EXACT)
    assert np.linalg.det(turn) == pytest.approx(1, abs=EXACT)
    # Of all rotations the polar factor is nearest, so no further than the one that the rows were rounded from.
    off = np.linalg.norm(turn - rows)
    assert off <= np.linalg.norm(np.reshape(slips, (3, 3))) + EXACT
    for tweak in np.eye(3):
        assert off <= np.linalg.norm(turn_about(tweak, 0.01) @ turn - rows) + EXACT


@given(st.floats(0, 90), st.sampled_from(["back", "front", "left", "right"]))
@hypothesis_settings(max_examples=20)
def test_it_leans_to_the_side_that_is_named_by_the_angle_that_is_given(lean_deg, side):
    # As the pictures show it: in the front view the viewer stands before the figure, its left hand to their right.
    towards = {
        "front": FRONT.axes[2],
        "back": BACK.axes[2],
        "left": FRONT.axes[0],
        "right": -FRONT.axes[0],
    }[side]
    turn = stood(lean_deg=lean_deg, lean_towards=side).turn_to_print
    top = turn @ [0.0, 0.0, 1.0]
    angle = np.radians(lean_deg)
    assert np.allclose(top, np.cos(angle) * np.array([0, 0, 1]) + np.sin(angle) * towards, atol=EXACT)
    # Least turn: what lies level and square to the lean stays where it is.
    still = np.cross([0, 0, 1], towards)
    assert np.allclose(turn @ still, still, atol=EXACT)


def test_by_default_it_leans_back_as_is_common():
    result = stood()
    measure = {m.name: m.value for m in result.measures}["lean"]
    assert 12 <= measure <= 17
    assert (result.turn_to_print @ [0, 0, 1])[1] > 0.2
    assert "leaned back by 15°" in result.says


def test_no_lean_stands_it_upright():
    result = stood(lean_deg=0)
    assert (result.turn_to_print == np.eye(3)).all()
    assert "upright" in result.says


def test_a_given_turn_goes_before_the_lean():
    by_axis = stood(turn=[1, 0, 0, -15], lean_towards="front").turn_to_print
    assert np.allclose(by_axis, stood().turn_to_print, atol=EXACT)
    by_rows = stood(turn=[[0, 0, 1], [1, 0, 0], [0, 1, 0]])
    # Rows are the printer's axes: its z is the figure's y.
    assert np.allclose(by_rows.turn_to_print[2], [0, 1, 0], atol=EXACT)
    assert "as given" in by_rows.says
    # An axis between two sides leans it to both: (1, -1, 0) by less than nothing takes its top to +x and +y.
    both = stood(turn=[1, -1, 0, -15]).turn_to_print @ [0, 0, 1]
    left_and_back = np.sin(np.radians(15)) / np.sqrt(2)
    assert np.allclose(both[:2], [left_and_back, left_and_back], atol=EXACT)
    long_axis = stood(turn=[1e200, 0, 0, -15]).turn_to_print
    assert np.allclose(long_axis, by_axis, atol=EXACT)


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({"turn": [0, 0, 0, 15]}, "the axis has no direction"),
        ({"turn": [[1, 0, 0], [0, 1, 0], [0, 0, -1]]}, "mirror the figure"),
        (
            {"turn": [[1, 0, 0], [0, 1, 0], [0, 0, 1.02]]},
            "not three unit vectors at right angles (off by 0.04)",
        ),
        ({"turn": [[1, 0, 0], [1, 0, 0], [0, 0, 1]]}, "not three unit vectors"),
        ({"turn": [[1e300, 0, 0], [0, 1e300, 0], [0, 0, 1e300]]}, "not three unit vectors"),
        ({"turn": [[1, 0, 0], [0, 1, 0]]}, "turn.2"),
        ({"turn": [1, 0, 0]}, "turn.0"),
        ({"turn": [1, 0, 0, "15"]}, "turn"),
        ({"turn": [1, 0, 0, True]}, "turn"),
        ({"turn": "back"}, "turn"),
        ({"lean_deg": -1}, "lean_deg"),
        ({"lean_towards": "up"}, "lean_towards"),
    ],
)
def test_what_is_no_way_to_stand_is_refused(settings, says):
    with pytest.raises(ValidationError) as refusal:
        Settings.model_validate(settings)
    assert says in str(refusal.value)


def test_height_and_layers_are_those_of_the_master_as_it_stands():
    lean = np.radians(15)
    measures = {m.name: m.value for m in stood(BOX).measures}
    height = 10 * np.cos(lean) + 8 * np.sin(lean)
    assert measures["height in the printer"] == pytest.approx(height, rel=1e-6)  # float32 points
    assert measures["layers"] == np.ceil(height / 0.05)
    # The printer's own shrinkage along its z is undone along its z, however the piece stands in it.
    xy, z = Range.exactly(0.0, "ratio"), Range.exactly(0.02, "ratio")
    steps = (
        SizeStep("print", "print", (xy, xy, z), "maker", frame="printer"),
        even_step("mould", "mould", Range.exactly(0.01, "ratio"), "maker"),
        even_step("cast", "cast", Range.exactly(0.5, "ratio"), "caster"),
    )
    measures = {m.name: m.value for m in stood(BOX, steps=steps).measures}
    assert measures["height in the printer"] == pytest.approx(height / 0.98 / 0.99, rel=1e-6)


def test_every_printed_kind_stands_and_a_hard_tool_does_not():
    for kind in ProcessKind:
        result = stood(BOX, kind)
        if kind is ProcessKind.HARD_TOOL:
            assert (result.turn_to_print == np.eye(3)).all()
            assert "nothing is printed" in result.says
            assert result.findings == ()
        else:
            assert not (result.turn_to_print == np.eye(3)).all()


def test_an_upright_box_shows_all_its_faces():
    result = stood(BOX, lean_deg=0)
    assert {finding.verdict for finding in result.findings} == {Verdict.WATCH}
    assert {code: finding.verdict for code, finding in found(result).items()} == dict.fromkeys(
        ("flat-top", "flat-underside", "flat-square"), Verdict.WATCH
    )
    assert found(result)["flat-top"].measured == pytest.approx(48)
    assert found(result)["flat-square"].measured == pytest.approx(2 * 60 + 2 * 80)
    assert "4 flat faces" in found(result)["flat-square"].says
    assert found(result)["flat-underside"].place_mm == pytest.approx((0, 0, -5))
    assert found(result)["flat-top"].place_mm == pytest.approx((0, 0, 5))


def test_leaning_a_box_leaves_what_stays_square_to_the_layers():
    by_code = found(stood(BOX))
    assert set(by_code) == {"flat-square"}
    assert by_code["flat-square"].measured == pytest.approx(160)
    assert abs(by_code["flat-square"].place_mm[0]) == pytest.approx(3)
    assert found(stood(BOX, turn=[1, 1, 0, -15])) == {}


@pytest.mark.parametrize(("lean_deg", "shows"), [(0.5, True), (1.9, True), (2.1, False)])
def test_a_face_shows_up_to_two_degrees(lean_deg, shows):
    by_code = found(stood(BOX, lean_deg=lean_deg))
    assert ("flat-top" in by_code) == shows
    # Not told twice.
    assert ("terraces" in by_code) != shows
    if shows:
        terrace = 0.05 / np.tan(np.radians(lean_deg))
        assert f"{terrace:.1f} mm wide" in by_code["flat-top"].says


def test_the_part_is_named_and_small_faces_are_not_told():
    small = trimesh.creation.box((1.8, 1.8, 1.8))
    small.apply_translation((0, 0, 20))
    large = trimesh.creation.box((6.0, 8.0, 10.0))
    result = stood(body_of(small, large, names=("knob", "plinth")), lean_deg=0)
    assert {finding.part for finding in found(result).values()} == {"plinth"}
    assert 1.8**2 < LEAST_MM2 < FLAT_MM2
    assert '[stand.piece."body"]' in result.findings[0].mend


@given(st.tuples(*[st.floats(-3, 3)] * 3))
@hypothesis_settings(max_examples=12)
def test_a_box_shows_the_same_whichever_way_figure_and_printer_are_turned_together(rotation):
    turn = Rotation.from_rotvec(rotation).as_matrix()
    box = trimesh.creation.box((6.0, 8.0, 10.0))
    box.apply_transform(np.vstack([np.column_stack([turn, np.zeros(3)]), [0, 0, 0, 1]]))
    result = stood(body_of(box), turn=turn.T.tolist())
    areas = {code: finding.measured for code, finding in found(result).items()}
    expected = {"flat-top": 48, "flat-underside": 48, "flat-square": 280}
    assert areas == {code: pytest.approx(area, rel=1e-5) for code, area in expected.items()}


@pytest.mark.parametrize(
    "solid",
    [
        trimesh.creation.icosphere(subdivisions=6, radius=20.0),
        trimesh.creation.capsule(height=16.0, radius=10.0, count=(128, 128)),
        trimesh.creation.torus(12.0, 4.0, major_sections=200, minor_sections=200),
    ],
    ids=["ball", "rod", "ring"],
)
def test_round_solids_have_no_flat_faces_however_they_stand(solid):
    for settings in ({"lean_deg": 0}, {}, {"lean_deg": 90, "lean_towards": "left"}):
        assert found(stood(body_of(solid), **settings), "terraces") == {}


def test_the_ends_of_a_drum_are_flat_and_its_side_is_not():
    drum = body_of(trimesh.creation.cylinder(radius=10.0, height=6.0, sections=400))
    by_code = found(stood(drum, lean_deg=0))
    assert set(by_code) == {"flat-top", "flat-underside"}
    # A regular polygon of 400 corners.
    area = 200 * 10**2 * np.sin(2 * np.pi / 400)
    assert by_code["flat-top"].measured == pytest.approx(area, rel=1e-6)


def test_a_body_without_triangles_stands_too():
    empty = Body(Mesh(np.zeros((0, 3), np.float32), np.zeros((0, 3), np.int32)), np.zeros(0, np.uint16), ())
    result = stood(empty, directions=100)
    assert result.findings == ()
    assert result.candidates == ()
    assert (result.turn_to_print == stood().turn_to_print).all()
    assert {m.name: m.value for m in result.measures}["layers"] == 0


def test_results_can_be_stored():
    result = stood(BOX, directions=40)
    arrays = []
    back = values.decode(values.encode(result, arrays), arrays.__getitem__)
    assert (back.turn_to_print == result.turn_to_print).all()
    assert back.findings == result.findings
    assert back.scores.dtype == np.float32
    assert len(back.directions) == len(back.scores) == len(back.readings) == len(back.unbeaten)
    assert [each.name for each in back.candidates] == [each.name for each in result.candidates]
    assert (back.candidates[back.chosen].turn == back.turn_to_print).all()


def test_what_is_given_is_kept_and_the_habit_shown_beside_it():
    upright = stood(BOX, lean_deg=0, directions=300, search="best")
    assert (upright.turn_to_print == np.eye(3)).all()
    assert [each.name for each in upright.candidates[:3]] == ["given", "habit", "least cost"]
    assert upright.chosen == 0
    better = next(finding for finding in upright.findings if finding.code == "better-stand")
    assert better.verdict is Verdict.WATCH
    assert better.measured > better.limit
    # The mend's rows stand it in the best way found.
    rows = eval(better.mend.partition("turn = ")[2].partition(" stands")[0])
    again = stood(BOX, turn=rows, directions=300)
    assert again.turn_to_print == pytest.approx(upright.candidates[2].turn, abs=1e-4)
    assert "better-stand" not in {finding.code for finding in again.findings}


def test_the_habit_gives_way_only_where_another_way_is_clearly_better():
    # Leaned back, a box keeps two sides square to the layers; leaned over a corner, none.
    box = stood(BOX, directions=300)
    assert box.candidates[box.chosen].name == "least cost"
    assert "against the habit" in box.says
    assert found(box) == {}
    kept = stood(BOX, directions=300, search="habit")
    assert kept.candidates[kept.chosen].name == "habit"
    assert "would be better, clearly" in kept.says
    # A ball stands alike in every way.
    ball = stood(BALL, directions=300)
    assert ball.candidates[ball.chosen].name == "habit"
    taken = stood(BALL, directions=300, search="best")
    assert taken.candidates[taken.chosen].cost <= ball.candidates[ball.chosen].cost


def test_the_habit_given_in_words_is_the_habit():
    result = stood(BOX, lean_deg=15, directions=100)
    assert result.candidates[0].name == "habit"
    assert result.chosen == 0
    assert stood(BOX, lean_towards="left").says.startswith("leaned to its left by 15°")


def test_a_precious_place_turns_away_from_the_platform():
    # A head-down wish: the top of the box is precious, so it may not face the platform.
    zone = Zone("face", ZoneMeaning.PRECIOUS, shape=Ball((0.0, 4.0, 0.0), 3.0))
    free, kept = (stood(BOX, directions=300, search="best", zones=zones) for zones in ((), (zone,)))
    towards = kept.turn_to_print @ [0.0, 1.0, 0.0]
    assert towards[2] > -np.cos(np.radians(45.0))
    assert kept.scores.max() > free.scores.max()


def test_what_does_not_fit_the_printer_is_told_by_whose_figure_it_is():
    tall = body_of(trimesh.creation.box((2.0, 2.0, 190.0)))
    told = found(stood(tall, lean_deg=0))["too-tall"]
    assert told.verdict is Verdict.WATCH
    assert told.measured == pytest.approx(190.0)
    assert told.limit == 160
    printer = overridden(MATERIALS.printer, {"build_z_mm": 165.0}, where="printer")
    assert printer.build_z_mm.basis is Basis.MAKER
    mine = Materials(printer, MATERIALS.resin, MATERIALS.mould, MATERIALS.cast, MATERIALS.paint)
    assert found(stood(tall, lean_deg=0, materials=mine))["too-tall"].verdict is Verdict.STOP
    assert "too-tall" not in found(stood(body_of(trimesh.creation.box((2, 2, 160.0))), lean_deg=0))


@pytest.mark.parametrize(
    ("sides", "told"),
    [
        # The platform is 134 by 75. A thin rod of 148 lies along its diagonal of 153.6, one of 158 does not.
        ((130.0, 70.0), False),
        ((70.0, 130.0), False),
        ((140.0, 70.0), True),
        ((100.0, 80.0), True),
        ((148.0, 1.0), False),
        ((158.0, 1.0), True),
    ],
)
def test_a_piece_may_be_turned_to_fit_the_platform(sides, told):
    plate = body_of(trimesh.creation.box((*sides, 2.0)))
    assert ("too-wide" in found(stood(plate, lean_deg=0))) == told


def test_a_bowl_upright_is_told_as_a_cup_and_head_down_is_not():
    solid = body_of(bowl(), names=("bowl",))
    told = found(stood(solid, lean_deg=0))["cup"]
    assert told.part == "bowl"
    assert told.place_mm == pytest.approx((0.0, 0.0, -8.0), abs=0.1)
    # At 1 mm above the bottom of a hollow of 8 mm radius: π (2 · 8 · 1 - 1), by vertices 0.35 mm apart.
    assert told.measured == pytest.approx(15.0 * np.pi, rel=0.1)
    assert "cup" not in found(stood(solid, turn=[1, 0, 0, 180]))


def test_a_dome_shows_its_terraces_in_the_maker_s_words():
    dome = trimesh.creation.icosphere(subdivisions=6, radius=20.0)
    result = stood(body_of(dome, names=("cloak",)))
    top = next(finding for finding in result.findings if "platform" not in finding.says)
    assert top.code == "terraces"
    assert top.verdict is Verdict.WATCH
    # Within atan(0.05 / 0.3) of the layers.
    cap = 2.0 * np.pi * 400.0 * (1.0 - np.cos(np.arctan(0.05 / 0.3)))
    assert top.measured == pytest.approx(cap, rel=0.06)
    assert top.says.startswith("'cloak', front, 19 mm up: ")
    assert "mm wide, 0.05 mm high" in top.says
    up = leaned((0.0, 1.0, 0.0), 15.0)[2]
    assert top.place_mm == pytest.approx(tuple(20.0 * up), abs=0.5)
    finer = next(f for f in stood(body_of(dome), layer_mm=0.02).findings if f.code == "terraces")
    assert finer.measured < 0.25 * top.measured
