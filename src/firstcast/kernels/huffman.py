"""Huffman codes within a greatest length, as deflate wants them.

Lengths are optimal (L. Larmore, D. Hirschberg 1990, "A fast algorithm for optimal length-limited Huffman codes":
package-merge); codes are canonical (RFC 1951, 3.2.2).
"""

import numpy as np

from firstcast.kernels.compiling import kernel

MOST_BITS, MOST_LENGTH_BITS = 15, 7
"""Longest code of deflate's literals and lengths, and of the code that their lengths are written in."""


@kernel
def code_lengths(counts, most, lengths):
    """Write the optimal code lengths, none over `most`, of symbols that occur so often; 0 for those that don't."""
    lengths[:] = 0
    used = 0
    for s in range(counts.shape[0]):
        if counts[s] > 0:
            used += 1
    order = np.empty(used, np.int64)
    n = 0
    for s in range(counts.shape[0]):
        if counts[s] > 0:
            # by count, then by symbol: the same codes everywhere
            at = n
            while at > 0 and counts[order[at - 1]] > counts[s]:
                order[at] = order[at - 1]
                at -= 1
            order[at] = s
            n += 1
    if used == 1:
        lengths[order[0]] = 1
        return
    # per level the list of leaves and of pairs from the level before, by weight
    leaf = np.zeros((most, 2 * used), np.uint8)
    weights, packed = np.empty(2 * used, np.int64), np.empty(2 * used, np.int64)
    size, pairs = 0, 0
    for level in range(most):
        size, at, pair = 0, 0, 0
        while at < used or pair < pairs:
            if pair == pairs or (at < used and counts[order[at]] <= packed[pair]):
                weights[size] = counts[order[at]]
                leaf[level, size] = 1
                at += 1
            else:
                weights[size] = packed[pair]
                pair += 1
            size += 1
        pairs = size // 2
        for k in range(pairs):
            packed[k] = weights[2 * k] + weights[2 * k + 1]
    wanted = 2 * used - 2
    for level in range(most - 1, -1, -1):
        leaves = 0
        for k in range(wanted):
            leaves += leaf[level, k]
        for k in range(leaves):
            lengths[order[k]] += 1
        wanted = 2 * (wanted - leaves)


@kernel
def canonical_codes(lengths, codes):
    """Write the canonical codes of these lengths, turned round: deflate sends the highest bit first."""
    at = np.int64(0)
    for bits in range(1, MOST_BITS + 1):
        for s in range(lengths.shape[0]):
            if lengths[s] == bits:
                turned, rest = np.int64(0), at
                for _ in range(bits):
                    turned = (turned << 1) | (rest & 1)
                    rest >>= 1
                codes[s] = turned
                at += 1
        at <<= 1
