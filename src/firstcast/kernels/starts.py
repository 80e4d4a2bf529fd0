"""What holds the regions of a layer: layer after layer from the platform up, pixel by pixel.

Every cured pixel that hangs together with the platform, or with a tip, through the layers below has a number: how far it
stands out from what bears it, in mm along the layer. Infinite means that nothing holds it. A layer gives back some of that
reach to what lies over it, because the wedge that it thickens bears more.
"""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.components import root_of

START, OVERHANG = 0, 1

FREE = np.float32(np.inf)


@kernel
def carry_up(cured, labels, before, out, relief, flags):
    """Take reach from the layer before straight up.

    before, out (h, w) float32: reach of the layer before and of this one, infinite where nothing holds it.
    flags (count + 1, 3) int32 is added to: pixels of each region, of these over held pixels, over cured ones. `before` is
    negative where a pixel is cured and nothing holds it. Returns the box y0, y1, x0, x1 of pixels whose reach isn't zero.
    """
    rows, columns = cured.shape
    y0, y1, x0, x1 = rows, 0, columns, 0
    for y in range(rows):
        for x in range(columns):
            out[y, x] = FREE
            label = labels[y, x]
            if label == 0:
                continue
            flags[label, 0] += 1
            reach = before[y, x]
            if reach < FREE:
                flags[label, 2] += 1
                if reach >= 0:
                    flags[label, 1] += 1
                    out[y, x] = max(reach - relief, np.float32(0.0))
            if out[y, x] > 0:
                y0, y1 = min(y0, y), max(y1, y + 1)
                x0, x1 = min(x0, x), max(x1, x + 1)
    return y0, y1, x0, x1


@kernel
def spread_reach(labels, out, box, step_x, step_y):
    """Lower each pixel's reach to its neighbours' plus the way there, until nothing changes: two scans, repeated.

    The way is counted along rows, columns and diagonals: too long by 8 % at most.
    """
    rows, columns = labels.shape
    y0, y1, x0, x1 = max(box[0] - 1, 0), min(box[1] + 1, rows), max(box[2] - 1, 0), min(box[3] + 1, columns)
    aslant = np.float32(np.sqrt(step_x * step_x + step_y * step_y))
    changed = y1 > y0
    while changed:
        changed = False
        for y in range(y0, y1):
            for x in range(x0, x1):
                best = out[y, x]
                if labels[y, x] == 0 or best == 0:
                    continue
                if x > 0:
                    best = min(best, out[y, x - 1] + step_x)
                if y > 0:
                    best = min(best, out[y - 1, x] + step_y)
                    if x > 0:
                        best = min(best, out[y - 1, x - 1] + aslant)
                    if x + 1 < columns:
                        best = min(best, out[y - 1, x + 1] + aslant)
                if best < out[y, x]:
                    out[y, x] = best
        for y in range(y1 - 1, y0 - 1, -1):
            for x in range(x1 - 1, x0 - 1, -1):
                best = out[y, x]
                if labels[y, x] == 0 or best == 0:
                    continue
                if x + 1 < columns:
                    best = min(best, out[y, x + 1] + step_x)
                if y + 1 < rows:
                    best = min(best, out[y + 1, x] + step_y)
                    if x + 1 < columns:
                        best = min(best, out[y + 1, x + 1] + aslant)
                    if x > 0:
                        best = min(best, out[y + 1, x - 1] + aslant)
                if best < out[y, x]:
                    out[y, x] = best
                    changed = True


@kernel
def middle_pixel(labels, label):
    """The pixel of a region that lies nearest to the middle of all its pixels: y, x; the first of several."""
    rows, columns = labels.shape
    sum_x, sum_y, n = 0.0, 0.0, 0
    for y in range(rows):
        for x in range(columns):
            if labels[y, x] == label:
                sum_x += x
                sum_y += y
                n += 1
    best, at_y, at_x = np.inf, 0, 0
    for y in range(rows):
        for x in range(columns):
            if labels[y, x] == label:
                away = (x - sum_x / n) ** 2 + (y - sum_y / n) ** 2
                if away < best:
                    best, at_y, at_x = away, y, x
    return at_y, at_x


@kernel
def hold_around(labels, out, y, x, radius, step_x, step_y, far):
    """Let a tip at a pixel hold its region: no reach within `radius`, beyond it the way from there, up to `far`."""
    label = labels[y, x]
    rows, columns = labels.shape
    ny, nx = np.int64(far / step_y) + 1, np.int64(far / step_x) + 1
    for v in range(max(y - ny, 0), min(y + ny + 1, rows)):
        for u in range(max(x - nx, 0), min(x + nx + 1, columns)):
            if labels[v, u] == label:
                away = np.sqrt(((v - y) * step_y) ** 2 + ((u - x) * step_x) ** 2) - radius
                out[v, u] = min(out[v, u], np.float32(max(away, 0.0)))


@kernel
def farthest(labels, out, box):
    """The held pixel that stands out farthest: its reach, y, x; the first of several."""
    best, at_y, at_x = np.float32(-1.0), 0, 0
    for y in range(box[0], box[1]):
        for x in range(box[2], box[3]):
            if labels[y, x] and out[y, x] < FREE and out[y, x] > best:
                best, at_y, at_x = out[y, x], y, x
    return best, at_y, at_x


@kernel
def hold_layer(
    cured, labels, count, before, out, flags, reach_mm, far_mm, relief_mm, radius_mm, step_x, step_y, least, sites,
):  # fmt: skip
    """Reach of one layer's pixels, and the places at which tips are wanted so that nothing is left without hold.

    Sites (s, 4) int32 get y, x, kind and region. A region of `least` pixels or more with no held pixel beneath gets a
    tip; what stands out farther than `reach_mm` gets one where it stands out farthest, again and again. Writes -1 into
    `out` where pixels stay without hold, and into flags[:, 1] what is held. Returns sites and flecks: regions below
    `least` with nothing cured beneath.
    """
    box = carry_up(cured, labels, before, out, relief_mm, flags)
    made, flecks = 0, 0
    for label in range(1, count + 1):
        if flags[label, 1] > 0:
            continue
        if flags[label, 0] >= least and made < sites.shape[0]:
            y, x = middle_pixel(labels, label)
            hold_around(labels, out, y, x, radius_mm, step_x, step_y, far_mm)
            sites[made, 0], sites[made, 1], sites[made, 2], sites[made, 3] = y, x, START, label
            made += 1
            flags[label, 1] = 1
        elif flags[label, 2] == 0:
            flecks += 1
    spread_reach(labels, out, box, step_x, step_y)
    while made < sites.shape[0]:
        most, y, x = farthest(labels, out, box)
        if most <= reach_mm:
            break
        hold_around(labels, out, y, x, radius_mm, step_x, step_y, far_mm)
        sites[made, 0], sites[made, 1], sites[made, 2], sites[made, 3] = y, x, OVERHANG, labels[y, x]
        made += 1
    loose = False
    for label in range(1, count + 1):
        loose = loose or flags[label, 1] == 0
    if loose:
        for y in range(cured.shape[0]):
            for x in range(cured.shape[1]):
                if labels[y, x] and flags[labels[y, x], 1] == 0:
                    out[y, x] = -1.0
    return made, flecks


@kernel
def join_bodies(labels, count, before, bodies, numbers, parent, made, of_region, sums):
    """Follow which bodies grow together: each region takes the least number of those beneath it, and they become one.

    before (h, w) float32 is the reach of the layer before and bodies (h, w) int32 its numbers, overwritten with this
    layer's; numbers (count + 1,) int32 are of the regions, given for new ones (`of_region` > 0), else 0.
    parent (b,) int32: the union of numbers. sums (count + 1, 3) float64, as given 0, get the pixels of each region, and the sums of
    their x and y. Returns how many numbers there are now.
    """
    for y in range(labels.shape[0]):
        for x in range(labels.shape[1]):
            label = labels[y, x]
            if label and before[y, x] >= 0 and before[y, x] < FREE:
                body = root_of(parent, bodies[y, x])
                mine = numbers[label]
                if mine == 0:
                    numbers[label] = body
                elif mine != body:
                    mine = root_of(parent, mine)
                    if mine < body:
                        parent[body] = mine
                        numbers[label] = mine
                    elif body < mine:
                        parent[mine] = body
                        numbers[label] = body
    for label in range(1, count + 1):
        if numbers[label] == 0 and of_region[label]:
            parent[made] = made
            numbers[label] = made
            made += 1
        elif numbers[label]:
            numbers[label] = root_of(parent, numbers[label])
    for y in range(labels.shape[0]):
        for x in range(labels.shape[1]):
            label = labels[y, x]
            bodies[y, x] = numbers[label]
            if label:
                sums[label, 0] += 1.0
                sums[label, 1] += x
                sums[label, 2] += y
    return made
