"""What a film or a fill makes of a surface: each vertex's place once a ball has closed its hollows or opened its ridges.

Closing by a ball fills what the ball can't enter from outside; opening takes off what it can't enter from inside. A
film of paint closes (process.films), a casting material that does not reach into sharp corners opens.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles, check_points, check_triangles
from firstcast.errors import InputError
from firstcast.fields.blocks import run_blocks
from firstcast.forecast.strips import Strip, strips_of
from firstcast.geometry.mesh import Mesh
from firstcast.kernels.ball import (
    UNSETTLED,
    Front,
    Stars,
    mark_ahead,
    mark_fits,
    roll_front,
)
from firstcast.kernels.ball_grid import SIDE, Cells, number_bricks, sort_into_cells
from firstcast.kernels.ball_seeds import join_centres
from firstcast.kernels.ball_surface import Surface, add_normals, bulges_of, make_unit, middles_of, spheres_of
from firstcast.kernels.enclosure import count_crossings
from firstcast.kernels.facets import list_stars

DIP = 0.005
"""How far the surface may come into a vertex's ball, as a share of its radius, before the vertex moves.

A vertex that stays for that lies no more than so far short of its place; where it is the other wall that dips, only
by half the dip's square over the radius.
"""

SLACK = 1e-6
"""What the last centre may fall short by, as a share of the radius."""

BRICKS = 1 << 24
"""Most entries of a table of bricks: 64 MB."""

CELL = 0.8
"""Side of a cell of triangles, as a share of the radius; no shorter than an edge."""

BLOCK = 1 << 12

FRONT_BLOCK = 1 << 8

STRIP = 6_000_000
"""Triangles that are held with all that a search wants of them, about 200 bytes each, at a time."""

STRIP_MARGIN = 3.0
"""Strips overlap by so many times the radius and the reach: what a ball that stands over the strip touches, and where it may
have rolled in from. Where fronts meet, single vertices may end elsewhere than over the whole: one of 40,962 on a bumpy ball."""

MOST_ROUNDS = 1000
"""Rounds in which balls roll in, an edge farther each: more than any reach has edges."""


class Rolled(NamedTuple):
    """Vertices after a ball has rolled over a surface.

    Attributes
    ----------
    points : (n, 3) float64
        mm, in the order given.
    covered : (n,) bool
        Vertices that no free ball comes near: a gap (or, opening, a wall) narrower than the ball, or a place inside
        the body. They were moved by the reach along their normals, which says no more than "at least so far".
    """

    points: Points
    covered: npt.NDArray[np.bool_]


def closed_by_ball(
    points_mm: npt.ArrayLike, triangles: Triangles, radius_mm: float, *, reach_mm: float
) -> Rolled:
    """Each vertex at the nearest place of the body closed by a ball: every place filled that the ball can't enter.

    Parameters
    ----------
    points_mm : (n, 3) float64
    triangles : (m, 3) int32
        Closed, outward; the surface may cross itself. Edges up to about the radius resolve what the ball touches;
        longer ones cost time, not exactness.
    radius_mm : float
        0 moves nothing.
    reach_mm : float
        The furthest that a vertex may move.

    Raises
    ------
    InputError
        Points or triangles of another shape, a negative radius or reach.

    Notes
    -----
    A vertex q with normal N stays where the ball about q + rN is free: nothing of the surface nearer than r, and
    outside the body, by the winding number. Otherwise c is the free centre nearest to q, and q goes to the ball's nearest
    place, c + r (q - c) / |q - c|. The search (firstcast.kernels.ball) finds a local least: it starts from the nearest
    of its neighbours' free centres, and balls so roll along the surface, in from all rims; where fronts meet, the nearer
    ball wins. A vertex counts as covered where they come to no ball within reach.

    Triangles count as curved by their vertices' normals, to second order, but not next to creases: a sphere or a
    cylinder wider than the ball stays as it is. Next to creases a vertex may be off by what a ball dips between an edge's ends,
    edge² / 8r. A vertex that dips by less than `DIP` stays.

    Walls that have passed through each other by less than the ball are seen by the winding number of whole
    patches of centres; a patch whose surface turns about itself (a winding number of -1 outside) is taken as outside.
    """
    return _rolled(points_mm, triangles, radius_mm, reach_mm, outward=True)


def opened_by_ball(
    points_mm: npt.ArrayLike, triangles: Triangles, radius_mm: float, *, reach_mm: float
) -> Rolled:
    """Each vertex at the nearest place of the body opened by a ball: everything off that the ball can't enter from inside.

    The closing of what is not the body: all else as `closed_by_ball`.
    """
    return _rolled(points_mm, triangles, radius_mm, reach_mm, outward=False)


def _rolled(points_mm, triangles, radius_mm: float, reach_mm: float, *, outward: bool) -> Rolled:
    points = check_points(points_mm, where="ball")
    rows = check_triangles(triangles, len(points), where="ball")
    for name, value in (("radius", radius_mm), ("reach", reach_mm)):
        if not value >= 0 or not np.isfinite(value):
            raise InputError(f"a {name} of {value} mm", where="ball", mend="Give a length of 0 or more.")
    if radius_mm == 0 or not len(rows):
        return Rolled(points.copy(), np.zeros(len(points), bool))
    if not outward:
        rows = np.ascontiguousarray(rows[:, ::-1])
    normals = _normals(points, rows)
    body = Mesh(points, rows)
    if len(rows) <= STRIP:
        return _rolled_over(body, normals, radius_mm, reach_mm, outward=outward)
    moved, covered = points.copy(), np.zeros(len(points), bool)
    for strip in strips_of(points, rows, STRIP_MARGIN * (radius_mm + reach_mm), STRIP):
        here = normals[strip.vertices]
        found = _rolled_over(body, here, radius_mm, reach_mm, outward=outward, strip=strip)
        own = strip.vertices[strip.own]
        moved[own], covered[own] = found.points[strip.own], found.covered[strip.own]
    return Rolled(moved, covered)


def _rolled_over(
    body: Mesh,
    normals: Points,
    radius_mm: float,
    reach_mm: float,
    *,
    outward: bool,
    strip: Strip | None = None,
) -> Rolled:
    """All vertices of a body, or those of a strip of it; turned inside out where the ball rolls inside.

    What is outside is asked of the whole body: balls that roll into one another may reach beyond a strip.
    """
    points, rows = np.asarray(body.points, np.float64), body.triangles
    if strip is not None:
        points, rows = points[strip.vertices], strip.triangles
    surface, normals = _surface(points, rows, normals, radius_mm, reach_mm)
    order = _cells(surface.points, surface.cells.size).order
    fits = np.zeros(len(order), bool)
    run_blocks(mark_fits, len(order), order, normals, radius_mm, DIP * radius_mm, surface, fits, block=BLOCK)
    centres = surface.points + radius_mm * normals
    # a ball that meets the strip's end may meet what is not there, and nothing rolls in from it
    deep = np.ones(len(fits), bool) if strip is None else strip.deep(surface.points, 2.0 * radius_mm)
    centres[~deep] = np.inf
    fits &= deep
    fits &= _free(body, surface.triangles, centres, fits, radius_mm, outward=outward)
    stars = _stars(surface.triangles, len(fits))
    out = fits | ~deep
    front = Front(np.where(out, 0, UNSETTLED).astype(np.int32), np.where(fits, radius_mm, np.inf))
    _roll_in(order[~out[order]], surface, stars, front, centres, radius_mm, radius_mm + reach_mm)
    return _moved(points, normals[: len(points)], front, centres, radius_mm, reach_mm)


def _stars(triangles: Triangles, count: int) -> Stars:
    """The triangles about each of `count` vertices."""
    stars = Stars(np.zeros(count + 1, np.int32), np.empty(triangles.size, np.int32))
    list_stars(triangles, *stars)
    return stars


def _roll_in(
    vertices, surface: Surface, stars: Stars, front: Front, centres, radius_mm: float, most_mm: float
) -> None:
    """Settle the vertices (k,), given in the order of their cells, round by round from those that are settled."""
    now = 1
    while len(vertices) and now < MOST_ROUNDS:
        found = np.empty((len(vertices), 4))
        run_blocks(
            roll_front, len(vertices), vertices, radius_mm, most_mm, SLACK * radius_mm, surface, stars, front, centres,
            found, block=FRONT_BLOCK,
        )  # fmt: skip
        nearer = np.isfinite(found[:, 3])
        vertices = vertices[nearer]
        centres[vertices], front.away[vertices] = found[nearer, :3], found[nearer, 3]
        front.settled[vertices] = now
        ahead = np.zeros(len(centres), bool)
        count = len(vertices)
        run_blocks(mark_ahead, count, vertices, radius_mm, surface, stars, front, centres, ahead, block=BLOCK)
        vertices = np.flatnonzero(ahead).astype(np.int32)
        now += 1


def _moved(
    points: Points, normals: Points, front: Front, centres, radius_mm: float, reach_mm: float
) -> Rolled:
    """Each vertex at its ball's nearest place; where there is none, outward by the reach."""
    count = len(points)
    moved, away, settled = points.copy(), front.away[:count], front.settled[:count]
    covered = settled == UNSETTLED
    moved[covered] += reach_mm * normals[covered]
    rolled = np.flatnonzero((settled > 0) & ~covered)
    short = np.maximum(1.0 - radius_mm / away[rolled], 0.0)
    moved[rolled] += short[:, None] * (centres[:count][rolled] - points[rolled])
    return Rolled(moved, covered)


def _normals(points: Points, triangles: Triangles) -> Points:
    normals = np.zeros((len(points), 3))
    add_normals(points, triangles, normals)
    run_blocks(make_unit, len(points), normals, block=BLOCK)
    return normals


def _surface(
    points: Points, triangles: Triangles, normals: Points, radius_mm: float, reach_mm: float
) -> tuple[Surface, Points]:
    """The triangles sorted into cells, and the normals of all points.

    Long triangles are cut up first, so that no cell holds what is far from it and balls stand on them too.
    """
    middles, edges = _middles(points, triangles)
    usual = float(np.median(edges))
    longest = max(2.0 * radius_mm, min(3.0 * usual, reach_mm))
    bulges = np.empty((len(triangles), 3), np.float32)
    run_blocks(bulges_of, len(triangles), points, triangles, normals, bulges, block=BLOCK)
    whole = edges <= longest
    if not whole.all():
        points, normals, pieces = _cut(points, normals, triangles[~whole], longest)
        triangles = np.concatenate([triangles[whole], pieces])
        bulges = np.concatenate([bulges[whole], np.zeros((len(pieces), 3), np.float32)])
        middles, _ = _middles(points, triangles)
    cells = _cells(middles, max(CELL * radius_mm, usual))
    triangles, bulges = triangles[cells.order], bulges[cells.order]
    corners = points[triangles].reshape(-1, 9)
    spheres = np.empty((len(triangles), 8), np.float32)
    run_blocks(spheres_of, len(triangles), points, triangles, bulges, cells.low, spheres, block=BLOCK)
    return Surface(cells, points, triangles, corners, spheres, bulges, float(spheres[:, 3].max())), normals


def _middles(points: Points, triangles: Triangles) -> tuple[Points, npt.NDArray[np.float64]]:
    middles, longest = np.empty((len(triangles), 3)), np.empty(len(triangles))
    run_blocks(middles_of, len(triangles), points, triangles, middles, longest, block=BLOCK)
    return middles, longest


def _cut(points, normals, triangles: Triangles, longest: float) -> tuple[Points, Points, Triangles]:
    """Points, normals and triangles, halved across their longest edges until none is longer.

    New points have the normal of the triangle that they lie on, and are shared by its pieces alone.
    """
    done = []
    while len(triangles):
        corners = points[triangles]
        edges = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
        long = edges.max(axis=1) > longest
        done.append(triangles[~long])
        triangles, edges = triangles[long], edges[long]
        turn = (edges.argmax(axis=1)[:, None] + np.arange(3)) % 3
        a, b, c = np.take_along_axis(triangles, turn, axis=1).T
        middle = np.arange(len(a), dtype=np.int32) + np.int32(len(points))
        facing = np.cross(points[b] - points[a], points[c] - points[a])
        facing /= np.maximum(np.linalg.norm(facing, axis=1, keepdims=True), 1e-300)
        points = np.concatenate([points, 0.5 * (points[a] + points[b])])
        normals = np.concatenate([normals, facing])
        triangles = np.concatenate([np.c_[a, middle, c], np.c_[middle, b, c]]).astype(np.int32)
    return points, normals, np.concatenate(done)


def _cells(places: Points, least_mm: float) -> Cells:
    low, high = places.min(axis=0), places.max(axis=0)
    size = least_mm
    while True:
        shape = np.floor((high - low) / (SIDE * size)).astype(np.int64) + 1
        if shape.astype(float).prod() <= BRICKS:
            break
        size *= 1.25
    index = np.full(tuple(shape + 1), -1, np.int32)
    starts = np.zeros(SIDE**3 * number_bricks(places, low, size, index) + 1, np.int64)
    order = np.empty(len(places), np.int32)
    sort_into_cells(places, low, size, index, starts, order)
    return Cells(low, size, index, starts, order)


def _free(
    body: Mesh, pieces: Triangles, centres, fits, radius_mm: float, *, outward: bool
) -> npt.NDArray[np.bool_]:
    """Which centres are outside the body (opening: inside it); one of those that roll into one another stands for all."""
    parent = np.empty(len(centres), np.int32)
    join_centres(pieces, centres, fits, radius_mm, parent)
    heads = np.flatnonzero(fits & (parent == np.arange(len(centres))))
    free = np.zeros(len(centres), bool)
    if len(heads):
        free[heads] = _winding(body, centres[heads]) <= (0 if outward else -1)
    return free[parent]


def _winding(body: Mesh, places: Points) -> npt.NDArray[np.int32]:
    points, triangles = np.asarray(body.points, np.float64), body.triangles
    # nudged off the planes that modelled points often share, so that no ray meets an edge
    size = float(np.ptp(points, axis=0).max())
    places = places + size * 1e-9 * np.array([0.6180339887, 0.4142135624, 0.0])
    side = max(1, min(1024, int(np.sqrt(len(places)))))
    low = places[:, :2].min(axis=0)
    step = np.maximum(np.ptp(places[:, :2], axis=0) / side, 1e-300)
    along, across = np.minimum((places[:, :2] - low) / step, side - 1.0).astype(np.int64).T
    order = np.argsort(along * side + across, kind="stable")
    begin = np.searchsorted((along * side + across)[order], np.arange(side * side + 1))
    own, shell = np.full(len(places), -1, np.int32), np.zeros(len(triangles), np.int32)
    winding = np.zeros(len(places), np.int32)
    count_crossings(
        places[order], own, begin, side, low, step, points, triangles, shell, np.ones(1, bool), winding
    )
    found = np.empty_like(winding)
    found[order] = winding
    return found
