"""Edge collapse inside one block of a closed mesh, held to a distance from the surface it stands for.

Every place of the dense surface (its vertices, the *samples*) is kept in the list of one face of the
reduced surface. A collapse is made only if every sample of the faces it changes finds a face within
its limit among the new ones, and the new vertex and its sharp edges lie as near to a dense triangle
around the sample nearest to them. So true distance, not the quadric, decides where to stop; the quadric
only decides what comes first and where the new vertex goes.

References
----------
Dey et al. 1999, Topology preserving edge contraction (link condition);
Mandad et al. 2015, Isotopic approximation within a tolerance volume (distance held at all samples).
"""

import numpy as np

from firstcast.compiling import kernel
from firstcast.kernels.block_arrays import RING, next_of, prev_of
from firstcast.kernels.distances import squared_to_triangle
from firstcast.kernels.heap import ABSENT, drop, put
from firstcast.kernels.quadrics import best_place, round_place

EDGE_PARTS = 10
"""Sharp edges are looked at in the ends of this many equal parts. Chosen by trial (benchmarks/reduce.py)."""


LEAST_SHAPE = 1e-4
"""Least square of a face's height over its longest edge: a hundredth."""

FLAT = 1e-12
"""Least square of a face's height, mm²: a nanometre, some steps of float32."""


@kernel
def gather_star(block, star, h0, h1, stamp):
    """List the faces around u and v but the two on the edge; 0 if the link condition forbids the collapse."""
    f0, f1 = h0 // 3, h1 // 3
    a = block.corner[prev_of(h0)]
    b = block.corner[prev_of(h1)]
    if a == b or block.valence[a] <= 3 or block.valence[b] <= 3:
        return 0
    count = 0
    for side in range(2):
        start = h0 if side == 0 else h1
        h = start
        fan = 0
        while True:
            fan += 1
            ahead = block.corner[next_of(h)]
            if side == 0:
                star.mark[ahead] = stamp
            elif star.mark[ahead] == stamp and ahead != a and ahead != b:
                return 0
            f = h // 3
            if f != f0 and f != f1:
                if count == RING:
                    return 0
                star.face[count] = f
                star.a[count] = ahead
                star.b[count] = block.corner[prev_of(h)]
                star.edge[count] = h
                count += 1
            h = block.twin[prev_of(h)]
            if h == start:
                break
        # a vertex where several fans meet in their tips stays
        if fan != block.valence[block.corner[start]]:
            return 0
    return count


@kernel
def faces_keep_facing(block, star, count, x, y, z, least_cosine, least_height):
    """Fill the shapes of the new faces; False if one turns too far or is too thin."""
    p = block.points
    for i in range(count):
        a, b = star.a[i], star.b[i]
        ax, ay, az = p[a, 0] - x, p[a, 1] - y, p[a, 2] - z
        bx, by, bz = p[b, 0] - x, p[b, 1] - y, p[b, 2] - z
        nx, ny, nz = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
        nn = nx * nx + ny * ny + nz * nz
        aa = ax * ax + ay * ay + az * az
        bb = bx * bx + by * by + bz * bz
        ab = ax * bx + ay * by + az * bz
        longest = max(aa, bb, aa + bb - 2.0 * ab)
        m = block.corner[star.edge[i]]
        ox, oy, oz = p[m, 0], p[m, 1], p[m, 2]
        cx, cy, cz = p[a, 0] - ox, p[a, 1] - oy, p[a, 2] - oz
        dx, dy, dz = p[b, 0] - ox, p[b, 1] - oy, p[b, 2] - oz
        qx, qy, qz = cy * dz - cz * dy, cz * dx - cx * dz, cx * dy - cy * dx
        qq = qx * qx + qy * qy + qz * qz
        if nn <= least_height * least_height * longest or nn < LEAST_SHAPE * longest * longest:
            # thin: only in place of a thin one, and no lower than that or than what is low
            ex, ey, ez = cx - dx, cy - dy, cz - dz
            was = max(cx * cx + cy * cy + cz * cz, dx * dx + dy * dy + dz * dz, ex * ex + ey * ey + ez * ez)
            if qq >= LEAST_SHAPE * was * was or nn <= FLAT * longest:
                return False
            if nn <= least_height * least_height * longest and nn * was < qq * longest:
                return False
        dot = nx * qx + ny * qy + nz * qz
        if dot <= 0.0 or dot * dot < least_cosine * least_cosine * nn * qq:
            return False
        s = star.shape
        s[i, 0], s[i, 1], s[i, 2] = ax, ay, az
        s[i, 3], s[i, 4], s[i, 5] = bx, by, bz
        size = np.sqrt(nn)
        s[i, 6], s[i, 7], s[i, 8] = nx / size, ny / size, nz / size
        s[i, 9], s[i, 10], s[i, 11] = aa / nn, bb / nn, ab / nn
    return True


@kernel
def list_samples(block, star, count, f0, f1):
    """Gather the samples of the star's faces and of the two that vanish."""
    total = 0
    for i in range(count + 2):
        f = star.face[i] if i < count else (f0 if i == count else f1)
        s = block.sample_head[f]
        while s >= 0:
            star.picked[total] = s
            total += 1
            s = block.sample_next[s]
    return total


@kernel
def _turn_to_near(block, dense, row, turn, x, y, z):
    """Which of the dense triangles around a sample lies within its limit of a place; -1 if none does.

    They are tried from the `turn`-th on.
    """
    limit2 = np.float64(block.sample_limit[row]) ** 2
    name = block.sample_name[row]
    p = dense.points
    # about the place itself, so that float32 differences lose nothing
    x, y, z = x + block.origin[0], y + block.origin[1], z + block.origin[2]
    first = dense.start[name]
    around = dense.start[name + 1] - first
    for _ in range(around):
        t = dense.around[first + turn]
        i, j, l = dense.triangles[t, 0], dense.triangles[t, 1], dense.triangles[t, 2]
        d = squared_to_triangle(
            0.0, 0.0, 0.0,
            p[i, 0] - x, p[i, 1] - y, p[i, 2] - z,
            p[j, 0] - x, p[j, 1] - y, p[j, 2] - z,
            p[l, 0] - x, p[l, 1] - y, p[l, 2] - z,
        )  # fmt: skip
        if d <= limit2:
            return turn
        turn = turn + 1 if turn + 1 < around else 0
    return -1


@kernel
def _nearest_sample(block, star, total, x, y, z):
    """The star's sample nearest to a place, -1 if it has none."""
    best = np.inf
    row = -1
    for i in range(total):
        s = star.picked[i]
        dx, dy, dz = x - block.sample[s, 0], y - block.sample[s, 1], z - block.sample[s, 2]
        d = dx * dx + dy * dy + dz * dz
        if d < best:
            best = d
            row = s
    return row


@kernel
def surface_is_near(block, dense, star, count, total, x, y, z, sharp_cosine):
    """Whether the new vertex and its sharp edges lie near dense triangles around samples.

    Those around the sample nearest to the place before are tried first, then those around the nearest.
    """
    s = star.shape
    start = _nearest_sample(block, star, total, x, y, z)
    if start < 0:
        return True
    start_turn = _turn_to_near(block, dense, start, 0, x, y, z)
    if start_turn < 0:
        return False
    for i in range(count):
        j = 0
        while j < count - 1 and star.b[j] != star.a[i]:
            j += 1
        if s[i, 6] * s[j, 6] + s[i, 7] * s[j, 7] + s[i, 8] * s[j, 8] >= sharp_cosine:
            continue
        row, turn = start, start_turn
        for part in range(1, EDGE_PARTS):
            at = part / EDGE_PARTS
            px, py, pz = x + at * s[i, 0], y + at * s[i, 1], z + at * s[i, 2]
            turn = _turn_to_near(block, dense, row, turn, px, py, pz)
            if turn < 0:
                row = _nearest_sample(block, star, total, px, py, pz)
                turn = _turn_to_near(block, dense, row, 0, px, py, pz)
                if turn < 0:
                    return False
    return True


@kernel
def samples_are_near(block, star, count, total, x, y, z):
    """Choose the nearest new face of every sample; False as soon as one has none within its limit."""
    s = star.shape
    for k in range(total):
        row = star.picked[k]
        limit = np.float64(block.sample_limit[row])
        rx, ry, rz = block.sample[row, 0] - x, block.sample[row, 1] - y, block.sample[row, 2] - z
        best = np.inf
        at = -1
        for i in range(count):
            h = abs(rx * s[i, 6] + ry * s[i, 7] + rz * s[i, 8])
            if h >= best:
                continue
            ra = rx * s[i, 0] + ry * s[i, 1] + rz * s[i, 2]
            rb = rx * s[i, 3] + ry * s[i, 4] + rz * s[i, 5]
            v = s[i, 10] * ra - s[i, 11] * rb
            w = s[i, 9] * rb - s[i, 11] * ra
            if v >= 0.0 and w >= 0.0 and v + w <= 1.0:
                best = h
                at = i
        if best > limit:
            least = np.inf if at < 0 else best * best
            for i in range(count):
                d = squared_to_triangle(
                    rx, ry, rz, 0.0, 0.0, 0.0, s[i, 0], s[i, 1], s[i, 2], s[i, 3], s[i, 4], s[i, 5]
                )
                if d < least:
                    least = d
                    at = i
            if least > limit * limit:
                return False
        star.chosen[k] = at
    return True


@kernel
def join_edge(block, h0, h1, size):
    """Take the edge's second end and its two faces out of the mesh; gives the heap's new size."""
    for side in range(2):
        h = h0 if side == 0 else h1
        ahead, behind = next_of(h), prev_of(h)
        apex = block.corner[behind]
        outer, inner = block.twin[ahead], block.twin[behind]
        size = drop(block.heap, block.place, block.cost, size, min(ahead, outer))
        size = drop(block.heap, block.place, block.cost, size, min(behind, inner))
        block.twin[outer] = inner
        block.twin[inner] = outer
        block.alive[h // 3] = False
        block.valence[apex] -= 1
    return size


@kernel
def may_collapse(block, star, dense, rules, h0, h1, stamp):
    """Try an edge: gives the faces around it (0: it may not be collapsed), the samples, and the new place."""
    count = gather_star(block, star, h0, h1, stamp)
    if count == 0:
        return 0, 0, 0.0, 0.0, 0.0
    _, x, y, z = best_place(block, block.corner[h0], block.corner[h1], rules.pull)
    x, y, z = round_place(block, x, y, z)
    if not faces_keep_facing(block, star, count, x, y, z, rules.least_cosine, rules.least_height):
        return 0, 0, x, y, z
    total = list_samples(block, star, count, h0 // 3, h1 // 3)
    if not (
        samples_are_near(block, star, count, total, x, y, z)
        and surface_is_near(block, dense, star, count, total, x, y, z, rules.sharp_cosine)
    ):
        return 0, total, x, y, z
    return count, total, x, y, z


@kernel
def keep_record(block, star, count, h0, h1, done, logged, log):
    """Note what it takes to take the collapse back; gives the number of rows noted."""
    u, v = block.corner[h0], block.corner[h1]
    log.records[done, 0], log.records[done, 1], log.records[done, 2] = u, v, logged
    for k in range(3):
        log.places[done, k] = block.points[u, k]
    for i in range(count + 2):
        f = star.face[i] if i < count else (h0 // 3 if i == count else h1 // 3)
        code = 3
        if i < count and block.corner[star.edge[i]] == v:
            code = star.edge[i] % 3
        log.face[logged] = 4 * f + code
        log.before[logged] = block.touched[f]
        block.touched[f] = done
        logged += 1
    return logged


@kernel
def move_samples(block, star, total, count, f0, f1):
    """Give every sample of the star to the face chosen for it."""
    for i in range(count):
        block.sample_head[star.face[i]] = -1
    block.sample_head[f0] = -1
    block.sample_head[f1] = -1
    for k in range(total):
        f = star.face[star.chosen[k]]
        row = star.picked[k]
        block.sample_face[row] = f
        block.sample_next[row] = block.sample_head[f]
        block.sample_head[f] = row


@kernel
def collapse_block(block, star, dense, rules, log):
    """Collapse edges of the block, cheapest first, until none may be collapsed.

    Gives the number of collapses and of rows in the log; stops early where the log is full.
    """
    heap, place, cost = block.heap, block.place, block.cost
    place[:] = ABSENT
    size = 0
    for h in range(len(block.corner)):
        t = block.twin[h]
        if t > h and (block.open[h // 3] or block.open[t // 3]):
            u, v = block.corner[h], block.corner[t]
            if block.free[u] and block.free[v]:
                size = put(heap, place, cost, size, h, best_place(block, u, v, rules.pull)[0])
    done = 0
    logged = 0
    star.mark[:] = -1
    stamp = 0
    while size > 0 and done < len(log.records) and logged + RING + 2 <= len(log.face):
        h0 = heap[0]
        size = drop(heap, place, cost, size, h0)
        h1 = block.twin[h0]
        stamp += 1
        count, total, x, y, z = may_collapse(block, star, dense, rules, h0, h1, stamp)
        if count == 0:
            continue
        u, v = block.corner[h0], block.corner[h1]
        logged = keep_record(block, star, count, h0, h1, done, logged, log)
        done += 1
        size = join_edge(block, h0, h1, size)
        for i in range(count):
            block.corner[star.edge[i]] = u
        move_samples(block, star, total, count, h0 // 3, h1 // 3)
        block.valence[u] += block.valence[v] - 4
        for i in range(11):
            block.quadric[u, i] += block.quadric[v, i]
        block.points[u, 0], block.points[u, 1], block.points[u, 2] = x, y, z
        for i in range(count):
            h = star.edge[i]
            t = block.twin[h]
            w = block.corner[t]
            if block.free[w]:
                e = min(h, t)
                size = put(heap, place, cost, size, e, best_place(block, u, w, rules.pull)[0])
    return done, logged
