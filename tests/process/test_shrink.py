"""Laws of the size chain: it undoes what the steps do, in order, along their own axes, and growth too."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from firstcast.errors import InputError
from firstcast.process.shrink import (
    SizeStep,
    cavity_from_part,
    chain_matrix,
    even_step,
    made_from,
    part_from_cavity,
    root_sum_square,
    spread_of,
    write_out,
)
from firstcast.ranges import Range
from firstcast.vocabulary import Basis

ratios = st.floats(-0.05, 0.05)


@st.composite
def ranges(draw):
    low, likely, high = sorted(draw(st.tuples(ratios, ratios, ratios)))
    return Range(low, likely, high, "ratio", Basis.MEMORY)


@st.composite
def steps(draw):
    turn = Rotation.from_rotvec(draw(st.tuples(*[st.floats(-3, 3)] * 3))).as_matrix()
    shrink = (draw(ranges()), draw(ranges()), draw(ranges()))
    return SizeStep("step", "cast", shrink).placed(turn)


chains = st.lists(steps(), max_size=5)
directions = st.tuples(*[st.floats(0.1, 1)] * 3)


@given(chains, st.sampled_from(["low", "likely", "high"]))
def test_making_undoes_the_chain(chain, scenario):
    assert np.allclose(made_from(chain, scenario) @ chain_matrix(chain, scenario), np.eye(3), atol=1e-12)


@given(steps())
def test_one_step_stretches_by_its_ratio_along_its_own_axes(step):
    for axis, ratio in enumerate(step.shrink):
        along = np.array(step.axes)[:, axis]
        assert np.allclose(step.matrix("likely") @ along, along / (1 - ratio.likely), atol=1e-12)


@given(steps())
def test_a_steps_matrix_is_symmetric_and_keeps_handedness(step):
    matrix = step.matrix("high")
    assert np.allclose(matrix, matrix.T)
    assert np.linalg.det(matrix) > 0


@given(chains, chains)
def test_chains_join_in_order(first, second):
    joined = chain_matrix([*first, *second])
    assert np.allclose(joined, chain_matrix(first) @ chain_matrix(second))


def test_order_counts_where_axes_differ_and_the_print_is_leftmost():
    one = SizeStep("a", "print", tuple(Range.exactly(s, "ratio") for s in (0.1, 0.0, 0.0)))
    turn = Rotation.from_euler("z", 30, degrees=True).as_matrix()
    other = SizeStep("b", "cast", one.shrink).placed(turn)
    assert np.allclose(chain_matrix([one, other]), one.matrix("likely") @ other.matrix("likely"))
    assert not np.allclose(chain_matrix([one, other]), chain_matrix([other, one]))


@given(st.lists(ranges(), max_size=4))
def test_even_steps_commute_and_multiply(shrinks):
    chain = [even_step("s", "cast", shrink) for shrink in shrinks]
    expected = math.prod(1 / (1 - shrink.likely) for shrink in shrinks)
    assert np.allclose(chain_matrix(chain), expected * np.eye(3))
    assert np.allclose(chain_matrix(chain), chain_matrix(chain[::-1]))


@given(st.floats(1e-4, 0.05))
def test_a_step_that_grows_makes_the_master_smaller(growth):
    grown = chain_matrix([even_step("warm", "warmth", Range.exactly(-growth, "ratio"))])
    assert np.allclose(grown, np.eye(3) / (1 + growth))
    assert grown[0, 0] < 1


@given(st.floats(0.1, 500), st.floats(-0.5, 0.5))
def test_cavity_and_part_are_inverse(part_mm, ratio):
    assert part_from_cavity(cavity_from_part(part_mm, ratio), ratio) == pytest.approx(part_mm)


@given(chains, directions)
def test_the_cast_comes_out_as_wanted_when_all_is_likely(chain, direction):
    spread = spread_of(chain, direction)
    assert spread.likely == pytest.approx(1.0, abs=1e-12)
    assert spread.low <= spread.likely <= spread.high


@given(st.lists(ranges(), min_size=1, max_size=4))
def test_the_worst_case_of_even_steps_is_the_product_of_ends(shrinks):
    chain = [even_step(str(i), "cast", shrink) for i, shrink in enumerate(shrinks)]
    spread = spread_of(chain, (0, 0, 1))
    likely = math.prod(1 / (1 - s.likely) for s in shrinks)
    assert spread.low == pytest.approx(likely * math.prod(1 - s.high for s in shrinks))
    assert spread.high == pytest.approx(likely * math.prod(1 - s.low for s in shrinks))
    assert root_sum_square(chain, (0, 0, 1)) <= (spread.high - spread.low) / 2 * 1.1


def test_alike_steps_err_apart():
    step = even_step("generation", "cast", Range(0.0, 0.01, 0.02, "ratio"))
    one, two = root_sum_square([step], (1, 0, 0)), root_sum_square([step, step], (1, 0, 0))
    assert one == pytest.approx(0.01 / 0.99)
    assert two == pytest.approx(math.sqrt(2) * one)
    assert spread_of([step, step], (1, 0, 0), only=1).low == pytest.approx(0.98 / 0.99)


@given(chains, st.floats(1, 200), directions)
def test_the_lines_written_out_end_at_the_masters_length(chain, length_mm, direction):
    lines = write_out(chain, length_mm, direction)
    assert len(lines) == len(chain)
    if chain:
        along = np.array(direction) / np.linalg.norm(direction) * length_mm
        assert lines[-1].after_mm == pytest.approx(np.linalg.norm(chain_matrix(chain) @ along))


def test_a_step_that_others_allow_for_is_written_but_not_applied():
    chain = [
        even_step("print", "print", Range.exactly(0.003, "ratio")),
        even_step("cast", "cast", Range.exactly(0.005, "ratio"), "caster"),
    ]
    cast, printed = write_out(chain, 54.0)
    assert "allowed for by the caster, not in the map" in cast.says
    assert cast.after_mm == 54.0
    assert printed.after_mm == pytest.approx(54.0 / 0.997)
    assert "54.0000 mm / (1 - 0.0030) = 54.1625 mm" in printed.says


def test_a_spread_is_calibrated_only_if_every_figure_is():
    own = even_step("own", "print", Range(0.001, 0.002, 0.003, "ratio", Basis.GAUGE))
    guess = even_step("guess", "cast", Range(0.001, 0.002, 0.003, "ratio", Basis.MEMORY))
    assert spread_of((own,), (1, 0, 0)).calibrated
    assert not spread_of((own, guess), (1, 0, 0)).calibrated
    assert spread_of((), (1, 0, 0)).likely == 1.0


@pytest.mark.parametrize("ratio", [1.0, 1.5, -1.0])
def test_a_per_cent_taken_for_a_ratio_is_refused(ratio):
    with pytest.raises(InputError, match=r"half a per cent is 0\.005"):
        even_step("print", "print", Range.exactly(ratio, "ratio"))


@pytest.mark.parametrize("axes", [np.diag([1, 1, 2.0]), np.ones((3, 3)), np.eye(3) * math.nan])
def test_axes_that_are_no_rotation_are_refused(axes):
    with pytest.raises(InputError, match="right angles"):
        even_step("print", "print", Range.exactly(0.01, "ratio")).placed(axes)
