"""Reading the whole numbers of text files."""

import numpy as np

from firstcast.kernels.compiling import kernel


@kernel
def parse_corners(text, line_count):
    """The first whole number of each word, line by line: what stands behind a slash is skipped.

    Parameters
    ----------
    text : (b,) uint8
        Lines parted by line feeds.
    line_count : int
        How many lines there are.

    Returns
    -------
    numbers : (n,) int64
    counts : (line_count,) int64
        Words in each line.
    sound : bool
        False if a word does not begin with a number of at most 18 digits.
    """
    numbers = np.empty(len(text) // 2 + 1, np.int64)
    counts = np.zeros(line_count, np.int64)
    filled = 0
    line = 0
    value = np.int64(0)
    digits = 0
    negative = False
    in_word = False
    skipping = False
    for i in range(len(text) + 1):
        byte = text[i] if i < len(text) else 10
        if byte == 32 or byte == 9 or byte == 10 or byte == 13:
            if in_word:
                if digits == 0 or digits > 18:
                    return numbers[:filled].copy(), counts, False
                numbers[filled] = -value if negative else value
                filled += 1
                counts[line] += 1
            in_word = False
            skipping = False
            value = np.int64(0)
            digits = 0
            negative = False
            if byte == 10:
                line += 1
        elif skipping:
            continue
        elif byte == 47:
            in_word = True
            skipping = True
        elif 48 <= byte <= 57:
            in_word = True
            value = value * 10 + np.int64(byte - 48)
            digits += 1
        elif (byte == 45 or byte == 43) and not in_word:
            in_word = True
            negative = byte == 45
        else:
            return numbers[:filled].copy(), counts, False
    return numbers[:filled].copy(), counts, True


@kernel
def count_words(text, line_count):
    """(line_count,) int64: how many words each line has.

    Parameters
    ----------
    text : (b,) uint8
        Lines parted by line feeds.
    line_count : int
    """
    counts = np.zeros(line_count, np.int64)
    line = 0
    in_word = False
    for byte in text:
        space = byte == 32 or byte == 9 or byte == 10 or byte == 13
        if not space and not in_word:
            counts[line] += 1
        in_word = not space
        if byte == 10:
            line += 1
    return counts
