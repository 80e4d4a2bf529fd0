"""Where lattice lines along x, y and z pass through closed shells, and which crossings matter.

Shells come in fixed point: FIXED steps per pitch, odd numbers only, so that no vertex and no
axis-aligned face lies on a lattice plane. Orientation in the plane across a line is then exact in 64-bit
integers. A line that meets an edge is moved aside by an infinitesimal (ε, ε², ε³) along x, y, z, the same for
all three directions, so each crossing counts exactly once and the three directions agree
(simulation of simplicity: Edelsbrunner & Mücke 1990).

Lines of all three directions are numbered in one run: bases[a] + at[u] · size[v] + at[v] with u, v the axes
that follow a.
"""

import numpy as np

from firstcast.kernels.compiling import kernel

FIXED_BITS = 12
FIXED = 1 << FIXED_BITS
"""Steps of the fixed-point coordinates per pitch."""

TIE = 2e-8
"""A crossing this near to a lattice point, in fixed-point steps, counts as on it (rounding is below 1e-8)."""

NUDGE = 1e-6
"""How far, in fixed-point steps, such a crossing is moved to the side that the infinitesimal asks for."""


@kernel
def _moved_sign(du, dv, u_first):
    """Sign of the edge function of (du, dv) at a line on the edge, moved aside by the infinitesimal."""
    along_u = -1 if dv > 0 else (1 if dv < 0 else 0)
    along_v = 1 if du > 0 else (-1 if du < 0 else 0)
    if u_first:
        return along_u if along_u != 0 else along_v
    return along_v if along_v != 0 else along_u


@kernel
def _moved_above(points, a, b, c, axis):
    """Whether a lattice point in the triangle's plane is above it along `axis` once moved aside."""
    facing = 0
    for n in range(3):
        u, v = (n + 1) % 3, (n + 2) % 3
        area = np.int64(points[b, u] - points[a, u]) * np.int64(points[c, v] - points[a, v]) - np.int64(
            points[b, v] - points[a, v]
        ) * np.int64(points[c, u] - points[a, u])
        side = 1 if area > 0 else (-1 if area < 0 else 0)
        if facing == 0:
            facing = side
        if n == axis:
            along = side
    return facing == along


@kernel
def cross_triangles(start, stop, points, triangles, axis, size, write, counts, block, lines, positions, hits):
    """Cross triangles start .. stop with the lattice lines along `axis`.

    Without `write` the number of crossings is left in counts[start // block]; with it, that entry is where
    to write: lines (c,) int32 across the axis, positions (c,) float64 in pitches, hits (c,) int32 the
    triangle, or its complement ~t where the line leaves the shell.
    """
    u, v = (axis + 1) % 3, (axis + 2) % 3
    u_first = axis != 1
    row = counts[start // block] if write else 0
    for t in range(start, stop):
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        ua, ub, uc = np.int64(points[a, u]), np.int64(points[b, u]), np.int64(points[c, u])
        i_low, i_high = (min(ua, ub, uc) >> FIXED_BITS) + 1, max(ua, ub, uc) >> FIXED_BITS
        if i_low > i_high:
            continue
        va, vb, vc = np.int64(points[a, v]), np.int64(points[b, v]), np.int64(points[c, v])
        j_low, j_high = (min(va, vb, vc) >> FIXED_BITS) + 1, max(va, vb, vc) >> FIXED_BITS
        if j_low > j_high:
            continue
        area = (ub - ua) * (vc - va) - (vb - va) * (uc - ua)
        if area == 0:
            continue
        turn = 1 if area > 0 else -1
        for i in range(i_low, i_high + 1):
            pu = i << FIXED_BITS
            for j in range(j_low, j_high + 1):
                pv = j << FIXED_BITS
                toward_c = (ub - ua) * (pv - va) - (vb - va) * (pu - ua)
                side = toward_c if toward_c != 0 else _moved_sign(ub - ua, vb - va, u_first)
                if (side > 0) != (turn > 0):
                    continue
                toward_a = (uc - ub) * (pv - vb) - (vc - vb) * (pu - ub)
                side = toward_a if toward_a != 0 else _moved_sign(uc - ub, vc - vb, u_first)
                if (side > 0) != (turn > 0):
                    continue
                toward_b = (ua - uc) * (pv - vc) - (va - vc) * (pu - uc)
                side = toward_b if toward_b != 0 else _moved_sign(ua - uc, va - vc, u_first)
                if (side > 0) != (turn > 0):
                    continue
                if write:
                    pa, pb, pc = (
                        np.float64(points[a, axis]),
                        np.float64(points[b, axis]),
                        np.float64(points[c, axis]),
                    )
                    along = pa + (toward_b * (pb - pa) + toward_c * (pc - pa)) / area
                    nearest = np.floor(along / FIXED + 0.5) * FIXED
                    if abs(along - nearest) < TIE:
                        above = _moved_above(points, a, b, c, axis)
                        along = nearest - NUDGE if above else nearest + NUDGE
                    lines[row] = i * size[v] + j
                    positions[row] = along / FIXED
                    hits[row] = t if turn < 0 else ~t
                row += 1
    if not write:
        counts[start // block] = row


@kernel
def group_by_line(lines, positions, hits, base, cursor, grouped_positions, grouped_hits):
    """Move crossings into the run of their line, keeping their order; `cursor` is where each run goes on."""
    for c in range(lines.shape[0]):
        row = cursor[base + lines[c]]
        cursor[base + lines[c]] = row + 1
        grouped_positions[row] = positions[c]
        grouped_hits[row] = hits[c]


@kernel
def settle_lines(start, stop, line_starts, positions, hits, kept, leaks):
    """Sort each line's crossings and keep those where it passes between outside and inside.

    Inside is where the winding number is positive. Crossings in one place count together. What is kept
    moves to the front of the line's run, kept (lines,) int32 says how many; leaks (lines,) uint8 marks lines
    whose winding number doesn't return to zero, so that some shell isn't closed.
    """
    for line in range(start, stop):
        low, high = line_starts[line], line_starts[line + 1]
        for p in range(low + 1, high):
            position, hit, q = positions[p], hits[p], p - 1
            while q >= low and positions[q] > position:
                positions[q + 1], hits[q + 1] = positions[q], hits[q]
                q -= 1
            positions[q + 1], hits[q + 1] = position, hit
        winding, write, p = 0, low, low
        while p < high:
            before, position, enter, leave = winding, positions[p], -1, -1
            while p < high and positions[p] == position:
                winding += 1 if hits[p] >= 0 else -1
                if hits[p] >= 0:
                    enter = p
                else:
                    leave = p
                p += 1
            if (before > 0) != (winding > 0):
                positions[write], hits[write] = position, hits[enter if winding > 0 else leave]
                write += 1
        kept[line] = write - low
        leaks[line] = winding != 0


@kernel
def crossing_between(line, low, entering, line_starts, kept, positions, hits):
    """Row of the line's first crossing of that direction between lattice points low and low + 1, or -1."""
    for p in range(line_starts[line], line_starts[line] + kept[line]):
        if positions[p] > low + 1:
            return -1
        if positions[p] > low and (hits[p] >= 0) == entering:
            return p
    return -1


@kernel
def signs_along(line, low, line_starts, kept, positions, hits):
    """Signs of lattice points low .. low + 7 on a line, as eight bits."""
    inside, signs = 0, 0
    p, end = line_starts[line], line_starts[line] + kept[line]
    for step in range(8):
        while p < end and positions[p] < low + step:
            inside = 1 if hits[p] >= 0 else 0
            p += 1
        signs |= inside << step
    return signs


@kernel
def mark_bricks(start, stop, axis, size, bases, line_starts, kept, positions, reach, mask):
    """Set mask (bx, by, bz) uint8 in every brick within `reach` voxels of a crossing of lines start .. stop.

    Lines are counted within their direction. Several blocks may set the same entry: they write the same.
    """
    u, v = (axis + 1) % 3, (axis + 2) % 3
    brick = np.empty(3, np.int64)
    for line in range(start, stop):
        number = kept[bases[axis] + line]
        if number == 0:
            continue
        i, j = line // size[v], line % size[v]
        first = line_starts[bases[axis] + line]
        for p in range(first, first + number):
            low = np.int64(np.floor(positions[p]))
            for ku in range((i - reach[u]) >> 3, ((i + reach[u]) >> 3) + 1):
                for kv in range((j - reach[v]) >> 3, ((j + reach[v]) >> 3) + 1):
                    for ka in range((low - reach[axis]) >> 3, ((low + 1 + reach[axis]) >> 3) + 1):
                        brick[u], brick[v], brick[axis] = ku, kv, ka
                        mask[brick[0], brick[1], brick[2]] = 1


@kernel
def vote_bricks(axis, size, bases, line_starts, kept, positions, hits, votes):
    """Add to votes (bx, by, bz) uint8 one for every brick whose first voxel is inside along `axis`."""
    u, v = (axis + 1) % 3, (axis + 2) % 3
    brick = np.empty(3, np.int64)
    for i in range(0, size[u], 8):
        for j in range(0, size[v], 8):
            line = bases[axis] + i * size[v] + j
            p, end, inside = line_starts[line], line_starts[line] + kept[line], 0
            for k in range(0, size[axis], 8):
                while p < end and positions[p] < k:
                    inside = 1 if hits[p] >= 0 else 0
                    p += 1
                brick[u], brick[v], brick[axis] = i >> 3, j >> 3, k >> 3
                votes[brick[0], brick[1], brick[2]] += inside


@kernel
def sign_bricks(start, stop, places, size, bases, line_starts, kept, positions, hits, bits, disagreements):
    """Write the signs of bricks start .. stop by the majority of the three directions.

    disagreements (n,) int32 counts voxels on which the three don't agree.
    """
    words = np.empty((3, 8), np.int64)
    for b in range(start, stop):
        words[:] = 0
        x, y, z = np.int64(places[b, 0]) * 8, np.int64(places[b, 1]) * 8, np.int64(places[b, 2]) * 8
        for m in range(8):
            for n in range(8):
                line = bases[0] + (y + m) * size[2] + z + n
                signs = signs_along(line, x, line_starts, kept, positions, hits)
                if signs:
                    for i in range(8):
                        words[0, i] |= np.int64(signs >> i & 1) << (8 * m + n)
                line = bases[1] + (z + n) * size[0] + x + m
                signs = signs_along(line, y, line_starts, kept, positions, hits)
                if signs:
                    for j in range(8):
                        words[1, m] |= np.int64(signs >> j & 1) << (8 * j + n)
                line = bases[2] + (x + m) * size[1] + y + n
                signs = signs_along(line, z, line_starts, kept, positions, hits)
                words[2, m] |= np.int64(signs) << (8 * n)
        disagreements[b] = 0
        for i in range(8):
            p, q, r = words[0, i], words[1, i], words[2, i]
            bits[b, i] = (p & q) | (q & r) | (p & r)
            differ = (p ^ q) | (q ^ r)
            while differ != 0:
                differ &= differ - 1
                disagreements[b] += 1
