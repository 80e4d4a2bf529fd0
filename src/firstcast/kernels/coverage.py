"""How much of each pixel the sections of a closed mesh cover, layer by layer, exactly and without polygons.

A plane cuts a triangle in one directed segment with the inside on its left. Seen along a row of pixels from
-x to +x, a segment that passes down through a part of the row lets the section begin, one that passes up lets
it end: by how much of the row's height it passes (its cover), and in which columns. So each segment adds to
the pixels that it passes, a running sum along the row gives every pixel's share, and holes, nested and
touching loops come out by their orientation alone (signed areas; Levien 2016, "Inside the fastest font
renderer in the world", has the same sum).

Which side of a plane a vertex lies on is decided once per vertex, as the number of planes at or below it: a
vertex on a plane lies above it, infinitely little. Both triangles at an edge cross it in the same place, computed
from its lower end by the same operations. So segments always close, whatever touches a plane.

Triangles are sorted by (class, first plane), where class s holds those that pass 2^(s - 1) < planes ≤ 2^s: those
that may pass a plane are one run per class, at most about twice as many as do, in any order of planes, and four
bytes each.
"""

from typing import NamedTuple

import numpy as np

from firstcast.kernels.compiling import kernel

GROUP_BITS = 4
"""Columns are marked as touched in groups of sixteen: a cache line of shares."""

LEAST = 1e-9
"""Shares below this are rounding: a pixel's position is known to 1e-11 of its width 200 mm from the origin."""


class Stack(NamedTuple):
    """A mesh, the planes that cut it, its triangles sorted by those planes, and the pixels."""

    points: np.ndarray  # (n, 3) float32 or float64, mm
    triangles: np.ndarray  # (m, 3) int32
    below: np.ndarray  # (n,) int32, planes at or below each point
    order: np.ndarray  # (c,) int32, triangles that pass a plane, by class and first plane
    starts: np.ndarray  # (classes * count + 1,) int64, where each class and first plane starts in `order`
    passing: np.ndarray  # (count,) int64, triangles that pass each plane
    lowest_mm: float  # height of plane 0
    layer_mm: float
    count: int  # of planes
    origin_mm: np.ndarray  # (2,) float64, the outer corner of pixel 0, 0
    per_mm: np.ndarray  # (2,) float64, pixels per mm
    size: np.ndarray  # (2,) int64, pixels along x and y


@kernel
def count_planes(start, stop, points, lowest_mm, layer_mm, count, below):
    """Write how many of the planes lie at or below points start .. stop."""
    for v in range(start, stop):
        planes = np.floor((np.float64(points[v, 2]) - lowest_mm) / layer_mm) + 1.0
        below[v] = np.int32(min(max(planes, 0.0), np.float64(count)))


@kernel
def key_triangles(start, stop, triangles, below, count, keys):
    """Write class * count + first plane of triangles start .. stop; -1 for those that pass no plane."""
    for t in range(start, stop):
        a, b, c = below[triangles[t, 0]], below[triangles[t, 1]], below[triangles[t, 2]]
        first = np.int64(min(a, b, c))
        planes = np.int64(max(a, b, c)) - first
        if planes == 0:
            keys[t] = -1
            continue
        span = 0
        while (1 << span) < planes:
            span += 1
        keys[t] = span * count + first


@kernel
def count_keys(keys, triangles, below, starts, passing):
    """Count triangles per key in starts[key + 1], and the change of their number at each plane in passing (count + 1,)."""
    for t in range(keys.shape[0]):
        if keys[t] >= 0:
            a, b, c = below[triangles[t, 0]], below[triangles[t, 1]], below[triangles[t, 2]]
            starts[keys[t] + 1] += 1
            passing[min(a, b, c)] += 1
            passing[max(a, b, c)] -= 1


@kernel
def sort_by_key(keys, cursor, order):
    """Write triangles into the run of their key, keeping their order; `cursor` is where each run goes on."""
    for t in range(keys.shape[0]):
        if keys[t] >= 0:
            order[cursor[keys[t]]] = t
            cursor[keys[t]] += 1


@kernel
def _cross(stack, low, high, height_mm, segment, end):
    """Write where the edge from its lower to its upper vertex passes a height, in pixels."""
    points = stack.points
    z = np.float64(points[low, 2])
    share = (height_mm - z) / (np.float64(points[high, 2]) - z)
    share = min(max(share, 0.0), 1.0)
    for axis in range(2):
        at = np.float64(points[low, axis])
        at += share * (np.float64(points[high, axis]) - at)
        segment[2 * end + axis] = (at - stack.origin_mm[axis]) * stack.per_mm[axis]


@kernel
def cut(stack, plane):
    """The section by a plane as directed segments (s, 4) float64: x, y of start and end, in pixels."""
    segments = np.empty((stack.passing[plane], 4))
    height_mm = stack.lowest_mm + plane * stack.layer_mm
    triangles, below = stack.triangles, stack.below
    row = 0
    for span in range((stack.starts.shape[0] - 1) // stack.count):
        first = span * stack.count + max(plane - (1 << span) + 1, 0)
        for n in range(stack.starts[first], stack.starts[span * stack.count + plane + 1]):
            t = stack.order[n]
            a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
            above_a, above_b, above_c = below[a] > plane, below[b] > plane, below[c] > plane
            if above_a == above_b:
                if above_b == above_c:
                    continue
                # turn the triangle until the first vertex is alone on its side
                a, b, c, above_a = c, a, b, above_c
            elif above_a == above_c:
                a, b, c, above_a = b, c, a, above_b
            if above_a:
                _cross(stack, b, a, height_mm, segments[row], 0)
                _cross(stack, c, a, height_mm, segments[row], 1)
            else:
                _cross(stack, a, c, height_mm, segments[row], 0)
                _cross(stack, a, b, height_mm, segments[row], 1)
            row += 1
    return segments


@kernel
def measure_layers(start, stop, stack, windows):
    """Write the pixels y0, y1, x0, x1 (stop excluded) within which the sections of layers start .. stop lie."""
    reach = np.empty((2, 2))
    for n in range(start, stop):
        segments = cut(stack, n)
        reach[:, 0], reach[:, 1] = np.inf, -np.inf
        for s in range(segments.shape[0]):
            for axis in range(2):
                a, b = segments[s, axis], segments[s, 2 + axis]
                reach[axis, 0], reach[axis, 1] = min(reach[axis, 0], a, b), max(reach[axis, 1], a, b)
        for axis in range(2):
            most = np.float64(stack.size[axis])
            windows[n, 2 - 2 * axis] = np.int32(min(max(np.floor(reach[axis, 0]), 0.0), most))
            windows[n, 3 - 2 * axis] = np.int32(min(max(np.ceil(reach[axis, 1]), 0.0), most))
        if windows[n, 0] >= windows[n, 1] or windows[n, 2] >= windows[n, 3]:
            windows[n] = 0


@kernel
def _rows_of(segment, y0, y1):
    """First and last row, stop excluded and counted from y0, that a segment passes a part of."""
    low, high = min(segment[1], segment[3]), max(segment[1], segment[3])
    if low == high:
        return 0, 0
    first = np.int64(min(max(np.floor(low), np.float64(y0)), np.float64(y1)))
    last = np.int64(min(max(np.ceil(high), np.float64(y0)), np.float64(y1)))
    return first - y0, last - y0


@kernel
def group_by_row(segments, y0, y1):
    """Row starts (rows + 1,) int64 and the segments (e,) int32 that pass each row, keeping their order."""
    starts = np.zeros(y1 - y0 + 2, np.int64)
    for s in range(segments.shape[0]):
        first, last = _rows_of(segments[s], y0, y1)
        for y in range(first, last):
            starts[y + 2] += 1
    for y in range(2, starts.shape[0]):
        starts[y] += starts[y - 1]
    entries = np.empty(starts[-1], np.int32)
    for s in range(segments.shape[0]):
        first, last = _rows_of(segments[s], y0, y1)
        for y in range(first, last):
            # starts[y + 1] is where row y goes on, and in the end where row y + 1 starts
            entries[starts[y + 1]] = s
            starts[y + 1] += 1
    return starts[:-1], entries


@kernel
def _spread(left, right, cover, width, row, touched):
    """Add the cover of a straight piece between columns left ≤ right to the pixels of a row.

    What lies before the row counts from its first pixel on, what lies behind it goes to row[width].
    """
    if right <= 0.0 or left >= width:
        row[0 if right <= 0.0 else width] += cover
        touched[0] = 1
        return
    column = np.int64(max(np.floor(left), 0.0))
    per_column = cover / (right - left) if right > left else 0.0
    before, at = 0.0, left
    if left < 0.0:
        before, at = -left * per_column, 0.0
        row[0] += before
    while True:
        if column >= width:
            row[width] += cover - before
            return
        # taking differences of what is passed so far keeps the sum of all parts at the whole cover
        last = right <= column + 1
        end = right if last else np.float64(column + 1)
        passed = cover if last else (end - left) * per_column
        part = passed - before
        beyond = part * (0.5 * (at + end) - column)
        row[column] += part - beyond
        row[column + 1] += beyond
        touched[column >> GROUP_BITS] = 1
        touched[(column + 1) >> GROUP_BITS] = 1
        if last:
            return
        before, at = passed, end
        column += 1


@kernel
def _pass_row(segment, y, x0, width, row, touched):
    """Add the part of a segment that passes row y."""
    xa, ya, xb, yb = segment[0] - x0, segment[1], segment[2] - x0, segment[3]
    low, high = max(min(ya, yb), np.float64(y)), min(max(ya, yb), np.float64(y + 1))
    slope = (xb - xa) / (yb - ya)
    # the ends as they are: computed ones would part by rounding from the next segment's
    x_low = xa if low == ya else (xb if low == yb else xa + (low - ya) * slope)
    x_high = xa if high == ya else (xb if high == yb else xa + (high - ya) * slope)
    least, most = min(xa, xb), max(xa, xb)
    left, right = max(min(x_low, x_high), least), min(max(x_low, x_high), most)
    _spread(left, right, high - low if ya > yb else low - high, width, row, touched)


@kernel
def _share(running):
    return np.float32(min(running, 1.0)) if running > LEAST else np.float32(0.0)


@kernel
def _sum_row(row, touched, width, shares):
    """Write the shares (width,) float32 of a row and clear it; gives the sum of all cover, which should be zero."""
    running = 0.0
    groups = (width + (1 << GROUP_BITS) - 1) >> GROUP_BITS
    group = 0
    while group < groups:
        low = group << GROUP_BITS
        while group < groups and touched[group] == 0:
            group += 1
        # nothing begins or ends here: all pixels are alike (a slice is filled ten times as fast as in a loop)
        shares[low : min(group << GROUP_BITS, width)] = _share(running)
        if group < groups:
            touched[group] = 0
            low = group << GROUP_BITS
            group += 1
            for x in range(low, min(group << GROUP_BITS, width)):
                running += row[x]
                row[x] = 0.0
                shares[x] = _share(running)
    running += row[width] + row[width + 1]
    row[width], row[width + 1] = 0.0, 0.0
    return running


@kernel
def fill_layers(start, stop, first, stack, windows, starts, shares, leaks):
    """Write the shares of layers first + start .. first + stop, each a (y1 - y0, x1 - x0) image from its start.

    leaks (n,) float64 is the most by which the sum of a row of the layer misses zero, in pixels.
    """
    for n in range(start, stop):
        y0, y1, x0 = np.int64(windows[n, 0]), np.int64(windows[n, 1]), np.int64(windows[n, 2])
        width = np.int64(windows[n, 3]) - x0
        leaks[n] = 0.0
        if width == 0:
            continue
        segments = cut(stack, first + n)
        row_starts, entries = group_by_row(segments, y0, y1)
        row = np.zeros(width + 2)
        touched = np.zeros((width >> GROUP_BITS) + 1, np.uint8)
        for y in range(y1 - y0):
            for e in range(row_starts[y], row_starts[y + 1]):
                _pass_row(segments[entries[e]], y0 + y, x0, width, row, touched)
            place = starts[n] + y * width
            left = _sum_row(row, touched, width, shares[place : place + width])
            leaks[n] = max(leaks[n], abs(left))
