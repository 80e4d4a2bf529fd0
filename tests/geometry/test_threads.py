"""Work shared out over threads: in order, whatever their number, and no failure is lost."""

import numba
import pytest

from firstcast.geometry.threads import side_by_side


@pytest.mark.parametrize("threads", [1, 2])
def test_shares_come_in_order_and_cover_all(threads):
    before = numba.get_num_threads()
    numba.set_num_threads(min(threads, before))
    try:
        shares = side_by_side(lambda first, last: (first, last), 10, 4)
    finally:
        numba.set_num_threads(before)
    assert shares == [(0, 4), (4, 8), (8, 10)]


def test_nothing_to_share():
    assert side_by_side(lambda first, last: (first, last), 0, 4) == []


@pytest.mark.parametrize("count", [3, 30])
def test_a_failure_in_a_share_comes_through(count):
    def work(first: int, last: int) -> None:
        if last == count:
            raise ValueError("the last share")

    with pytest.raises(ValueError, match="the last share"):
        side_by_side(work, count, 4)
