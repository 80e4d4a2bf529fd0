"""Pixels of a layer that belong together, pixel by pixel: the proof's own.

Rows have spans: the columns between the first and the last cured pixel. What is outside of them is outside of everything,
and is not looked at; labels there are 0.
"""

import numpy as np

from firstcast.compiling import kernel

OUTSIDE, SHUT_IN, CURED = 0, 1, 2


@kernel
def sort_pixels(image, level, kinds, spans):
    """Write what each pixel is: CURED from `level` on, SHUT_IN where cured ones stand on either side of it in its row.

    kinds (h, w) uint8 must hold 0; spans (h, 2) int32 gets first and stop column of each row.
    """
    height, width = image.shape
    for y in range(height):
        first, stop = 0, width
        while first < width and image[y, first] < level:
            first += 1
        while stop > first and image[y, stop - 1] < level:
            stop -= 1
        spans[y, 0], spans[y, 1] = first, stop
        for x in range(first, stop):
            kinds[y, x] = CURED if image[y, x] >= level else SHUT_IN


@kernel
def _root(parent, a):
    while parent[a] != a:
        a = parent[a]
    return a


@kernel
def _joined(parent, a, b):
    """Make two labels one; gives the lesser root."""
    a, b = _root(parent, a), _root(parent, b)
    parent[max(a, b)] = min(a, b)
    return min(a, b)


@kernel
def label_pixels(kinds, kind, spans, corners, labels):
    """Write 1, 2, … into labels (h, w) int32, which must hold 0, by what touches; gives pixels per label (n + 1,) int64.

    `corners`: pixels that touch by a corner belong together as well.
    """
    height, width = kinds.shape
    parent = np.zeros(1024, np.int32)
    count = 0
    for y in range(height):
        for x in range(spans[y, 0], spans[y, 1]):
            if kinds[y, x] != kind:
                continue
            above = labels[y - 1, x] if y > 0 else np.int32(0)
            left = labels[y, x - 1] if x > 0 else np.int32(0)
            if above != 0 and (corners or left == 0 or left == above):
                # with corners whatever else touches it touches the one above as well
                labels[y, x] = above
                continue
            best = left
            if above != 0:
                best = _joined(parent, above, left)
            elif corners and y > 0:
                if left == 0 and x > 0:
                    best = labels[y - 1, x - 1]
                beyond = labels[y - 1, x + 1] if x + 1 < width else np.int32(0)
                if beyond != 0:
                    best = beyond if best == 0 else _joined(parent, best, beyond)
            if best == 0:
                count += 1
                if count == parent.shape[0]:
                    grown = np.zeros(2 * count, np.int32)
                    grown[:count] = parent
                    parent = grown
                parent[count] = count
                best = np.int32(count)
            labels[y, x] = best
    number = np.zeros(count + 1, np.int32)
    found = 0
    for a in range(1, count + 1):
        if parent[a] == a:
            found += 1
            number[a] = found
        else:
            number[a] = number[_root(parent, a)]
    pixels = np.zeros(found + 1, np.int64)
    for y in range(height):
        for x in range(spans[y, 0], spans[y, 1]):
            if labels[y, x] != 0:
                labels[y, x] = number[labels[y, x]]
                pixels[labels[y, x]] += 1
    return pixels


@kernel
def open_labels(kinds, spans, labels, is_open):
    """Mark labels of pixels shut in that lie at the rim or, by an edge, at a pixel that is outside."""
    height = kinds.shape[0]
    for y in range(height):
        for x in range(spans[y, 0], spans[y, 1]):
            if kinds[y, x] == SHUT_IN and (
                y == 0 or y == height - 1 or kinds[y - 1, x] == OUTSIDE or kinds[y + 1, x] == OUTSIDE
            ):
                is_open[labels[y, x]] = 1


@kernel
def shared_labels(one, other, cured, empty):
    """Mark where a pixel lies in regions of two layers, each (kinds, spans, cured labels, empty labels).

    cured[a, b] = 1 for regions of pixels that are cured in both; empty[a, b] = 1 for those that are cured in neither, label 0
    being outside.
    """
    for y in range(one[0].shape[0]):
        first, stop = min(one[1][y, 0], other[1][y, 0]), max(one[1][y, 1], other[1][y, 1])
        for x in range(first, stop):
            a, b = one[0][y, x] == CURED, other[0][y, x] == CURED
            if a and b:
                cured[one[2][y, x], other[2][y, x]] = 1
            elif not a and not b:
                empty[one[3][y, x], other[3][y, x]] = 1


@kernel
def sum_labels(labels, image, sums):
    """Add each label's levels to sums (n,) int64."""
    for y in range(labels.shape[0]):
        for x in range(labels.shape[1]):
            sums[labels[y, x]] += image[y, x]


@kernel
def brightest_around(image, columns, rows, found):
    """Write the greatest level in the 3 × 3 pixels around each of some pixels (n,) int64; 0 outside of the image."""
    for n in range(columns.shape[0]):
        found[n] = 0
        for y in range(max(rows[n] - 1, 0), min(rows[n] + 2, image.shape[0])):
            for x in range(max(columns[n] - 1, 0), min(columns[n] + 2, image.shape[1])):
                found[n] = max(found[n], image[y, x])
