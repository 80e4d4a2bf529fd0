import numpy as np
import pytest
from manifold3d import Manifold

from firstcast import values
from firstcast.printing.propped import Propped
from firstcast.printing.run import Placement, Run
from firstcast.process.strength import separation_load_n
from firstcast.ranges import Range
from firstcast.stations.layer import Settings, layer
from firstcast.stations.layer_findings import Cup
from firstcast.stations.plan_settings import Settings as PlanSettings
from firstcast.stations.plan_settings import limits_of, materials_of
from firstcast.vocabulary import Basis, Verdict
from layer_bodies import ball, figure, standing, tube

PROCESS = PlanSettings(printer="mono-50", layer_mm=0.1)
MATERIALS = materials_of(PROCESS)
LIMITS = limits_of(PROCESS, MATERIALS)


def layered(*masters, placements=None, **settings):
    names = [name for name, _ in masters]
    if placements is None:
        placements = tuple(Placement(name, 20.0 + 20.0 * n, 20.0) for n, name in enumerate(names))
    return layer(
        run=Run("first", tuple(placements)),
        propped=tuple(masters),
        limits=LIMITS,
        materials=MATERIALS,
        settings=Settings(**settings),
    )


def codes(result):
    return [finding.code for finding in result.findings]


def test_areas_resin_and_peel_of_a_whole_run_are_those_of_all_copies():
    post = standing(tube(3.0, 2.0, around=256))
    places = [Placement("a", 10.0, 10.0), Placement("a", 20.0, 10.0, 90.0), Placement("a", 30.007, 10.0)]
    result = layered(("a", post), placements=places)
    disc = np.pi * 4.0 * 0.9999
    assert result.area_mm2 == pytest.approx(np.full(30, 3 * disc), rel=1e-4)
    assert result.resin_mm3 == pytest.approx(3 * disc * 3.0, rel=1e-4)
    assert result.regions.tolist() == [3] * 30
    assert result.largest_mm2 == pytest.approx(np.full(30, disc), rel=5e-3)
    stress = MATERIALS.printer.separation_stress_kpa
    for row, at in enumerate(("low", "likely", "high")):
        assert result.peel_n[row] == pytest.approx(stress.scenario(at) * 1e-3 * result.area_mm2)
    assert result.findings == ()
    assert "3 on the platform, 30 layers" in result.says


def test_the_cup_of_the_checks():
    # CHECKS section 6: a cup of 20 mm at 50 kPa pulls 15.708 N
    assert separation_load_n(50.0, np.pi * 10.0**2) == pytest.approx(15.708, abs=1e-3)
    cup = Cup("a", False, 1.0, np.pi * 10.0**2, 0, 0, 0, (0.0, 0.0, 0.0))
    assert cup.pull_n(50.0) == pytest.approx(15.708, abs=1e-3)
    beaker = tube(6.0, 11.0, around=256) - tube(6.0, 10.0, 1.0, around=256)
    result = layered(("beaker", standing(beaker)))
    (found,) = result.cups
    # the mouth is counted in pixels: an outline of 2 π 10 mm by half a pixel of 0.05 mm at most, and far less on the mean
    assert found.pull_n(50.0) == pytest.approx(15.708, rel=2e-3)
    finding = result.findings[0]
    assert (finding.code, finding.verdict) == ("cup", Verdict.WATCH)
    assert "about 15.7 N (1.6 to 31.8)" in finding.says


def test_a_sealed_hollow_and_one_too_small_to_tell():
    hollow = ball(3.0, (0, 0, 3.0)) - ball(2.0, (0, 0, 3.0))
    result = layered(("a", standing(hollow)))
    assert codes(result) == ["sealed-hollow"]
    assert result.findings[0].measured == pytest.approx(4 / 3 * np.pi * 8.0, rel=0.02)
    assert layered(("a", standing(hollow)), cup_mm3=40.0).findings == ()


def test_a_bare_start_stops_and_a_propped_one_does_not():
    piece, props, tips = figure()
    alone = layered(("a", standing(piece)))
    assert "bare-start" in codes(alone)
    finding = next(f for f in alone.findings if f.code == "bare-start")
    assert finding.verdict is Verdict.STOP
    held = layered(("a", standing(piece, props, tips)))
    assert "bare-start" not in codes(held)


def test_places_are_told_in_the_figure():
    hollow = ball(3.0, (0, 0, 3.0)) - ball(2.0, (0.6, 0, 3.0))
    turn = np.array([[0.0, -1.0, 0.0], [0.0, 0.0, -1.0], [1.0, 0.0, 0.0]])
    offset, matrix = np.array([0.0, 0.0, 4.0]), np.diag([1.02, 1.01, 1.03])
    plain = standing(hollow)
    propped = Propped(plain.piece, plain.props, turn, offset, plain.tips)
    for turns in (0.0, 90.0, 180.0, 270.0, 33.0):
        result = layer(
            run=Run("r", (Placement("a", 20.0, 20.0, turns),)),
            propped=(("a", propped),),
            to_master=(("a", matrix),),
            limits=LIMITS,
            materials=MATERIALS,
            settings=Settings(),
        )
        finding = next(f for f in result.findings if f.code == "sealed-hollow")
        back = turn @ matrix @ np.array(finding.place_mm) + offset
        # the middle of the longest row in the first of the widest layers, which lie within 0.6 mm of the hollow's middle
        assert np.linalg.norm(back - [0.6, 0.0, 3.0]) < 0.7


def test_a_sudden_broad_layer_is_told():
    tee = tube(3.0, 2.0) + tube(1.0, 6.0, 3.0)
    result = layered(("a", standing(tee)))
    finding = next(f for f in result.findings if f.code == "sudden-area")
    assert finding.measured == pytest.approx(np.pi * 32.0, rel=5e-3)
    assert "in layer 30" in finding.says
    assert "sudden-area" not in codes(layered(("a", standing(tube(4.0, 6.0)))))


def test_time_and_cost_only_by_what_the_maker_gives():
    post = standing(tube(3.0, 2.0))
    wide = layered(("a", post))
    assert wide.seconds.basis is Basis.DEFAULT
    assert wide.seconds.low < wide.seconds.high
    assert wide.costs == ()
    assert wide.facts()["given"] == {}
    told = layered(
        ("a", post),
        exposure_s=2.0,
        bottom_exposure_s=30.0,
        lift_s=6.0,
        resin_price_per_litre=50.0,
        machine_rate_per_hour=3.6,
        currency="EUR",
    )
    assert told.seconds == Range.exactly(25 * 2.0 + 5 * 30.0 + 30 * 6.0, "s", source="the job's seconds")
    assert told.costs == (
        ("resin", pytest.approx(50.0 * told.resin_mm3 / 1e6), "EUR"),
        ("machine", pytest.approx(380.0 / 1000.0), "EUR"),
    )
    assert told.facts()["given"]["exposure_s"] == 2.0


def test_the_table_has_a_row_per_layer_and_the_store_can_keep_it():
    piece, props, tips = figure()
    result = layered(("a", standing(piece, props, tips)))
    table = result.table()
    assert len(table) == len(result.area_mm2)
    assert sum(row["resin_mm3"] for row in table) == pytest.approx(result.resin_mm3, abs=1e-2)
    arrays: list[np.ndarray] = []
    tree = values.encode(result, arrays)
    again = values.decode(tree, arrays.__getitem__)
    assert values.digest(again) == values.digest(result)


def test_copies_in_other_turns_are_told_of_once():
    bell = (
        ball(3.0, (0, 0, 3.0))
        - ball(2.4, (0, 0, 3.0))
        - Manifold.cube((9, 9, 9), True).translate((0, 0, 7.5))
    )
    places = [Placement("a", 20.0, 20.0), Placement("a", 40.0, 20.0, 90.0), Placement("a", 60.013, 20.0)]
    result = layered(("a", standing(bell)), placements=places)
    assert codes(result) == ["cup"]
    assert result.closed_mm2.max() == pytest.approx(3 * np.pi * 2.4**2, rel=0.01)
