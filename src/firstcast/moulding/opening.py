"""A body read along its pulls: what each way of opening the mould holds, weighed against the others."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh
from firstcast.moulding.fill_window import ROOM_MM
from firstcast.moulding.held import Held, hold
from firstcast.moulding.hollows import Hollows, Room, find_hollows, room_round
from firstcast.moulding.locks import Lock, locks_of
from firstcast.moulding.parts import Parts
from firstcast.moulding.pull import PullLandscape, way_words
from firstcast.moulding.rings import FinerLook
from firstcast.process.materials import Mould

SHOWN = 3
"""Ways of opening that are told."""


@dataclass(frozen=True)
class PullWay:
    """A way to open the mould.

    Attributes
    ----------
    pull : (float, float, float)
        Of length 1.
    locked_mm3, weight_mm3 : float
        What it locks, and that weighted by what the rubber can bear (`Lock.weight_mm3`).
    places, captive : int
        Locked places that are told, and how many of them link up through a hole.
    worst_share : float
        The greatest stretch over what the rubber bears.
    gate_in_parting : bool
    words : str
        The way and the reasons, in the maker's words.
    """

    pull: tuple[float, float, float]
    locked_mm3: float
    weight_mm3: float
    places: int
    captive: int
    worst_share: float
    gate_in_parting: bool
    words: str


class Gate(NamedTuple):
    """The way the gate leaves the mould, of any length, and how far from a right angle to it a pull may be."""

    way: tuple[float, float, float]
    within_deg: float

    def in_parting(self, pull: npt.ArrayLike) -> bool:
        """Whether a pull, of length 1, leaves the gate in the parting."""
        axis = np.asarray(self.way, np.float64) / np.linalg.norm(self.way)
        return abs(float(np.asarray(pull) @ axis)) <= np.sin(np.radians(self.within_deg)) + 1e-9


class Along(NamedTuple):
    """A pull as it was read: the voxels, the places that hold, and the number of each voxel's place, from 1."""

    way: PullWay
    held: Held
    locks: tuple[Lock, ...]
    numbers: npt.NDArray[np.int32]

    def voxels_mm(self, lock: Lock) -> npt.NDArray[np.float64]:
        """(k, 3) the places of a lock's voxels."""
        return self.held.places_mm(np.argwhere(self.numbers == 1 + self.locks.index(lock)))


@dataclass(frozen=True)
class BodyReading:
    """What all pulls of a body are read with."""

    mesh: Mesh
    room: Room
    hollows: Hollows
    parts: Parts
    mould: Mould
    least_mm3: float
    pitch_mm: float

    def along(self, pull: npt.ArrayLike, gate: Gate | None = None) -> Along:
        """Read one pull; without a gate it lies in the parting whatever the pull."""
        held = hold(self.mesh, pull, self.pitch_mm)
        locks, numbers = locks_of(
            held, self.room, self.hollows, self.parts, self.mould, least_mm3=self.least_mm3,
            finer=FinerLook(self.mesh, held),
        )  # fmt: skip
        in_parting = gate is None or gate.in_parting(pull)
        return Along(_way(np.asarray(pull, np.float64), held, locks, in_parting), held, locks, numbers)


def read_body(mesh: Mesh, parts: Parts, mould: Mould, *, pitch_mm: float, least_mm3: float) -> BodyReading:
    """Make a closed outward mesh ready to be read along pulls; `parts` name what lies beside a place.

    Raises
    ------
    InputError
        The mesh is empty or isn't closed.
    SizeError
        The voxels would not fit this machine.
    """
    room = room_round(mesh, pitch_mm, ROOM_MM)
    return BodyReading(mesh, room, find_hollows(room, least_mm3), parts, mould, least_mm3, pitch_mm)


def best_way(reading: BodyReading, pulls: Iterable[npt.ArrayLike]) -> tuple[Along, list[PullWay]]:
    """The pull that weighs least, and all of them from the lightest up. They leave the gate in the parting."""
    kept: Along | None = None
    ways = []
    for pull in pulls:
        along = reading.along(pull)
        ways.append(along.way)
        if kept is None or along.way.weight_mm3 < kept.way.weight_mm3:
            kept = along
    assert kept is not None
    return kept, sorted(ways, key=lambda way: way.weight_mm3)


def ways_to_open(
    reading: BodyReading, landscape: PullLandscape, gate: Gate, given: npt.ArrayLike | None
) -> tuple[Along, tuple[PullWay, ...]]:
    """What is held along the given pull, or else along the best one; and the ways to show, that one first.

    The best of all wherever the gate is comes last, if it locks less than all that may be.
    """
    best: Sequence[npt.NDArray[np.float64]] = list(landscape.best)
    if given is None:
        chosen, shown = best_way(reading, best)
    else:
        pull = np.asarray(given, np.float64)
        chosen = reading.along(pull / np.linalg.norm(pull), gate)
        shown = [chosen.way, *best_way(reading, best[: SHOWN - 1])[1]]
    shown = shown[:SHOWN]
    free = landscape.free
    if landscape.free_mm3 < min(landscape.best_mm3, default=np.inf) and not gate.in_parting(free):
        shown.append(reading.along(free, gate).way)
    return chosen, tuple(shown)


def _way(pull, held: Held, locks: tuple[Lock, ...], in_parting: bool) -> PullWay:
    x, y, z = (float(c) for c in pull)
    captive = sum(lock.captive for lock in locks)
    words = f"{way_words(pull)}: {held.locked_mm3:.0f} mm³ locked in {len(locks)} places"
    if captive:
        words += f", {captive} of them linked up through a hole"
    worst = max((lock.share for lock in locks if not lock.captive), default=0.0)
    if worst > 0.0:
        words += f"; what else stretches most asks for {worst:.2g} of what the rubber bears"
    weight = sum(lock.weight_mm3 for lock in locks)
    return PullWay((x, y, z), held.locked_mm3, weight, len(locks), captive, worst, in_parting, words)
