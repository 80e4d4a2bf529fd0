"""A layer's image as runs of pixels per row, and which of them belong together: work goes with outlines, not with area."""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.components import root_of

FAR = 1 << 30
"""The column at which a gap begins or ends that reaches past all that is cured."""


@kernel
def runs_of(image, y0, x0, rows, least, starts):
    """The runs (r, 2) int32 of pixels of `least` or more, as first column and the one behind the last.

    image (h, w) uint8 stands at row y0, column x0 of a grid of `rows`; starts (rows + 1,) int64 gets where each row
    of the grid begins.
    """
    height, width = image.shape
    count = 0
    for y in range(height):
        before = False
        for x in range(width):
            cured = image[y, x] >= least
            if cured and not before:
                count += 1
            before = cured
    runs = np.empty((count, 2), np.int32)
    at = 0
    for row in range(rows):
        starts[row] = at
        y = row - y0
        if y < 0 or y >= height:
            continue
        before = False
        for x in range(width):
            cured = image[y, x] >= least
            if cured and not before:
                runs[at, 0] = x0 + x
            elif before and not cured:
                runs[at, 1] = x0 + x
                at += 1
            before = cured
        if before:
            runs[at, 1] = x0 + width
            at += 1
    starts[rows] = at
    return runs


@kernel
def gaps_of(starts, runs, gap_starts):
    """The runs between the runs, as `runs_of` gives them; the outermost begin at -FAR and end at FAR."""
    rows = starts.shape[0] - 1
    gaps = np.empty((runs.shape[0] + rows, 2), np.int32)
    at = 0
    for row in range(rows):
        gap_starts[row] = at
        left = np.int32(-FAR)
        for r in range(starts[row], starts[row + 1]):
            gaps[at, 0], gaps[at, 1] = left, runs[r, 0]
            left = runs[r, 1]
            at += 1
        gaps[at, 0], gaps[at, 1] = left, np.int32(FAR)
        at += 1
    gap_starts[rows] = at
    return gaps


@kernel
def label_runs(starts, runs, reach, labels):
    """Number the regions of runs (r,) int32, 0 up, in the order of their first run; gives their count.

    reach 1 joins runs of neighbouring rows that touch by a corner as well, 0 those that share an edge.
    """
    parent = np.arange(runs.shape[0]).astype(np.int32)
    for row in range(1, starts.shape[0] - 1):
        a, b = starts[row - 1], starts[row]
        while a < starts[row] and b < starts[row + 1]:
            if runs[a, 0] < runs[b, 1] + reach and runs[b, 0] < runs[a, 1] + reach:
                one, two = root_of(parent, np.int32(a)), root_of(parent, np.int32(b))
                parent[max(one, two)] = min(one, two)
            if runs[a, 1] < runs[b, 1]:
                a += 1
            else:
                b += 1
    count = 0
    for r in range(runs.shape[0]):
        root = root_of(parent, np.int32(r))
        if root == r:
            labels[r] = count
            count += 1
        else:
            # roots come before what hangs on them
            labels[r] = labels[root]
    return count


@kernel
def shared_runs(starts, runs, labels, other_starts, other_runs, other_labels):
    """Pairs (p, 2) int32 of labels that share a pixel, in the order in which rows meet them; some more than once."""
    pairs = np.empty((runs.shape[0] + other_runs.shape[0], 2), np.int32)
    count = 0
    for row in range(starts.shape[0] - 1):
        a, b = starts[row], other_starts[row]
        while a < starts[row + 1] and b < other_starts[row + 1]:
            meet = runs[a, 0] < other_runs[b, 1] and other_runs[b, 0] < runs[a, 1]
            known = count > 0 and pairs[count - 1, 0] == labels[a] and pairs[count - 1, 1] == other_labels[b]
            if meet and not known:
                pairs[count, 0], pairs[count, 1] = labels[a], other_labels[b]
                count += 1
            if runs[a, 1] < other_runs[b, 1]:
                a += 1
            else:
                b += 1
    return pairs[:count]


@kernel
def weigh_runs(runs, labels, pixels, longest):
    """Write per region its pixels (n,) int64 and its longest run (n,) int32, the first of several."""
    pixels[:] = 0
    longest[:] = -1
    for r in range(runs.shape[0]):
        label = labels[r]
        length = np.int64(runs[r, 1]) - runs[r, 0]
        pixels[label] += length
        if longest[label] < 0 or length > np.int64(runs[longest[label], 1]) - runs[longest[label], 0]:
            longest[label] = r
