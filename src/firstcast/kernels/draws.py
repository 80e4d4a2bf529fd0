"""Random numbers of our own (xorshift64*, Marsaglia 2003, Vigna 2016), one state a search, so that an outcome depends on the seed alone."""

import numpy as np

from firstcast.kernels.compiling import kernel


@kernel
def _next(state):
    """The next random number of 64 bits; `state` (1,) uint64 is not zero."""
    x = state[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    state[0] = x
    return x * np.uint64(0x2545F4914F6CDD1D)


@kernel
def below(state, count):
    """A random whole number below `count`."""
    return np.int64((_next(state) >> np.uint64(33)) % np.uint64(count))


@kernel
def shuffle(order, count, state):
    """Bring the first `count` of `order` into a random order, each alike (Fisher and Yates)."""
    for n in range(count - 1, 0, -1):
        m = below(state, n + 1)
        order[n], order[m] = order[m], order[n]
