"""The carry station on a wall with ribs: what it makes, what it leaves alone, what it says."""

from dataclasses import replace

import numpy as np
import pytest

from firstcast.fields import dose
from firstcast.forecast.chain_on_mesh import forward_of, normals_of
from firstcast.geometry.body import Body
from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.narrow import Places
from firstcast.geometry.turns import leaned
from firstcast.geometry.zones import Box, Zone
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials, catalogue, choose
from firstcast.ranges import Range
from firstcast.stations.carry import carry
from firstcast.stations.carry_settings import Settings
from firstcast.vocabulary import Make, ProcessKind, ZoneMeaning
from mesh_bodies import NULL, lit, of_face, ribbed

MATERIALS = Materials(
    printer=choose("printer", "mono-35"),
    resin=choose("resin", "standard"),
    mould=choose("mould", "addition-silicone-30a"),
    **{word: next(iter(catalogue(word).values())) for word in ("cast", "paint")},
)
PERIOD_MM, CAP_MM = 0.3, 0.08
LIMITS = Limits(
    ProcessKind.TWO_PART_BLOCK,
    (0.035, 0.035),
    0.03,
    (0.035,) * 3,
    0.01,
    Range(0.2, 0.3, 0.5),
    Range(0.1, 0.2, 0.4),
)


def painted(sigma_mm, depth_mm, cured_mm, radius_mm, *, sure):
    chain = lit(sigma_mm, depth_mm, cured_mm)
    return replace(
        chain,
        paint=replace(NULL.paint, radius_mm=radius_mm),
        uncalibrated=() if sure else ("printer blur_mm", "paint coat_mm"),
    )


def chain(*, sure=False):
    """Pixels of 35 µm, layers of 30 µm; figures 5 of 100 apart, as a gauge leaves them, or a fifth."""
    if sure:
        rows = ((0.019, 0.095, 0.097, 0.057), (0.020, 0.100, 0.100, 0.060), (0.021, 0.105, 0.103, 0.063))
    else:
        rows = ((0.016, 0.09, 0.09, 0.05), (0.020, 0.100, 0.100, 0.060), (0.024, 0.11, 0.11, 0.07))
    return tuple(painted(*row, sure=sure) for row in rows)


MESH, OUT = ribbed(PERIOD_MM, edge_mm=0.03, ribs=5)
BODY = Body(MESH, np.zeros(len(MESH.triangles), np.uint16), ("wall",))
UPRIGHT = np.eye(3)


def wide(count: int) -> Places:
    """Readings of a body without narrow walls or gaps."""
    return Places(
        np.full(count, np.inf, np.float32), np.zeros(count, np.int32), np.full(count, np.inf, np.float32)
    )


def run(
    *, body=BODY, turn=UPRIGHT, matrix=UPRIGHT, sure=False, spare=np.inf, walls=None, zones=(), **settings
):
    n = len(body.mesh.points)
    return carry(
        piece="wall",
        body=body,
        turn_to_print=turn,
        matrix=matrix,
        chain=chain(sure=sure),
        limits=LIMITS,
        pitch_mm=np.full(3, 0.035),
        walls=wide(n) if walls is None else walls,
        gaps=wide(n),
        wall_spare_mm=np.full(n, spare, np.float32),
        gap_spare_mm=np.full(n, np.inf, np.float32),
        pull=np.zeros(3),
        mould_pitch_mm=0.2,
        least_mm3=0.1,
        locks=(),
        tongues=(),
        materials=MATERIALS,
        zones=zones,
        height_mm=30.0,
        printed_with="mono-35, tough resin",
        settings=Settings(**settings),
    )


@pytest.fixture(scope="module")
def offered():
    return run()


def rms(values):
    return float(np.sqrt((np.asarray(values, np.float64) ** 2).mean()))


def test_uncalibrated_both_masters_are_made_and_the_choice_is_the_makers(offered):
    assert offered.makes == (Make.PLAIN, Make.CARRIED)
    first = offered.findings[0]
    assert first.code == "choose-master"
    assert "printer blur_mm" in first.says
    assert 'make = "plain" or "carried"' in first.mend
    assert first.verdict != "stop"
    assert offered.made_for.startswith("mono-35, tough resin, pixels of 0.035 mm, layers of 0.03 mm")


def test_a_fitted_process_makes_the_carried_master_alone():
    found = run(sure=True)
    assert found.makes == (Make.CARRIED,)
    assert all(finding.code != "choose-master" for finding in found.findings)


@pytest.mark.parametrize(("make", "makes"), [("plain", (Make.PLAIN,)), ("carried", (Make.CARRIED,))])
def test_one_line_chooses(make, makes):
    found = run(make=make)
    assert found.makes == makes
    assert (found.most_mm > 0) == (make == "carried")
    assert (found.body is BODY) == (make == "plain")
    assert bool(found.made_for) == (make == "carried")


def test_without_a_forecast_the_body_goes_on_as_it_is():
    found = run(forecast=False)
    assert found.forecast is None
    assert found.body is BODY
    assert found.makes == (Make.PLAIN,)


def test_the_likely_cast_comes_nearer_and_no_place_moves_beyond_the_cap(offered):
    forecast = offered.forecast
    assert 0 < offered.most_mm <= CAP_MM
    assert rms(forecast.after_mm[1]) < 0.6 * rms(forecast.before_mm[1])
    for scenario in (0, 2):
        assert rms(forecast.after_mm[scenario]) < rms(forecast.before_mm[scenario])
    # finest scale first: the face's waves at least
    assert all(detail.after[1] > detail.before[1] for detail in offered.details[:1])


def test_what_is_told_is_what_the_chain_makes_of_the_carried_body(offered):
    """Run once more on its own: by a micrometre, for the body was stored in figure space and back."""
    points = np.asarray(offered.forecast.mesh.points)
    triangles = offered.forecast.mesh.triangles
    normals = normals_of(points, triangles)
    forward = forward_of(points, triangles, normals, chain()[1:2])
    moved = ((np.asarray(offered.body.mesh.points) - points) * normals).sum(axis=1)
    assert np.abs(moved - offered.forecast.length_mm).max() < 1e-6
    assert np.abs(forward(moved)[0] - offered.forecast.after_mm[1]).max() < 1e-3


def test_the_carried_body_is_closed_outward_and_free_of_crossings(offered):
    assert (
        len(crossing_pairs(Mesh(offered.body.mesh.points.astype(np.float32), offered.body.mesh.triangles)))
        == 0
    )
    edges = np.sort(
        np.concatenate([offered.body.mesh.triangles[:, pair] for pair in ((0, 1), (1, 2), (2, 0))]), axis=1
    )
    assert (np.unique(edges, axis=0, return_counts=True)[1] == 2).all()
    assert len(offered.body.part_of_triangle) == len(offered.body.mesh.triangles)


def test_a_leaning_oversized_piece_is_carried_in_its_own_place():
    """Turned and enlarged as it is printed, and back: the moved body lies about the sculpture, within the cap."""
    matrix = np.diag([1.02, 1.01, 1.03])
    found = run(turn=leaned((0.0, 1.0, 0.0), 15.0), matrix=matrix)
    count = len(BODY.mesh.points)
    moved = (np.asarray(found.body.mesh.points)[:count] - BODY.mesh.points) @ matrix.T
    assert 0.01 < np.linalg.norm(moved, axis=1).max() <= CAP_MM + 1e-9
    assert "(0.0000, -0.2588, 0.9659)" in found.made_for


def test_where_a_wall_is_at_its_least_no_scenario_ends_it_thinner():
    found = run(spare=0.0).forecast
    mildest = np.maximum(found.before_mm.min(axis=0), 0.0)
    assert (found.length_mm >= -mildest - 1e-6).all()
    assert (found.length_mm < -0.005).any()


def left(x_mm):
    return Box((-1.0, -2.0, -1.0), (x_mm, 2.0, 3.0))


def relief_of(length):
    """How unevenly the face is moved across its ribs, at places of equal height away from the face's ends."""
    return float(np.std(length[of_face(MESH, normals_of(MESH.points, MESH.triangles))]))


def test_zones_are_respected(offered):
    count = len(BODY.mesh.points)
    everywhere = Box((-9.0,) * 3, (9.0,) * 3)
    whole = relief_of(offered.forecast.length_mm[:count])
    still = run(zones=(Zone("peg", ZoneMeaning.NO_CHANGE, shape=left(0.8)),)).forecast
    inside = np.asarray(still.mesh.points)[:, 0] <= 0.8
    assert (still.length_mm[inside] == 0.0).all()
    assert np.abs(still.length_mm[~inside]).max() > 0.01
    even = run(zones=(Zone("face", ZoneMeaning.NO_CARRY, shape=everywhere),)).forecast.length_mm
    # size is still taken back: growth goes off evenly, the waves stay
    assert relief_of(even[:count]) < 0.15 * whole
    assert even.mean() < -0.01
    precious = Zone("eyes", ZoneMeaning.PRECIOUS, shape=everywhere)
    assert relief_of(run(zones=(precious,)).forecast.length_mm[:count]) < 0.15 * whole
    assert relief_of(run(zones=(precious,), release=("eyes",)).forecast.length_mm[:count]) == whole


def test_detail_that_is_lost_is_told_in_words():
    found = run(kept_ratio=0.999)
    lost = [finding for finding in found.findings if finding.code == "detail-lost"]
    assert lost
    assert lost[0].part == "wall"
    assert "mm across" in lost[0].says
    assert "% of the depth is left after paint" in lost[0].says
    assert lost[0].measured == found.details[0].after[1]
    assert lost[0].limit == 0.999


@pytest.mark.parametrize("settings", [{"forecast": False}, {"cap_mm": 0.0}])
def test_a_carried_master_that_is_asked_for_and_not_made_is_told(settings):
    found = run(make="carried", **settings)
    assert found.makes == (Make.PLAIN,)
    assert "not-carried" in [finding.code for finding in found.findings]


def test_walls_that_would_end_too_thin_are_held_back_and_counted(offered):
    held = {measure.name: measure.value for measure in offered.measures}
    assert held["held back"] == 0.0
    # as if the wall were 0.05 mm thick where it was drawn in, all opposite one place of its back: next to nothing may go inward there
    drawn_in = offered.forecast.length_mm[: len(MESH.points)] < -0.008
    middles = MESH.points[MESH.triangles].mean(axis=1)
    back = int(np.argmin(np.linalg.norm(middles - [0.75, 0.5, 0.6], axis=1)))
    own = np.full(len(MESH.points), back, np.int32)
    thin = Places(
        np.where(drawn_in, np.float32(0.05), np.float32(np.inf)), own, np.full(len(own), np.inf, np.float32)
    )
    found = run(walls=thin)
    held = {measure.name: measure.value for measure in found.measures}
    inward = [float(-np.minimum(each.forecast.length_mm, 0.0).sum()) for each in (offered, found)]
    assert held["held back"] >= 1.0
    assert inward[1] < 0.9 * inward[0]


def test_a_zone_by_part_holds_its_border():
    parts = (MESH.points[MESH.triangles].mean(axis=1)[:, 0] > 0.7).astype(np.uint16)
    body = Body(MESH, parts, ("left", "right"))
    for part in ("left", "right"):
        found = run(body=body, zones=(Zone("peg", ZoneMeaning.NO_CHANGE, part=part),))
        own = found.body.part_of_triangle == ("left", "right").index(part)
        assert (found.forecast.length_mm[found.body.mesh.triangles[own]] == 0.0).all()
        assert found.most_mm > 0.01


def test_what_is_too_large_to_forecast_goes_on_plain(monkeypatch):
    monkeypatch.setattr(dose, "MOST_BYTES", 1 << 10)
    found = run()
    assert [finding.code for finding in found.findings] == ["too-large"]
    assert found.makes == (Make.PLAIN,)
    assert found.body is BODY
