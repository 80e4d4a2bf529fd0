"""Whether points lie inside shells: signed crossings of a ray upward."""

import numpy as np

from firstcast.kernels.compiling import kernel


@kernel
def _cell(value, low, step, side):
    """The cell of a coordinate, kept on the grid before it becomes a whole number: steps may be tiny."""
    return int(min(float(side - 1), max(0.0, (value - low) / step)))


@kernel
def count_crossings(queries, own, points, triangles, shell, usable):
    """Winding number of the usable shells about each query, its own shell left out.

    The queries are binned on a square grid seen from above, so each triangle meets only the queries below
    or above its own bounds: time grows with the triangles.

    Parameters
    ----------
    queries : (q, 3) float64
        In general position: none straight above a point or an edge.
    own : (q,) int32
        The shell that each query came from.
    points, triangles, shell : (n, 3) float64, (m, 3) int32, (m,) int32
    usable : (s,) bool
        Which shells are closed.

    Returns
    -------
    winding : (q,) int32
    """
    q = len(queries)
    winding = np.zeros(q, np.int32)
    if q == 0:
        return winding
    side = max(1, min(1024, int(np.sqrt(q))))
    low_x, high_x = queries[:, 0].min(), queries[:, 0].max()
    low_y, high_y = queries[:, 1].min(), queries[:, 1].max()
    step_x = max((high_x - low_x) / side, 1e-300)
    step_y = max((high_y - low_y) / side, 1e-300)
    cell = np.empty(q, np.int32)
    place = np.zeros(side * side + 1, np.int64)
    for i in range(q):
        x = _cell(queries[i, 0], low_x, step_x, side)
        y = _cell(queries[i, 1], low_y, step_y, side)
        cell[i] = np.int32(x * side + y)
        place[cell[i] + 1] += 1
    for c in range(side * side):
        place[c + 1] += place[c]
    begin = place.copy()
    order = np.empty(q, np.int32)
    for i in range(q):
        order[place[cell[i]]] = np.int32(i)
        place[cell[i]] += 1
    for t in range(len(triangles)):
        if not usable[shell[t]]:
            continue
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        ax, ay = points[a, 0], points[a, 1]
        bx, by = points[b, 0], points[b, 1]
        cx, cy = points[c, 0], points[c, 1]
        x0, x1 = min(ax, bx, cx), max(ax, bx, cx)
        y0, y1 = min(ay, by, cy), max(ay, by, cy)
        if x1 < low_x or x0 > high_x or y1 < low_y or y0 > high_y:
            continue
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0.0:
            continue
        sign = 1 if area > 0 else -1
        i0 = _cell(x0, low_x, step_x, side)
        i1 = _cell(x1, low_x, step_x, side)
        j0 = _cell(y0, low_y, step_y, side)
        j1 = _cell(y1, low_y, step_y, side)
        for i in range(i0, i1 + 1):
            for k in range(begin[i * side + j0], begin[i * side + j1 + 1]):
                r = order[k]
                if own[r] == shell[t]:
                    continue
                px, py = queries[r, 0], queries[r, 1]
                u = ((bx - px) * (cy - py) - (by - py) * (cx - px)) * sign
                v = ((cx - px) * (ay - py) - (cy - py) * (ax - px)) * sign
                w = ((ax - px) * (by - py) - (ay - py) * (bx - px)) * sign
                if u > 0.0 and v > 0.0 and w > 0.0:
                    z = (u * points[a, 2] + v * points[b, 2] + w * points[c, 2]) / (u + v + w)
                    if z > queries[r, 2]:
                        winding[r] += sign
    return winding
