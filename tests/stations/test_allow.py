"""The allow station: the map, its uncertainty, fits, grades and doubled allowance."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from firstcast import values
from firstcast.errors import InputError
from firstcast.process.shrink import SizeStep, even_step
from firstcast.ranges import Range
from firstcast.stations.allow import Settings, allow
from firstcast.vocabulary import Basis, Verdict


def ratio(low, likely, high, basis=Basis.MEMORY):
    return Range(low, likely, high, "ratio", basis)


def chain(who_after="maker", basis=Basis.MEMORY):
    xy, z = ratio(0.002, 0.005, 0.008, basis), ratio(0.0, 0.003, 0.006, basis)
    return (
        SizeStep("print", "print", (xy, xy, z), "maker", frame="printer"),
        even_step("mould", "mould", ratio(0.0, 0.001, 0.002, basis), who_after),
        even_step("cast", "cast", ratio(0.003, 0.005, 0.007, basis), who_after),
    )


def allowed(steps=None, extents_mm=(20.0, 15.0, 54.0), turn_to_print=None, **settings):
    return allow(
        piece="body",
        size_steps=chain() if steps is None else steps,
        extents_mm=extents_mm,
        settings=Settings.model_validate(settings),
        turn_to_print=turn_to_print,
    )


def codes(result):
    return {finding.code: finding.verdict for finding in result.findings}


def test_the_map_is_the_product_of_what_the_maker_allows_for():
    result = allowed()
    assert np.allclose(
        np.diag(result.matrix), [1 / (0.995 * 0.999 * 0.995)] * 2 + [1 / (0.997 * 0.999 * 0.995)]
    )
    only_print = allowed(chain("caster"))
    assert np.allclose(np.diag(only_print.matrix), [1 / 0.995, 1 / 0.995, 1 / 0.997])
    assert "allowed for by the caster" in only_print.lines[0].says


def test_low_and_high_are_least_and_most_shrinkage():
    result = allowed()
    assert np.allclose(np.diag(result.matrix_low), [1 / (0.998 * 0.997)] * 2 + [1 / 0.997])
    assert (np.diag(result.matrix_low) < np.diag(result.matrix)).all()
    assert (np.diag(result.matrix) < np.diag(result.matrix_high)).all()


def test_nothing_to_allow_for_is_the_identity():
    result = allowed(())
    assert np.allclose(result.matrix, np.eye(3))
    assert result.lines == ()


def test_lines_run_along_the_longest_extent_from_cast_to_print():
    result = allowed()
    assert [line.stage for line in result.lines] == ["cast", "mould", "print"]
    assert result.lines[-1].after_mm == pytest.approx(54 * result.matrix[2, 2])


def test_spreads_are_those_of_the_pieces_own_extents():
    x, _, z = allowed().spreads
    assert (x.axis, x.wanted_mm, z.wanted_mm) == ("x", 20.0, 54.0)
    assert z.master_mm == pytest.approx(54 / (0.997 * 0.999 * 0.995))
    assert z.cast_mm.likely == pytest.approx(54)
    assert z.cast_mm.low == pytest.approx(54 * (0.994 / 0.997) * (0.998 / 0.999) * (0.993 / 0.995))
    assert z.cast_mm.high == pytest.approx(54 * (1.0 / 0.997) * (1.0 / 0.999) * (0.997 / 0.995))
    assert 0 < z.likely_error_mm < (z.cast_mm.high - z.cast_mm.low) / 2


def test_the_uncertainty_counts_steps_that_others_allow_for():
    assert allowed(chain("caster")).spreads[2].cast_mm == allowed().spreads[2].cast_mm


def test_bounds_serve_as_extents():
    bounds = np.array([[-10.0, 0.0, 4.0], [10.0, 15.0, 58.0]])
    assert allowed(extents_mm=bounds).spreads == allowed().spreads


@given(st.tuples(*[st.floats(-3, 3)] * 3))
def test_lying_in_the_printer_turns_the_prints_axes(rotation):
    turn = Rotation.from_rotvec(rotation).as_matrix()
    result = allowed(turn_to_print=turn)
    rest = 1 / (0.999 * 0.995)
    expected = turn.T @ np.diag([1 / 0.995, 1 / 0.995, 1 / 0.997]) @ turn * rest
    assert np.allclose(result.matrix, expected)
    # Whatever stands along the printer's z grows by the factor of z.
    up = turn.T @ [0, 0, 1]
    assert np.allclose(result.matrix @ up, up / 0.997 * rest)


def test_a_lean_tilts_the_prints_shrinkage_as_worked_by_hand():
    # The printer's z leans towards the figure's front by 30°, its x is the figure's: cos² 3/4, sin² 1/4.
    xy, z = Range.exactly(0.01, "ratio"), Range.exactly(0.02, "ratio")
    steps = (SizeStep("print", "print", (xy, xy, z), "maker", frame="printer"),)
    half, root = 0.5, 0.75**0.5
    turn = [[1, 0, 0], [0, root, half], [0, -half, root]]
    matrix = allowed(steps, turn_to_print=turn).matrix
    # 1 / 0.99 = 1.01010101, 1 / 0.98 = 1.02040816; 3/4 and 1/4 of each, and √3/4 of their difference.
    by_hand = [[1.01010101, 0, 0], [0, 1.01267780, -0.00446313], [0, -0.00446313, 1.01783137]]
    assert matrix == pytest.approx(np.array(by_hand), abs=1e-8)
    # A mould that shrinks alike every way does not care how the piece stood in the printer.
    even = (*steps, even_step("mould", "mould", Range.exactly(0.05, "ratio"), "maker"))
    assert allowed(even, turn_to_print=turn).matrix == pytest.approx(matrix / 0.95)


def test_results_can_be_stored():
    result = allowed(fit=[{"name": "tab", "tab_mm": 3, "slot_mm": 3.2}], grade=4)
    arrays = []
    back = values.decode(values.encode(result, arrays), arrays.__getitem__)
    assert back.lines == result.lines
    assert back.spreads == result.spreads
    assert (back.matrix == result.matrix).all()


@pytest.mark.parametrize(
    ("fit", "expected"),
    [
        ({"slot_mm": 3.15}, {}),
        ({"slot_mm": 3.05}, {"fit-tight": Verdict.WATCH}),
        ({"slot_mm": 3.45}, {"fit-loose": Verdict.WATCH}),
        ({"slot_mm": 3.15, "film_mm": 0.05}, {"fit-tight": Verdict.WATCH}),
        ({"slot_mm": 3.06, "slot": "cast"}, {}),
        ({"slot_mm": 3.06, "slot": "fixed"}, {"fit-tight": Verdict.WATCH}),
    ],
)
def test_a_tab_is_fitted_to_its_slot(fit, expected):
    assert codes(allowed(fit=[{"name": "tab", "tab_mm": 3, **fit}])) == expected


def test_an_offset_tightens_both_sides():
    fit = [{"name": "tab", "tab_mm": 3, "slot_mm": 3.15}]
    assert codes(allowed(fit=fit, offset_mm=0.06)) == {"fit-tight": Verdict.WATCH}
    fixed = [{**fit[0], "slot": "fixed"}]
    assert codes(allowed(fit=fixed, offset_mm=0.06)) == {}


def test_a_tight_fit_stops_on_calibrated_figures_only():
    fit = [{"name": "tab", "tab_mm": 3, "slot_mm": 3.05}]
    assert codes(allowed(chain(basis=Basis.GAUGE), fit=fit)) == {"fit-tight": Verdict.STOP}


@given(st.floats(1, 8), st.floats(-0.2, 0.6))
def test_a_fixed_slot_is_never_easier_than_a_cast_one(tab_mm, clearance_mm):
    def measured(slot):
        fit = {
            "name": "t",
            "tab_mm": tab_mm,
            "slot_mm": tab_mm + clearance_mm,
            "slot": slot,
            "least_mm": 9,
            "most_mm": 9,
        }
        return allowed(fit=[fit]).findings[0].measured

    assert measured("fixed") <= measured("cast") + 1e-3


def test_doubled_allowance_stops():
    result = allowed(caster_adds_ratio=0.006)
    assert codes(result) == {"doubled-allowance": Verdict.STOP}
    assert "mould, cast" in result.findings[0].says
    assert codes(allowed(caster_adds_ratio=0.0)) == {}
    assert codes(allowed(chain("caster"), caster_adds_ratio=0.006)) == {}


@pytest.mark.parametrize(("adds", "worse"), [(0.02, "high"), (0.001, "low")])
def test_a_caster_who_adds_another_figure_is_asked(adds, worse):
    (finding,) = allowed(chain("caster"), caster_adds_ratio=adds).findings
    assert (finding.code, finding.verdict, finding.worse) == ("caster-differs", Verdict.WATCH, worse)


def test_a_caster_has_nothing_to_say_where_nobody_allows():
    assert codes(allowed(chain("nobody"), caster_adds_ratio=0.02)) == {}


def test_a_casting_grade_is_held_against_the_worst_case():
    assert set(codes(allowed(grade=1))) == {"grade-x", "grade-y", "grade-z"}
    assert codes(allowed(grade=9)) == {}
    stops = codes(allowed(chain(basis=Basis.MAKER), grade=1))
    assert set(stops.values()) == {Verdict.STOP}
    assert codes(allowed(extents_mm=(0.0, 0.0, 200.0), grade=1)) == {}


@pytest.mark.parametrize("extents", [(1.0, 2.0), (1.0, 2.0, -3.0), (1.0, 2.0, np.nan), [[1.0] * 3] * 3])
def test_extents_that_are_none_are_refused(extents):
    with pytest.raises(InputError, match="not three lengths"):
        allowed(extents_mm=extents)


def test_a_fit_in_the_wrong_order_is_refused():
    with pytest.raises(ValueError, match="least_mm ≤ most_mm"):
        allowed(fit=[{"name": "t", "tab_mm": 3, "slot_mm": 3, "least_mm": 0.5, "most_mm": 0.1}])
