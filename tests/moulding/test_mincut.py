"""The least cut: its value against a general library's greatest flow, its side against its value."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.kernels.mincut import cut
from firstcast.kernels.parting import ABOVE, STEPS
from flow_network import greatest_flow, grid


def value_of(rows, capacity, ends, near) -> int:
    """What a cut costs: from its own side over to the other."""
    crossed = (near[:, None] == 1) & (rows >= 0) & (near[rows] == 0)
    return int(
        capacity[crossed].sum() + ends[(near == 0) & (ends > 0)].sum() - ends[(near == 1) & (ends < 0)].sum()
    )


def test_opposite_steps():
    assert np.array_equal(STEPS[::-1], -STEPS)
    assert STEPS[ABOVE].tolist() == [0, 0, 1]


@settings(max_examples=60, deadline=None)
@given(
    st.tuples(*[st.integers(1, 6)] * 3),
    st.integers(0, 2**32 - 1),
    st.sampled_from([2, 7, 60, 2000]),
    st.sampled_from([0.05, 0.3, 1.0]),
)
def test_the_greatest_flow(shape, seed, most, ended):
    draw = np.random.default_rng(seed)
    rows = grid(shape)
    capacity = draw.integers(0, most, rows.shape).astype(np.int32)
    capacity[rows < 0] = 0
    ends = (draw.integers(-most, most, len(rows)) * (draw.random(len(rows)) < ended)).astype(np.int32)
    near = np.empty(len(rows), np.uint8)
    flow = cut(rows, capacity.copy(), ends.copy(), near)
    assert flow == greatest_flow(rows, capacity, ends)
    assert flow == value_of(rows, capacity, ends, near)


@pytest.mark.parametrize("narrow", [0, 3, 7])
def test_a_pipe_is_cut_where_it_is_narrow(narrow):
    rows = grid((1, 1, 9))
    capacity = np.where(rows >= 0, 50, 0).astype(np.int32)
    capacity[narrow, ABOVE] = 4
    ends = np.zeros(9, np.int32)
    ends[0], ends[8] = 100, -100
    near = np.empty(9, np.uint8)
    assert cut(rows, capacity, ends, near) == 4
    assert near.tolist() == [1] * (narrow + 1) + [0] * (8 - narrow)
