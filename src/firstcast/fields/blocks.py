"""Running a kernel over fixed blocks in threads."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numba


def run_blocks(function: Callable, count: int, *arguments, block: int = 256) -> None:
    """Call function(start, stop, *arguments) for every block of `block` items below `count`.

    Kernels let go of the interpreter's lock, so blocks run side by side on as many threads as numba may
    use. The blocks are the same for any number of threads; a kernel must write only what belongs to its
    block (or the same value as any other), so the result is the same as well.
    """
    starts = range(0, count, block)
    threads = min(numba.get_num_threads(), len(starts))
    if threads <= 1:
        for start in starts:
            function(start, min(start + block, count), *arguments)
        return
    # each thread takes the next block when it is done with one: a task of its own for each costs more than many blocks do
    left = iter(starts)

    def work() -> None:
        for start in left:
            function(start, min(start + block, count), *arguments)

    with ThreadPoolExecutor(threads) as pool:
        for done in [pool.submit(work) for _ in range(threads)]:
            done.result()
