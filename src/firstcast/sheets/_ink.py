"""Ink lines at outlines and breaks, cavities, and the mixing of samples into pixels."""

import math

import numpy as np

from firstcast.kernels.compiling import kernel


@kernel
def depth_break(depth, row, column, down, across, near):
    """How far the surface falls away towards one neighbour beyond what its slope foretells, mm; at most `near`.

    0 where the neighbour is the nearer one.
    """
    rows, columns = depth.shape
    here = depth[row, column]
    next_row, next_column = row + down, column + across
    if next_row < 0 or next_column < 0 or next_row >= rows or next_column >= columns:
        return 0.0
    there = depth[next_row, next_column]
    if there == -np.inf:
        return near
    fall = here - there
    if fall <= 0.0:
        return 0.0
    back_row, back_column = row - down, column - across
    if 0 <= back_row < rows and 0 <= back_column < columns and depth[back_row, back_column] != -np.inf:
        fall -= max(0.0, depth[back_row, back_column] - here)
    return min(near, max(0.0, fall))


@kernel
def pen_band(row_first, row_stop, depth, shading, pen_samples, break_low_mm, break_high_mm, pen):
    """Half-width of the ink line that starts at each sample, in samples; `pen` (h, w) float32 in place.

    Lines on the side away from the light are heavier, as shade lines are drawn; they thin out as the
    break in depth closes, so that they end in a taper. Creases get a fine line.
    """
    rows, columns = depth.shape
    for row in range(row_first, row_stop):
        for column in range(columns):
            if depth[row, column] == -np.inf:
                continue
            most = x = y = turn = 0.0
            for down in range(-1, 2):
                for across in range(-1, 2):
                    if down == 0 and across == 0:
                        continue
                    jump = depth_break(depth, row, column, down, across, break_high_mm)
                    most = max(most, jump)
                    x, y = x + jump * across, y + jump * down
                    next_row, next_column = row + down, column + across
                    inside = 0 <= next_row < rows and 0 <= next_column < columns
                    if inside and down + across > 0 and depth[next_row, next_column] != -np.inf:
                        dot = 0.0
                        for axis in range(1, 4):
                            dot += shading[row, column, axis] * shading[next_row, next_column, axis]
                        turn = max(turn, 1.0 - dot)
            strength = (most - break_low_mm) / (break_high_mm - break_low_mm)
            if strength > 0.0:
                strength = math.sqrt(min(1.0, strength))
                length = max(1e-9, math.sqrt(x * x + y * y))
                shade = 0.5 + 0.5 * (0.6 * x + 0.8 * y) / length
                pen[row, column] = pen_samples * strength * (0.55 + 0.75 * shade)
            elif turn > 0.25:
                pen[row, column] = pen_samples * 0.42 * min(1.0, (turn - 0.25) / 0.35)


@kernel
def clean_band(row_first, row_stop, reach, pen, out):
    """Line starts without the stray ones: a start counts in full only where a line runs on through it.

    A line across a window of 2 * reach + 1 samples leaves at least that many starts in it; a speck leaves
    few. out (h, w) float32 is filled in place.
    """
    rows, columns = pen.shape
    for row in range(row_first, row_stop):
        for column in range(columns):
            if pen[row, column] <= 0.0:
                continue
            count = 0
            for other_row in range(max(0, row - reach), min(rows, row + reach + 1)):
                for other_column in range(max(0, column - reach), min(columns, column + reach + 1)):
                    if pen[other_row, other_column] > 0.0:
                        count += 1
            out[row, column] = pen[row, column] * min(1.0, max(0.0, (count - 0.8 * reach) / reach))


@kernel
def any_ink(pen, row, column, samples, reach):
    """Whether any line start reaches a pixel whose first sample is (row, column)."""
    for other_row in range(max(0, row - reach), min(pen.shape[0], row + samples + reach)):
        for other_column in range(max(0, column - reach), min(pen.shape[1], column + samples + reach)):
            if pen[other_row, other_column] > 0.0:
                return True
    return False


@kernel
def ink_at(pen, row, column, reach):
    """How much ink covers a sample, 0 to 1: from every line start within `reach` samples."""
    ink = 0.0
    for other_row in range(max(0, row - reach), min(pen.shape[0], row + reach + 1)):
        for other_column in range(max(0, column - reach), min(pen.shape[1], column + reach + 1)):
            half = pen[other_row, other_column]
            if half > 0.0:
                down, across = other_row - row, other_column - column
                ink = max(ink, min(1.0, half + 0.5 - math.sqrt(down * down + across * across)))
    return ink


@kernel
def cavity_at(depth, shading, row, column, step, steepest):
    """Turn of the normals across 2 * step samples: above 0 on ridges, below 0 in hollows."""
    rows, columns = depth.shape
    if row < step or column < step or row >= rows - step or column >= columns - step:
        return 0.0
    here, limit = depth[row, column], steepest * step
    for down, across in ((-step, 0), (step, 0), (0, -step), (0, step)):
        if not abs(depth[row + down, column + across] - here) < limit:
            return 0.0
    across_turn = shading[row, column + step, 1] - shading[row, column - step, 1]
    return across_turn + shading[row - step, column, 2] - shading[row + step, column, 2]


@kernel
def tone_at(depth, shading, tones, row, column, steps, gains, steepest):
    """Light on a sample, deepened in hollows and raised on ridges; 0 to 1."""
    tone = tones[row, column]
    for index in range(len(steps)):
        turn = gains[index] * cavity_at(depth, shading, row, column, steps[index], steepest)
        turn = turn / (1.0 + abs(turn))
        tone *= 1.0 + (0.30 if turn < 0.0 else 0.16) * turn
    return min(1.0, max(0.0, tone))


@kernel
def between(coarse, row, column, step):
    """A coarse map's value at a fine sample: straight between the four coarse cells about it."""
    down, across = row / step, column / step
    i, j = min(int(down), coarse.shape[0] - 2), min(int(across), coarse.shape[1] - 2)
    down, across = down - i, across - j
    upper = coarse[i, j] + across * (coarse[i, j + 1] - coarse[i, j])
    lower = coarse[i + 1, j] + across * (coarse[i + 1, j + 1] - coarse[i + 1, j])
    return upper + down * (lower - upper)


@kernel
def mix_band(
    row_first,
    row_stop,
    samples,
    depth,
    shading,
    tones,
    pen,
    ground,
    ramp,
    colours,
    coloured,
    relief,
    steepest,
    out,
):
    """Samples into pixels: paper, shadow, tone, colour and ink, averaged; `out` (h, w, 3) uint8 in place.

    pen is (half-widths, the widest); ground is (share of light left, samples per cell).

    ramp (256, 3) float32 gives the figure's colour by tone; colours (3, 3) float32 are paper, ink, shadow.
    relief is (steps in samples, gains).
    """
    steps, gains = relief
    reach = math.ceil(pen[1])
    total = np.empty(3)
    pixel = np.empty(3)
    for row in range(row_first, row_stop):
        for column in range(out.shape[1]):
            total[:] = 0.0
            inked = any_ink(pen[0], row * samples, column * samples, samples, reach)
            for down in range(samples):
                for across in range(samples):
                    i, j = row * samples + down, column * samples + across
                    if depth[i, j] == -np.inf:
                        share = between(ground[0], i, j, ground[1])
                        for channel in range(3):
                            pixel[channel] = share * colours[0, channel] + (1.0 - share) * colours[2, channel]
                    else:
                        tone = tone_at(depth, shading, tones, i, j, steps, gains, steepest)
                        place = tone * 255.0
                        low = min(254, int(place))
                        for channel in range(3):
                            pixel[channel] = ramp[low, channel] + (place - low) * (
                                ramp[low + 1, channel] - ramp[low, channel]
                            )
                            if coloured:
                                pixel[channel] = shading[i, j, 4 + channel] * (0.50 + 0.62 * tone)
                    ink = ink_at(pen[0], i, j, reach) if inked else 0.0
                    for channel in range(3):
                        total[channel] += pixel[channel] + ink * (colours[1, channel] - pixel[channel])
            for channel in range(3):
                out[row, column, channel] = min(255, int(total[channel] / (samples * samples) + 0.5))
