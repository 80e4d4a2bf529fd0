"""Shares work out over threads, with the same outcome for any number of them."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numba

Given = TypeVar("Given")
Result = TypeVar("Result")


def side_by_side(work: Callable[[int, int], Result], count: int, share: int) -> list[Result]:
    """What `work(first, last)` gives for each share of 0 to `count`, in order.

    `work` calls a kernel, which lets other threads run. Shares don't depend on the number of threads.
    """
    starts = range(0, count, share)
    ends = [min(first + share, count) for first in starts]
    if len(ends) < 2:
        return [work(first, last) for first, last in zip(starts, ends, strict=True)]
    with ThreadPoolExecutor(numba.get_num_threads()) as pool:
        return list(pool.map(work, starts, ends))


def each_beside(work: Callable[[Given], Result], given: Sequence[Given]) -> list[Result]:
    """What `work` gives for each, in order, several at a time; `work` spends most of its time in what lets other threads run."""
    if len(given) < 2:
        return [work(one) for one in given]
    with ThreadPoolExecutor(numba.get_num_threads()) as pool:
        return list(pool.map(work, given))
