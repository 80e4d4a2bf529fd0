"""Loops over a mesh for each of many build directions: what faces down, what lies along the layers, sections, lows.

A low is a vertex below all its neighbours. Where the surface faces down there, a layer starts with nothing under it;
where it faces up, it is the bottom of a hollow that opens away from the build platform.
"""

import numpy as np

from firstcast.kernels.compiling import kernel

MARKS, PRECIOUS, STARTS, CUPS, SECTION, TERRACES, FLATS, HEIGHT = range(8)
"""Columns of what `read_directions` writes."""

NEEDS, BEARS, TERRACE, FLAT, SQUARE, START_MM, CUP_MM = range(7)
"""Entries of its limits: cosines of the angles to the layers' normal (of `SQUARE` the greatest one), and two depths."""


@kernel
def heights_along(direction, points, heights):
    """Fill heights (n,) float64 with each point's height along a direction (3,)."""
    x, y, z = direction[0], direction[1], direction[2]
    for v in range(len(points)):
        heights[v] = points[v, 0] * x + points[v, 1] * y + points[v, 2] * z


@kernel
def _lower(a, b, heights):
    """Whether vertex a lies below vertex b; at equal heights the one with the lesser number does."""
    return heights[a] < heights[b] or (heights[a] == heights[b] and a < b)


@kernel
def _is_low(v, heights, ring_start, ring):
    """Whether a vertex has neighbours, none of them below it."""
    for place in range(ring_start[v], ring_start[v + 1]):
        if _lower(ring[place], v, heights):
            return False
    return ring_start[v] < ring_start[v + 1]


@kernel
def _spread(low, depth, heights, ring_start, ring, stamp, seen, queue):
    """How many vertices, listed in `queue`, can be reached from a low without rising by `depth`; 0 if one is below it.

    So what is left after it are the lows that last for at least `depth` in the merge tree of heights.
    """
    queue[0] = low
    seen[low] = stamp
    count = 1
    top = heights[low] + depth
    done = 0
    while done < count:
        v = queue[done]
        done += 1
        for place in range(ring_start[v], ring_start[v + 1]):
            other = ring[place]
            if seen[other] == stamp or heights[other] > top:
                continue
            if _lower(other, low, heights):
                return 0
            seen[other] = stamp
            queue[count] = other
            count += 1
    return count


@kernel
def read_lows(direction, heights, mesh, limits, work, places, mouths):
    """Lows that last: returns how many start bare, how many are hollows, and the mouths of those together.

    `places` (k,) int32 gets the vertices of the first k lows, `mouths` (k,) float64 the area across each
    hollow at `CUP_MM` above its bottom, 0 for a bare start.
    """
    _, _, _, ring_start, ring, vertex_vectors = mesh
    seen, queue = work
    seen[:] = -1
    starts, cups, area = 0, 0, 0.0
    for v in range(len(heights)):
        if not _is_low(v, heights, ring_start, ring):
            continue
        facing = 0.0
        for k in range(3):
            facing += vertex_vectors[v, k] * direction[k]
        mouth = 0.0
        if facing > 0.0:
            count = _spread(v, limits[CUP_MM], heights, ring_start, ring, v, seen, queue)
            for n in range(count):
                for k in range(3):
                    mouth += vertex_vectors[queue[n], k] * direction[k]
        else:
            count = _spread(v, limits[START_MM], heights, ring_start, ring, v, seen, queue)
        if count == 0:
            continue
        if starts + cups < len(places):
            places[starts + cups] = v
            mouths[starts + cups] = max(mouth, 0.0)
        if facing > 0.0:
            cups += 1
            area += max(mouth, 0.0)
        else:
            starts += 1
    return starts, cups, area


@kernel
def _add_part(lift, a, b, c, part):
    """Add what a triangle, its corners at a, b, c planes up, has above each plane between them: `lift` in all."""
    if a > b:
        a, b = b, a
    if b > c:
        b, c = c, b
    if a > b:
        a, b = b, a
    for k in range(int(np.ceil(a)), int(np.ceil(c))):
        if k >= b:
            part[k] += lift * (c - k) * (c - k) / ((c - a) * (c - b))
        else:
            part[k] += lift * (1.0 - (k - a) * (k - a) / ((c - a) * (b - a)))


@kernel
def lifts_along(direction, vectors, lifts):
    """Fill lifts (m,) float64: each triangle's area as seen along a direction, negative where it faces down."""
    x, y, z = direction[0], direction[1], direction[2]
    for t in range(len(lifts)):
        lifts[t] = vectors[t, 0] * x + vectors[t, 1] * y + vectors[t, 2] * z


@kernel
def read_sections(heights, lifts, triangles, room, sections):
    """Fill sections (k,) float64: areas of a closed mesh's section at k planes evenly spaced up its height; returns it.

    Above a place inside the solid the surface is left once more than it is entered, above any other as often: so the
    area seen from above of all that lies above a plane, counted negative where it faces down, is the section.
    Plane k lies at (k + 1/2) / planes of the height. `room` is two arrays (v,), float64 and int32.
    """
    low, high = heights.min(), heights.max()
    planes = len(sections)
    per_mm = planes / (high - low) if high > low else 0.0
    scaled, above = room
    for v in range(len(heights)):
        scaled[v] = (heights[v] - low) * per_mm - 0.5
        above[v] = int(np.ceil(scaled[v]))
    whole = np.zeros(planes + 1)
    sections[:] = 0.0
    for t in range(len(triangles)):
        a, b, c = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        first = min(above[a], above[b], above[c])
        whole[first] += lifts[t]
        if max(above[a], above[b], above[c]) > first:
            _add_part(lifts[t], scaled[a], scaled[b], scaled[c], sections)
    over = 0.0
    for k in range(planes - 1, -1, -1):
        over += whole[k + 1]
        sections[k] += over
    return high - low


@kernel
def _read_facets(lifts, vectors, weights, limits, row):
    """Fill a row of readings with the marked, precious, terraced and flat area of the facets."""
    marks, precious, terraces, flats = 0.0, 0.0, 0.0, 0.0
    over = 1.0 / (limits[NEEDS] - limits[BEARS])
    for t in range(len(lifts)):
        area, lift = vectors[t, 3], lifts[t]
        if -lift > limits[BEARS] * area:
            need = min((-lift - limits[BEARS] * area) * over, area)
            marks += weights[t, 0] * need
            precious += weights[t, 1] * need
        off = abs(lift)
        if off > limits[TERRACE] * area:
            terraces += weights[t, 2] * area
        if off > limits[FLAT] * area or off < limits[SQUARE] * area:
            flats += weights[t, 3] * area
    row[MARKS], row[PRECIOUS], row[TERRACES], row[FLATS] = marks, precious, terraces, flats


@kernel
def read_directions(start, stop, directions, mesh, weights, limits, planes, readings):
    """Fill readings[start:stop] (n, 8) float64, one row per direction (n, 3), columns as named above.

    mesh : points (v, 3) float64, triangles (m, 3) int32, vectors (m, 4) float64: normals as long as the area, and the
        area; neighbours of each vertex as ring_start (v + 1,), ring (k,) int32; vertex_vectors (v, 3) float64
    weights : (m, 4) float64: how much each mm² counts as marked, precious, terraced, flat
    """
    points, triangles, vectors, _, _, _ = mesh
    heights, lifts, sections = np.empty(len(points)), np.empty(len(triangles)), np.empty(planes)
    room = np.empty(len(points)), np.empty(len(points), np.int32)
    work = np.empty(len(points), np.int32), np.empty(len(points), np.int32)
    places, mouths = np.empty(0, np.int32), np.empty(0)
    for row in range(start, stop):
        direction = directions[row]
        heights_along(direction, points, heights)
        lifts_along(direction, vectors, lifts)
        _read_facets(lifts, vectors, weights, limits, readings[row])
        readings[row, HEIGHT] = read_sections(heights, lifts, triangles, room, sections)
        readings[row, SECTION] = max(sections.max(), 0.0)
        starts, _, cups = read_lows(direction, heights, mesh, limits, work, places, mouths)
        readings[row, STARTS], readings[row, CUPS] = starts, cups


@kernel
def list_rings(triangles, ring_start, ring):
    """Fill ring_start (v + 1,) zero at first and ring (6m,) int32: each vertex's neighbours once; returns their number.

    Before, ring_start[v + 1] must hold how many entries v may need: twice its number of triangles, added up.
    """
    used = np.zeros(len(ring_start) - 1, np.int32)
    for t in range(len(triangles)):
        for c in range(3):
            v = triangles[t, c]
            for other in (triangles[t, (c + 1) % 3], triangles[t, (c + 2) % 3]):
                known = False
                for place in range(ring_start[v], ring_start[v] + used[v]):
                    known = known or ring[place] == other
                if not known:
                    ring[ring_start[v] + used[v]] = other
                    used[v] += 1
    cursor = 0
    for v in range(len(used)):
        first = ring_start[v]
        ring_start[v] = cursor
        for place in range(first, first + used[v]):
            ring[cursor] = ring[place]
            cursor += 1
    ring_start[len(used)] = cursor
    return cursor


@kernel
def see_facets(start, stop, frames, origin, cell_mm, places, vectors, front, seen):
    """Add to seen[start:stop] (m,) float64 how much of each facet is seen from each viewpoint: cosine where not hidden.

    frames : (k, 3, 3) float64: right, up and towards the viewer
    front : (k, rows, columns) float32: the farthest that anything comes towards the viewer, per cell
    """
    for t in range(start, stop):
        for k in range(len(frames)):
            towards = 0.0
            for c in range(3):
                towards += vectors[t, c] * frames[k, 2, c]
            if towards <= 0.0:
                continue
            right, up, near = _in_frame(places[t], frames[k], origin)
            row, column = int((up - origin[4]) / cell_mm), int((right - origin[3]) / cell_mm)
            if near > front[k, row, column] - 2.0 * cell_mm:
                seen[t] += towards / vectors[t, 3]


@kernel
def _in_frame(place, frame, origin):
    """A place (3,) about the middle in `origin`, along a frame's three axes."""
    x, y, z = place[0] - origin[0], place[1] - origin[1], place[2] - origin[2]
    right = frame[0, 0] * x + frame[0, 1] * y + frame[0, 2] * z
    up = frame[1, 0] * x + frame[1, 1] * y + frame[1, 2] * z
    near = frame[2, 0] * x + frame[2, 1] * y + frame[2, 2] * z
    return right, up, near


@kernel
def draw_fronts(start, stop, frames, origin, cell_mm, places, front):
    """Fill front[start:stop] (k, rows, columns) float32, at -inf first, from places (n, 3) on the surface."""
    for k in range(start, stop):
        for n in range(len(places)):
            right, up, near = _in_frame(places[n], frames[k], origin)
            row, column = int((up - origin[4]) / cell_mm), int((right - origin[3]) / cell_mm)
            front[k, row, column] = max(front[k, row, column], np.float32(near))
