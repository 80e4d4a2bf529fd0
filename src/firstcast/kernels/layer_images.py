"""Shares of piece and props as one grey image, and images pasted onto the platform's."""

import numpy as np

from firstcast.kernels.compiling import kernel

WHITE = 255


@kernel
def hulls(first, second, windows):
    """Write the windows (n, 4) int32 that hold both of two; zeros stand for none."""
    for n in range(first.shape[0]):
        if first[n, 1] == 0:
            windows[n] = second[n]
        elif second[n, 1] == 0:
            windows[n] = first[n]
        else:
            for k in range(0, 4, 2):
                windows[n, k] = min(first[n, k], second[n, k])
                windows[n, k + 1] = max(first[n, k + 1], second[n, k + 1])


@kernel
def _add_row(shares, place, window, y, x0, row):
    """Add a row of shares to the row of a window that begins at column x0."""
    if y < window[0] or y >= window[1]:
        return
    width = np.int64(window[3] - window[2])
    begin = place + np.int64(y - window[0]) * width
    left = np.int64(window[2] - x0)
    row[left : left + width] += shares[begin : begin + width]


@kernel
def blend_layers(
    start, stop, windows, starts, levels, one, one_starts, one_shares, two, two_starts, two_shares
):
    """Write round(255 · min(1, share + share)) of layers start .. stop, each within its window of `windows`."""
    for n in range(start, stop):
        y0, y1, x0 = np.int64(windows[n, 0]), np.int64(windows[n, 1]), np.int64(windows[n, 2])
        width = np.int64(windows[n, 3]) - x0
        row = np.empty(width, np.float32)
        for y in range(y0, y1):
            row[:] = np.float32(0.0)
            _add_row(one_shares, one_starts[n], one[n], y, x0, row)
            _add_row(two_shares, two_starts[n], two[n], y, x0, row)
            place = starts[n] + (y - y0) * width
            for x in range(width):
                share = min(row[x], np.float32(1.0)) * np.float32(WHITE) + np.float32(0.5)
                levels[place + x] = np.uint8(np.int32(share))


@kernel
def paste(levels, height, width, y0, x0, columns, mirrored, image, firsts, stops):
    """Add an image of height × width, whose first pixel stands at row y0, column x0, and clip at white.

    `mirrored`: columns run the other way, on the whole image of `columns`. firsts, stops (h,) int32 widen with it.
    """
    for y in range(height):
        row = image[y0 + y]
        from_row = levels[y * width : (y + 1) * width]
        left = np.int64(x0)
        if mirrored:
            left = np.int64(columns) - x0 - width
            for x in range(width):
                at = left + width - 1 - x
                row[at] = np.uint8(min(np.int32(row[at]) + np.int32(from_row[x]), np.int32(WHITE)))
        else:
            for x in range(width):
                row[left + x] = np.uint8(
                    min(np.int32(row[left + x]) + np.int32(from_row[x]), np.int32(WHITE))
                )
        if stops[y0 + y] == 0:
            firsts[y0 + y], stops[y0 + y] = left, left + width
        else:
            firsts[y0 + y] = min(firsts[y0 + y], left)
            stops[y0 + y] = max(stops[y0 + y], left + width)


@kernel
def clear(image, firsts, stops):
    """Make an image black again where something stands."""
    for y in range(image.shape[0]):
        image[y, firsts[y] : stops[y]] = 0
        firsts[y], stops[y] = 0, 0
