"""How large a peg and its socket are: as the room of both pieces allows, and moved by what becomes of their faces."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.forecast.joint_casts import Half, peg_normals, socket_normals
from firstcast.forecast.joint_places import KEY_RATIO, SLIM, room_for, wider_by
from firstcast.forecast.joint_seats import FIRST_MM, Seat
from firstcast.geometry.footing import Frame
from firstcast.geometry.joint_room import column_of, depth_in, least_wall_mm
from firstcast.geometry.joints import Plug, convex_outline, key_sides, peg_sides, plug_of
from firstcast.geometry.pieces import JointWanted
from firstcast.process.joints import Faces, Gaps, gaps_for, size_spread_of
from firstcast.process.limits import Limits

LEAD_SHARE, LEAD_MOST_MM = 0.15, 0.2
"""Chamfer round a peg's end, of its radius, and at most. Chosen, no source."""

DEPTH_LEAST_MM = 0.5
"""A shallower socket guides nothing. Chosen, no source."""

MOUTH_MM = 0.5
"""How far a socket's hollow goes on beyond its mouth, so that nothing of the piece is left over it."""

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
        Least wall round the socket, under its floor, and of its own piece round the peg's root; 0 until they are `measured`.
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
    gaps: Gaps | None


def sized_joint(
    wanted: JointWanted,
    seat: Seat,
    peg: Half,
    socket: Half,
    limits: Limits,
    *,
    wall_mm: float,
    least_mm: float,
    most_mm: float,
    end_mm: float,
    draft_deg: float,
) -> Sized:
    """The largest peg that both pieces have room for, or the one that the job gives.

    Parameters
    ----------
    wall_mm : float
        Least wall of the socket and under it, and least width of a peg.
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
    wider = wider_by(ways, reach, gaps(reach, SLIM * limits.wall_mm.likely), seat.chosen)
    room = room_for(wanted, seat, wall_mm, wider)
    given = wanted.width_mm is not None and wanted.depth_mm is not None
    if not given and (room.size_mm < wall_mm or room.depth_mm < DEPTH_LEAST_MM):
        return Sized(None, None, None, None, room.radius_mm, 0.0, 0.0, 0.0, None)
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
        wall_mm=0.0,
        floor_mm=0.0,
        root_mm=0.0,
        gaps=gap,
    )


def measured(sized: Sized, peg: Half, socket: Half) -> Sized:
    """The same with its walls, floor and root measured on both pieces."""
    assert sized.peg is not None
    assert sized.socket is not None
    return replace(
        sized,
        wall_mm=_wall_round(sized.socket, socket),
        floor_mm=_floor_under(sized.socket, socket),
        root_mm=_wall_round_root(sized.peg, peg),
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
