"""Two halves of a joint as they may come out of their moulds, and the play between them."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from manifold3d import Manifold

from firstcast.forecast.plane_growth import plane_growth_mm
from firstcast.geometry.body import Body
from firstcast.geometry.joints import Plug, hull_of
from firstcast.geometry.pieces import Piece
from firstcast.process.chain import ChainScenario
from firstcast.process.joints import Faces, faces_of, normals_in_print, size_errors, stretch_along
from firstcast.process.shrink import SizeStep

Values = npt.NDArray[np.float64]

OPENING_MM = 1.0
"""How far a socket's hollow goes on above its mouth."""

JAMMED_MM3 = 1e-9
"""Less of a peg outside of its socket is rounding: a cube of a micron."""


@dataclass(frozen=True)
class Half:
    """One of the two pieces of a joint.

    Attributes
    ----------
    piece : Piece
    body : Body
        In figure mm.
    matrix, turn : (3, 3) float64
        From figure to master; rotation from figure space to print space.
    steps : tuple of SizeStep
        In the figure's axes.
    chain : (low, likely, high)
    """

    piece: Piece
    body: Body
    matrix: Values
    turn: Values
    steps: tuple[SizeStep, ...]
    chain: tuple[ChainScenario, ...]

    def faces(self, normals: npt.ArrayLike) -> Faces:
        """How far faces with outward unit normals (n, 3) in the figure move on their way to the cast."""
        upward = normals_in_print(self.matrix, self.turn, normals)[:, 2]
        grown = np.array([plane_growth_mm(scenario, upward) for scenario in self.chain])
        return faces_of(grown, self.chain, stretch_along(self.matrix, normals))

    @property
    def sizes(self) -> tuple[Values, Values, Values]:
        """Figure → cast: low, likely, high."""
        return size_errors(self.steps)

    @property
    def calibrated(self) -> bool:
        """Whether all figures behind it are the maker's own or fitted."""
        return all(scenario.calibrated for scenario in self.chain) and all(
            ratio.calibrated for step in self.steps for ratio in step.shrink
        )


def peg_normals(plug: Plug) -> Values:
    """(n + 1, 3) outward normals of a peg's sides, and of its end."""
    return np.concatenate([plug.normals, plug.toward[None]])


def socket_normals(plug: Plug) -> Values:
    """(n + 1, 3) outward normals of what is round a socket's hollow: they look into it."""
    return -peg_normals(plug)


def peg_casts(master: Plug, half: Half) -> Iterator[tuple[Plug, Values]]:
    """A peg as cast, for every growth and every size: the plug about the figure's origin, and the map that it goes through.

    Parameters
    ----------
    master : Plug
        The peg in the master, in figure mm.
    """
    at_origin = replace(master, place_mm=np.zeros(3))
    moves = half.faces(peg_normals(master)).moves_mm
    for grown in moves:
        for size in half.sizes:
            yield at_origin.moved(grown[:-1], float(grown[-1])), size


def socket_casts(master: Plug, half: Half) -> Iterator[tuple[Plug, Values]]:
    """A socket's hollow as cast, likewise: what is round it grows into it."""
    at_origin = replace(master, place_mm=np.zeros(3))
    moves = half.faces(socket_normals(master)).moves_mm
    for grown in moves:
        for size in half.sizes:
            yield at_origin.moved(-grown[:-1], -float(grown[-1])), size


@dataclass(frozen=True)
class Play:
    """What a peg has to spare in its socket, over all ways in which both may come.

    Attributes
    ----------
    least_mm, likely_mm, most_mm : float
        Of the side that has least, in the worst and in the likely case; of the side that has most, at the other end.
    end_least_mm, end_most_mm : float
        Between the peg's end and the socket's floor.
    goes_in : bool
        Whether no part of the peg lies outside of the hollow, whichever way they come: by intersecting the solids.
    jammed_mm3 : float
        The most that does.
    tight_way : (3,) float64
        Outward normal of the side with the least play, in the figure.
    calibrated : bool
        Whether all figures behind it are the maker's own or fitted.
    """

    least_mm: float
    likely_mm: float
    most_mm: float
    end_least_mm: float
    end_most_mm: float
    goes_in: bool
    jammed_mm3: float
    tight_way: Values
    calibrated: bool


def play_between(peg_master: Plug, hollow_master: Plug, peg: Half, socket: Half) -> Play:
    """Both halves through their own chains, put together in every way.

    Parameters
    ----------
    peg_master, hollow_master : Plug
        As they are in the masters, in figure mm.
    """
    pegs = [_Cast.of(plug, size, 0.0) for plug, size in peg_casts(peg_master, peg)]
    hollows = [_Cast.of(plug, size, -OPENING_MM) for plug, size in socket_casts(hollow_master, socket)]
    sides = np.array([[hollow.room_for(one) for hollow in hollows] for one in pegs])
    ends = np.array([[hollow.end - one.end for hollow in hollows] for one in pegs])
    likely = len(pegs) // 2
    jammed = max(max(0.0, (one.solid - hollow.solid).volume()) for one in pegs for hollow in hollows)
    jams = jammed > JAMMED_MM3
    least = sides.min(axis=(0, 1))
    return Play(
        least_mm=float(least.min()),
        likely_mm=float(sides[likely, likely].min()),
        most_mm=float(sides.max()),
        end_least_mm=float(ends.min()),
        end_most_mm=float(ends.max()),
        goes_in=not jams,
        jammed_mm3=float(jammed),
        tight_way=peg_master.normals[int(least.argmin())],
        calibrated=peg.calibrated and socket.calibrated,
    )


@dataclass(frozen=True)
class _Cast:
    """One plug as cast, about the middle of its seat."""

    solid: Manifold
    corners: Values
    normals: Values
    reach: Values
    end: float

    @classmethod
    def of(cls, plug: Plug, size: Values, from_mm: float) -> "_Cast":
        corners = plug.corners(from_mm) @ size.T
        back = plug.normals @ np.linalg.inv(size)
        length = np.linalg.norm(back, axis=1)
        lean = np.cos(np.radians(plug.draft_deg))
        # a side's plane is n · x = reach · cos(draft), under the map: n A⁻¹ / |n A⁻¹|
        return cls(
            hull_of(corners),
            corners,
            back / length[:, None],
            plug.reach_mm * lean / length,
            float((corners @ plug.toward).max()),
        )

    def room_for(self, other: "_Cast") -> Values:
        """(n,) how far each of this hollow's sides stands from the nearest corner of what is put in."""
        return self.reach - (other.corners @ self.normals.T).max(axis=0)
