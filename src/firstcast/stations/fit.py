"""The fit station: pegs and keys that hold cast pieces together, their sockets, and the beds in which pieces lie.

Every joint of the job is made in the figure's millimetres, as the castings should be; what print, primer and shrinkage will do
to each of its faces is taken off beforehand, and both pieces are put together as they may come. Join adds pegs to the
masters and takes sockets out of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from pydantic import Field

from firstcast.findings import Finding, Measure
from firstcast.forecast.joint_casts import Half, Play, play_between
from firstcast.forecast.joint_seats import Bed, Seat, bed_between, seat_of
from firstcast.forecast.joint_sizes import Sized, measured, sized_joint
from firstcast.geometry.body import Body
from firstcast.geometry.fittings import Fitting
from firstcast.geometry.joints import Plug
from firstcast.geometry.pieces import JointWanted, Piece
from firstcast.geometry.solids import from_manifold
from firstcast.process.chain import ChainScenario
from firstcast.process.extent_spread import in_figure_axes
from firstcast.process.limits import Limits
from firstcast.process.shrink import SizeStep
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.stations.fit_findings import Found, findings_of

STOUT_WALLS = 2.0
"""A peg is stout from so many least walls on. A slimmer one breaks sooner than a tight one has to be filed. Chosen, no source."""

FIRM_GAP_MM = 0.2
"""Where a piece is slim the gap of a side is narrowed down to this to get a stout peg. Chosen, no source."""

GAP_STEPS = 5
"""Gaps tried between the two."""


class Settings(StationSettings):
    """The job file's [fit]: what all joints have in common. Lengths are those of the castings."""

    least_play_mm: float = Field(default=0.03, ge=0.0, le=1.0)
    """Play on each side that is left at worst."""
    widest_gap_mm: float = Field(default=0.6, gt=0.0, le=2.0)
    """Widest gap on a side that is made for what is not sure; what would take more is told, and filed on the master.

    Where a piece is slim it is made less, down to `FIRM_GAP_MM`, if that gives a stout peg; only then are walls made thinner.
    Wide enough for what the shipped figures of light may do: glue fills a loose joint, a jammed one is filed by hand.
    """
    loose_mm: float = Field(default=0.3, gt=0.0, le=5.0)
    """Play on a side from which it is told."""
    end_gap_mm: float = Field(default=0.1, ge=0.0, le=2.0)
    """Least gap between a peg's end and the floor of its socket."""
    draft_deg: float = Field(default=2.0, ge=0.0, le=20.0)
    """Lean of the sides of pegs and sockets, unless the mould asks for more."""


@dataclass(frozen=True)
class Joint:
    """A joint as it was made, in figure mm as the castings should be.

    Attributes
    ----------
    name, peg, socket, kind : str
    place_mm, toward : (3,) float64
        The middle of the seat, and the way from the peg's piece into the socket's.
    peg_cast, socket_cast : Plug
        As cast in the likely case.
    play : Play
    wall_mm, floor_mm, root_mm : float
        Least wall round the socket and under its floor; least wall round the peg's root in its own piece.
    bed_mm3 : float
        What is taken out of the socket's piece for the other to lie in.
    """

    name: str
    peg: str
    socket: str
    kind: str
    place_mm: npt.NDArray[np.float64]
    toward: npt.NDArray[np.float64]
    peg_cast: Plug
    socket_cast: Plug
    play: Play
    wall_mm: float
    floor_mm: float
    root_mm: float
    bed_mm3: float


@dataclass(frozen=True, kw_only=True)
class Fitted(StationResult):
    """What fit gives.

    Attributes
    ----------
    joints : tuple of Joint
        Those that could be made.
    fittings : tuple of Fitting
        Of all pieces.
    """

    joints: tuple[Joint, ...] = ()
    fittings: tuple[Fitting, ...] = ()


def fit(
    *,
    joints: tuple[JointWanted, ...],
    pieces: tuple[Piece, ...],
    bodies: tuple[Body, ...],
    matrices: tuple[npt.NDArray[np.float64], ...],
    turns: tuple[npt.NDArray[np.float64], ...],
    chain: tuple[ChainScenario, ...],
    size_steps: tuple[SizeStep, ...],
    limits: Limits,
    settings: Settings,
) -> Fitted:
    """The fittings that hold the pieces of a job together.

    Parameters
    ----------
    joints : tuple of JointWanted
    pieces : tuple of Piece
    bodies, matrices, turns : one for each piece
        The body in figure mm; (3, 3) from figure to master; (3, 3) rotation from figure space to print space.
    chain : (low, likely, high)
    size_steps : tuple of SizeStep
        From the file to the cast.
    limits : Limits
    """
    row = {piece.name: number for number, piece in enumerate(pieces)}

    def half_of(name: str) -> Half:
        k = row[name]
        steps = in_figure_axes(size_steps, turns[k])
        return Half(pieces[k], bodies[k], np.asarray(matrices[k], np.float64), turns[k], steps, chain)

    made: list[Joint] = []
    fittings: list[Fitting] = []
    findings: list[Finding] = []
    for wanted in joints:
        joint, parts, found = _made(wanted, half_of(wanted.peg), half_of(wanted.socket), limits, settings)
        findings += found
        fittings += parts
        if joint is not None:
            made.append(joint)
    return Fitted(
        joints=tuple(made),
        fittings=tuple(fittings),
        says=_says(joints, made),
        findings=tuple(findings),
        measures=tuple(measure for joint in made for measure in _measures(joint)),
    )


def _made(
    wanted: JointWanted, peg: Half, socket: Half, limits: Limits, settings: Settings
) -> tuple[Joint | None, list[Fitting], list[Finding]]:
    """One joint, its fittings, and what was found of it."""
    seat = seat_of(wanted, peg, socket, limits.wall_mm.likely)
    if not seat.meets:
        return None, [], findings_of(Found(wanted, seat), limits, settings.loose_mm)
    sized = _sized(wanted, seat, peg, socket, limits, settings)
    if sized.peg is None or sized.socket is None or sized.peg_master is None or sized.hollow_master is None:
        return None, [], findings_of(Found(wanted, seat, sized), limits, settings.loose_mm)
    bed = bed_between(seat, peg, socket, settings.least_play_mm, settings.widest_gap_mm)
    play = play_between(sized.peg_master, sized.hollow_master, peg, socket)
    joint = Joint(
        name=wanted.name, peg=wanted.peg, socket=wanted.socket, kind=wanted.kind, place_mm=sized.peg.place_mm,
        toward=sized.peg.toward, peg_cast=sized.peg, socket_cast=sized.socket, play=play, wall_mm=sized.wall_mm,
        floor_mm=sized.floor_mm, root_mm=sized.root_mm, bed_mm3=bed.volume_mm3,
    )  # fmt: skip
    fittings = _fittings(joint, sized, bed, peg, socket)
    return joint, fittings, findings_of(Found(wanted, seat, sized, play, bed), limits, settings.loose_mm)


def _sized(
    wanted: JointWanted, seat: Seat, peg: Half, socket: Half, limits: Limits, settings: Settings
) -> Sized:
    """Peg and socket with the thickest walls, then the widest gap, that leave a stout peg; else some peg; else none.

    A peg that binds is filed in a minute. A wall that was made too thin stays so, on every casting.
    """
    most = settings.widest_gap_mm
    stout_mm = STOUT_WALLS * limits.wall_mm.low
    given = wanted.width_mm is not None or wanted.play_mm is not None
    slim = None
    for wall_mm in (limits.wall_mm.likely, limits.wall_mm.low):
        for most_mm in np.linspace(most, min(most, FIRM_GAP_MM), GAP_STEPS):
            sized = sized_joint(
                wanted, seat, peg, socket, limits, wall_mm=wall_mm,
                least_mm=settings.least_play_mm, most_mm=float(most_mm), end_mm=settings.end_gap_mm,
                draft_deg=max(settings.draft_deg, limits.draft_deg.likely),
            )  # fmt: skip
            if sized.peg is not None and (given or sized.peg.width_mm >= stout_mm):
                return measured(sized, peg, socket)
            slim = sized if slim is None or slim.peg is None else slim
    assert slim is not None
    return slim if slim.peg is None else measured(slim, peg, socket)


def _fittings(joint: Joint, sized: Sized, bed: Bed, peg: Half, socket: Half) -> list[Fitting]:
    """The peg, and what is taken out of the other piece: the socket with the bed that it opens into, other beds."""
    assert sized.peg_master is not None
    assert sized.hollow_master is not None
    added = from_manifold(sized.peg_master.solid(peg.matrix))
    hollow = sized.hollow_master.solid(socket.matrix)
    for solid in bed.solids:
        hollow = hollow + solid.transform(np.column_stack([socket.matrix, np.zeros(3)]))
    into = joint.toward
    found = [Fitting(joint.peg, f"{joint.name} {joint.kind}", True, added, -(peg.matrix @ into))]
    for number, solid in enumerate(sorted(hollow.decompose(), key=lambda one: -one.volume())):
        name = f"{joint.name} socket" if number == 0 else f"{joint.name} bed {number}"
        found.append(Fitting(joint.socket, name, False, from_manifold(solid), socket.matrix @ into))
    return found


def _says(joints: Sequence[JointWanted], made: Sequence[Joint]) -> str:
    """The station's line on the route card."""
    if not joints:
        return "no joints"
    told = [
        f"'{joint.name}': {joint.kind} of {joint.peg_cast.words}, play {joint.play.least_mm:.2f} to "
        f"{joint.play.most_mm:.2f} mm on each side"
        for joint in made
    ]
    missing = len(joints) - len(made)
    return "; ".join([*told, *([f"{missing} of {len(joints)} could not be made"] if missing else [])])


def _measures(joint: Joint) -> tuple[Measure, ...]:
    """The joint in figures."""
    name = f"joint {joint.name}"
    return (
        Measure(
            f"{name} peg", joint.peg_cast.width_mm, "mm", f"width, {joint.peg_cast.depth_mm:.2f} mm deep"
        ),
        Measure(f"{name} least play", joint.play.least_mm, "mm", "each side, at worst"),
        Measure(f"{name} most play", joint.play.most_mm, "mm", "each side, at worst"),
        Measure(f"{name} wall", joint.wall_mm, "mm", "least, round the socket"),
        Measure(f"{name} bed", joint.bed_mm3, "mm³", "taken out for the other piece to lie in"),
    )
