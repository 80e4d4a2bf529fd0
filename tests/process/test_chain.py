"""The figures of a forward run: which kind has which steps, their order, and what is calibrated."""

from dataclasses import replace

import numpy as np
import pytest

from firstcast.errors import InputError
from firstcast.process import kinds
from firstcast.process.chain import chain_scenarios, mean_size, null_chain
from firstcast.process.filling import cast_fill, shot_of
from firstcast.process.films import NO_FILM
from firstcast.process.light import print_through_mm
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials, catalogue, choose, overridden
from firstcast.process.spread import GaussianSpread, LorentzianSpread
from firstcast.ranges import SCENARIOS, Range
from firstcast.vocabulary import ProcessKind


def materials_for(kind, printer="mono-35", resin="tough", paint="brushed"):
    usual = kinds.kind_of(kind)
    keys = {"printer": printer, "resin": resin, "mould": usual.mould, "cast": usual.cast, "paint": paint}
    return Materials(**{word: choose(word, key) for word, key in keys.items()})


def limits_for(kind, printer="mono-35", layer_mm=0.05):
    pixel = choose("printer", printer)
    return Limits(
        kind=kind,
        pixel_mm=(pixel.pixel_x_mm.likely, pixel.pixel_y_mm.likely),
        layer_mm=layer_mm,
        pitch_mm=(0.035,) * 3,
        reduce_tolerance_mm=0.01,
        wall_mm=Range.exactly(0.6),
        gap_mm=Range.exactly(0.3),
    )


def chains(kind=ProcessKind.CUT_BLOCK, **settings):
    return chain_scenarios(materials_for(kind), limits_for(kind), **settings)


def test_every_kind_has_the_steps_that_it_has():
    for kind in ProcessKind:
        for scenario, chain in chains(kind).items():
            assert scenario in SCENARIOS
            assert chain.prints == (kind is not ProcessKind.HARD_TOOL)
            assert len(chain.generations) == (kind is not ProcessKind.PRINT_ONLY)
            assert chain.paint.thickness_mm > 0
            assert chain.primer == NO_FILM
            assert not chain.calibrated
            assert 0 < chain.threshold < 1


def test_a_hard_tool_has_no_print_at_all():
    for chain in chains(ProcessKind.HARD_TOOL, primer=choose("paint", "primer"), heavy_tails=True).values():
        assert chain.spread.width_mm == 0
        assert chain.depth_mm == 0
        assert chain.edge_growth_mm == 0
        assert chain.primer == NO_FILM
        assert not any(name.startswith(("printer", "resin", "master")) for name in chain.uncalibrated)


@pytest.mark.parametrize("printer", sorted(catalogue("printer")))
@pytest.mark.parametrize("resin", sorted(catalogue("resin")))
@pytest.mark.parametrize("grey", [True, False])
def test_low_changes_least_and_high_most_for_all_that_is_shipped(printer, resin, grey):
    kind = ProcessKind.SPIN_DISC
    layers = choose("printer", printer).layer_mm
    for layer_mm in (layers.low, layers.likely, layers.high):
        found = chain_scenarios(
            materials_for(kind, printer, resin), limits_for(kind, printer, layer_mm), grey_edges=grey
        )
        low, likely, high = (found[scenario] for scenario in SCENARIOS)
        for less, more in ((low, likely), (likely, high)):
            assert less.edge_growth_mm < more.edge_growth_mm
            assert less.paint.radius_mm < more.paint.radius_mm
            assert less.generations[0].cast_mm <= more.generations[0].cast_mm
            assert less.generations[0].mould_mm <= more.generations[0].mould_mm
            through = [
                print_through_mm(chain.overdose, layer_mm=layer_mm, depth_mm=chain.depth_mm)
                for chain in (less, more)
            ]
            assert through[0] < through[1]


def test_heavy_tails_and_grey_edges_are_as_asked():
    bell, heavy = chains()["likely"], chains(heavy_tails=True, grey_edges=False)["likely"]
    assert isinstance(bell.spread, GaussianSpread)
    assert isinstance(heavy.spread, LorentzianSpread)
    assert (bell.boxes, heavy.boxes) == (2, 1)
    assert heavy.edge_growth_mm != bell.edge_growth_mm


def test_generations_come_in_their_order_each_with_its_shot():
    first = (choose("mould", "addition-silicone-30a"), choose("cast", "tin-lead-free"))
    found = chains(ProcessKind.SPIN_DISC, earlier=[first])
    for scenario in ("low", "likely"):
        poured = cast_fill(first[1], shot_of("gravity")).slit_mm.scenario(scenario)
        spun = cast_fill(choose("cast", "tin-lead-free"), shot_of("spin")).slit_mm.scenario(scenario)
        assert [pair.cast_mm for pair in found[scenario].generations] == [poured, spun]
    # Strongest as pins fill, mildest and likely as slits do.
    assert found["high"].generations[0].cast_mm == cast_fill(first[1], shot_of("gravity")).pin_mm.high


def test_a_shot_of_ones_own_replaces_the_usual_one():
    usual = chains()["high"].generations[0].cast_mm
    deep = replace(shot_of("gravity"), head_mm=Range.exactly(500.0))
    assert chains(shot=deep)["high"].generations[0].cast_mm < usual


def test_paint_is_brought_to_the_masters_size():
    chain = chains(mean_size_ratio=1.02, primer=choose("paint", "primer"))["likely"]
    assert chain.paint_on_master.radius_mm == pytest.approx(1.02 * chain.paint.radius_mm)
    assert chain.paint_on_master.thickness_mm == pytest.approx(1.02 * chain.paint.thickness_mm)
    # The primer is on the master already.
    assert chain.primer.thickness_mm == choose("paint", "primer").primer_mm.likely
    assert mean_size(np.diag([1.01, 1.02, 1.03])) == pytest.approx((1.01 * 1.02 * 1.03) ** (1 / 3))
    assert mean_size(-2 * np.eye(3)) == pytest.approx(2)


def test_what_is_not_calibrated_is_named_until_all_is():
    kind = ProcessKind.PRINT_ONLY
    materials = materials_for(kind)
    names = chain_scenarios(materials, limits_for(kind))["likely"].uncalibrated
    assert {"printer blur_mm", "resin depth_mm", "resin cure_depth_mm", "paint level_ratio"} <= set(names)
    mine = replace(
        materials,
        printer=overridden(materials.printer, {"blur_mm": 0.02}, where="p"),
        resin=overridden(materials.resin, {"depth_mm": 0.1, "cure_depth_mm": 0.12}, where="r"),
        paint=overridden(
            materials.paint, {"primer_mm": 0.02, "coat_mm": 0.01, "coats": 3, "level_ratio": 1}, where="a"
        ),
    )
    for chain in chain_scenarios(mine, limits_for(kind)).values():
        assert chain.calibrated
        assert chain.uncalibrated == ()
    bare = replace(mine, printer=materials.printer)
    assert chain_scenarios(bare, limits_for(kind))["low"].uncalibrated == ("printer blur_mm",)


def test_the_null_chain_changes_nothing():
    for grey in (True, False):
        chain = null_chain((0.035, 0.035), 0.05, grey_edges=grey)
        assert chain.threshold == 0.5
        assert chain.edge_growth_mm == pytest.approx(0, abs=1e-12)
        assert print_through_mm(chain.overdose, layer_mm=0.05, depth_mm=chain.depth_mm) == 0
        assert chain.paint_on_master == NO_FILM
        assert chain.calibrated


def test_light_too_weak_and_a_shot_without_pressure_are_refused():
    kind = ProcessKind.SPIN_DISC
    materials = materials_for(kind)
    weak = replace(
        materials, resin=overridden(materials.resin, {"cure_depth_mm": 0.001, "depth_mm": 0.03}, where="r")
    )
    with pytest.raises(InputError, match="does not hold a body together"):
        chain_scenarios(weak, limits_for(kind))
    still = replace(shot_of("spin"), detail_radius_mm=Range.exactly(5.0))
    with pytest.raises(InputError, match="nothing pushes"):
        chain_scenarios(materials, limits_for(kind), shot=still)
