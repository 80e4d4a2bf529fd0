"""The platform station: counts in words, runs, what is left out, what is watched."""

from dataclasses import fields, replace

import numpy as np
import pytest
import trimesh
from pydantic import ValidationError
from scipy import stats

from firstcast import values
from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.printing.propped import Propped, Tips
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials, choose, overridden
from firstcast.ranges import Range
from firstcast.stations.platform import Settings, platform
from firstcast.vocabulary import Basis, ProcessKind, Verdict

MATERIALS = Materials(
    choose("printer", "mono-50"),
    choose("resin", "tough"),
    choose("mould", "addition-silicone-30a"),
    choose("cast", "polyurethane"),
    choose("paint", "brushed"),
)
NO_TIPS = Tips(np.zeros((0, 3)), np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0, np.bool_))


def mesh_of(solid):
    return Mesh(np.asarray(solid.vertices, np.float32), np.asarray(solid.faces, np.int32))


def standing(x, y, z, lift=4.0):
    """A box on a post in its middle."""
    body = trimesh.creation.box(bounds=[[-x / 2, -y / 2, lift], [x / 2, y / 2, lift + z]])
    post = trimesh.creation.cylinder(0.5, segment=[[0, 0, 0], [0, 0, lift + 0.1]])
    return Propped(mesh_of(body), mesh_of(post), np.eye(3), np.zeros(3), NO_TIPS)


BODY, ARM = ("body", "body", standing(14, 10, 30)), ("arm", "arm", standing(4, 12, 8))
CARRIED = ("body carried", "body", standing(14, 10, 30))


def filled(
    *pieces,
    wanted=200,
    kind=ProcessKind.CUT_BLOCK,
    materials=MATERIALS,
    earlier=(),
    pixel=(0.05, 0.05),
    **settings,
):
    limits = Limits(
        kind=kind,
        pixel_mm=pixel,
        layer_mm=0.05,
        pitch_mm=(0.05,) * 3,
        reduce_tolerance_mm=0.01,
        wall_mm=Range.exactly(0.6),
        gap_mm=Range.exactly(0.3),
    )
    given = {"tries": 2, "sweeps": 10, **settings}
    return platform(
        pieces=pieces, wanted=wanted, limits=limits, materials=materials, earlier=earlier,
        settings=Settings.model_validate(given),
    )  # fmt: skip


def own_platform(x, y, z):
    sizes = (("build_x_mm", x), ("build_y_mm", y), ("build_z_mm", z))
    return replace(
        MATERIALS, printer=replace(MATERIALS.printer, **{name: Range.exactly(mm) for name, mm in sizes})
    )


def found(result):
    return {finding.code: finding for finding in result.findings}


def count(result, master):
    return sum(p.master == master for run in result.runs for p in run.placements)


def test_eight_moulds_for_two_hundred_castings():
    result = filled(BODY, ARM, moulds_per_master=4, good_share=0.9)
    body, arm = result.copies
    assert (body.needed, body.prints) == (2, 3)
    assert body.chance == pytest.approx(0.972)
    assert body.says == (
        "2 masters of 'body' and 1 spare: 200 castings take 8 moulds of addition-cure silicone 30 A (25 from each), made "
        "from 2 masters (4 moulds from each); with 90 % of prints good, at least 2 of 3 come out with a chance of 97 %."
    )
    assert (count(result, "body"), count(result, "arm")) == (3, arm.prints)
    assert len(result.runs) == 1


def test_a_record_of_ten_prints():
    (body,) = filled(BODY, moulds_per_master=4, good_prints=(9, 10)).copies
    assert body.prints == 4
    assert "after 9 good of 10 prints, at least 2 of 4 come out" in body.says


def test_layers_and_time():
    result = filled(BODY, ARM, seconds_per_layer=8.0)
    (size,) = result.sizes
    # 34 mm in layers of 0.05
    assert (size.height_mm, size.layers) == (pytest.approx(34.0), 680)
    assert size.seconds.likely == size.seconds.high == 8.0 * 680
    assert result.says.endswith("680 layers, about 1.5 hours")
    assert filled(BODY).sizes[0].seconds.basis is Basis.DEFAULT


def test_a_disc_with_metal_masters():
    disc = replace(MATERIALS, mould=choose("mould", "vulcanised-rubber"))
    earlier = ((choose("mould", "addition-silicone-30a"), choose("cast", "polyurethane")),)
    result = filled(
        BODY,
        wanted=3000,
        kind=ProcessKind.SPIN_DISC,
        materials=disc,
        earlier=earlier,
        cavities=12,
        good_share=1.0,
    )
    first, last = result.copies[0].made
    # 12 cavities of 200 castings: two discs, from 12 masters cast in one mould, from one print
    assert (last.moulds, last.masters, first.moulds, first.masters) == (2, 12, 1, 1)
    assert result.copies[0].prints == count(result, "body") == 1
    assert "12 cast masters take 1 mould" in result.copies[0].says
    assert "cavities-unsaid" not in found(result)


def test_a_disc_asks_for_its_cavities():
    disc = replace(MATERIALS, mould=choose("mould", "vulcanised-rubber"))
    assert "cavities-unsaid" in found(filled(BODY, kind=ProcessKind.SPIN_DISC, materials=disc))


def test_prints_that_are_the_product():
    result = filled(ARM, wanted=30, kind=ProcessKind.PRINT_ONLY, good_share=1.0)
    assert count(result, "arm") == 30
    assert "prints are the product" in result.copies[0].says


def test_nothing_is_printed_for_a_hard_tool():
    result = filled(BODY, kind=ProcessKind.HARD_TOOL)
    assert result.runs == ()
    assert result.findings == ()


def test_copies_as_given():
    result = filled(BODY, CARRIED, ARM, masters="each", copies={"body": 2, "body carried": 1, "arm": 0})
    assert [count(result, name) for name in ("body", "body carried", "arm")] == [2, 1, 0]
    assert result.copies[0].chance is None
    assert result.copies[0].says == "2 prints of 'body', as given: 4 good are needed."
    few = [finding for finding in result.findings if finding.code == "too-few"]
    # both masters of a piece count
    assert [(finding.part, finding.measured, finding.limit) for finding in few] == [
        ("body", 3, 4),
        ("arm", 0, 4),
    ]
    assert "too-few" not in found(
        filled(BODY, CARRIED, masters="each", copies={"body": 3, "body carried": 1})
    )


@pytest.mark.parametrize(
    ("masters", "printed"),
    [("plain", {"body"}), ("carried", {"body carried"}), ("each", {"body", "body carried"})],
)
def test_which_of_two_masters(masters, printed):
    result = filled(BODY, CARRIED, ARM, masters=masters, copies={"body": 1, "arm": 1})
    assert {p.master for run in result.runs for p in run.placements} == printed | {"arm"}
    assert {outline.master for outline in result.outlines} == printed | {"arm"}


def test_masters_side_by_side():
    result = filled(BODY, CARRIED, ARM, side_by_side=True, copies={"body": 2, "arm": 3})
    (run,) = result.runs
    plain, carried = ([p for p in run.placements if p.master == name] for name in ("body", "body carried"))
    for one, other in zip(plain, carried, strict=True):
        assert one.turn_deg == other.turn_deg
        # the width of the box, the clearance, and up to two cells
        assert 15.5 <= np.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm) <= 15.9 + 1e-9


def test_pieces_on_runs_of_their_own():
    result = filled(BODY, ARM, separate=("arm",))
    assert [{p.master for p in run.placements} for run in result.runs] == [{"body"}, {"arm"}]
    assert result.sizes[1].height_mm == pytest.approx(12.0)


def test_a_platform_filled():
    result = filled(BODY, ARM, fill=True, edge_mm=0.0, materials=own_platform(40, 30, 100))
    (run,) = result.runs
    assert count(result, "body") == count(result, "arm") == len(run.placements) // 2 >= 2
    assert "fill the platform" in result.copies[0].says


@pytest.mark.parametrize("size", [(200, 12, 100), (12.5, 200, 100), (100, 100, 33)])
def test_too_large_for_the_makers_platform(size):
    result = filled(BODY, ARM, materials=own_platform(*size))
    finding = found(result)["too-large"]
    assert finding.verdict is Verdict.STOP
    assert "14.0 × 10.0 mm wide and 34.0 high" in finding.says
    assert 'stand.piece."body"' in finding.mend
    assert finding.measured > 0
    assert result.left_out == ("body",)
    assert count(result, "body") == 0
    assert count(result, "arm") > 0


def test_a_platform_that_is_not_the_makers_never_stops():
    giant = ("giant", "giant", standing(400, 300, 20))
    finding = found(filled(giant, ARM, copies={"arm": 1}))["too-large"]
    assert finding.verdict is Verdict.WATCH
    assert not MATERIALS.printer.build_x_mm.calibrated


def test_shipped_figures_are_named():
    said = found(filled(BODY))["counts-by-default"].says
    assert "4 good of 5" in said
    assert "25 castings from each cavity" in said
    assert "2 moulds from each print" in said
    known = {"good_prints": (19, 20), "castings_per_mould": 30, "moulds_per_master": 5}
    result = filled(BODY, materials=own_platform(100, 100, 100), **known)
    assert result.findings == ()


@pytest.mark.parametrize("settings", [{"separate": ("bodi",)}, {"copies": {"bodi": 2}}])
def test_names_that_are_none(settings):
    with pytest.raises(InputError, match="body"):
        filled(BODY, ARM, **settings)


def test_less_than_no_copies():
    with pytest.raises(InputError, match="0 or more"):
        filled(BODY, copies={"body": -1})


def test_no_such_record():
    with pytest.raises(InputError, match=r"\[good, tried\]"):
        filled(BODY, good_prints=(5, 4))


@pytest.mark.parametrize(
    "settings", [{"spares_chance": 1.0}, {"clearance_mm": -1}, {"cell_mm": 0}, {"tries": 1}]
)
def test_settings_out_of_range(settings):
    with pytest.raises(ValidationError):
        filled(BODY, **settings)


def test_pixels_that_are_not_square():
    result = filled(BODY, ARM, pixel=(0.05, 0.075))
    for run in result.runs:
        for placement in run.placements:
            assert placement.turn_deg in (0.0, 180.0)
            for at, pixel in ((placement.x_mm, 0.05), (placement.y_mm, 0.075)):
                assert at / pixel == pytest.approx(round(at / pixel), abs=1e-9)


def test_the_store_can_keep_it_and_it_comes_again():
    first, second = filled(BODY, CARRIED, ARM, sweeps=5), filled(BODY, CARRIED, ARM, sweeps=5)
    assert values.digest(first) == values.digest(second)
    arrays = []
    back = values.decode(values.encode(first, arrays), arrays.__getitem__)
    assert back.runs == first.runs
    assert {field.name for field in fields(back)} == {field.name for field in fields(first)}


@pytest.mark.parametrize("wide", [150.0, 184.5, 185.3, 186.0])
def test_what_goes_in_by_less_than_a_step_finds_room(wide):
    # the room is 186 mm; with 160 cells along the piece a step is over a millimetre
    broad = ("broad", "broad", standing(wide, 20.0, 5.0))
    result = filled(broad, copies={"broad": 1})
    assert not result.left_out
    assert len(result.runs) == 1


def test_what_steps_alone_refuse_is_told_and_stops_nothing():
    broad = ("broad", "broad", standing(185.5, 20.0, 5.0))
    finding = found(filled(broad, copies={"broad": 1}, cell_mm=5.0))["too-large"]
    assert finding.verdict is Verdict.WATCH
    assert finding.measured == 0.0
    assert "finer" in finding.says


def test_a_trial_of_each_comes_first():
    asked = {"copies": {"body": 2, "arm": 3}, "materials": own_platform(40, 30, 100)}
    result = filled(BODY, ARM, trial=True, **asked)
    trial, *others = result.runs
    assert trial.name == "trial run"
    assert sorted(p.master for p in trial.placements) == ["arm", "body"]
    # they count: no more are printed in all
    assert (count(result, "body"), count(result, "arm")) == (2, 3)
    assert [run.name for run in others] == [f"run {n}" for n in range(1, len(others) + 1)]
    assert [size.name for size in result.sizes] == [run.name for run in result.runs]
    assert "first 1 of each on a trial run" in result.says
    once = filled(BODY, ARM, trial=True, copies={"body": 1, "arm": 1})
    assert [run.name for run in once.runs] == ["trial run"]


def test_a_trial_of_pieces_on_runs_of_their_own():
    result = filled(BODY, ARM, trial=True, separate=("arm",), copies={"body": 2, "arm": 0})
    assert [run.name for run in result.runs] == ["trial run", "run 1"]
    result = filled(BODY, ARM, trial=True, separate=("arm",), copies={"body": 1, "arm": 2})
    assert [run.name for run in result.runs] == ["trial run", "trial run 2", "run 1"]


def test_a_trial_of_two_masters_side_by_side():
    result = filled(BODY, CARRIED, trial=True, side_by_side=True, copies={"body": 3, "body carried": 1})
    assert sorted(p.master for p in result.runs[0].placements) == ["body", "body carried"]
    assert (count(result, "body"), count(result, "body carried")) == (3, 1)


def test_turns_between_quarters_only_where_asked_for_and_pixels_are_square():
    narrow = own_platform(30, 30, 100)
    # leaned across: 36 mm long where the platform has 26, but 36.7 along its diagonal
    bar = ("bar", "bar", standing(34.0, 1.0, 5.0))
    assert filled(bar, copies={"bar": 1}, materials=narrow, edge_mm=2.0).left_out == ("bar",)
    free = filled(bar, copies={"bar": 1}, materials=narrow, edge_mm=2.0, free_turns=True)
    (placement,) = free.runs[0].placements
    assert placement.turn_deg % 90.0 == 45.0
    for settings in ({"pixel": (0.05, 0.075)}, {"turns": False}):
        refused = filled(bar, copies={"bar": 1}, materials=narrow, edge_mm=2.0, free_turns=True, **settings)
        assert refused.left_out == ("bar",)


def test_the_front_is_the_printers():
    assert filled(BODY).front == "unknown"
    known = replace(MATERIALS, printer=replace(MATERIALS.printer, front="last row"))
    assert filled(BODY, materials=known).front == "last row"


def test_what_a_short_record_costs():
    short = filled(BODY, moulds_per_master=4).copies[0]
    # beta-binomial by scipy: 6 after 4 good of 5, 4 after 40 good of 50; shares by its beta
    counts = [
        next(n for n in range(2, 99) if stats.betabinom.sf(1, n, good + 0.5, tried - good + 0.5) >= 0.95)
        for good, tried in ((4, 5), (40, 50))
    ]
    low, high = (100 * stats.beta.ppf(at, 4.5, 1.5) for at in (0.05, 0.95))
    assert short.prints == counts[0]
    assert short.says.endswith(
        f"(so short a record leaves the share of good prints between {low:.0f} and {high:.0f} %: after 40 good of 50 it would be "
        f"{counts[1]} prints)."
    )
    # a long record, a known share and one of mostly failures have nothing to gain
    for known in ({"good_prints": (900, 1000)}, {"good_share": 0.8}, {"good_prints": (1, 4)}):
        assert "so short" not in filled(BODY, moulds_per_master=4, **known).copies[0].says


def test_the_front_is_given_as_any_figure_of_the_printer():
    printer = overridden(MATERIALS.printer, {"front": "first column"}, where="override.printer")
    assert filled(BODY, materials=replace(MATERIALS, printer=printer)).front == "first column"
    with pytest.raises(InputError, match="no edge of the images"):
        overridden(MATERIALS.printer, {"front": "left"}, where="override.printer")
    with pytest.raises(InputError, match="word in quotes"):
        overridden(MATERIALS.printer, {"front": 3}, where="override.printer")
