"""Where a ball starts from that is to come near a vertex: the nearest free centre that the vertex sees.

Without sight a vertex in a narrow gap would go through the wall opposite, to a ball on the wall's other side.
"""

import numpy as np

from firstcast.kernels.ball_grid import run_of, span_of
from firstcast.kernels.compiling import kernel

SHORT = 0.1
"""Lines shorter than this share of the radius are not looked along."""


@kernel
def _crosses(q, x, y, z, points, a, b, c):
    """Whether the line from q along (x, y, z) passes through triangle a, b, c before its end.

    References
    ----------
    T. Möller, B. Trumbore, Fast, minimum storage ray/triangle intersection, Journal of Graphics Tools 2 (1997) 21–28.
    """
    ux, uy, uz = points[b, 0] - points[a, 0], points[b, 1] - points[a, 1], points[b, 2] - points[a, 2]
    vx, vy, vz = points[c, 0] - points[a, 0], points[c, 1] - points[a, 1], points[c, 2] - points[a, 2]
    px, py, pz = y * vz - z * vy, z * vx - x * vz, x * vy - y * vx
    det = ux * px + uy * py + uz * pz
    if det == 0.0:
        return False
    tx, ty, tz = q[0] - points[a, 0], q[1] - points[a, 1], q[2] - points[a, 2]
    first = (tx * px + ty * py + tz * pz) / det
    if first < 0.0 or first > 1.0:
        return False
    sx, sy, sz = ty * uz - tz * uy, tz * ux - tx * uz, tx * uy - ty * ux
    second = (x * sx + y * sy + z * sz) / det
    if second < 0.0 or first + second > 1.0:
        return False
    along = (vx * sx + vy * sy + vz * sz) / det
    return 0.0 <= along <= 1.0


@kernel
def in_sight(v, centre, radius, surface):
    """Whether nothing stands between vertex v and the free ball about a centre; v's own triangles don't count."""
    cells, spheres, points = surface.cells, surface.spheres, surface.points
    index, starts, q = cells.index, cells.starts, points[v]
    x, y, z = centre[0] - q[0], centre[1] - q[1], centre[2] - q[2]
    away = np.sqrt(x * x + y * y + z * z)
    share = 1.0 - radius / away
    if share * away < SHORT * radius:
        return True
    x, y, z = share * x, share * y, share * z
    half = 0.5 * share * away
    wide = surface.reach
    i0, i1 = span_of(cells, 0, min(q[0], q[0] + x) - wide, max(q[0], q[0] + x) + wide)
    j0, j1 = span_of(cells, 1, min(q[1], q[1] + y) - wide, max(q[1], q[1] + y) + wide)
    k0, k1 = span_of(cells, 2, min(q[2], q[2] + z) - wide, max(q[2], q[2] + z) + wide)
    mx, my, mz = q[0] + 0.5 * x - cells.low[0], q[1] + 0.5 * y - cells.low[1], q[2] + 0.5 * z - cells.low[2]
    for i in range(i0, i1 + 1):
        for j in range(j0, j1 + 1):
            k = k0
            while k <= k1:
                first, last, k = run_of(index, starts, i, j, k, k1)
                for row in range(first, last):
                    dx, dy, dz = spheres[row, 0] - mx, spheres[row, 1] - my, spheres[row, 2] - mz
                    if dx * dx + dy * dy + dz * dz > (half + spheres[row, 3]) ** 2:
                        continue
                    a, b, c = surface.triangles[row, 0], surface.triangles[row, 1], surface.triangles[row, 2]
                    if a != v and b != v and c != v and _crosses(q, x, y, z, points, a, b, c):
                        return False
    return True


@kernel
def nearest_seed(v, normal, far, radius, all_seen, surface, cells, seeds):
    """Row of seeds (s, 3) nearest to vertex v, on its outer side and within `far`; -1 if there is none.

    Seeds are in the order of their cells, which are searched in growing shells. `all_seen` takes seeds out of sight too.
    """
    q, size, index, starts = surface.points[v], cells.size, cells.index, cells.starts
    c0, c1, c2 = (
        np.int64(np.floor((q[0] - cells.low[0]) / size)),
        np.int64(np.floor((q[1] - cells.low[1]) / size)),
        np.int64(np.floor((q[2] - cells.low[2]) / size)),
    )
    inner = size
    for d, c in ((0, c0), (1, c1), (2, c2)):
        share = q[d] - cells.low[d] - c * size
        inner = min(inner, share, size - share)
    best, found = far * far, np.int64(-1)
    shell = 0
    while True:
        within = inner + (shell - 1) * size
        if within > 0.0 and within * within >= best:
            return found
        for i in range(max(c0 - shell, 0), min(c0 + shell, 8 * cells.index.shape[0] - 1) + 1):
            for j in range(max(c1 - shell, 0), min(c1 + shell, 8 * cells.index.shape[1] - 1) + 1):
                rim = abs(i - c0) == shell or abs(j - c1) == shell
                ends = max(c2 - shell, 0), min(c2 + shell, 8 * cells.index.shape[2] - 1)
                k = ends[0]
                while k <= ends[1]:
                    if not rim and abs(k - c2) != shell:
                        k = c2 + shell
                        continue
                    first, last, k = run_of(index, starts, i, j, k, ends[1] if rim else k)
                    for row in range(first, last):
                        dx, dy, dz = seeds[row, 0] - q[0], seeds[row, 1] - q[1], seeds[row, 2] - q[2]
                        square = dx * dx + dy * dy + dz * dz
                        if square >= best or dx * normal[0] + dy * normal[1] + dz * normal[2] <= 0.0:
                            continue
                        if all_seen or in_sight(v, seeds[row], radius, surface):
                            best, found = square, row
        shell += 1


@kernel
def seed_in_sight(v, normal, far, radius, surface, cells, seeds):
    """Row of the nearest seed that vertex v sees; the nearest of all is looked at first."""
    row = nearest_seed(v, normal, far, radius, True, surface, cells, seeds)
    if row >= 0 and not in_sight(v, seeds[row], radius, surface):
        row = nearest_seed(v, normal, far, radius, False, surface, cells, seeds)
    return row
