"""Sections across lines of a surface: walked from triangle to triangle, and measured as grooves or ridges.

A section lies in the plane through a vertex whose normal runs along the line. Its profile is a run of places at even
steps along the surface, the vertex in their middle; heights grow outward from a groove's bottom, or from a ridge's crest
into the body: below, a ridge is a groove seen from within.

*Mouth.* Going outward from the bottom, the profile's angle against the chord from mouth to mouth grows to that of the
flank; where it has fallen to half of the steepest so far the flank ends. Mouths and chord depend on each other and are
found in turns, beginning with the plane that is tangent at the vertex.
"""

import numpy as np

from firstcast.kernels.bends import beyond, corner_of
from firstcast.kernels.compiling import kernel

STEPS = 48
"""Even steps of a profile to either side."""

BESIDE_MM = 7e-4
"""The plane passes so far beside its vertex: rows of vertices that lie in it but for rounding would turn the walk in circles."""

NEAR = STEPS // 6
"""Rows within which a profile's lowest place is looked for at a time: the ground beside a line may fall away farther out."""

MOST_CROSSED = 400
"""Triangles that a section crosses at most to one side."""

ROUNDS = 4
"""How often mouths and chord are found in turns."""

LEVEL = 0.3
"""Slope that the chord may have left at last: where it keeps turning, the fold has no mouths of its own. What is measured is
measured from the last chord."""

LEAST_FLANK = np.radians(15.0)
"""A flank is steeper than this against the chord: V grooves that open to less than 150 degrees."""

READINGS = 6
"""Of each section: width, depth, opening in degrees, width at a third and at two thirds of the depth, and how far off the
chord's level the ground lies within half a width of either mouth."""


@kernel(makes_arrays=False)
def _off(place, origin, way):
    return (place[0] - origin[0]) * way[0] + (place[1] - origin[1]) * way[1] + (place[2] - origin[2]) * way[2]


@kernel(makes_arrays=False)
def _cross_at(points, first, second, origin, plane, out):
    """Where the edge crosses the plane, to `out`."""
    a, b = _off(points[first], origin, plane), _off(points[second], origin, plane)
    share = a / (a - b)
    for k in range(3):
        out[k] = points[first, k] + share * (points[second, k] - points[first, k])


@kernel(makes_arrays=False)
def _first_edge(vertex, origin, across, plane, mesh, work):
    """The triangle round a vertex through which the section leaves along `across`, and the edge's ends; -1 if none."""
    points, triangles, star_start, star = mesh
    best = 0.0
    found, first, second = np.int64(-1), np.int64(-1), np.int64(-1)
    for s in range(star_start[vertex], star_start[vertex + 1]):
        corner = corner_of(triangles[star[s]], vertex)
        a, b = triangles[star[s], (corner + 1) % 3], triangles[star[s], (corner + 2) % 3]
        if (_off(points[a], origin, plane) >= 0.0) == (_off(points[b], origin, plane) >= 0.0):
            continue
        _cross_at(points, a, b, origin, plane, work)
        ahead = _off(work, origin, across)
        length = np.sqrt((work[0] - origin[0]) ** 2 + (work[1] - origin[1]) ** 2 + (work[2] - origin[2]) ** 2)
        if length > 0.0 and ahead / length > best:
            best, found, first, second = ahead / length, np.int64(star[s]), np.int64(a), np.int64(b)
    return found, first, second


@kernel
def walk(vertex, across, plane, mesh, step, places, faces):
    """A profile's places (STEPS, 3) and the triangles they lie in (STEPS,), from a vertex along `across`; how many there are.

    Fewer than STEPS where the surface ends, or the mesh is so fine that too many triangles are crossed.
    """
    points, triangles, star_start, star = mesh
    origin, here, there = points[vertex] + BESIDE_MM * plane, np.empty(3), np.empty(3)
    here[:] = origin
    own, first, second = _first_edge(vertex, origin, across, plane, mesh, there)
    gone, count = 0.0, np.int64(0)
    for _ in range(MOST_CROSSED):
        if own < 0:
            break
        _cross_at(points, first, second, origin, plane, there)
        length = np.sqrt((there[0] - here[0]) ** 2 + (there[1] - here[1]) ** 2 + (there[2] - here[2]) ** 2)
        while gone + length >= (count + 1) * step and length > 0.0:
            share = ((count + 1) * step - gone) / length
            for k in range(3):
                places[count, k] = here[k] + share * (there[k] - here[k])
            faces[count] = own
            count += 1
            if count == STEPS:
                return count
        gone += length
        here[:] = there
        # the edge runs from first to second in the triangle that is left
        own = beyond(first, second, own, triangles, star_start, star)
        if own < 0:
            break
        third = np.int64(triangles[own, (corner_of(triangles[own], first) + 1) % 3])
        if (_off(points[third], origin, plane) >= 0.0) == (_off(points[first], origin, plane) >= 0.0):
            first = third
        else:
            second = third
    return count


@kernel(makes_arrays=False)
def _mouth(x, y, bottom, way):
    """Where a flank ends going from the bottom one way, in steps; -1 if it doesn't."""
    steepest, before = 0.0, 0.0
    j = bottom + way
    while 0 < j < len(x) - 1:
        angle = np.arctan2(y[j + way] - y[j - way], way * (x[j + way] - x[j - way]))
        if angle > steepest:
            steepest = angle
        elif steepest >= LEAST_FLANK and angle < 0.5 * steepest:
            return j - way * (0.5 * steepest - angle) / (before - angle)
        before = angle
        j += way
    return -1.0


@kernel(makes_arrays=False)
def _at(values, place):
    """A value between two steps."""
    j = min(np.int64(place), len(values) - 2)
    return values[j] + (place - j) * (values[j + 1] - values[j])


@kernel(makes_arrays=False)
def _off_bottom(x, y, bottom, mouth, way, height):
    """How far to the side the profile first rises above the bottom by `height`, going one way as far as the mouth."""
    j = bottom
    while way * (mouth - j) > 0.0:
        rise, next_rise = y[j] - y[bottom], y[j + way] - y[bottom]
        if next_rise >= height:
            share = (height - rise) / (next_rise - rise)
            return way * (x[j] + share * (x[j + way] - x[j]) - x[bottom])
        j += way
    return way * (_at(x, mouth) - x[bottom])


@kernel(makes_arrays=False)
def _unevenness(x, y, mouth, way, width):
    """How far the profile lies off the level of a mouth within half a width beyond it, or as far as it was walked."""
    begins, level, most = _at(x, mouth), _at(y, mouth), 0.0
    j = np.int64(np.floor(mouth)) if way < 0 else np.int64(np.floor(mouth)) + 1
    while 0 <= j < len(x) and way * (x[j] - begins) <= 0.5 * width:
        most = max(most, abs(y[j] - level))
        j += way
    return most


@kernel(makes_arrays=False)
def _lowest(y, first, last):
    """The row of the lowest place between two, both included."""
    bottom = np.int64(first)
    for j in range(first, last + 1):
        if y[j] < y[bottom]:
            bottom = np.int64(j)
    return bottom


@kernel(makes_arrays=False)
def _lowest_near(y):
    """The row of the lowest place near the middle: downhill, past bumps of less than `NEAR` rows, half way out at most."""
    bottom = np.int64(STEPS)
    while True:
        lower = _lowest(y, max(bottom - NEAR, STEPS // 2), min(bottom + NEAR, STEPS + STEPS // 2))
        if lower == bottom or not y[lower] < y[bottom]:
            return bottom
        bottom = lower


@kernel(makes_arrays=False)
def measure(x, y, readings):
    """Width, depth and so on of a profile (2 STEPS + 1,) in millimetres, to `readings`; the row of its bottom, -1 if it is no groove.

    x grows from one side to the other, y outward. Both are turned so that the chord lies level.
    """
    left = right = 0.0
    for turn in range(ROUNDS):
        bottom = _lowest_near(y)
        left, right = _mouth(x, y, bottom, -1), _mouth(x, y, bottom, 1)
        if left < 0.0 or right < 0.0:
            return np.int64(-1), left, right
        across, up = _at(x, right) - _at(x, left), _at(y, right) - _at(y, left)
        if not across > 0.0 or (turn == ROUNDS - 1 and abs(up) > LEVEL * across):
            return np.int64(-1), left, right
        length = np.sqrt(across * across + up * up)
        cosine, sine = across / length, up / length
        for j in range(len(x)):
            x[j], y[j] = cosine * x[j] + sine * y[j], cosine * y[j] - sine * x[j]
    bottom = _lowest(y, np.int64(left) + 1, np.int64(right))
    depth = 0.5 * (_at(y, left) + _at(y, right)) - y[bottom]
    readings[0], readings[1] = _at(x, right) - _at(x, left), depth
    angles = np.pi
    for way, mouth in ((-1, left), (1, right)):
        low = _off_bottom(x, y, bottom, mouth, way, 0.25 * depth)
        high = _off_bottom(x, y, bottom, mouth, way, 0.75 * depth)
        angles -= np.arctan2(0.5 * depth, high - low)
    readings[2] = np.degrees(angles)
    for row, height in ((3, depth / 3.0), (4, 2.0 * depth / 3.0)):
        readings[row] = _off_bottom(x, y, bottom, left, -1, height) + _off_bottom(
            x, y, bottom, right, 1, height
        )
    readings[5] = max(_unevenness(x, y, left, -1, readings[0]), _unevenness(x, y, right, 1, readings[0]))
    return bottom, left, right


@kernel
def read_sections(start, stop, seeds, ways, normals, sides, reach, mesh, readings, places, faces):
    """Measure the sections across the vertices seeds[start:stop].

    ways, normals : (k, 3) float64, along the line and outward, of length 1 and square to each other.
    sides : (k,) uint8, 1 for a groove, 2 for a ridge. reach : how far to walk to either side.
    readings : (k, READINGS) float32, NaN where there is no groove or ridge. places : (k, 3) float64, of its bottom or crest.
    faces : (k, 3) int32, the triangles at one mouth, the bottom and the other mouth; -1.
    """
    step = reach / STEPS
    one, other = np.empty((STEPS, 3)), np.empty((STEPS, 3))
    one_faces, other_faces = np.empty(STEPS, np.int64), np.empty(STEPS, np.int64)
    x, y, across, found = np.empty(2 * STEPS + 1), np.empty(2 * STEPS + 1), np.empty(3), np.empty(READINGS)
    for row in range(start, stop):
        readings[row], faces[row] = np.nan, -1
        origin, plane, normal = mesh[0][seeds[row]], ways[row], normals[row]
        for k in range(3):
            u, v = (k + 1) % 3, (k + 2) % 3
            across[k] = normal[u] * plane[v] - normal[v] * plane[u]
        if walk(seeds[row], across, plane, mesh, step, one, one_faces) < STEPS:
            continue
        if walk(seeds[row], -across, plane, mesh, step, other, other_faces) < STEPS:
            continue
        sign = 1.0 if sides[row] == 1 else -1.0
        x[STEPS] = y[STEPS] = 0.0
        for j in range(STEPS):
            x[STEPS + 1 + j], y[STEPS + 1 + j] = (
                _off(one[j], origin, across),
                sign * _off(one[j], origin, normal),
            )
            x[STEPS - 1 - j], y[STEPS - 1 - j] = (
                _off(other[j], origin, across),
                sign * _off(other[j], origin, normal),
            )
        bottom, left, right = measure(x, y, found)
        if bottom < 0:
            continue
        readings[row] = found
        for which, at in ((0, np.int64(left)), (1, bottom), (2, np.int64(right))):
            if at > STEPS:
                faces[row, which] = one_faces[at - STEPS - 1]
            elif at < STEPS:
                faces[row, which] = other_faces[STEPS - 1 - at]
            else:
                faces[row, which] = one_faces[0]
        for k in range(3):
            places[row, k] = origin[k]
            if bottom > STEPS:
                places[row, k] = one[bottom - STEPS - 1, k]
            elif bottom < STEPS:
                places[row, k] = other[STEPS - 1 - bottom, k]
    return
