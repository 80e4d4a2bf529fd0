"""Kernels over blocks of rows, on as many threads as numba may use.

Each block writes rows of its own, so that the result is the same for any number of threads.
"""

from concurrent.futures import ThreadPoolExecutor

import numba


def over_blocks(kernel, count: int, *arguments, block: int = 4096) -> None:
    """Call kernel(start, stop, *arguments) for each block of `count` rows. The kernel must be `nogil`."""
    starts = range(0, count, block)
    threads = min(numba.get_num_threads(), len(starts))
    if threads < 2:
        for start in starts:
            kernel(start, min(start + block, count), *arguments)
        return
    with ThreadPoolExecutor(threads) as pool:
        # list() hands on the first error of a block
        list(pool.map(lambda start: kernel(start, min(start + block, count), *arguments), starts))
