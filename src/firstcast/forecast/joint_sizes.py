"""How large a peg and its socket are: as the room of both pieces allows, and moved by what becomes of their faces."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.forecast.joint_casts import Half, peg_normals, socket_normals
from firstcast.forecast.joint_seats import FIRST_MM, Seat
from firstcast.geometry.footing import Frame
from firstcast.geometry.joint_room import column_of, depth_in, least_wall_mm, widest_place
from firstcast.geometry.joints import Plug, convex_outline, key_sides, peg_sides, plug_of
from firstcast.geometry.pieces import JointWanted
from firstcast.process.joints import Faces, Gaps, gaps_for, size_spread_of
from firstcast.process.limits import Limits

ROOT_SHARE = 0.6
"""Radius of a peg over that of the largest circle in its root: leaves a shoulder to sit on. Chosen, no source."""

SLIM = 1.2
"""Depth over width of a peg where the room allows it. Chosen, no source."""

WIDEST_MM = 6.0
"""No peg grows wider than this by itself. Chosen, no source."""

LEAD_SHARE, LEAD_MOST_MM = 0.15, 0.2
"""Chamfer round a peg's end, of its radius, and at most. Chosen, no source."""

DEPTH_LEAST_MM = 0.5
"""A shallower socket guides nothing. Chosen, no source."""

MOUTH_MM = 0.5
"""How far a socket's hollow goes on beyond its mouth, so that nothing of the piece is left over it."""

FINE_MM = 0.005
"""Outlines are drawn to this while room is sought in them."""

KEY_RATIO = 2.0
"""Length of a key over its width, where the job gives neither."""

Values = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Sized:
    """A joint's halves, or none where there is no room for them.

    Attributes
    ----------
    peg, socket : Plug or None
        As cast in the likely case, figure mm.
    peg_master, hollow_master : Plug or None
        As they are in the masters, figure mm.
    radius_mm : float
        Of the largest circle that both pieces have in common about the joint, at the depth of the peg, or where
        there is no room, at the seat.
    wall_mm, floor_mm, root_mm : float
        Least wall round the socket, under its floor, and of its own piece round the peg's root.
    limit_mm : float
        What walls were asked to be.
    gaps : Gaps or None
    """

    peg: Plug | None
    socket: Plug | None
    peg_master: Plug | None
    hollow_master: Plug | None
    radius_mm: float
    wall_mm: float
    floor_mm: float
    root_mm: float
    limit_mm: float
    gaps: Gaps | None


def sized_joint(
    wanted: JointWanted,
    seat: Seat,
    peg: Half,
    socket: Half,
    limits: Limits,
    *,
    least_mm: float,
    most_mm: float,
    end_mm: float,
    draft_deg: float,
) -> Sized:
    """The largest peg that both pieces have room for, or the one that the job gives.

    Walls are the likely limit if some peg leaves so much, else its low end.

    Parameters
    ----------
    least_mm, most_mm, end_mm : float
        Least play of a side, widest gap made for it, least gap at the end: see `process.joints.gaps_for`.
    draft_deg : float
    """
    moves = _moves(wanted, seat, peg, socket, draft_deg)
    ways = _sides(wanted, 1.0)[0]
    spread = size_spread_of(peg.sizes, socket.sizes)

    def gaps(reach: Values, depth_mm: float) -> Gaps:
        # under a map that isn't even a corner moves by its distance from the middle, whatever the way
        far = np.full(
            len(reach) + 1, float(np.hypot(np.hypot(*convex_outline(ways, reach).T).max(), depth_mm))
        )
        return gaps_for(
            *moves, far, spread,
            least_mm=least_mm, most_mm=most_mm, given_mm=wanted.play_mm, end_mm=end_mm,
        )  # fmt: skip

    # what a peg of middling size would want is near enough to look for room
    reach = _sides(wanted, limits.wall_mm.likely)[1]
    wider = _wider(ways, reach, gaps(reach, SLIM * limits.wall_mm.likely), seat.chosen)
    limit = limits.wall_mm.likely
    room = _room(wanted, seat, limit, wider)
    if min(room.size_mm, room.depth_mm) < limit:
        limit = limits.wall_mm.low
        room = _room(wanted, seat, limit, wider)
    given = wanted.width_mm is not None and wanted.depth_mm is not None
    if not given and (room.size_mm < limit or room.depth_mm < DEPTH_LEAST_MM):
        return Sized(None, None, None, None, room.radius_mm, 0.0, 0.0, 0.0, limit, None)
    u, v = np.asarray(room.middle) - wider.off
    place = seat.place_mm + u * seat.frame.along + v * seat.frame.across
    reach = _sides(wanted, room.size_mm / 2.0)[1]
    lead = max(min(LEAD_SHARE * float(reach.min()), LEAD_MOST_MM), _closes_mm(socket))
    cast = plug_of(
        seat.frame, place, (ways, reach),
        depth_mm=room.depth_mm, draft_deg=draft_deg, lead_mm=lead, root_mm=limits.wall_mm.likely,
    )  # fmt: skip
    gap = gaps(reach, room.depth_mm)
    hollow = replace(cast.moved(gap.sides_mm, gap.end_mm), lead_mm=0.0, root_mm=MOUTH_MM)
    return Sized(
        peg=cast,
        socket=hollow,
        peg_master=cast.moved(-moves[0].likely_mm[:-1], -float(moves[0].likely_mm[-1])),
        hollow_master=hollow.moved(moves[1].likely_mm[:-1], float(moves[1].likely_mm[-1])),
        radius_mm=room.radius_mm,
        wall_mm=_wall_round(hollow, socket),
        floor_mm=_floor_under(hollow, socket),
        root_mm=_wall_round_root(cast, peg),
        limit_mm=limit,
        gaps=gap,
    )


def _moves(wanted: JointWanted, seat: Seat, peg: Half, socket: Half, draft_deg: float) -> tuple[Faces, Faces]:
    """What becomes of the faces of peg and socket: it depends on how they look, not on how large they are."""
    some = plug_of(
        seat.frame,
        seat.place_mm,
        _sides(wanted, 1.0),
        depth_mm=1.0,
        draft_deg=draft_deg,
        lead_mm=0.0,
        root_mm=0.0,
    )
    return peg.faces(peg_normals(some)), socket.faces(socket_normals(some))


def _sides(wanted: JointWanted, radius_mm: float) -> tuple[Values, Values]:
    """The sides of a peg or key of a size: its radius, or half a key's width."""
    if wanted.kind == "peg":
        return peg_sides(radius_mm)
    ratio = KEY_RATIO if not (wanted.length_mm and wanted.width_mm) else wanted.length_mm / wanted.width_mm
    return key_sides(2.0 * radius_mm, 2.0 * radius_mm * ratio)


def _closes_mm(half: Half) -> float:
    """Radius to which films and moulds round the hollow edges of a piece at most."""
    return max(radius for scenario in half.chain for step, radius in scenario.balls[:-1] if step == "closed")


class _Wider(NamedTuple):
    """How much wider than its peg a socket is: the radius of a circle about it, less the peg's; how far its middle lies off."""

    gap_mm: float
    end_gap_mm: float
    off: Values


def _wider(ways: Values, reach: Values, gaps: Gaps, may_move: bool) -> _Wider:
    """Gaps differ from side to side, so that a socket's middle is not its peg's; a peg that may not move needs the most."""
    outline = convex_outline(ways, reach + gaps.sides_mm)
    own = convex_outline(ways, reach)
    if not may_move:
        off = np.zeros(2)
    else:
        off = (outline.min(axis=0) + outline.max(axis=0)) / 2.0 - (own.min(axis=0) + own.max(axis=0)) / 2.0
    gap = float(np.linalg.norm(outline - off, axis=1).max() - np.linalg.norm(own, axis=1).max())
    return _Wider(max(gap, 0.0), gaps.end_mm, off)


@dataclass(frozen=True)
class _Room:
    """The best peg at a place: its width (of a key the lesser), its depth, and the circle that it was made in."""

    middle: tuple[float, float]
    size_mm: float
    depth_mm: float
    radius_mm: float


def _room(wanted: JointWanted, seat: Seat, wall_mm: float, wider: _Wider) -> _Room:
    """The peg that is both wide and deep: the greatest of the lesser of its width and its depth over `SLIM`.

    Sizes that the job gives are kept, where there is room for them and where there isn't.
    """
    root = next(
        (
            common
            for level, common in zip(seat.root.levels_mm, seat.root.common, strict=False)
            if level <= -wall_mm
        ),
        seat.root.common[-1],
    )
    needed_mm = 0.0 if wanted.depth_mm is None else wanted.depth_mm + wider.end_gap_mm + wall_mm
    best, worth = _Room((0.0, 0.0), 0.0, 0.0, 0.0), -np.inf
    for level, common in zip(seat.hole.levels_mm, seat.hole.common, strict=True):
        both = (root ^ common).simplify(FINE_MM)
        if both.is_empty():
            break
        middle, radius = (
            widest_place(both) if seat.chosen else ((0.0, 0.0), float(depth_in(both, (0.0, 0.0))[0]))
        )
        around = max(0.0, min(ROOT_SHARE * radius, radius - wall_mm - wider.gap_mm))
        roomy = min(WIDEST_MM, _width_in(wanted, around))
        width = wanted.width_mm or roomy
        depth = wanted.depth_mm or min(SLIM * width, float(level) - wall_mm - wider.end_gap_mm)
        # beneath a given depth nothing is gained any more; a given width first wants to be in
        gain = min(roomy, width) + min(depth, SLIM * width) / SLIM if level >= needed_mm else radius - 1e6
        if wanted.width_mm is None and level >= needed_mm:
            gain = min(width, depth / SLIM)
        if gain > worth + 1e-9:
            best, worth = _Room(middle, width, depth, radius), gain
    return best


def _width_in(wanted: JointWanted, radius_mm: float) -> float:
    """The width of a peg or key whose corners lie on a circle."""
    if wanted.kind == "peg":
        return 2.0 * radius_mm
    return 2.0 * radius_mm / float(np.hypot(1.0, KEY_RATIO))


def _wall_round(hollow: Plug, half: Half) -> float:
    """Least wall beside a socket's hollow, in its piece."""
    levels = np.append(np.arange(FIRST_MM, hollow.depth_mm, 0.2), hollow.depth_mm)
    column = column_of(half.body.mesh, _frame(hollow), hollow.place_mm, levels)
    return least_wall_mm(column, [hollow.outline(float(level)) for level in levels])


def _floor_under(hollow: Plug, half: Half) -> float:
    """How far the piece goes on under the whole floor of a hollow, to 0.05 mm, 2 mm at most."""
    end = hollow.outline(hollow.depth_mm)
    return _runs_on(lambda level: hollow.depth_mm + level, end, hollow, half)


def _runs_on(level_at: Callable[[float], float], outline: Values, plug: Plug, half: Half) -> float:
    steps = np.arange(0.05, 2.0 + 0.025, 0.05)
    column = column_of(half.body.mesh, _frame(plug), plug.place_mm, [level_at(float(step)) for step in steps])
    whole = 0.0
    for step, section in zip(steps, column.sections, strict=False):
        if float(depth_in(section, outline).min()) <= 0.0:
            break
        whole = float(step)
    return whole


def _wall_round_root(cast: Plug, half: Half) -> float:
    """Least wall beside a peg's root, in its own piece."""
    levels = -np.arange(FIRST_MM, cast.root_mm + 0.1, 0.2)
    column = column_of(half.body.mesh, _frame(cast), cast.place_mm, levels)
    return least_wall_mm(column, [cast.outline(0.0)] * len(levels))


def _frame(plug: Plug) -> Frame:
    return Frame(plug.along, plug.across, plug.toward)
