"""An image of long runs deflated in one dynamic block: literals and runs of the byte before, nothing else.

A layer's image is black but for some outlines filled white, with a pixel or two of grey at their edges. So the only
matches that pay are runs: of length 3 to 258 at distance 1. One pass turns the image into tokens, a second one
writes them with Huffman codes made for this very image. What is black costs no look at a pixel: rows say between
which columns anything stands.

Deflate is RFC 1951, the frame around it RFC 1950 (zlib).
"""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.huffman import MOST_BITS, MOST_LENGTH_BITS, canonical_codes, code_lengths

LONGEST = 258
"""Bytes that one match copies at most."""

RUN = 256
"""A token is a byte, or RUN + the length of a run."""

TOKENS = RUN + LONGEST + 1
CODES, END = 286, 256
ADLER = 65521

_ORDER = np.array([16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15], np.int64)
"""RFC 1951, 3.2.7: in which order the lengths of the code length codes are written."""


def _length_codes() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Per length 0 .. 258 its code, its extra bits and how many they are (RFC 1951, 3.2.5)."""
    code, extra, bits = (np.zeros(LONGEST + 1, np.int64) for _ in range(3))
    length = 3
    for symbol in range(257, 285):
        count = max(0, (symbol - 261) // 4)
        for step in range(1 << count):
            if length < LONGEST:
                code[length], extra[length], bits[length] = symbol, step, count
            length += 1
    code[LONGEST] = 285
    return code, extra, bits


_CODE, _EXTRA, _EXTRA_BITS = _length_codes()


@kernel
def _put_run(tokens, count, value, length):
    """Add a run of a byte that the byte before is not; gives the new count."""
    tokens[count] = value
    count += 1
    length -= 1
    while length >= 3:
        step = min(length, LONGEST)
        tokens[count] = RUN + step
        count += 1
        length -= step
    for _ in range(length):
        tokens[count] = value
        count += 1
    return count


@kernel
def _run_end(row, words, start, stop):
    """Behind the last of the bytes that are alike from start on; words are the row's bytes by eights."""
    value = row[start]
    at = start + 1
    while at < stop and at % 8 != 0 and row[at] == value:
        at += 1
    if at % 8 == 0:
        word = np.uint64(value) * np.uint64(0x0101010101010101)
        while at + 8 <= stop and words[at // 8] == word:
            at += 8
    while at < stop and row[at] == value:
        at += 1
    return at


@kernel
def tokens_of(image, words, width, firsts, stops, tokens):
    """Write the tokens of an image, each row led by a filter byte 0; gives their count and the Adler-32.

    Parameters
    ----------
    image : (h, w) uint8
        w a multiple of eight; columns from `width` on are no part of it.
    words : (h, w / 8) uint64
        The same memory.
    firsts, stops : (h,) int32
        Columns outside of which a row is 0.
    tokens : (h * (width + 1),) uint16
        Room for as many as there can be.

    Notes
    -----
    In Adler-32's second sum (RFC 1950) a byte counts as often as there are bytes from it on, so a run's part is known
    without a look at its bytes.
    """
    height = image.shape[0]
    count, zeros = 0, 0
    a, b = np.int64(1), np.int64(height * (width + 1)) % ADLER
    for y in range(height):
        first, stop = np.int64(firsts[y]), np.int64(stops[y])
        zeros += 1 + first
        row, row_words = image[y], words[y]
        behind = np.int64(height - y) * (width + 1) - 1
        plain, weighted = np.int64(0), np.int64(0)
        x = first
        while x < stop:
            value = row[x]
            end = _run_end(row, row_words, x, stop)
            length = end - x
            if value == 0:
                zeros += length
            else:
                if zeros:
                    count = _put_run(tokens, count, 0, zeros)
                    zeros = 0
                count = _put_run(tokens, count, value, length)
                plain += np.int64(value) * length
                weighted += np.int64(value) * (length * (behind - x) - length * (length - 1) // 2)
            x = end
        a = (a + plain) % ADLER
        b = (b + weighted) % ADLER
        zeros += width - stop
    if zeros:
        count = _put_run(tokens, count, 0, zeros)
    return count, (b << 16) | a


@kernel
def _packed_lengths(lengths, symbols, extras):
    """Write the code lengths as code length symbols with their extra bits (RFC 1951, 3.2.7); gives their count."""
    count, at = 0, 0
    while at < lengths.shape[0]:
        value, run = lengths[at], 1
        while at + run < lengths.shape[0] and lengths[at + run] == value:
            run += 1
        at += run
        if value != 0:
            symbols[count], extras[count] = value, 0
            count += 1
            run -= 1
        while run >= 3:
            if value != 0:
                step = min(run, 6)
                symbols[count], extras[count] = 16, step - 3
            elif run <= 10:
                step = run
                symbols[count], extras[count] = 17, step - 3
            else:
                step = min(run, 138)
                symbols[count], extras[count] = 18, step - 11
            count += 1
            run -= step
        for _ in range(run):
            symbols[count], extras[count] = value, 0
            count += 1
    return count


@kernel
def _put(out, at, held, filled, value, bits):
    """Add bits to those held, and write out whole groups of four bytes; gives place, held bits and their count."""
    held |= np.uint64(value) << np.uint64(filled)
    filled += bits
    if filled >= 32:
        for k in range(4):
            out[at + k] = np.uint8((held >> np.uint64(8 * k)) & np.uint64(255))
        at += 4
        held >>= np.uint64(32)
        filled -= 32
    return at, held, filled


@kernel
def deflate(tokens, count):
    """The tokens as one last dynamic block (n,) uint8, filled up with 0 bits to whole bytes."""
    often = np.zeros(TOKENS, np.int64)
    for k in range(count):
        often[tokens[k]] += 1
    counts = np.zeros(CODES, np.int64)
    counts[:END] = often[:END]
    counts[END] = 1
    for length in range(3, LONGEST + 1):
        counts[_CODE[length]] += often[RUN + length]
    # behind them the only distance code, one bit long, whether a run needs it or not
    lengths = np.ones(CODES + 1, np.int64)
    code_lengths(counts, MOST_BITS, lengths[:CODES])
    codes = np.zeros(CODES, np.int64)
    canonical_codes(lengths[:CODES], codes)

    symbols, extras = np.empty(CODES + 1, np.int64), np.empty(CODES + 1, np.int64)
    packed = _packed_lengths(lengths, symbols, extras)
    head_counts = np.zeros(19, np.int64)
    for k in range(packed):
        head_counts[symbols[k]] += 1
    head_lengths, head_codes = np.zeros(19, np.int64), np.zeros(19, np.int64)
    code_lengths(head_counts, MOST_LENGTH_BITS, head_lengths)
    canonical_codes(head_lengths, head_codes)

    # each token's bits as they are sent: code, extra bits, and for a run the distance's one bit 0
    sent, width = np.zeros(TOKENS, np.uint64), np.zeros(TOKENS, np.int64)
    for value in range(END):
        sent[value], width[value] = np.uint64(codes[value]), lengths[value]
    for length in range(3, LONGEST + 1):
        code = _CODE[length]
        sent[RUN + length] = np.uint64(codes[code] | (_EXTRA[length] << lengths[code]))
        width[RUN + length] = lengths[code] + _EXTRA_BITS[length] + 1
    bits = np.int64(17 + 3 * 19 + packed * (MOST_LENGTH_BITS + 7) + MOST_BITS)
    for token in range(TOKENS):
        bits += often[token] * width[token]

    out = np.empty(bits // 8 + 8, np.uint8)
    at, held, filled = np.int64(0), np.uint64(0), np.int64(0)
    at, held, filled = _put(out, at, held, filled, 0b101, 3)
    at, held, filled = _put(out, at, held, filled, CODES - 257, 5)
    at, held, filled = _put(out, at, held, filled, 0, 5)
    at, held, filled = _put(out, at, held, filled, 19 - 4, 4)
    for k in range(19):
        at, held, filled = _put(out, at, held, filled, head_lengths[_ORDER[k]], 3)
    for k in range(packed):
        s = symbols[k]
        at, held, filled = _put(out, at, held, filled, head_codes[s], head_lengths[s])
        if s >= 16:
            extra_bits = 2 if s == 16 else (3 if s == 17 else 7)
            at, held, filled = _put(out, at, held, filled, extras[k], extra_bits)
    for k in range(count):
        t = tokens[k]
        at, held, filled = _put(out, at, held, filled, sent[t], width[t])
    at, held, filled = _put(out, at, held, filled, codes[END], lengths[END])
    while filled > 0:
        out[at] = np.uint8(held & np.uint64(255))
        held >>= np.uint64(8)
        at += 1
        filled -= 8
    return out[:at]
