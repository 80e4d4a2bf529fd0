"""Pegs and keys, their sockets, and the bed in which a piece lies on another: convex solids in the joint's own axes.

A plug has flat sides, each with its own way and distance, so that every side can be moved by what becomes of it on its
way to the cast. Its level 0 is the seat, where the pieces meet; levels grow into the piece with the socket.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from manifold3d import Manifold

from firstcast.errors import InputError
from firstcast.geometry.footing import Frame, frame_into

SIDES = 32
"""Sides of a round peg: at 2 mm across they stand within 5 µm of the circle."""

FLAT_SHARE = 0.7
"""Where the flat of a round peg stands, in radii from its middle: it takes a quarter off the width. Chosen, no source."""

KEY_WAYS = 4
"""Sides of a key."""

BALL_LEVELS = 5
"""Rings of directions in which a bed is widened."""

ON_SEAT_MM = 1e-5
"""What lies so near the seat lies on it: float32 rounds places of 100 mm by 4e-6."""

Values = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Plug:
    """A peg or key, or the hollow of its socket.

    Attributes
    ----------
    place_mm : (3,) float64
        The middle of the seat.
    along, across, toward : (3,) float64
        Right-handed axes of unit length; `toward` leads from the seat into the piece with the socket.
    ways : (n, 2) float64
        Outward unit normals of the sides along and across, counter-clockwise.
    reach_mm : (n,) float64
        How far each side stands from the middle at the seat.
    depth_mm : float
        The level of the end.
    draft_deg : float
        How far each side leans in towards the end.
    lead_mm : float
        Of the chamfer round the end; 0: none.
    root_mm : float
        How far it goes on beneath the seat.
    """

    place_mm: Values
    along: Values
    across: Values
    toward: Values
    ways: Values
    reach_mm: Values
    depth_mm: float
    draft_deg: float
    lead_mm: float
    root_mm: float

    @property
    def normals(self) -> Values:
        """(n, 3) outward unit normals of the drafted sides."""
        lean = np.radians(self.draft_deg)
        flat = self.ways[:, :1] * self.along + self.ways[:, 1:] * self.across
        return np.cos(lean) * flat + np.sin(lean) * self.toward

    @property
    def width_mm(self) -> float:
        """At the seat: the diameter of a round peg, the lesser width of a key."""
        if len(self.ways) > KEY_WAYS:
            return 2.0 * float(self.reach_mm.max())
        return float(min(self.reach_mm[0] + self.reach_mm[2], self.reach_mm[1] + self.reach_mm[3]))

    @property
    def words(self) -> str:
        """Its sizes, as a person says them."""
        if len(self.ways) > KEY_WAYS:
            return f"{self.width_mm:.2f} mm, {self.depth_mm:.2f} deep"
        length = max(self.reach_mm[0] + self.reach_mm[2], self.reach_mm[1] + self.reach_mm[3])
        return f"{self.width_mm:.2f} × {length:.2f} mm, {self.depth_mm:.2f} deep"

    def moved(self, sides_mm: npt.ArrayLike, end_mm: float) -> "Plug":
        """The plug with its sides moved outward along their normals, and its end onward."""
        upright = np.asarray(sides_mm, np.float64) / np.cos(np.radians(self.draft_deg))
        return replace(self, reach_mm=self.reach_mm + upright, depth_mm=self.depth_mm + end_mm)

    def outline(self, level_mm: float, inset_mm: float = 0.0) -> Values:
        """(k, 2) corners of its section at a level, counter-clockwise; none where nothing is left.

        Beneath the seat the sides go on leaning out.
        """
        slope = float(np.tan(np.radians(self.draft_deg)))
        return convex_outline(self.ways, self.reach_mm - level_mm * slope - inset_mm)

    def corners(self, from_mm: float) -> Values:
        """(k, 3) corners of the solid from a level on to its end.

        Raises
        ------
        InputError
            Draft or chamfer leave nothing of it.
        """
        rings = [(from_mm, 0.0), (self.depth_mm - self.lead_mm, 0.0)]
        if self.lead_mm > 0.0:
            rings.append((self.depth_mm, self.lead_mm))
        points = []
        for level, inset in rings:
            flat = self.outline(level, inset)
            if not len(flat):
                raise InputError(
                    f"nothing is left of a plug at {level:.2f} mm of its {self.depth_mm:.2f} mm",
                    where="joint",
                    mend="Give it more width_mm, or less depth_mm.",
                )
            points.append(self.at(flat, level))
        return np.concatenate(points)

    def at(self, flat: npt.ArrayLike, level_mm: float) -> Values:
        """Places (k, 2) of a level in space, (k, 3)."""
        spots = np.asarray(flat, np.float64)
        sideways = spots[:, :1] * self.along + spots[:, 1:] * self.across
        return self.place_mm + sideways + level_mm * self.toward

    def solid(self, matrix: npt.ArrayLike | None = None, *, from_mm: float | None = None) -> Manifold:
        """The solid, from its root on or from a level, under a linear map (3, 3) about the origin."""
        points = self.corners(-self.root_mm if from_mm is None else from_mm)
        return hull_of(points if matrix is None else points @ np.asarray(matrix, np.float64).T)


def hull_of(points: npt.ArrayLike) -> Manifold:
    """The convex solid over some points (k, 3)."""
    return Manifold.hull_points(np.ascontiguousarray(points, dtype=np.float64))


def convex_outline(ways: Values, reach_mm: Values) -> Values:
    """(k, 2) corners, counter-clockwise, of what lies within all lines ways · x = reach; (0, 2) where nothing does.

    Parameters
    ----------
    ways : (n, 2) float64
        Unit normals that look all round.
    reach_mm : (n,) float64
    """
    far = 4.0 * float(np.abs(reach_mm).max()) + 1.0
    corners = far * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    for way, reach in zip(ways, reach_mm, strict=True):
        beyond = corners @ way - reach
        if (beyond <= 0.0).all():
            continue
        kept = []
        for k in range(len(corners)):
            a, b = beyond[k - 1], beyond[k]
            if (a <= 0.0) != (b <= 0.0):
                kept.append(corners[k - 1] + a / (a - b) * (corners[k] - corners[k - 1]))
            if b <= 0.0:
                kept.append(corners[k])
        corners = np.array(kept).reshape(-1, 2)
        if len(corners) < 3:
            return np.zeros((0, 2))
    return corners


def joint_frame(toward: npt.ArrayLike, turn_deg: float) -> Frame:
    """Axes of a joint: `along` is the figure's x as far as `toward` allows, turned by an angle about it."""
    return frame_into(np.asarray(toward, np.float64)).turned(float(np.radians(turn_deg)))


def peg_sides(radius_mm: float) -> tuple[Values, Values]:
    """Ways (n, 2) and reach (n,) of a round peg with one flat, which looks along the first axis."""
    half = float(np.arccos(FLAT_SHARE)) + np.pi / SIDES
    turns = np.concatenate([[0.0], np.linspace(half, 2.0 * np.pi - half, SIDES)])
    reach = np.full(len(turns), radius_mm)
    reach[0] = FLAT_SHARE * radius_mm
    return np.column_stack([np.cos(turns), np.sin(turns)]), reach


def key_sides(width_mm: float, length_mm: float) -> tuple[Values, Values]:
    """Ways (4, 2) and reach (4,) of a rectangular key, its length along the first axis."""
    ways = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])
    return ways, 0.5 * np.array([length_mm, width_mm, length_mm, width_mm])


def plug_of(
    frame: Frame,
    place_mm: npt.ArrayLike,
    sides: tuple[Values, Values],
    *,
    depth_mm: float,
    draft_deg: float,
    lead_mm: float,
    root_mm: float,
) -> Plug:
    """A plug at a place, its sides as `peg_sides` or `key_sides` give them."""
    place = np.asarray(place_mm, np.float64)
    return Plug(
        place, frame.along, frame.across, frame.into, *sides,
        depth_mm=depth_mm, draft_deg=draft_deg, lead_mm=lead_mm, root_mm=root_mm,
    )  # fmt: skip


def directions_round() -> Values:
    """(n, 3) unit vectors spread over the ball, both poles among them."""
    found = [np.array([[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]])]
    for rise in np.linspace(-np.pi / 2.0, np.pi / 2.0, BALL_LEVELS + 2)[1:-1]:
        count = max(3, round(2 * (BALL_LEVELS + 1) * float(np.cos(rise))))
        turn = 2.0 * np.pi * np.arange(count) / count
        level = np.full(count, np.sin(rise))
        found.append(np.column_stack([np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn), level]))
    return np.concatenate(found)


def bed_of(
    points_mm: npt.ArrayLike, place_mm: npt.ArrayLike, toward: npt.ArrayLike, wider_mm: Values
) -> Manifold:
    """What is taken out of a piece so that another can be laid into it along a way.

    Parameters
    ----------
    points_mm : (k, 3)
        Corners of what the two have in common.
    place_mm, toward : (3,)
        The seat, beyond which nothing is taken, and the unit vector along which the other piece comes.
    wider_mm : (n,) float64
        How much wider than the points it is along each of `directions_round()`.

    Returns
    -------
    Manifold
        The convex solid over the points, over where they pass as the piece comes, and over that much more; up to the
        seat. Points beyond it are left out; empty where none lies before it.
    """
    points, place = np.asarray(points_mm, np.float64), np.asarray(place_mm, np.float64)
    way = np.asarray(toward, np.float64)
    levels = (points - place) @ way
    points, levels = points[levels <= ON_SEAT_MM], levels[levels <= ON_SEAT_MM]
    if not len(points) or levels.min() >= -ON_SEAT_MM:
        return Manifold()
    # out to where the outermost of them lies, all pass
    outermost = points + np.outer(levels.min() - levels, way)
    both = np.concatenate([points, outermost])
    core = hull_of(both)
    corners = np.array(core.to_mesh64().vert_properties, dtype=np.float64)[:, :3]
    if not len(corners):
        return Manifold()
    ball = wider_mm[:, None] * directions_round()
    wide = hull_of((corners[:, None] + ball[None]).reshape(-1, 3))
    return wide.trim_by_plane(tuple(-way), float(-(place @ way)))
