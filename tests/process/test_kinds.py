"""Limits and size steps of the kinds of process."""

import pytest

from firstcast.errors import InputError
from firstcast.process.kinds import (
    LIMIT_NAMES,
    added,
    cautions,
    kind_of,
    largest,
    limit_figures,
    size_steps,
    tags_of,
)
from firstcast.process.materials import Materials, choose
from firstcast.ranges import Range
from firstcast.vocabulary import Basis, ProcessKind

WHO = {"print": "maker", "mould": "maker", "cast": "caster"}


def materials(
    printer="mono-35", resin="tough", mould="addition-silicone-30a", cast="polyurethane", paint="brushed"
):
    chosen = {"printer": printer, "resin": resin, "mould": mould, "cast": cast, "paint": paint}
    return Materials(**{word: choose(word, key) for word, key in chosen.items()})


def test_largest_takes_each_scenario_and_the_origin_of_the_likely_one():
    a, b = Range(1, 2, 9, "mm", Basis.MAKER), Range(0, 3, 4, "mm", Basis.MEMORY)
    top = largest(a, b)
    assert (top.low, top.likely, top.high, top.basis) == (1, 3, 9, Basis.MEMORY)


def test_a_sum_is_no_surer_than_its_terms():
    own, guess = Range(1, 2, 3, "mm", Basis.MAKER), Range(0.1, 0.2, 0.3, "mm", Basis.MEMORY)
    total = added(own, guess, 2.0)
    assert (total.low, total.likely, total.high) == pytest.approx((1.2, 2.4, 3.6))
    assert not total.calibrated
    assert not added(guess, own, 1.0).calibrated
    assert added(own, own, 1.0).calibrated


def test_walls_are_those_of_the_most_demanding_of_kind_cast_and_printer():
    kind = kind_of(ProcessKind.PRINT_ONLY)
    fine = limit_figures(kind, materials(cast="none"), {})
    coarse = limit_figures(kind, materials(printer="projector-65", cast="none"), {})
    zinc = limit_figures(kind, materials(cast="zinc"), {})
    assert fine["wall_mm"] == kind.wall_mm
    assert coarse["engraved_mm"].low == pytest.approx(2 * 0.065)
    assert zinc["wall_mm"].likely == choose("cast", "zinc").least_wall_mm.likely


def test_paint_narrows_gaps_from_both_faces():
    kind = kind_of(ProcessKind.CUT_BLOCK)
    bare = limit_figures(kind, materials(paint="none"), {})["gap_mm"]
    painted = limit_figures(kind, materials(), {})["gap_mm"]
    assert painted.likely - bare.likely == pytest.approx(2 * choose("paint", "brushed").film_mm.likely)


@pytest.mark.parametrize("name", LIMIT_NAMES)
def test_each_limit_can_be_the_makers_own(name):
    figures = limit_figures(kind_of(ProcessKind.CUT_BLOCK), materials(), {name: 0.77})
    assert set(figures) == set(LIMIT_NAMES)
    assert figures[name].likely == 0.77
    assert figures[name].calibrated


def test_a_limit_that_is_no_figure_is_refused():
    with pytest.raises(InputError, match="is no figure"):
        limit_figures(kind_of(ProcessKind.CUT_BLOCK), materials(), {"wall_mm": "thin"})


def test_a_hard_tool_knows_no_printer():
    figures = limit_figures(kind_of(ProcessKind.HARD_TOOL), materials(printer="projector-65"), {})
    assert figures["engraved_mm"] == kind_of(ProcessKind.HARD_TOOL).engraved_mm


def test_steps_run_from_print_to_cast_through_all_generations():
    first = (choose("mould", "tin-silicone-30a"), choose("cast", "tin-lead-free"))
    chosen = materials(mould="vulcanised-rubber", cast="zinc")
    steps = size_steps(ProcessKind.SPIN_DISC, chosen, [first], WHO)
    assert [s.stage for s in steps] == ["print", "mould", "warmth", "cast", "mould", "warmth", "cast"]
    assert [s.applied_by for s in steps] == ["maker", "maker", "maker", "caster", "maker", "maker", "caster"]
    assert steps[0].frame == "printer"
    assert "generation 1 of 2" in steps[1].name
    assert steps[-1].shrink[0] == choose("cast", "zinc").shrink_ratio


def test_a_toolmakers_chain_has_no_print_and_a_print_has_nothing_else():
    tool = size_steps(
        ProcessKind.HARD_TOOL, materials(mould="steel-tool", cast="abs"), [], {**WHO, "cast": "toolmaker"}
    )
    assert [s.stage for s in tool] == ["mould", "cast"]
    alone = size_steps(ProcessKind.PRINT_ONLY, materials(mould="none", cast="none"), [], WHO)
    assert [s.stage for s in alone] == ["print"]


def test_cautions_follow_the_materials_and_the_data_sheet_comes_first():
    metal = cautions(
        tags_of(ProcessKind.SPIN_DISC, materials(mould="vulcanised-rubber", cast="lead-bearing"))
    )
    resin = cautions(tags_of(ProcessKind.CUT_BLOCK, materials()))
    tool = cautions(tags_of(ProcessKind.HARD_TOOL, materials(mould="steel-tool", cast="abs")))
    assert all("come first" in told[0] for told in (metal, resin, tool))
    assert any("Lead" in line for line in metal)
    assert any("explode" in line for line in metal)
    assert not any("explode" in line for line in resin)
    assert any("isocyanates" in line for line in resin)
    assert not any("photopolymer" in line for line in tool)


@pytest.mark.parametrize(
    ("chosen", "warned"),
    [
        ({"cast": "epoxy"}, "Epoxy"),
        ({"mould": "tin-silicone-30a"}, "tin-cure"),
        ({"mould": "addition-silicone-30a", "cast": "tin-lead-free"}, "vacuum chambers"),
        ({"mould": "steel-tool", "cast": "abs"}, "licensed shop"),
        ({"paint": "airbrushed"}, "respirator"),
        ({"cast": "zinc"}, "fume"),
    ],
)
def test_each_material_that_hurts_has_its_caution(chosen, warned):
    assert any(warned in line for line in cautions(tags_of(ProcessKind.TWO_PART_BLOCK, materials(**chosen))))


def test_earlier_generations_are_cautioned_about_too():
    last = materials(mould="vulcanised-rubber", cast="tin-lead-free")
    first = (choose("mould", "addition-silicone-30a"), choose("cast", "polyurethane"))
    assert not any("isocyanates" in line for line in cautions(tags_of(ProcessKind.SPIN_DISC, last)))
    assert any("isocyanates" in line for line in cautions(tags_of(ProcessKind.SPIN_DISC, last, [first])))
