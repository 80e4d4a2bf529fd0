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
from firstcast.forecast.ball_outside import outside
from firstcast.forecast.ball_surface import Ground, ground_of, stars_of
from firstcast.forecast.strips import Span, spans_of, strip_of
from firstcast.geometry.mesh import Mesh
from firstcast.kernels.ball import UNSETTLED, Front, Stars, mark_ahead, mark_fits, roll_front
from firstcast.kernels.ball_surface import Surface

DIP = 0.005
"""How far the surface may come into a vertex's ball, as a share of its radius, before the vertex moves.

A vertex that stays for that lies no more than so far short of its place; where it is the other wall that dips, only
by half the dip's square over the radius.
"""

SLACK = 1e-6
"""What the last centre may fall short by, as a share of the radius."""

BLOCK = 1 << 12

FRONT_BLOCK = 1 << 8

STRIP = 6_000_000
"""Triangles that are held with all that a search wants of them, about 130 bytes each, at a time."""

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
    body, most = Mesh(points, rows), radius_mm + reach_mm
    found = Rolled(points.copy(), np.zeros(len(points), bool))
    spans = spans_of(points, rows, STRIP_MARGIN * most, STRIP) if len(rows) > STRIP else [None]
    for span in spans:
        _roll_over(body, span, radius_mm, reach_mm, found, outward=outward)
    return found


def _roll_over(
    body: Mesh, span: Span | None, radius_mm: float, reach_mm: float, found: Rolled, *, outward: bool
) -> None:
    """Write to `found` where all vertices of a body, or a strip's own, go.

    What is outside is asked of the whole body: balls that roll into one another may reach beyond a strip.
    """
    ground, own = _ground(body, span, radius_mm, reach_mm, outward=outward)
    surface, count = ground.surface, len(own)
    fits = np.zeros(count, bool)
    run_blocks(mark_fits, count, ground.normals, radius_mm, DIP * radius_mm, surface, fits, block=BLOCK)
    centres = surface.points + radius_mm * ground.normals
    # a ball that meets the strip's end may meet what is not there, and nothing rolls in from it
    deep = np.ones(count, bool) if span is None else span.deep(surface.points, 2.0 * radius_mm)
    centres[~deep] = np.inf
    fits &= deep
    fits &= outside(body, surface.triangles, centres, fits, radius_mm, outward=outward)
    out = fits | ~deep
    front = Front(np.where(out, 0, UNSETTLED).astype(np.int32), np.where(fits, radius_mm, np.inf))
    waiting, stars = np.flatnonzero(~out).astype(np.int32), stars_of(surface.triangles, count)
    _roll_in(waiting, surface, stars, front, centres, radius_mm, radius_mm + reach_mm)
    _move(ground, own, front, centres, radius_mm, reach_mm, found)


def _ground(
    body: Mesh, span: Span | None, radius_mm: float, reach_mm: float, *, outward: bool
) -> tuple[Ground, npt.NDArray[np.int64]]:
    """The ground that a body or a strip of it is, and which of the body's vertices each of its points is, to be moved, or -1.

    It is turned inside out where the ball rolls inside.
    """
    points, triangles = np.asarray(body.points, np.float64), body.triangles
    vertices = np.arange(len(points))
    if span is not None:
        strip = strip_of(points, triangles, span)
        points, triangles = points[strip.vertices], strip.triangles
        vertices = np.where(strip.own, strip.vertices, -1)
        del strip  # what it holds is held again, in another order
    if not outward:
        triangles = np.ascontiguousarray(triangles[:, ::-1])
    ground = ground_of(points, triangles, radius_mm, reach_mm)
    return ground, np.append(vertices, np.full(len(ground.order) - len(points), -1))[ground.order]


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


def _move(
    ground: Ground, own, front: Front, centres: Points, radius_mm: float, reach_mm: float, found: Rolled
) -> None:
    """Bring the body's vertices, own (n,), to their balls' nearest places; where there is none, outward by the reach."""
    lost = np.flatnonzero((own >= 0) & (front.settled == UNSETTLED))
    found.covered[own[lost]] = True
    found.points[own[lost]] += reach_mm * ground.normals[lost]
    rolled = np.flatnonzero((own >= 0) & (front.settled > 0) & (front.settled < UNSETTLED))
    short = np.maximum(1.0 - radius_mm / front.away[rolled], 0.0)
    found.points[own[rolled]] += short[:, None] * (centres[rolled] - ground.surface.points[rolled])
