"""A piece: what is cast as one, the parts it is fused from, and what joins it to another."""

from dataclasses import dataclass
from typing import Literal

Place = tuple[float, float, float]


@dataclass(frozen=True)
class Side:
    """One side of a plane, in figure mm: what lies `toward` from `place_mm`. `toward` may have any length but 0."""

    place_mm: Place
    toward: Place


@dataclass(frozen=True)
class Piece:
    """A piece's name and its parts' names, in the order of the job file; and the side of a plane that it is cut to."""

    name: str
    parts: tuple[str, ...]
    keep: Side | None = None


@dataclass(frozen=True)
class JointWanted:
    """A joint as the job file asks for it.

    Attributes
    ----------
    name : str
    peg, socket : str
        The piece that bears the peg, and the one that it goes into.
    kind : "peg" or "key"
        Round with a flat, or rectangular.
    place_mm, toward : 3 floats or None
        Where its middle is, and the way from the peg's piece into the socket's, in figure mm. None: where the pieces are
        cut, at the place of the section that gives most room; across the cut.
    width_mm, length_mm, depth_mm : float or None
        Of the peg as it is cast: its diameter, or the key's lesser and greater width; how far it stands out. None: as the
        room of both pieces allows.
    turn_deg : float
        By how much it is turned about `toward`.
    play_mm : float or None
        Play on each side in the likely case; None: so much that the least play is kept at worst.
    """

    name: str
    peg: str
    socket: str
    kind: Literal["peg", "key"] = "peg"
    place_mm: Place | None = None
    toward: Place | None = None
    width_mm: float | None = None
    length_mm: float | None = None
    depth_mm: float | None = None
    turn_deg: float = 0.0
    play_mm: float | None = None
