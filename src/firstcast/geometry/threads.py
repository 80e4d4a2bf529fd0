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


def each_beside(
    work: Callable[[Given], Result], given: Sequence[Given], *, size: Callable[[Given], int] | None = None
) -> list[Result]:
    """What `work` gives for each, in order, several at a time; `work` spends most of its time in what lets other threads run.

    The largest by `size` is begun first, so that none is left to a single thread at the end.
    """
    if len(given) < 2:
        return [work(one) for one in given]
    order = list(range(len(given)))
    if size is not None:
        order.sort(key=lambda number: -size(given[number]))
    with ThreadPoolExecutor(numba.get_num_threads()) as pool:
        coming = {number: pool.submit(work, given[number]) for number in order}
        return [coming[number].result() for number in range(len(given))]
