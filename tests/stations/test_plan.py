"""The plan station: limits, steps, who allows, and each finding."""

import pytest
from pydantic import ValidationError

from firstcast import values
from firstcast.geometry.pieces import Piece
from firstcast.geometry.summary import PartSummary
from firstcast.process.filling import USUAL_SHOT, cast_fill, shot_of
from firstcast.process.films import NO_FILM
from firstcast.process.kinds import LIMIT_NAMES, kind_of
from firstcast.process.light import overdose_ratio
from firstcast.process.materials import choose
from firstcast.process.spread import LorentzianSpread
from firstcast.stations.plan import plan
from firstcast.stations.plan_settings import Settings
from firstcast.vocabulary import Basis, ProcessKind, Verdict


def part(name, size_mm, thickness_mm):
    volume = size_mm[0] * size_mm[1] * size_mm[2]
    return PartSummary(
        name, ((0.0, 0.0, 0.0), size_mm), volume, 2 * volume / thickness_mm, 100, thickness_mm, (), False
    )


BODY = part("body", (20.0, 20.0, 50.0), 8.0)
HEM = part("hem", (20.0, 20.0, 1.0), 0.5)
SWORD = part("sword", (1.0, 1.0, 30.0), 0.5)
PIECES = (Piece("body", ("body", "hem")), Piece("sword", ("sword",)))
SETTLED = {"print": "maker", "mould": "caster", "cast": "caster"}


def planned(*parts, pieces=PIECES, **settings):
    return plan(summaries=parts or (BODY,), pieces=pieces, settings=Settings.model_validate(settings))


def found(result, code):
    return [finding for finding in result.findings if finding.code == code]


@pytest.mark.parametrize(
    ("printer", "pitch_mm"),
    [("mono-18", 0.02), ("mono-19x24", 0.02), ("mono-22", 0.022), ("projector-65", 0.05)],
)
def test_the_pitch_follows_the_pixel_within_bounds(printer, pitch_mm):
    limits = planned(printer=printer).limits
    assert limits.pitch_mm == (pitch_mm,) * 3
    assert limits.reduce_tolerance_mm == pytest.approx(min(limits.pixel_mm) / 4)


def test_the_maker_may_set_pitch_layer_and_tolerance():
    limits = planned(pitch_mm=0.03, layer_mm=0.04, reduce_tolerance_mm=0.005).limits
    assert (limits.pitch_mm, limits.layer_mm, limits.reduce_tolerance_mm) == ((0.03,) * 3, 0.04, 0.005)


def test_an_overridden_pixel_sets_the_pitch():
    override = {"printer": {"pixel_x_mm": 0.04, "pixel_y_mm": 0.042}}
    limits = planned(override=override).limits
    assert limits.pixel_mm == (0.04, 0.042)
    assert limits.pitch_mm == (0.04,) * 3


@pytest.mark.parametrize("kind", list(ProcessKind))
def test_each_kind_sets_its_limits_and_can_be_stored(kind):
    result = planned(BODY, HEM, SWORD, kind=kind)
    data = kind_of(kind)
    assert result.limits.kind is kind
    assert result.limits.locks_allowed == data.locks
    assert result.limits.carries_print == data.carry
    assert all(getattr(result.limits, name).likely >= 0 for name in LIMIT_NAMES)
    assert result.limits.wall_mm.likely >= data.wall_mm.likely
    assert len(result.who_allows) == len(result.size_steps)
    assert "come first" in result.cautions[0]
    arrays = []
    tree = values.encode(result, arrays)
    assert values.decode(tree, arrays.__getitem__) == result


@pytest.mark.parametrize("kind", list(ProcessKind))
def test_each_kind_gives_the_chain_of_its_forecast(kind):
    result = planned(kind=kind)
    ends = ("low", "likely", "high")
    for scenario, chain in zip(ends, result.chain, strict=True):
        assert chain.prints == (kind is not ProcessKind.HARD_TOOL)
        assert len(chain.generations) == (kind is not ProcessKind.PRINT_ONLY)
        assert (chain.layer_mm, chain.pixel_mm) == (result.limits.layer_mm, result.limits.pixel_mm)
        assert chain.paint.thickness_mm == choose("paint", "brushed").film_mm.scenario(scenario)
        assert chain.primer == NO_FILM
        assert chain.grey_edges
        assert chain.mean_size_ratio == 1
        if chain.prints:
            resin = choose("resin", "tough")
            depth, cured = resin.depth_mm.scenario(scenario), resin.cure_depth_mm.scenario(scenario)
            assert (chain.depth_mm, chain.overdose) == (depth, overdose_ratio(cured, depth))
            assert chain.spread.width_mm == choose("printer", "mono-35").blur_mm.scenario(scenario)
    low, likely, high = (chain.paint.radius_mm for chain in result.chain)
    assert low < likely < high


def test_the_chain_follows_the_job():
    bare, printed = planned(), planned(layer_mm=0.03, paint="none", grey_edges=False, light="heavy-tailed")
    for chain in printed.chain:
        assert (chain.layer_mm, chain.paint.thickness_mm, chain.grey_edges) == (0.03, 0, False)
        assert isinstance(chain.spread, LorentzianSpread)
    assert all(chain.layer_mm == choose("printer", "mono-35").layer_mm.likely for chain in bare.chain)


def test_a_primer_on_the_master_is_a_film_of_its_own():
    own = {"primer": {"primer_mm": 0.02, "level_ratio": 2}, "paint": {"primer_mm": 0.5}}
    for chain in planned(primer="primer", override=own).chain:
        assert (chain.primer.thickness_mm, chain.primer.radius_mm) == (0.02, 0.04)
        assert chain.paint.thickness_mm > 0.5
    # Spraying wants its caution even where the casting stays bare.
    sprayed, bare = planned(primer="primer", paint="none"), planned(paint="none")
    assert len(sprayed.cautions) == len(bare.cautions) + 1


def test_what_pushes_the_cast_sets_what_fills():
    kind = ProcessKind.CUT_BLOCK
    casting, mould = choose("cast", "epoxy"), "tin-silicone-30a"
    for settings, shot in (
        ({}, shot_of(USUAL_SHOT[kind])),
        ({"shot": "pressure-pot"}, shot_of("pressure-pot")),
    ):
        likely = planned(kind=kind, cast="epoxy", mould=mould, **settings).chain[1]
        assert likely.generations[0].cast_mm == cast_fill(casting, shot).slit_mm.likely
    tin = {"kind": "spin-disc", "resin": "high-temperature"}
    slow, fast = (
        planned(**tin, override={"shot": {"speed_rpm": rpm}}).chain[1].generations[0].cast_mm
        for rpm in (300, 600)
    )
    # Pressure goes with the square of the speed, the least radius with one over it.
    assert slow == pytest.approx(4 * fast, rel=1e-12)


def test_earlier_generations_are_in_the_chain():
    generation = [{"mould": "tin-silicone-30a", "cast": "tin-lead-free"}]
    assert all(
        len(chain.generations) == 2 for chain in planned(kind="spin-disc", generation=generation).chain
    )


def test_nothing_stops_on_packaged_figures():
    for kind in ProcessKind:
        for resin in ("standard", "tough", "high-temperature"):
            result = planned(BODY, HEM, SWORD, kind=kind, resin=resin)
            assert all(finding.verdict is not Verdict.STOP for finding in result.findings)


def test_vulcanising_a_common_print_is_watched_and_stops_on_the_makers_own_figures():
    (watch,) = found(planned(kind="spin-disc"), "master-heat")
    assert watch.verdict is Verdict.WATCH
    assert "[[process.generation]]" in watch.mend
    own = {"resin": {"heat_deflection_degC": 62}, "mould": {"cure_degC": {"low": 145, "likely": 150}}}
    (stop,) = found(planned(kind="spin-disc", override=own), "master-heat")
    assert stop.verdict is Verdict.STOP
    assert (stop.measured, stop.limit, stop.unit) == (150, 62, "degC")
    for unsure in (
        {"resin": {"heat_deflection_degC": 62}},
        {"mould": {"cure_degC": 150}},
        {**own, "resin": {"heat_deflection_degC": {"low": 60, "likely": 140, "high": 148}}},
    ):
        (finding,) = found(planned(kind="spin-disc", override=unsure), "master-heat")
        assert finding.verdict is Verdict.WATCH


def test_a_resin_that_may_bear_the_heat_is_told_apart_from_one_that_wont():
    (may,) = found(planned(kind="spin-disc", resin="high-temperature"), "master-heat")
    assert "may sag" in may.says
    (wont,) = found(planned(kind="spin-disc"), "master-heat")
    assert "likely won't survive" in wont.says
    assert not found(planned(kind="cut-block"), "master-heat")


def test_a_generation_of_metal_masters_spares_the_prints():
    generation = [{"mould": "tin-silicone-30a", "cast": "tin-lead-free"}]
    result = planned(BODY, HEM, kind="spin-disc", generation=generation)
    assert not found(result, "master-heat")
    assert not found(result, "master-pressed")
    assert len(result.size_steps) == 7


def test_pressing_watches_thin_long_parts_only():
    pressed = found(planned(BODY, HEM, SWORD, kind="spin-disc"), "master-pressed")
    assert {finding.part for finding in pressed} == {"hem", "sword"}
    assert all(finding.unit == "MPa" and finding.measured > finding.limit for finding in pressed)


def test_a_part_without_thickness_is_passed_over():
    empty = part("body", (0.0, 0.0, 0.0), 1.0)
    empty = PartSummary(empty.name, empty.extents_mm, 0.0, 0.0, 0, 0.0, (), False)
    assert not found(planned(empty, kind="spin-disc"), "master-pressed")


def test_cure_inhibition_is_told_with_its_remedies():
    (finding,) = found(planned(kind="cut-block"), "cure-inhibition")
    assert finding.verdict is Verdict.WATCH
    assert "hidden spot" in finding.mend
    assert not found(planned(kind="cut-block", mould="tin-silicone-30a"), "cure-inhibition")
    own = {"resin": {"inhibits_addition_cure": False}}
    assert not found(planned(kind="cut-block", override=own), "cure-inhibition")


def test_hard_tools_and_bare_prints_make_no_mould_from_the_print():
    for kind in ("hard-tool", "print-only"):
        result = planned(BODY, HEM, SWORD, kind=kind)
        assert not {f.code for f in result.findings} & {"master-heat", "master-pressed", "cure-inhibition"}


def test_who_allows_is_asked_until_it_is_settled():
    open_question = planned(kind="spin-disc")
    assert found(open_question, "who-allows-mould")
    assert found(open_question, "who-allows-cast")
    assert not any(allowance.settled for allowance in open_question.who_allows)
    assert "the caster" in found(open_question, "who-allows-cast")[0].says
    settled = planned(kind="spin-disc", who=SETTLED)
    assert not found(settled, "who-allows-mould")
    assert not found(settled, "who-allows-cast")
    assert all(allowance.settled for allowance in settled.who_allows)
    assert not found(planned(kind="print-only"), "who-allows-cast")


def test_each_step_says_who_allows_for_it():
    result = planned(kind="cut-block", who={"print": "maker", "mould": "nobody", "cast": "caster"})
    assert {a.stage: a.who for a in result.who_allows} == {
        "print": "maker",
        "mould": "nobody",
        "warmth": "nobody",
        "cast": "caster",
    }


def test_a_mould_that_keeps_its_size_raises_no_question():
    own = {"mould": {"shrink_ratio": 0}}
    assert not found(planned(kind="cut-block", override=own), "who-allows-mould")


def test_thin_parts_of_a_larger_piece_could_be_pieces_of_their_own():
    result = planned(BODY, HEM, SWORD, kind="cut-block")
    (finding,) = found(result, "own-piece")
    assert (finding.part, finding.verdict, finding.worse) == ("hem", Verdict.WATCH, "low")
    assert finding.measured < finding.limit
    # The sword is one already; a short thin part is relief, not a blade.
    assert not found(planned(BODY, part("hem", (3.0, 3.0, 0.6), 0.5)), "own-piece")


def test_of_many_slender_parts_the_most_slender_are_told_and_the_rest_named():
    feathers = [part(f"feather{n}", (0.5, 0.5, 10.0 + n), 0.3) for n in range(8)]
    result = planned(BODY, *feathers, pieces=(Piece("all", ("body", *(f.name for f in feathers))),))
    assert [finding.part for finding in found(result, "own-piece")] == [
        f"feather{n}" for n in (7, 6, 5, 4, 3)
    ]
    (rest,) = [measure for measure in result.measures if measure.name == "more slender parts"]
    assert (rest.value, rest.says) == (3.0, "feather2, feather1, feather0")


def test_parts_of_no_piece_are_not_looked_at():
    assert not found(planned(BODY, part("ruler", (0.5, 0.5, 30.0), 0.3)), "own-piece")


def test_the_makers_figures_reach_the_steps():
    own = {"resin": {"shrink_xy_ratio": {"low": 0.004, "likely": 0.005, "high": 0.006}}}
    step = planned(override=own).size_steps[0]
    assert step.shrink[0].likely == 0.005
    assert step.shrink[0].basis is Basis.MAKER
    assert step.shrink[2].basis is not Basis.MAKER


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({"printer": "mono-36"}, "printer: there is no printer 'mono-36'"),
        ({"mould": "silicone"}, "mould: there is no mould"),
        (
            {"generation": [{"mould": "steel-tool", "cast": "zink"}]},
            "generation.1.cast: there is no cast 'zink'",
        ),
        ({"override": {"glue": {}}}, "override: there is no table 'glue'"),
        ({"override": {"limits": {"wal_mm": 1}}}, "Did you mean 'wall_mm'"),
        ({"override": {"limits": {"wall_mm": "1"}}}, "override.limits.wall_mm: '1' is no figure"),
        ({"override": {"cast": {"shrink": 1}}}, "Did you mean 'shrink_ratio'"),
        ({"kind": "hard-tool", "mould": "tin-silicone-30a"}, "mould: hard-tool has no mould"),
        ({"kind": "cut-block", "mould": "steel-tool"}, "mould: cut-block has no mould"),
        ({"kind": "spin-disc", "mould": "none"}, "mould: spin-disc has no mould"),
        ({"kind": "print-only", "mould": "tin-silicone-30a"}, "mould: print-only has no mould"),
        ({"kind": "print-only", "cast": "zinc"}, "the usual one, 'none'"),
        ({"kind": "cut-block", "cast": "none"}, "cast: cut-block has no cast 'none'"),
        ({"primer": "primr"}, "primer: there is no paint 'primr'"),
        ({"kind": "hard-tool", "primer": "primer"}, "primer: hard-tool has no printed master"),
        ({"override": {"primer": {"primer_mm": 0.1}}}, "override.primer: no primer lies on the master"),
        ({"shot": "spun"}, "shot: there is no shot 'spun'"),
        ({"override": {"shot": {"rpm": 1}}}, "override.shot: there is no figure 'rpm'"),
        ({"kind": "print-only", "shot": "spin"}, "shot: print-only casts nothing"),
        ({"kind": "print-only", "override": {"shot": {}}}, "override.shot: print-only casts nothing"),
        (
            {"kind": "spin-disc", "override": {"shot": {"speed_rpm": 0}}},
            "shot: low: nothing pushes a liquid that does not wet",
        ),
        ({"layer_mm": 0.3}, "override.resin.cure_depth_mm: low: light cures"),
        ({"override": {"resin": {"depth_mm": 0}}}, "override.resin.depth_mm: low: light that fades"),
        ({"override": {"printer": {"layer_mm": 0}}}, "override.printer.layer_mm: 0 mm is no length"),
        ({"light": "laser"}, "light"),
        ({"who": {"cast": "me"}}, "who.cast"),
        ({"pitch_mm": 1.0}, "pitch_mm"),
    ],
)
def test_what_is_not_known_is_refused_with_its_key(settings, says):
    with pytest.raises(ValidationError) as refusal:
        Settings.model_validate(settings)
    assert says in str(refusal.value)
