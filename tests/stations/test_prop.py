"""The prop station: what a job's settings, zones and process make of it, and what it tells."""

import functools
import os
from dataclasses import replace
from pathlib import Path

import numba
import numpy as np
import pytest
import trimesh
from manifold3d import Manifold, OpType
from pydantic import ValidationError

from firstcast import values
from firstcast.geometry.body import Body
from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.solids import box, cylinder, from_manifold, union
from firstcast.geometry.tabs import TabSpec
from firstcast.geometry.turns import leaned
from firstcast.geometry.zones import Ball, Zone
from firstcast.printing.propping import hold_up
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials, catalogue, choose
from firstcast.ranges import Range
from firstcast.stations.prop import Settings, prop, tab_end, wanted_of
from firstcast.stations.prop_findings import Held as Seen
from firstcast.stations.prop_findings import findings_of
from firstcast.vocabulary import ProcessKind, Verdict, ZoneMeaning

DATA = os.environ.get("FIRSTCAST_DATA")

LIMITS = Limits(
    kind=ProcessKind.SPIN_DISC, pixel_mm=(0.05, 0.05), layer_mm=0.05, pitch_mm=(0.1, 0.1, 0.1), reduce_tolerance_mm=0.01,
    wall_mm=Range(0.3, 0.5, 0.8), gap_mm=Range(0.1, 0.2, 0.3),
)  # fmt: skip


@functools.cache
def materials() -> Materials:
    others = (choose(word, next(iter(catalogue(word)))) for word in ("mould", "cast", "paint"))
    return Materials(choose("printer", "mono-50"), choose("resin", "standard"), *others)


def body_of(mesh: Mesh) -> Body:
    return Body(mesh, np.zeros(len(mesh.triangles), np.uint16), ("figure",))


@functools.cache
def signpost():
    """A post with an arm and something that hangs from it, on a tab."""
    solid = union(
        [
            box((2.6, 1.6, 3.0), at_mm=(0, 0, -1.0)),
            cylinder(8.0, 1.2, sag_mm=0.02),
            box((5.0, 1.2, 1.2), at_mm=(2.5, 0, 7.4)),
            Manifold.sphere(0.9, 32).translate((4.4, 0, 6.2)),
        ]
    )
    return from_manifold(solid)


@functools.cache
def tab():
    mesh = from_manifold(box((2.6, 1.6, 3.0), at_mm=(0, 0, -1.0)))
    return TabSpec(
        "bar",
        np.array([0, 0, 0.5]),
        np.array([1.0, 0, 0]),
        np.array([0, 0, -1.0]),
        2.6,
        1.6,
        2.5,
        0.5,
        0.0,
        mesh,
    )


def propped(mesh=None, turn=None, **changes):
    given = {
        "master": "sign", "piece": "sign", "mesh": mesh or signpost(), "turn_to_print": leaned((0, 1, 0), 15.0) if turn is None else turn,
        "matrix": np.eye(3), "tab": tab() if mesh is None else None, "body": body_of(mesh or signpost()), "limits": LIMITS,
        "materials": materials(), "zones": (), "settings": Settings(),
    }  # fmt: skip
    return prop(**{**given, **changes})


@functools.cache
def plain():
    return propped()


def test_a_piece_gets_props_and_nothing_starts_bare():
    held = plain()
    assert held.propped is not None
    assert (held.bare_starts, held.overhangs) == (0, 0)
    assert "nothing starts bare" in held.says
    assert held.feet > 0
    assert held.neck_use <= 1.0 + 1e-9
    assert max(held.bending_use, held.buckling_use) <= 1.0 + 1e-9
    assert not [finding for finding in held.findings if finding.verdict is Verdict.STOP]
    tips = held.propped.tips
    assert tips.on_tab.sum() >= 4
    assert tips.loads_n.max() > 0
    assert held.propped.height_mm == pytest.approx(held.propped.piece.bounds[1, 2])


def test_what_is_used_by_more_than_one_is_told_with_its_place():
    """Props as they are, but one neck, one post and one tree of them used by a hundredth too much."""
    turn, held = leaned((0, 1, 0), 15.0), materials()
    standing = hold_up(
        signpost().mapped(turn),
        wanted_of(Settings(), LIMITS, held.printer, held.resin),
        tab=tab_end(tab(), turn),
    )
    full = Seen("sign", signpost(), standing, turn, np.eye(3))
    codes = {"weak-tip", "weak-post", "swaying-tree"}
    assert not codes & {finding.code for finding in findings_of(full)}
    loads, bending, sways = standing.loads_n.copy(), standing.strong.bending.copy(), dict(standing.sways)
    tip, node, root = len(loads) // 2, int(bending.argmax()), min(sways)
    loads[tip], bending[node], sways[root] = 1.01 * standing.bears_n[tip], 1.01, 1.01
    weak = replace(standing, loads_n=loads, sways=sways, strong=replace(standing.strong, bending=bending))
    told = {finding.code: finding for finding in findings_of(replace(full, standing=weak))}
    places = (standing.contacts.places_mm[tip], standing.ways.places[node], standing.ways.places[root])
    for code, place in zip(("weak-tip", "weak-post", "swaying-tree"), places, strict=True):
        assert told[code].measured == pytest.approx(1.01)
        assert told[code].verdict is Verdict.WATCH
        assert turn @ np.array(told[code].place_mm) + standing.offset_mm == pytest.approx(place)


def test_the_piece_is_the_master_turned_and_moved():
    held = plain().propped
    assert held is not None
    assert held.piece.points == pytest.approx(np.asarray(signpost().points) @ held.turn.T + held.offset_mm)
    assert held.piece.bounds[0, 2] == pytest.approx(Settings().lift_mm)


def test_nothing_is_propped_for_a_hard_tool():
    held = propped(limits=replace(LIMITS, kind=ProcessKind.HARD_TOOL))
    assert held.propped is None
    assert "nothing is printed" in held.says
    assert held.findings == ()


def test_the_same_bytes_for_any_number_of_threads():
    before = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        alone = propped()
    finally:
        numba.set_num_threads(before)
    one, two = alone.propped, plain().propped
    assert one is not None
    assert two is not None
    assert one.props.points.tobytes() == two.props.points.tobytes()
    assert one.props.triangles.tobytes() == two.props.triangles.tobytes()
    assert one.tips.loads_n.tobytes() == two.tips.loads_n.tobytes()


def test_tips_keep_out_of_a_precious_zone_where_they_can():
    """A flat underside: tips that an overhang asks for move aside of a narrow zone."""
    slab = from_manifold(
        union([box((1.2, 1.2, 4.0), at_mm=(0, 0, 2.0)), box((7.0, 1.2, 1.0), at_mm=(0, 0, 4.0))])
    )
    upright = {"turn": np.eye(3), "settings": Settings(lift_mm=2.0)}
    free = propped(slab, **upright)
    assert free.propped is not None
    spots = free.propped.tips.places_mm - free.propped.offset_mm
    # the zone: a ball about one of the tips under the arms, smaller than the tip's freedom
    spot = next(place for place in spots if abs(place[0]) > 1.5)
    zone = Zone("face", ZoneMeaning.PRECIOUS, shape=Ball(tuple(spot), 0.25))
    shy = propped(slab, zones=(zone,), **upright)
    assert shy.propped is not None
    away = np.linalg.norm(shy.propped.tips.places_mm - shy.propped.offset_mm - spot, axis=1)
    assert away.min() >= 0.25
    assert not [finding for finding in shy.findings if finding.code == "marks-precious"]
    # a zone that the tip can't leave is told
    wide = Zone("arm", ZoneMeaning.PRECIOUS, part="figure")
    told = propped(slab, zones=(wide,), **upright)
    assert [finding.verdict for finding in told.findings if finding.code == "marks-precious"] == [
        Verdict.WATCH
    ]


def test_what_no_tip_reaches_stops_the_job():
    """A ball that floats in a closed hollow: nothing stands under it but the hollow's floor, which is precious."""
    shell = Manifold.cube((6.0, 6.0, 6.0), True) - Manifold.cube((4.0, 4.0, 4.0), True)
    solid = Manifold.batch_boolean([shell, Manifold.sphere(0.8, 32)], OpType.Add)
    mesh = from_manifold(solid)
    zone = Zone("all", ZoneMeaning.PRECIOUS, shape=Ball((0.0, 0.0, 0.0), 20.0))
    held = propped(mesh, turn=np.eye(3), zones=(zone,), settings=Settings(lift_mm=2.0, rounds=2))
    stops = [finding for finding in held.findings if finding.code == "bare-start"]
    assert held.bare_starts >= 1
    assert stops[0].verdict is Verdict.STOP
    assert stops[0].place_mm == pytest.approx((0.0, 0.0, -0.8), abs=0.15)
    assert "nothing under it" in stops[0].says
    # without the zone a prop stands in the hollow
    allowed = propped(mesh, turn=np.eye(3), settings=Settings(lift_mm=2.0, rounds=2))
    assert allowed.bare_starts == 0
    assert [finding for finding in allowed.findings if finding.code == "rests-on-figure"]


def test_the_resin_says_how_far_a_layer_may_stand_out():
    printer, resin = choose("printer", "mono-50"), choose("resin", "standard")
    wanted = wanted_of(Settings(), LIMITS, printer, resin)
    # bends by half a layer at (w E t³ / 1.5 q)^¼: 0.025 mm, 150 MPa, 0.12 mm, 15 kPa; its strength would bear 0.894 mm
    assert wanted.bearing.reach_mm == pytest.approx((0.025 * 150 * 0.12**3 / 1.5 / 0.015) ** 0.25)
    assert 0.12 * np.sqrt(2.5 / 0.045) == pytest.approx(0.894, abs=5e-4)
    assert wanted_of(Settings(reach_mm=0.3), LIMITS, printer, resin).bearing.reach_mm == 0.3


def test_the_tabs_end_is_where_it_ends():
    end = tab_end(tab(), np.eye(3))
    assert end.middle_mm == pytest.approx([0, 0, -2.5])
    assert (end.length_mm, end.width_mm) == pytest.approx((2.6, 1.6))
    assert end.holds(np.array([[1.2, 0.7, -2.5], [1.6, 0, -2.5], [0, 0, -2.0]])).tolist() == [
        True,
        False,
        False,
    ]


@pytest.mark.parametrize(
    "bad", [{"lift_mm": 0.0}, {"safety": 0.5}, {"nonsense": 1}, {"bearing_slope_deg": 90.0}]
)
def test_settings_that_make_no_sense_are_refused(bad):
    with pytest.raises(ValidationError):
        Settings(**bad)


def test_a_result_can_be_stored():
    arrays = []
    tree = values.encode(plain(), arrays)
    back = values.decode(tree, arrays.__getitem__)
    assert back.propped.props.points.tobytes() == plain().propped.props.points.tobytes()
    assert back.findings == plain().findings
    assert back.measures == plain().measures


@pytest.mark.skipif(not DATA, reason="FIRSTCAST_DATA names no folder of public meshes")
@pytest.mark.parametrize(
    ("name", "height_mm"), [("ds_maria.ply", 32.0), ("spot.obj", 20.0), ("hand_closed.obj", 32.0)]
)
def test_public_figures_are_propped_with_no_bare_start(name, height_mm):
    solid = trimesh.load(Path(str(DATA)) / name, process=False, force="mesh")
    solid.merge_vertices(merge_tex=True, merge_norm=True)
    up = np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]])
    points = np.asarray(solid.vertices) @ up.T
    figure = Mesh(
        points * (height_mm / np.ptp(points, axis=0).max()), np.ascontiguousarray(solid.faces, np.int32)
    )
    held = propped(figure)
    assert held.bare_starts == 0
    assert held.propped is not None
    assert len(crossing_pairs(held.propped.props)) == 0
