"""The stand station: rotations, the side it leans to, what is refused, and which faces are told."""

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from scipy.spatial.transform import Rotation

from firstcast import values
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.turns import nearest_turn, turn_about
from firstcast.process.limits import Limits
from firstcast.process.shrink import SizeStep, even_step
from firstcast.ranges import Range
from firstcast.sheets.views import BACK, FRONT
from firstcast.stations.stand import FLAT_MM2, Settings, stand
from firstcast.vocabulary import ProcessKind, Verdict

EXACT = 1e-14
"""A rotation's entries are at most 1, and a few roundings of 1e-16 go into each."""


def body_of(*solids, names=None):
    points = np.concatenate([solid.vertices for solid in solids]).astype(np.float32)
    starts = np.cumsum([0, *[len(solid.vertices) for solid in solids]])
    triangles = np.concatenate(
        [solid.faces + start for solid, start in zip(solids, starts, strict=False)]
    ).astype(np.int32)
    owner = np.repeat(np.arange(len(solids)), [len(solid.faces) for solid in solids]).astype(np.uint16)
    return Body(Mesh(points, triangles), owner, names or tuple(f"part{n}" for n in range(len(solids))))


BOX = body_of(trimesh.creation.box((6.0, 8.0, 10.0)))
BALL = body_of(trimesh.creation.icosphere(subdivisions=5, radius=12.0))


def stood(body=BALL, kind=ProcessKind.CUT_BLOCK, steps=(), layer_mm=0.05, **settings):
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
        piece="body", body=body, limits=limits, size_steps=steps, settings=Settings.model_validate(settings)
    )


def found(result):
    return {finding.code: finding for finding in result.findings}


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
    if shows:
        terrace = 0.05 / np.tan(np.radians(lean_deg))
        assert f"{terrace:.1f} mm wide" in by_code["flat-top"].says


def test_the_part_is_named_and_small_faces_are_not_told():
    small = trimesh.creation.box((2.5, 2.5, 2.5))
    small.apply_translation((0, 0, 20))
    large = trimesh.creation.box((6.0, 8.0, 10.0))
    result = stood(body_of(small, large, names=("knob", "plinth")), lean_deg=0)
    assert {finding.part for finding in result.findings} == {"plinth"}
    assert FLAT_MM2 > 2.5**2
    assert '[stand.piece."body"]' in result.findings[0].mend


@given(st.tuples(*[st.floats(-3, 3)] * 3))
def test_a_box_shows_the_same_whichever_way_figure_and_printer_are_turned_together(rotation):
    turn = Rotation.from_rotvec(rotation).as_matrix()
    box = trimesh.creation.box((6.0, 8.0, 10.0))
    box.apply_transform(np.vstack([np.column_stack([turn, np.zeros(3)]), [0, 0, 0, 1]]))
    result = stood(body_of(box), turn=turn.T.tolist())
    areas = {finding.code: finding.measured for finding in result.findings}
    expected = {"flat-top": 48, "flat-underside": 48, "flat-square": 280}
    assert areas == {code: pytest.approx(area, rel=1e-5) for code, area in expected.items()}


@pytest.mark.parametrize(
    "solid",
    [
        trimesh.creation.icosphere(subdivisions=6, radius=20.0),
        trimesh.creation.capsule(height=50.0, radius=10.0, count=(128, 128)),
        trimesh.creation.torus(12.0, 4.0, major_sections=200, minor_sections=200),
    ],
    ids=["ball", "rod", "ring"],
)
def test_round_solids_have_no_flat_faces_however_they_stand(solid):
    for settings in ({"lean_deg": 0}, {}, {"lean_deg": 90, "lean_towards": "left"}):
        assert found(stood(body_of(solid), **settings)) == {}


def test_the_ends_of_a_drum_are_flat_and_its_side_is_not():
    drum = body_of(trimesh.creation.cylinder(radius=10.0, height=50.0, sections=400))
    by_code = found(stood(drum, lean_deg=0))
    assert set(by_code) == {"flat-top", "flat-underside"}
    # A regular polygon of 400 corners.
    area = 200 * 10**2 * np.sin(2 * np.pi / 400)
    assert by_code["flat-top"].measured == pytest.approx(area, rel=1e-6)


def test_a_body_without_triangles_stands_too():
    empty = Body(Mesh(np.zeros((0, 3), np.float32), np.zeros((0, 3), np.int32)), np.zeros(0, np.uint16), ())
    result = stood(empty)
    assert result.findings == ()
    assert {m.name: m.value for m in result.measures}["layers"] == 0


def test_results_can_be_stored():
    result = stood(BOX)
    arrays = []
    back = values.decode(values.encode(result, arrays), arrays.__getitem__)
    assert (back.turn_to_print == result.turn_to_print).all()
    assert back.findings == result.findings
