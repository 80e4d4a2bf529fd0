"""Whether points lie inside shells: signed crossings of a ray upward."""

from firstcast.kernels.compiling import kernel


@kernel
def _cell(value, low, step, side):
    """The cell of a coordinate, kept on the grid before it becomes a whole number: steps may be tiny."""
    return int(min(side - 1.0, max(0.0, (value - low) / step)))


@kernel
def count_crossings(queries, own, begin, side, low, step, points, triangles, shell, usable, winding):
    """Add up the winding number of the usable shells about each query, its own shell left out, in `winding`.

    The queries are binned on a square grid seen from above, so each triangle meets only the queries below
    or above its own bounds: time grows with the triangles.

    Parameters
    ----------
    queries : (q, 3) float64
        In general position: none straight above a point or an edge. Sorted by cell, along x first.
    own : (q,) int32
        The shell that each query came from.
    begin : (side * side + 1,) int64
        Where the queries of each cell begin.
    low, step : (2,) float64
        The grid's corner and the sides of its cells.
    points, triangles, shell : (n, 3) float64, (m, 3) int32, (m,) int32
    usable : (s,) bool
        Which shells are closed.
    winding : (q,) int32
        Noughts as given.
    """
    for t in range(len(triangles)):
        if not usable[shell[t]]:
            continue
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        ax, ay = points[a, 0], points[a, 1]
        bx, by = points[b, 0], points[b, 1]
        cx, cy = points[c, 0], points[c, 1]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0.0:
            continue
        sign = 1 if area > 0 else -1
        j0 = _cell(min(ay, by, cy), low[1], step[1], side)
        j1 = _cell(max(ay, by, cy), low[1], step[1], side)
        i0 = _cell(min(ax, bx, cx), low[0], step[0], side)
        i1 = _cell(max(ax, bx, cx), low[0], step[0], side)
        for i in range(i0, i1 + 1):
            for r in range(begin[i * side + j0], begin[i * side + j1 + 1]):
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
