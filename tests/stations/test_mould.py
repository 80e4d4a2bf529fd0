"""The mould station: what is told in rubber, in a block, in a hard tool; the gate; settings; what is kept."""

import re

import numba
import numpy as np
import pytest
from manifold3d import Manifold
from pydantic import ValidationError

from firstcast import values
from firstcast.findings import MendOrder
from firstcast.geometry.zones import Zone
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials, catalogue, choose
from firstcast.ranges import Range
from firstcast.stations import mould_looks
from firstcast.stations.mould import Settings, mould, pitch_of
from firstcast.vocabulary import Basis, ProcessKind, Verdict, ZoneMeaning
from mould_bodies import body_of, cylinder, dovetail, drilled_plate, mesh_of, mushroom, torus

UP = (0.0, 0.0, 1.0)


@pytest.fixture(autouse=True)
def no_parting(monkeypatch, request):
    """Where the halves meet has tests of its own, and takes most of the time."""
    if "parting" not in request.node.name:
        monkeypatch.setattr(mould_looks, "part_mould", lambda *_, **__: None)


FAST = {"directions": 100, "pitch_mm": 0.25}


def moulded(
    solid,
    kind=ProcessKind.TWO_PART_BLOCK,
    rubber="addition-silicone-30a",
    draft=None,
    mends=(),
    zones=(),
    **settings,
):
    limits = Limits(
        kind=kind,
        pixel_mm=(0.035, 0.035),
        layer_mm=0.05,
        pitch_mm=(0.035,) * 3,
        reduce_tolerance_mm=0.01,
        wall_mm=Range.exactly(0.6),
        gap_mm=Range.exactly(0.3),
        draft_deg=draft or Range(0.5, 1.0, 2.0, "deg", Basis.PUBLISHED),
        locks_allowed=kind is not ProcessKind.HARD_TOOL,
    )
    materials = Materials(
        printer=choose("printer", "mono-35"),
        resin=choose("resin", "standard"),
        mould=choose("mould", rubber),
        **{word: next(iter(catalogue(word).values())) for word in ("cast", "paint")},
    )
    return mould(
        piece="body",
        body=body_of(solid),
        limits=limits,
        materials=materials,
        zones=zones,
        mends=mends,
        lattice_mm=np.full(3, 0.1),
        settings=Settings.model_validate({**FAST, **settings}),
    )


def codes(result):
    return [finding.code for finding in result.findings]


@pytest.mark.parametrize(
    ("size_mm", "pitch_mm"),
    [
        ((18.0, 20.0, 32.0), 0.2),
        # 8 million of them in the box with 3 mm round it: (49 · 52 · 81 / 8e6)^⅓, (91 · 98 · 156 / 8e6)^⅓
        ((43.0, 46.0, 75.0), 0.2955),
        ((85.0, 92.0, 150.0), 0.5582),
    ],
)
def test_voxels_are_fine_for_a_small_figure_and_bounded_in_number_for_a_large_one(size_mm, pitch_mm):
    assert pitch_of(mesh_of(Manifold.cube(size_mm))) == pytest.approx(pitch_mm, abs=1e-4)


def test_where_nothing_is_moulded_nothing_is_said():
    result = moulded(mushroom(), ProcessKind.PRINT_ONLY, "none")
    assert "no mould" in result.says
    assert not result.findings
    assert not result.pull.any()
    assert len(result.locked_of_vertex) == len(body_of(mushroom()).mesh.points)
    assert moulded(Manifold(), directions=100).says == "there is nothing to mould"


def test_a_ring_is_watched_in_rubber():
    result = moulded(mushroom(), pull=UP, gate=(1.0, 0.0, 0.0))
    (finding,) = result.findings
    assert (finding.code, finding.verdict) == ("locked-ring", Verdict.WATCH)
    # the middle of a ring is none of its places: the nearest one is told
    assert re.match(
        r"In 'figure', .*2 mm up: 26\d mm³ of rubber lies right round a neck of [34]\.\d mm", finding.says
    )
    assert re.search(r"below a bulb of (9\.9|10\.\d) mm", finding.says)
    assert "must stretch by 75 to " in finding.says
    assert finding.measured == pytest.approx(1.5 / 3.4, rel=0.08)
    assert result.says.startswith("opens up and down: 26")


def test_vertices_show_what_touches_them():
    result = moulded(mushroom(), pull=UP, gate=(1.0, 0.0, 0.0))
    points = body_of(mushroom()).mesh.points
    radius = np.hypot(points[:, 0] - 0.071, points[:, 1] - 0.033)
    touched = result.lock_of_vertex >= 0
    # the cap's lower rim, and the stem where it meets plate and cap; not what lies above the cap or below the plate
    assert touched[np.abs(radius - 2.0) < 0.05].mean() > 0.9
    assert not touched[(points[:, 2] > 5.0) | (points[:, 2] < -1.0)].any()
    assert result.locked_of_vertex[touched] == pytest.approx(result.locks[0].volume_mm3)
    assert not result.locked_of_vertex[~touched].any()


def test_a_captive_loop_stops_but_for_a_block_that_is_cut():
    stops = [f for f in moulded(torus(8.0, 2.5), pull=(1.0, 0.0, 0.0)).findings if f.verdict is Verdict.STOP]
    assert {f.code for f in stops} == {"captive-rubber"}
    cut = moulded(torus(8.0, 2.5), ProcessKind.CUT_BLOCK, pull=(1.0, 0.0, 0.0))
    assert set(codes(cut)) == {"captive-rubber"}
    assert all(f.verdict is Verdict.WATCH and "cut as the block is opened" in f.says for f in cut.findings)
    assert "A block that is cut open has no pull" in cut.says


def test_the_search_keeps_a_hole_along_the_pull():
    # the gate leaves along z of a plate that stands on its edge, so the hole may lie along the pull
    result = moulded(drilled_plate().rotate((90.0, 0.0, 0.0)))
    assert abs(result.pull[1]) > 0.99
    assert not result.locks
    assert {m.name: m.value for m in result.measures}["holes along the pull"] == pytest.approx(
        np.pi * 1.5**2,
        rel=0.25,  # voxels of 0.25 mm, and a pull that ends within half a degree
    )


def test_the_pull_lies_at_right_angles_to_the_gate():
    free = moulded(dovetail(), gate=(1.0, 0.0, 0.0), gate_within_deg=5.0)
    assert abs(free.pull[1]) > 0.99
    assert abs(free.pull[0]) <= np.sin(np.radians(5.0)) + 1e-9
    across = moulded(dovetail(), gate=(0.0, 1.0, 0.0))
    assert abs(across.pull[1]) <= np.sin(np.radians(10.0)) + 1e-9
    assert "gate-across" in codes(across)
    assert not across.ways[-1].gate_in_parting
    assert np.abs(across.directions[across.allowed][:, 1]).max() <= np.sin(np.radians(10.0)) + 1e-6


def test_a_hard_tool_lets_nothing_pass():
    result = moulded(mushroom(), ProcessKind.HARD_TOOL, "steel-tool", pull=UP, gate=(1.0, 0.0, 0.0))
    found = {f.code: f for f in result.findings}
    assert found["locked-tool"].verdict is Verdict.STOP
    # stem, cap and plate stand along the pull; 1° is no figure of the maker's
    assert found["no-draft"].verdict is Verdict.WATCH
    sides = 2.0 * np.pi * (2.0 * 4.0 + 5.0 * 1.5 + 6.0 * 2.0)
    assert found["no-draft"].measured == pytest.approx(sides, rel=0.01)
    own = Range(1.0, 1.0, 1.0, "deg", Basis.MAKER)
    result = moulded(
        mushroom(), ProcessKind.HARD_TOOL, "steel-tool", draft=own, pull=UP, gate=(1.0, 0.0, 0.0)
    )
    assert {f.code: f for f in result.findings}["no-draft"].verdict is Verdict.STOP
    cone = Manifold.cylinder(8.0, 5.0, 4.0, 96) + cylinder(5.0, -2.0, 0.0)
    assert "locked-tool" not in codes(moulded(cone, ProcessKind.HARD_TOOL, "steel-tool", pull=UP))


def test_a_tongue_stops_by_the_makers_own_ratio_only():
    slit = Manifold.cube((8.0, 40.0, 10.0), True).translate((0.0, 0.0, -5.0)) - Manifold.cube(
        (0.8, 42.0, 12.0), True
    )
    ours = [f for f in moulded(slit, pull=UP, gate=(0.0, 1.0, 0.0)).findings if f.code == "tongue"]
    assert [f.verdict for f in ours] == [Verdict.WATCH]
    assert ours[0].measured == pytest.approx(6.0 / 0.8, rel=0.35)  # a gap of three voxels is known to one
    given = moulded(slit, pull=UP, gate=(0.0, 1.0, 0.0), tongue_ratio=4.0).findings
    assert [f.verdict for f in given if f.code == "tongue"] == [Verdict.STOP]


def test_what_is_not_told_one_by_one_is_counted():
    base = Manifold.cube((30.0, 8.0, 2.0), True)
    pins = [
        (cylinder(0.8, 0.0, 4.0) + cylinder(2.0, 3.0, 4.0)).translate((x, 0.0, 0.0))
        for x in (-11, -5.5, 0, 5.5, 11)
    ]
    solid = sum(pins, base)
    result = moulded(solid, pull=UP, gate=(1.0, 0.0, 0.0), most_findings=2)
    rings = [f for f in result.findings if f.code == "locked-ring"]
    assert len(rings) == 3
    assert rings[-1].says.startswith("3 more places of the same kind")
    assert rings[0].measured >= rings[1].measured >= rings[2].measured


def test_a_result_is_kept_as_it_is_and_the_same_for_any_number_of_threads():
    most = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        one = moulded(dovetail())
    finally:
        numba.set_num_threads(most)
    many = moulded(dovetail())
    arrays: list[np.ndarray] = []
    back = values.decode(values.encode(one, arrays), arrays.__getitem__)
    assert back.locks == one.locks
    assert back.ways == one.ways
    assert back.locked_of_vertex.tobytes() == one.locked_of_vertex.tobytes()
    for name in ("pull", "directions", "locked_mm3", "lock_of_vertex", "locked_of_vertex"):
        assert getattr(one, name).tobytes() == getattr(many, name).tobytes()
    assert one.locks == many.locks
    assert one.findings == many.findings


def test_parting_and_knife_go_by_the_kind_of_mould():
    halves = moulded(dovetail(), pitch_mm=0.4)
    assert halves.knife is None
    assert halves.parting.length_mm > 20.0
    assert {m.name: m.value for m in halves.measures}["seam"] == halves.parting.length_mm
    block = moulded(dovetail(), ProcessKind.CUT_BLOCK, pitch_mm=0.4)
    assert block.parting is None
    assert block.knife.length_mm > 5.0


def test_a_fill_is_proposed_and_made_where_the_job_asks_for_it():
    plain = moulded(mushroom(), pull=UP, gate=(1.0, 0.0, 0.0))
    (finding,) = plain.findings
    assert re.match(r"Filling \d+ mm³, at most \d\.\d mm high and ", finding.mend)
    assert f'[[mend]] id = "{finding.id}" makes it.' in finding.mend
    assert not plain.fills
    for order in (MendOrder("why", id=finding.id), MendOrder("why", part="fig*"), MendOrder("why")):
        filled = moulded(mushroom(), pull=UP, gate=(1.0, 0.0, 0.0), mends=(order,))
        assert not filled.findings
        assert filled.mended == (finding.id,)
        assert filled.body.part_names[:1] == ("figure",)
        assert len(filled.body.part_names) == 2
        assert "1 fill of" in filled.says
    other = moulded(mushroom(), pull=UP, gate=(1.0, 0.0, 0.0), mends=(MendOrder("why", part="hood"),))
    assert other.body.mesh.points.tobytes() == plain.body.mesh.points.tobytes()
    assert [f.id for f in other.findings] == [finding.id]


def test_nothing_is_filled_where_a_zone_forbids_it():
    zone = Zone("cap", ZoneMeaning.NO_CHANGE, "figure", None)
    kept = moulded(mushroom(), pull=UP, gate=(1.0, 0.0, 0.0), zones=(zone,), mends=(MendOrder("why"),))
    assert not kept.fills
    assert kept.findings[0].mend.startswith("It can't be filled: its fill would reach into the zone 'cap'.")
    assert "[[mend]]" not in kept.findings[0].mend
    precious = Zone("cap", ZoneMeaning.PRECIOUS, "figure", None)
    told = moulded(mushroom(), pull=UP, gate=(1.0, 0.0, 0.0), zones=(precious,)).findings[0]
    assert "the zone 'cap'; name it in [mould] release and it may." in told.mend


def test_captive_rubber_is_told_what_shuts_it_and_what_frees_the_rest():
    plate = Manifold.cube((8.0, 8.0, 3.0), True) - cylinder(1.2, -4.0, 4.0)
    found = moulded(plate, pull=(1.0, 0.0, 0.0), gate=(0.0, 1.0, 0.0), pitch_mm=0.2).findings
    assert {f.code for f in found} == {"captive-rubber"}
    mends = [f.mend for f in found]
    assert all(mend.startswith("Filling ") and mend.count("[[mend]]") == 1 for mend in mends)
    assert any(
        re.search(r"frees 2 places\..* What is left then: Filling .* frees it", mend) for mend in mends
    )


@pytest.mark.parametrize(
    "given", [{"pull": (0.0, 0.0, 0.0)}, {"gate": (0.0, 0.0, 0.0)}, {"directions": 5}, {"colour": 1}]
)
def test_settings_that_make_no_sense_are_refused(given):
    with pytest.raises(ValidationError):
        Settings.model_validate(given)
