"""Where on its seat a joint goes, and how wide and deep its peg may be there.

The peg's root wants a shoulder in its own piece, the socket wants a wall round it in the other. Where the two pieces don't lie
straight over each other, these are not the same circle: the place is sought that serves both best.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.forecast.joint_seats import Seat
from firstcast.geometry.joint_room import best_place, depth_in
from firstcast.geometry.joints import convex_outline
from firstcast.geometry.pieces import JointWanted
from firstcast.process.joints import Gaps

ROOT_SHARE = 0.6
"""Radius of a peg over that of the circle of its root: leaves a shoulder to sit on. Chosen, no source."""

SLIM = 1.2
"""Depth over width of a peg where the room allows it. Chosen, no source."""

WIDEST_MM = 6.0
"""No peg grows wider than this by itself. Chosen, no source."""

FINE_MM = 0.005
"""Outlines are drawn to this while room is sought in them."""

KEY_RATIO = 2.0
"""Length of a key over its width, where the job gives neither."""

Values = npt.NDArray[np.float64]


class Wider(NamedTuple):
    """How much wider than its peg a socket is: the radius of a circle about it, less the peg's; how far its middle lies off."""

    gap_mm: float
    end_gap_mm: float
    off: Values


def wider_by(ways: Values, reach: Values, gaps: Gaps, may_move: bool) -> Wider:
    """Gaps differ from side to side, so that a socket's middle is not its peg's; a peg that may not move needs the most."""
    outline = convex_outline(ways, reach + gaps.sides_mm)
    own = convex_outline(ways, reach)
    if not may_move:
        off = np.zeros(2)
    else:
        off = (outline.min(axis=0) + outline.max(axis=0)) / 2.0 - (own.min(axis=0) + own.max(axis=0)) / 2.0
    gap = float(np.linalg.norm(outline - off, axis=1).max() - np.linalg.norm(own, axis=1).max())
    return Wider(max(gap, 0.0), gaps.end_mm, off)


@dataclass(frozen=True)
class Room:
    """The best peg at a place.

    Attributes
    ----------
    middle : 2 floats
        The socket's, along and across.
    size_mm, depth_mm : float
        Of the peg: its width (of a key the lesser), its depth.
    radius_mm : float
        Of the largest circle about it that both pieces have.
    """

    middle: tuple[float, float]
    size_mm: float
    depth_mm: float
    radius_mm: float


def room_for(wanted: JointWanted, seat: Seat, wall_mm: float, wider: Wider) -> Room:
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
    ).simplify(FINE_MM)
    needed_mm = 0.0 if wanted.depth_mm is None else wanted.depth_mm + wider.end_gap_mm + wall_mm
    best, worth = Room((0.0, 0.0), 0.0, 0.0, 0.0), -np.inf
    for level, common in zip(seat.hole.levels_mm, seat.hole.common, strict=True):
        hole = common.simplify(FINE_MM)
        both = root ^ hole
        if both.is_empty():
            break

        def around(spots: Values, hole=hole) -> Values:
            """(k,) the radius of the peg whose socket has its middle at places (k, 2)."""
            shoulder = ROOT_SHARE * depth_in(root, spots - wider.off)
            return np.minimum(shoulder, depth_in(hole, spots) - wall_mm - wider.gap_mm)

        middle = best_place(both.bounds(), around)[0] if seat.chosen else (0.0, 0.0)
        at = np.array([middle])
        radius = min(float(depth_in(root, at - wider.off)[0]), float(depth_in(hole, at)[0]))
        roomy = min(WIDEST_MM, _width_in(wanted, max(0.0, float(around(at)[0]))))
        width = wanted.width_mm or roomy
        depth = wanted.depth_mm or min(SLIM * width, float(level) - wall_mm - wider.end_gap_mm)
        # beneath a given depth nothing is gained any more; a given width first wants to be in
        gain = min(roomy, width) + min(depth, SLIM * width) / SLIM if level >= needed_mm else radius - 1e6
        if wanted.width_mm is None and level >= needed_mm:
            gain = min(width, depth / SLIM)
        if gain > worth + 1e-9:
            best, worth = Room(middle, width, depth, radius), gain
    return best


def _width_in(wanted: JointWanted, radius_mm: float) -> float:
    """The width of a peg or key whose corners lie on a circle."""
    if wanted.kind == "peg":
        return 2.0 * radius_mm
    return 2.0 * radius_mm / float(np.hypot(1.0, KEY_RATIO))
