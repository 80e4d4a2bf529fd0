"""The fit of scale and offset to a gauge."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.process.gauge import fit_gauge
from firstcast.vocabulary import Basis


@given(
    st.lists(st.integers(1, 150), min_size=2, max_size=12, unique=True),
    st.floats(0.9, 1.1),
    st.floats(-0.2, 0.2),
)
def test_a_line_is_found_again(nominal, scale, offset):
    fit = fit_gauge(np.array(nominal, dtype=float), scale * np.array(nominal) + offset + 0.0)
    assert fit.scale == pytest.approx(scale, abs=1e-9)
    assert fit.offset_mm == pytest.approx(offset, abs=1e-7)
    assert fit.worst_mm < 1e-9


def test_it_agrees_with_a_polynomial_fit():
    nominal = np.array([5.0, 10.0, 20.0, 35.0, 60.0])
    measured = np.array([5.03, 9.98, 19.93, 34.84, 59.71])
    fit = fit_gauge(nominal, measured)
    scale, offset = np.polyfit(nominal, measured, 1)
    assert (fit.scale, fit.offset_mm) == pytest.approx((scale, offset))
    assert fit.worst_mm == pytest.approx(np.abs(measured - scale * nominal - offset).max())
    assert fit.shrink.basis is Basis.GAUGE
    assert fit.shrink.high - fit.shrink.low == pytest.approx(2 * fit.worst_mm / 60)


@pytest.mark.parametrize(
    ("nominal", "measured", "says"),
    [
        ([10.0], [9.9, 9.8], "one measured length per nominal"),
        ([[10.0, 20.0]], [[9.9, 19.8]], "one measured length per nominal"),
        ([10.0, -20.0], [9.9, 19.8], "not positive"),
        ([10.0, 20.0], [9.9, np.nan], "not positive"),
        ([10.0, 10.0], [9.9, 9.8], "can't be told apart"),
        ([], [], "can't be told apart"),
    ],
)
def test_gauges_that_tell_nothing_are_refused(nominal, measured, says):
    with pytest.raises(InputError, match=says):
        fit_gauge(nominal, measured)
