"""Scale and offset from lengths."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.gauge_design import GaugeKind
from firstcast.process.gauge import Reading
from firstcast.process.size_fit import NORMAL_90, fit_line, told_apart


def length(nominal, measured, sd=0.01, kind=GaugeKind.LENGTH):
    return Reading("", kind, "x", 1, float(nominal), float(measured), sd)


@given(
    st.lists(st.integers(1, 150), min_size=2, max_size=12, unique=True),
    st.floats(0.9, 1.1),
    st.floats(-0.2, 0.2),
)
def test_a_line_is_found_again(nominal, scale, offset):
    rows = [length(n, scale * n + offset) for n in nominal]
    if told_apart(rows):
        fit = fit_line(rows)
        assert fit.scale == pytest.approx(scale, abs=1e-9)
        assert fit.offset_mm == pytest.approx(offset, abs=1e-7)
        assert fit.chi2 < 1e-9


def test_it_agrees_with_a_weighted_polynomial_fit():
    nominal = np.array([5.0, 10.0, 20.0, 35.0, 60.0])
    measured = np.array([5.03, 9.98, 19.93, 34.84, 59.71])
    sd = np.array([0.01, 0.02, 0.01, 0.03, 0.02])
    fit = fit_line([length(*row) for row in zip(nominal, measured, sd, strict=True)])
    line, covariance = np.polyfit(nominal, measured, 1, w=1 / sd, cov="unscaled")
    assert (fit.scale, fit.offset_mm) == pytest.approx(tuple(line))
    assert (fit.scale_sd, fit.offset_sd_mm) == pytest.approx(tuple(np.sqrt(np.diag(covariance))))
    assert fit.spare == 3


def test_an_inner_length_loses_what_an_outer_one_gains():
    fit = fit_line([length(10, 9.99), length(10, 9.89, kind=GaugeKind.INNER)])
    assert (fit.scale, fit.offset_mm) == pytest.approx((0.994, 0.05))


def test_90_per_cent_of_intervals_hold_the_scale():
    rng = np.random.default_rng(20513)
    draws, held = 2000, 0
    for _ in range(draws):
        fit = fit_line([length(n, 0.995 * n + 0.05 + rng.normal(0, 0.01)) for n in (10.0, 20.0, 41.6)])
        held += abs(fit.scale - 0.995) <= NORMAL_90 * fit.scale_sd
    # Binomial with p = 0.9 and n = 2000: standard deviation 0.0067, four of them either way.
    assert 0.873 < held / draws < 0.927


@pytest.mark.parametrize("nominal", [[10.0], [], [10.0, 10.5]])
def test_lengths_that_are_alike_are_refused(nominal):
    with pytest.raises(InputError, match="can't be told apart"):
        fit_line([length(n, n) for n in nominal])
