"""The mould station: which way the mould opens, what rubber it holds, and what that asks of it.

Two halves are pulled apart along one line, the gate in the parting between them. What can leave neither way is locked: rubber is flexed and
peeled off such places, so they are watched and ranked by what tears first; a hard tool lets nothing pass. A block that is cut
open has no pull; what is locked is read along its best one all the same.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.findings import Measure, MendOrder
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.normals import vertex_normals
from firstcast.geometry.zones import Zone
from firstcast.moulding.fill import Fill
from firstcast.moulding.fill_window import ROOM_MM
from firstcast.moulding.knife import KnifeCut
from firstcast.moulding.locks import Lock
from firstcast.moulding.opening import Gate, PullWay, read_body, ways_to_open
from firstcast.moulding.parting import Parting
from firstcast.moulding.parts import Parts
from firstcast.moulding.pull import pull_ground, search_pull
from firstcast.moulding.reading import Read, read_of
from firstcast.moulding.tongues_told import TongueTold
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials
from firstcast.stations.contract import StationResult
from firstcast.stations.mould_findings import mould_findings, seam_findings
from firstcast.stations.mould_looks import Bench, Look
from firstcast.stations.mould_settings import Settings
from firstcast.vocabulary import ProcessKind

LEAST_PITCH_MM, MOST_VOXELS = 0.2, 8_000_000
"""Finest voxels, and how many of them the body's box may take: that bounds time and memory whatever the size. A slender figure of 75 mm is
read at 0.3 mm, one of 150 mm at 0.55 mm or so."""

KEPT = 4
"""Ways of opening that are read in full."""


@dataclass(frozen=True, kw_only=True)
class Moulded(StationResult):
    """What mould gives.

    Attributes
    ----------
    body : Body
        The piece's body as it goes on: with the fills that the job file asks for.
    pull : (3,) float64
        Of length 1, in figure space; a half leaves along it, the other against it. Zeros where there is no mould.
    pitch_mm, least_mm3 : float
        Side of the voxels, and the least volume that counts.
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
    mended : tuple of str
        Ids of the findings that were there before the fills and are no more.
    fills : tuple of Fill
        Those that were made.
    parting : Parting or None
        Where the halves meet; None for a block that is cut open, and where there is no mould.
    knife : KnifeCut or None
        The line that a block is cut open along.
    """

    body: Body
    pull: npt.NDArray[np.float64]
    pitch_mm: float
    least_mm3: float
    directions: npt.NDArray[np.float32]
    locked_mm3: npt.NDArray[np.float32]
    allowed: npt.NDArray[np.bool_]
    ways: tuple[PullWay, ...] = ()
    locks: tuple[Lock, ...] = ()
    tongues: tuple[TongueTold, ...] = ()
    lock_of_vertex: npt.NDArray[np.int32]
    locked_of_vertex: npt.NDArray[np.float32]
    mended: tuple[str, ...] = ()
    fills: tuple[Fill, ...] = ()
    parting: Parting | None = None
    knife: KnifeCut | None = None


def mould(
    *,
    piece: str,
    body: Body,
    limits: Limits,
    materials: Materials,
    zones: tuple[Zone, ...],
    mends: tuple[MendOrder, ...],
    lattice_mm: npt.NDArray[np.float64],
    settings: Settings,
) -> Moulded:
    """Search the pull, read what it locks, fill what the job file asks for, and find where the halves meet.

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
        Nothing is filled in those that mean no change, nor in precious ones that aren't released; the seam keeps out of
        precious ones.
    mends : tuple of MendOrder
        What the job file wants mended.
    lattice_mm : (3,) float64
        Pitch of the lattice on which fuse made the body.
    """
    if limits.kind is ProcessKind.PRINT_ONLY:
        return _nothing(body, "the print is the product, so there is no mould")
    if not len(body.mesh.triangles):
        return _nothing(body, "there is nothing to mould")
    gate = Gate(settings.gate, settings.gate_within_deg)
    landscape = search_pull(
        pull_ground(body.mesh), gate.way, directions=settings.directions, within_deg=gate.within_deg, keep=KEPT
    )  # fmt: skip
    pitch = settings.pitch_mm or pitch_of(body.mesh)
    reading = read_body(body.mesh, Parts(body), materials.mould, pitch_mm=pitch, least_mm3=settings.least_mm3)
    along, ways = ways_to_open(reading, landscape, gate, settings.pull)
    bench = Bench(piece, limits, materials, zones, lattice_mm, settings, ways, mends)
    last = bench.looked_at(body, read_of(reading, along, bench.bounds))
    lock_of_vertex = _lock_of_vertex(last.body.mesh, last.read)
    volumes = np.array([0.0, *(lock.volume_mm3 for lock in last.read.locks)], np.float32)
    parting, knife = bench.parted(last)
    return Moulded(
        body=last.body,
        pull=np.array(ways[0].pull),
        pitch_mm=pitch,
        least_mm3=settings.least_mm3,
        directions=landscape.pulls.astype(np.float32),
        locked_mm3=landscape.locked_mm3.astype(np.float32),
        allowed=landscape.allowed,
        ways=ways,
        locks=last.read.locks,
        tongues=last.opened.tongues,
        lock_of_vertex=lock_of_vertex,
        locked_of_vertex=volumes[lock_of_vertex + 1],
        mended=last.mended,
        fills=last.taken,
        parting=parting,
        knife=knife,
        says=_says(ways, last, knife),
        findings=(
            *mould_findings(last.opened, last.told, last.proposed, limits, most=settings.most_findings),
            *seam_findings(piece, parting, knife),
        ),
        measures=_measures(last, parting),
    )


def _nothing(body: Body, says: str) -> Moulded:
    count = len(body.mesh.points)
    return Moulded(
        body=body,
        pull=np.zeros(3),
        pitch_mm=0.0,
        least_mm3=0.0,
        directions=np.zeros((0, 3), np.float32),
        locked_mm3=np.zeros(0, np.float32),
        allowed=np.zeros(0, np.bool_),
        lock_of_vertex=np.full(count, -1, np.int32),
        locked_of_vertex=np.zeros(count, np.float32),
        says=says,
    )


def pitch_of(mesh: Mesh) -> float:
    """Side of the voxels, in mm, in which a body is read where the job doesn't say."""
    low, high = mesh.bounds
    box = float(np.prod(high - low + 2.0 * ROOM_MM))
    return max(LEAST_PITCH_MM, float(np.cbrt(box / MOST_VOXELS)))


def _lock_of_vertex(mesh: Mesh, read: Read) -> npt.NDArray[np.int32]:
    """(v,) int32: the lock just outside of each vertex, -1 for none."""
    held = read.held
    out, count = vertex_normals(mesh), len(mesh.points)
    points = np.asarray(mesh.points, np.float64)
    number = np.zeros(count, np.int32)
    for pitches in (0.75, 1.5):
        there = read.numbers[tuple(held.voxels_at(points + pitches * held.pitch_mm * out).T)]
        number = np.where(number > 0, number, there)
    return (number - 1).astype(np.int32)


def _says(ways: tuple[PullWay, ...], look: Look, knife: KnifeCut | None) -> str:
    opens = "the tool opens " if not look.bounds.stretches else "opens "
    if knife is not None:
        opens = (
            f"{knife.words[0]} A block that is cut open has no pull; opened along the best one it would be "
        )
    count = len(look.taken)
    fills = f"; {count} fill{'s' if count > 1 else ''} of {look.added_mm3:.1f} mm³ made" if count else ""
    return f"{opens}{ways[0].words}{fills}"


def _measures(look: Look, parting: Parting | None) -> tuple[Measure, ...]:
    locks, held = look.read.locks, look.read.held
    worst = max((lock.share for lock in locks if not lock.captive), default=0.0)
    found = (
        Measure("locked", held.locked_mm3, "mm3", "mould material that can leave neither way"),
        Measure("places that hold rubber", float(len(locks)), "count", "of at least [mould] least_mm3"),
        Measure(
            "captive places", float(sum(lock.captive for lock in locks)), "count", "linked up through a hole"
        ),
        Measure("holes along the pull", held.holes_mm2, "mm2", "in which the halves meet"),
        Measure("tongues", float(len(look.opened.tongues)), "count", "thin and deep"),
        Measure("worst stretch", worst, "ratio", "of what the rubber bears, as it is likely"),
        Measure("fills", float(len(look.taken)), "count", "that the job file asks for"),
        Measure("filled", look.added_mm3, "mm3", ""),
    )
    if parting is None:
        return found
    return (
        *found,
        Measure("seam", parting.length_mm, "mm", "where the halves meet on the figure"),
        Measure("seam's climb", parting.level_mm, "mm", "at most, from a plane at right angles to the pull"),
        Measure("seam in view", parting.seen_mm, "mm", "from the front"),
        Measure("seam in precious zones", parting.crosses_precious_mm, "mm", ""),
    )
