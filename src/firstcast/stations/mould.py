"""The mould station: which way the mould opens, what rubber it holds, and what that asks of it.

Two halves are pulled apart along one line, the gate in the parting between them. What can leave neither way is locked: rubber is flexed and
peeled off such places, so they are watched and ranked by what tears first; a hard tool lets nothing pass. A block that is cut
open has no pull; what is locked is read along its best one all the same.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from pydantic import Field, field_validator

from firstcast.findings import Measure
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.zones import Zone
from firstcast.moulding.draft import Undrafted, undrafted
from firstcast.moulding.held import Held, hold
from firstcast.moulding.hollows import Hollows, Room, find_hollows, room_round
from firstcast.moulding.locks import Lock, locks_of
from firstcast.moulding.parts import Parts
from firstcast.moulding.pull import PullLandscape, pull_ground, search_pull, way_words
from firstcast.moulding.tongues import Tongue, find_tongues
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.stations.mould_findings import Opened, PullWay, TongueTold, mould_findings
from firstcast.vocabulary import ProcessKind

MARGIN_MM = 3.0
"""Room round the body in which widths are read."""

LEAST_PITCH_MM, MOST_VOXELS = 0.2, 4_000_000
"""Finest voxels, and how many of them the body's box may take: a figure of 60 mm is read at 0.25 mm or so."""

KEPT, SHOWN = 4, 3
"""Ways of opening that are read in full, and shown."""

TONGUE_RATIO = 4.0
"""Depth over base from which a tongue of rubber is told. Common practice, no source."""

MOST_BASE_MM = 3.0
"""Thicker tongues are no tongues. Chosen, no source."""

Way = tuple[float, float, float]


class Settings(StationSettings):
    """Which way the mould opens: the job file's [mould]."""

    pull: Way | None = None
    """The pull in the figure's axes, [x, y, z] of any length, in place of the search; [0, 1, 0] opens it front to back."""
    gate: Way = (0.0, 0.0, -1.0)
    """The way the gate, and the tab with it, leaves the mould. The pull is at right angles to it."""
    gate_within_deg: float = Field(default=10.0, ge=0.0, le=90.0)
    """How far from a right angle to the gate the pull may be; 90 leaves it free."""
    directions: int = Field(default=600, ge=100, le=5000)
    """How many pulls of the half-sphere are read."""
    pitch_mm: float | None = Field(default=None, ge=0.05, le=1.0)
    """Side of the voxels in which locked rubber is read; left out, 0.2 mm, or more for a large figure."""
    least_mm3: float = Field(default=0.5, gt=0.0)
    """Less locked rubber in one place is counted, not told: it flexes out, or tears off once as flash."""
    tongue_ratio: float | None = Field(default=None, gt=0.0)
    """Depth over base from which a tongue of rubber is a stop. Left out, tongues are told from 4 on and watched."""
    most_findings: int = Field(default=8, ge=1, le=100)
    """How many findings of a kind are told one by one; the rest are counted in one."""

    @field_validator("pull", "gate")
    @classmethod
    def _has_a_direction(cls, way: Way | None) -> Way | None:
        if way is not None and not np.linalg.norm(way) > 0.0:
            raise ValueError("it has no direction. Give [x, y, z] that are not all zero.")
        return way


@dataclass(frozen=True, kw_only=True)
class Moulded(StationResult):
    """What mould gives.

    Attributes
    ----------
    pull : (3,) float64
        Of length 1, in figure space; a half leaves along it, the other against it. Zeros where there is no mould.
    directions : (n, 3) float32
        Pulls that were read; a pull and its opposite are the same.
    locked_mm3 : (n,) float32
        What each locks.
    allowed : (n,) bool
        Whether the gate lies in the parting.
    ways : tuple of PullWay
        The best ways to open it, the chosen one first.
    locks : tuple of Lock
        What the chosen pull holds, what can't leave and what tears first at the front.
    tongues : tuple of TongueTold
        Thin deep projections of mould material, the most slender first.
    lock_of_vertex : (v,) int32
        For each vertex of the body the row of `locks` that it touches; -1 for none.
    locked_of_vertex : (v,) float32
        Volume of that lock, mm3; 0 for none.
    """

    pull: npt.NDArray[np.float64]
    directions: npt.NDArray[np.float32]
    locked_mm3: npt.NDArray[np.float32]
    allowed: npt.NDArray[np.bool_]
    ways: tuple[PullWay, ...] = ()
    locks: tuple[Lock, ...] = ()
    tongues: tuple[TongueTold, ...] = ()
    lock_of_vertex: npt.NDArray[np.int32]
    locked_of_vertex: npt.NDArray[np.float32]


def mould(
    *,
    piece: str,
    body: Body,
    limits: Limits,
    materials: Materials,
    zones: tuple[Zone, ...],
    settings: Settings,
) -> Moulded:
    """Search the pull, read what it locks, and tell what that asks of the mould.

    Parameters
    ----------
    piece : str
    body : Body
        In figure space, millimetres; closed and outward, without its tab.
    limits : Limits
        The kind of process, and the draft that a hard tool asks for.
    materials : Materials
        What the mould is made of.
    zones : tuple of Zone
        Not used yet: they will keep the parting away from precious places.
    """
    if limits.kind is ProcessKind.PRINT_ONLY:
        return _nothing(body, "the print is the product, so there is no mould")
    if not len(body.mesh.triangles):
        return _nothing(body, "there is nothing to mould")
    pitch = settings.pitch_mm or _pitch_mm(body.mesh)
    landscape = search_pull(
        pull_ground(body.mesh), settings.gate, directions=settings.directions,
        within_deg=settings.gate_within_deg, keep=KEPT,
    )  # fmt: skip
    room = room_round(body.mesh, pitch, MARGIN_MM)
    hollows = find_hollows(room, settings.least_mm3)
    reading = _Reading(body, room, hollows, Parts(body), materials, settings.least_mm3, pitch)
    ways, held, locks, numbers = _opened(landscape, reading, settings)
    tongues = _tongues(room, reading.parts, settings)
    drafts: tuple[Undrafted, ...] = ()
    if not limits.locks_allowed:
        drafts = undrafted(body, ways[0].pull, limits.draft_deg.likely)
    opened = Opened(piece, body, ways, locks, tongues, drafts, _given_ratio(settings))
    lock_of_vertex = _lock_of_vertex(body.mesh, held, numbers)
    volumes = np.array([0.0, *(lock.volume_mm3 for lock in locks)], np.float32)
    return Moulded(
        pull=np.array(ways[0].pull),
        directions=landscape.pulls.astype(np.float32),
        locked_mm3=landscape.locked_mm3.astype(np.float32),
        allowed=landscape.allowed,
        ways=ways,
        locks=locks,
        tongues=tongues,
        lock_of_vertex=lock_of_vertex,
        locked_of_vertex=volumes[lock_of_vertex + 1],
        says=_says(ways, locks, limits),
        findings=tuple(mould_findings(opened, limits, materials, most=settings.most_findings)),
        measures=_measures(ways[0], locks, tongues, held),
    )


def _nothing(body: Body, says: str) -> Moulded:
    count = len(body.mesh.points)
    return Moulded(
        pull=np.zeros(3),
        directions=np.zeros((0, 3), np.float32),
        locked_mm3=np.zeros(0, np.float32),
        allowed=np.zeros(0, np.bool_),
        lock_of_vertex=np.full(count, -1, np.int32),
        locked_of_vertex=np.zeros(count, np.float32),
        says=says,
    )


def _pitch_mm(mesh: Mesh) -> float:
    low, high = mesh.bounds
    box = float(np.prod(high - low + 2.0 * MARGIN_MM))
    return max(LEAST_PITCH_MM, float(np.cbrt(box / MOST_VOXELS)))


def _given_ratio(settings: Settings) -> tuple[float, bool]:
    return (settings.tongue_ratio or TONGUE_RATIO, settings.tongue_ratio is not None)


@dataclass(frozen=True)
class _Reading:
    """What all pulls of a body are read with."""

    body: Body
    room: Room
    hollows: Hollows
    parts: Parts
    materials: Materials
    least_mm3: float
    pitch_mm: float

    def along(self, pull) -> tuple[Held, tuple[Lock, ...], npt.NDArray[np.int32]]:
        held = hold(self.body.mesh, pull, self.pitch_mm)
        locks, numbers = locks_of(
            held, self.room, self.hollows, self.parts, self.materials.mould, least_mm3=self.least_mm3
        )
        return held, locks, numbers


def _opened(landscape: PullLandscape, reading: _Reading, settings: Settings):
    """The ways to open it, the chosen one first, and what that one holds."""
    if settings.pull is not None:
        given = np.asarray(settings.pull, np.float64)
        pulls = [given / np.linalg.norm(given), *landscape.best[:SHOWN]]
    else:
        pulls = list(landscape.best)
    ways = []
    kept = None
    for n, pull in enumerate(pulls):
        held, locks, numbers = reading.along(pull)
        way = _way(pull, held, locks, settings, gate_in_parting=n > 0 or settings.pull is None)
        first = settings.pull is not None and n == 0
        if kept is None or (settings.pull is None and way.weight_mm3 < kept[0].weight_mm3):
            kept = (way, held, locks, numbers)
        ways.append((not first, way))
    assert kept is not None
    order = sorted(ways, key=lambda each: (each[0], each[1].weight_mm3))
    shown = [way for _, way in order][:SHOWN]
    # the best of all, wherever the gate is, if it locks less
    axis = np.asarray(settings.gate) / np.linalg.norm(settings.gate)
    if landscape.free_mm3 < min(landscape.best_mm3, default=np.inf) and not _in_parting(
        landscape.free, axis, settings
    ):
        held, locks, _ = reading.along(landscape.free)
        shown.append(_way(landscape.free, held, locks, settings, gate_in_parting=False))
    return tuple(shown), *kept[1:]


def _in_parting(pull, axis, settings: Settings) -> bool:
    return abs(float(pull @ axis)) <= np.sin(np.radians(settings.gate_within_deg)) + 1e-9


def _way(pull, held: Held, locks: tuple[Lock, ...], settings: Settings, *, gate_in_parting: bool) -> PullWay:
    x, y, z = (float(c) for c in pull)
    captive = sum(lock.captive for lock in locks)
    words = f"{way_words(pull)}: {held.locked_mm3:.0f} mm³ locked in {len(locks)} places"
    if captive:
        words += f", {captive} of them linked up through a hole"
    worst = max((lock.share for lock in locks if not lock.captive), default=0.0)
    if worst > 0.0:
        words += f"; what else stretches most asks for {worst:.2g} of what the rubber bears"
    return PullWay(
        (x, y, z), held.locked_mm3, sum(lock.weight_mm3 for lock in locks), len(locks), captive, worst,
        gate_in_parting, words,
    )  # fmt: skip


def _tongues(room: Room, parts: Parts, settings: Settings) -> tuple[TongueTold, ...]:
    ratio, _ = _given_ratio(settings)
    found = find_tongues(room, least_ratio=ratio, most_base_mm=MOST_BASE_MM, least_mm3=settings.least_mm3)
    return tuple(_told(tongue, room, parts) for tongue in found)


def _told(tongue: Tongue, room: Room, parts: Parts) -> TongueTold:
    part, words = parts.beside(room.origin_mm + tongue.voxels * room.pitch_mm)
    return TongueTold(part, words, tongue.place_mm, tongue.base_mm, tongue.depth_mm, tongue.volume_mm3)


def _lock_of_vertex(mesh: Mesh, held: Held, numbers) -> npt.NDArray[np.int32]:
    """(v,) int32: the lock just outside of each vertex, -1 for none."""
    corners = mesh.corners
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    count = len(mesh.points)
    out = np.column_stack(
        [
            np.bincount(mesh.triangles.ravel(), weights=np.repeat(normal[:, k], 3), minlength=count)
            for k in range(3)
        ]
    )
    out /= np.maximum(np.linalg.norm(out, axis=1), 1e-30)[:, None]
    points = np.asarray(mesh.points, np.float64)
    number = np.zeros(count, np.int32)
    for pitches in (0.75, 1.5):
        there = numbers[tuple(held.voxels_at(points + pitches * held.pitch_mm * out).T)]
        number = np.where(number > 0, number, there)
    return (number - 1).astype(np.int32)


def _says(ways: tuple[PullWay, ...], locks: tuple[Lock, ...], limits: Limits) -> str:
    opens = {
        ProcessKind.CUT_BLOCK: "a block that is cut open has no pull; opened along the best one it would be ",
        ProcessKind.HARD_TOOL: "the tool opens ",
    }.get(limits.kind, "opens ")
    return f"{opens}{ways[0].words}"


def _measures(way: PullWay, locks: tuple[Lock, ...], tongues, held: Held) -> tuple[Measure, ...]:
    return (
        Measure("locked", way.locked_mm3, "mm3", "mould material that can leave neither way"),
        Measure("places that hold rubber", float(len(locks)), "count", "of at least [mould] least_mm3"),
        Measure("captive places", float(way.captive), "count", "linked up through a hole"),
        Measure("holes along the pull", held.holes_mm2, "mm2", "in which the halves meet"),
        Measure("tongues", float(len(tongues)), "count", "thin and deep"),
        Measure("worst stretch", way.worst_share, "ratio", "of what the rubber bears, as it is likely"),
    )  # fmt: skip
