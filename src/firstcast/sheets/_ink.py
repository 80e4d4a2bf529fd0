"""Ink lines at outlines and breaks, relief, and the mixing of samples into pixels."""

import math

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.sheets._shading import first_alike

BRIGHT_REACH = 1.12
"""Half the side of the table of unshaded light: a little past the normals that are seen edge on."""


@kernel
def pen_band(
    row_first, row_stop, samples, depth, normal, pen_samples, break_low_mm, break_high_mm, pen, starts
):
    """Half-width of the ink line that starts at each sample, in samples; `pen` (h, w) float32 in place.

    A line starts where the surface falls away towards a neighbour beyond what its slope foretells. Lines on the side
    away from the light are heavier, as shade lines are drawn; they thin out as the break in depth closes, so that
    they end in a taper. Creases get a fine line. `starts` (h, w) uint16 counts line starts by pixel.
    """
    rows, columns = depth.shape
    for row in range(max(1, row_first), min(rows - 1, row_stop)):
        for column in range(1, columns - 1):
            here = depth[row, column]
            if here == -np.inf:
                continue
            lowest, turn = here, 0.0
            for i in range(row - 1, row + 2):
                for j in range(column - 1, column + 2):
                    lowest = min(lowest, depth[i, j])
                    if i + j > row + column and depth[i, j] != -np.inf:
                        dot = 0.0
                        for axis in range(3):
                            dot += normal[row, column, axis] * normal[i, j, axis]
                        turn = max(turn, 1.0 - dot)
            most = x = y = half = 0.0
            if here - lowest > break_low_mm:
                for down in range(-1, 2):
                    for across in range(-1, 2):
                        back = depth[row - down, column - across]
                        slope = max(0.0, back - here) if back != -np.inf else 0.0
                        jump = min(break_high_mm, max(0.0, here - depth[row + down, column + across] - slope))
                        most = max(most, jump)
                        x, y = x + jump * across, y + jump * down
            if most > break_low_mm:
                shade = 0.5 + 0.5 * (0.6 * x + 0.8 * y) / max(1e-9, math.sqrt(x * x + y * y))
                strength = min(1.0, (most - break_low_mm) / (break_high_mm - break_low_mm))
                half = math.sqrt(strength) * (0.55 + 0.75 * shade)
            elif turn > 0.25:
                half = 0.42 * min(1.0, (turn - 0.25) / 0.35)
            if half > 0.0:
                pen[row, column] = pen_samples * half
                starts[row // samples, column // samples] += 1


@kernel
def ink_at(pen, kept, row, column, samples, reach_px):
    """How much ink covers a sample, 0 to 1: from every line start in the pixels within reach of its own."""
    ink = 0.0
    own_row, own_column = row // samples, column // samples
    for p in range(max(0, own_row - reach_px), min(kept.shape[0], own_row + reach_px + 1)):
        for q in range(max(0, own_column - reach_px), min(kept.shape[1], own_column + reach_px + 1)):
            if kept[p, q] > 0.0:
                for i in range(p * samples, (p + 1) * samples):
                    for j in range(q * samples, (q + 1) * samples):
                        if pen[i, j] > 0.0:
                            down, across = i - row, j - column
                            away = math.sqrt(down * down + across * across)
                            ink = max(ink, min(1.0, kept[p, q] * pen[i, j] + 0.5 - away))
    return ink


@kernel
def even_share(depth, normal, share, row, column, step, px_mm):
    """The share of light at a sample, evened out: it takes away the steps that single lights leave.

    A mean over 25 samples, `step` apart, that lie near the sample's own tangent plane; a step is `px_mm`.
    """
    steep = max(0.2, normal[row, column, 2]) / px_mm
    slope_across, slope_down = -normal[row, column, 0] / steep, normal[row, column, 1] / steep
    total = weight = 0.0
    for i in range(-2, 3):
        for j in range(-2, 3):
            p, q = row + i * step, column + j * step
            if 0 <= p < depth.shape[0] and 0 <= q < depth.shape[1]:
                off = abs(depth[p, q] - depth[row, column] - slope_across * j - slope_down * i)
                if off < 2.0 * px_mm:
                    part = (3.0 - abs(i)) * (3.0 - abs(j)) * (1.0 - off / (2.0 * px_mm))
                    total += part * share[p, q]
                    weight += part
    return total / weight


@kernel
def relief_at(depth, normal, row, column, samples, px_mm):
    """How much ridges raise the tone of a sample and hollows deepen it, as a factor: at one pixel and at three.

    From the turn of the normals across twice the step; 1 where the surface breaks off within it.
    """
    factor, here = 1.0, depth[row, column]
    for pixels in range(1, 4, 2):
        step, limit = pixels * samples, 3.0 * pixels * px_mm
        if step <= row < depth.shape[0] - step and step <= column < depth.shape[1] - step:
            fall = abs(depth[row - step, column] - here)
            fall = max(fall, abs(depth[row + step, column] - here))
            fall = max(fall, abs(depth[row, column - step] - here))
            fall = max(fall, abs(depth[row, column + step] - here))
            if fall < limit:
                turn = normal[row, column + step, 0] - normal[row, column - step, 0]
                turn += normal[row - step, column, 1] - normal[row + step, column, 1]
                turn *= 2.05 - 0.45 * pixels
                factor *= 1.0 + (0.30 if turn < 0.0 else 0.16) * turn / (1.0 + abs(turn))
    return factor


@kernel
def bright_at(bright, right, up, towards):
    """Unshaded light on a normal: straight between the cells of the table that `sky.brightness` makes."""
    centre = 0.5 * (bright.shape[0] - 1)
    scale = centre / (BRIGHT_REACH * math.sqrt(1.0 + max(-0.2, towards)))
    down, across = centre + scale * up, centre + scale * right
    i, j = np.uint32(down), np.uint32(across)
    down, across = down - i, across - j
    first = bright[i, j] + across * (bright[i, j + 1] - bright[i, j])
    second = bright[i + 1, j] + across * (bright[i + 1, j + 1] - bright[i + 1, j])
    return first + down * (second - first)


@kernel
def mix_band(
    row_first,
    row_stop,
    samples,
    px_mm,
    depth,
    normal,
    share,
    tint,
    bright,
    pen,
    kept,
    inked,
    reach_px,
    ramp,
    ink,
    out,
):
    """Samples into pixels: tone or colour and ink over the paper that `out` (h, w, 3) uint8 holds, averaged, in place.

    bright (k, k) float32 is the unshaded light by normal. pen (h, w) float32 holds the line starts' half-widths, in
    samples, kept (h, w) float32 the share of them that counts in each pixel, and inked (h, w) bool where any comes
    near. ramp (256, 3) float32 gives the figure's colour by tone; tint (h, w, 3) float32 takes its place, or is
    (0, 0, 3). Samples of a pixel that lie on one smooth surface share its evened light and relief.
    """
    factor, total = np.empty((samples, samples)), np.empty(3)
    for row in range(row_first, row_stop):
        for column in range(out.shape[1]):
            top, left = row * samples, column * samples
            total[:] = 0.0
            for i in range(top, top + samples):
                for j in range(left, left + samples):
                    tone = -1.0
                    if depth[i, j] != -np.inf:
                        k, l = first_alike(depth, normal, top, left, left + samples, i, j, 3.0 * px_mm)
                        if k == i and l == j:
                            lit = even_share(depth, normal, share, i, j, samples, px_mm)
                            factor[i - top, j - left] = lit * relief_at(depth, normal, i, j, samples, px_mm)
                        else:
                            factor[i - top, j - left] = factor[k - top, l - left]
                        tone = bright_at(bright, normal[i, j, 0], normal[i, j, 1], normal[i, j, 2])
                        tone = min(1.0, max(0.0, tone * factor[i - top, j - left]))
                    cover = ink_at(pen, kept, i, j, samples, reach_px) if inked[row, column] else 0.0
                    place = np.uint32(min(254.0, max(0.0, tone * 255.0)))
                    for channel in range(3):
                        colour = np.float64(out[row, column, channel])
                        if tone >= 0.0 and len(tint):
                            colour = tint[i, j, channel] * (0.50 + 0.62 * tone)
                        elif tone >= 0.0:
                            colour = ramp[place, channel]
                            colour += (tone * 255.0 - place) * (ramp[place + 1, channel] - colour)
                        total[channel] += colour + cover * (ink[channel] - colour)
            for channel in range(3):
                out[row, column, channel] = min(255, int(total[channel] / (samples * samples) + 0.5))
