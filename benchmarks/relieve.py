"""How many of the places that a mould is told for are gone once their own fill is made.

Each figure is read along the pull that the station would take. Then, place by place: the fill that a [[mend]] of that place alone would make
is united with the body, the mould is read again along the same pull, and whatever is told then is held against the place: it is gone if
nothing that is told then has most of its voxels in it. Captive rubber is gone too if its links are shut and what is left there was told with the
mend, with why it can't be filled; such places are counted apart. "mendable" are places that have a fill; the others are listed with why.
"added" is all of these fills together.

    python benchmarks/relieve.py MESHES [--height 32] [--only NAME ...] [--kind two-part-block hard-tool] [--body FILE.npz]

A body from a file holds points, triangles, part_of_triangle and part_names, and the pitch of its lattice, and may hold a precious part; its own size stays.
"""

import argparse
from collections import Counter
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.zones import Zone
from firstcast.io.meshes import read_meshes
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.fill import TONGUE, Fill
from firstcast.moulding.opening import Gate, read_body, ways_to_open
from firstcast.moulding.parts import Parts
from firstcast.moulding.pull import pull_ground, search_pull
from firstcast.moulding.reading import Read, read_mould, read_of
from firstcast.moulding.relieve import filled, propose_fills
from firstcast.moulding.tongues_told import MOST_BASE_MM, TONGUE_RATIO
from firstcast.process.kinds import kind_of
from firstcast.process.limits import Limits
from firstcast.process.materials import choose
from firstcast.ranges import Range
from firstcast.stations import fuse, intake
from firstcast.stations.mould import KEPT, pitch_of
from firstcast.stations.mould_findings import LEAST_SHARE
from firstcast.stations.mould_settings import Settings
from firstcast.vocabulary import ProcessKind, ZoneMeaning

LATTICE_MM = 0.08
"""On which figures are fused, and fills drawn. A body that was on no lattice before would come out a little different everywhere."""

Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
"""Stands a file with y up on its feet: most of these files have it, and the longest of both is taken for up."""

GATE = Gate((0.0, 0.0, -1.0), 10.0)


@dataclass(frozen=True)
class Figure:
    """A body that is measured, the pitch of its lattice and its zones."""

    name: str
    body: Body
    lattice_mm: np.ndarray
    zones: tuple[Zone, ...] = ()


@dataclass(frozen=True)
class Place:
    """A place that is told: what it is, and its voxels (n, 3) as places of the figure."""

    kind: str
    row: int
    part: str
    size_mm3: float
    places_mm: np.ndarray


@dataclass(frozen=True)
class Outcome:
    """What came of one place.

    Attributes
    ----------
    fills : tuple of Fill
        Of captive rubber first what shuts its links, then what frees the rest; some may be no mend.
    told : str
        What it is told as once they are made; "" if it is gone.
    new : int
        Places that are told then and shared nothing with any that was told before.
    """

    place: Place
    fills: tuple[Fill, ...]
    told: str
    new: int

    @property
    def mendable(self) -> bool:
        """Whether some fill mends it."""
        return any(not fill.why_not for fill in self.fills)

    @property
    def gone(self) -> bool:
        """Whether what was told there is told no more."""
        return self.mendable and (not self.told or self.parted)

    @property
    def parted(self) -> bool:
        """Whether captive rubber is captive no more, and only what was said to be left of it, and why that can't be filled, is."""
        left = any(fill.why_not for fill in self.fills)
        return self.mendable and self.place.kind == "captive" and self.told not in ("", "captive") and left

    @property
    def why(self) -> str:
        """Why it is not gone."""
        reasons = "; ".join(fill.why_not for fill in self.fills if fill.why_not)
        left = f"then told as {self.told}" if self.mendable else ""
        return ": ".join(each for each in (left, reasons) if each)


def places_of(read: Read, bounds: Bounds) -> list[Place]:
    """All places that are told."""
    found = []
    for row, lock in enumerate(read.locks):
        if bounds.told(lock):
            voxels = np.argwhere(read.numbers == row + 1)
            kind = "captive" if lock.captive else lock.kind
            found.append(Place(kind, row, lock.part, lock.volume_mm3, read.held.places_mm(voxels)))
    for row, tongue in enumerate(read.tongues):
        places = read.room.origin_mm + tongue.voxels * read.room.pitch_mm
        part, _ = read.parts.beside(places)
        found.append(Place(TONGUE, row, part, tongue.volume_mm3, places))
    return found


def measured(figure: Figure, kind: ProcessKind) -> tuple[Read, list[Outcome]]:
    """Make each place's own fill, and read the mould again."""
    process = kind_of(kind)
    mould = choose("mould", process.mould)
    bounds = Bounds(LEAST_SHARE, TONGUE_RATIO, MOST_BASE_MM, Settings().least_mm3, stretches=process.locks)
    body, wall, draft = (
        figure.body,
        process.wall_mm.likely,
        0.0 if process.locks else process.draft_deg.likely,
    )
    landscape = search_pull(
        pull_ground(body.mesh), GATE.way, directions=600, within_deg=GATE.within_deg, keep=KEPT
    )
    reading = read_body(
        body.mesh, Parts(body), mould, pitch_mm=pitch_of(body.mesh), least_mm3=bounds.least_mm3
    )
    along, _ = ways_to_open(reading, landscape, GATE, None)
    read = read_of(reading, along, bounds)
    fills = propose_fills(body, read, mould, figure.zones, bounds=bounds, wall_mm=wall, draft_deg=draft)
    before = places_of(read, bounds)

    @cache
    def after(made: tuple[int, ...]) -> list[Place]:
        body_with = filled(body, [fills[n] for n in made], figure.lattice_mm).body
        return places_of(read_mould(body_with, read.held.frame[2], read.held.pitch_mm, mould, bounds), bounds)

    return read, [_outcome(read, fills, before, place, after) for place in before]


def _outcome(read: Read, fills: tuple[Fill, ...], before: list[Place], place: Place, after) -> Outcome:
    """What comes of a place; `after` gives what is told with the fills of some numbers."""
    own = tuple(
        n for n, fill in enumerate(fills) if any(_is_of(fill, k, place) for k in range(len(fill.rows)))
    )
    made = tuple(n for n in own if not fills[n].why_not)
    mine = tuple(fills[n] for n in own)
    if not made:
        return Outcome(place, mine, "", 0)
    now = after(made)
    was = [_was(read, before, each) for each in now]
    told = next((each.kind for each, one in zip(now, was, strict=True) if one is place), "")
    return Outcome(place, mine, told, sum(one is None for one in was))


def _is_of(fill: Fill, n: int, place: Place) -> bool:
    return fill.rows[n] == place.row and (fill.kinds[n] == TONGUE) == (place.kind == TONGUE)


def _was(read: Read, before: list[Place], each: Place) -> Place | None:
    """The place that was told before, of the same sort, with which this one shares most of its voxels; None if it is new."""
    if each.kind == TONGUE:
        at = {tuple(v) for v in read.room.voxels_at(each.places_mm)}
        shares = [
            (len(at & {tuple(v) for v in read.room.voxels_at(place.places_mm)}), n)
            for n, place in enumerate(before)
            if place.kind == TONGUE
        ]
        most, n = max(shares, default=(0, -1))
        return before[n] if most else None
    numbers = read.numbers[tuple(read.held.voxels_at(each.places_mm).T)]
    counts = np.bincount(numbers, minlength=2)
    if not counts[1:].any():
        return None
    row = int(counts[1:].argmax())
    return next((p for p in before if p.kind != TONGUE and p.row == row), None)


def table_row(figure: Figure, kind: ProcessKind, read: Read, found: list[Outcome]) -> dict:
    """One row of the table."""
    mendable = [each for each in found if each.mendable]
    gone = [each for each in mendable if each.gone]
    made = {id(fill): fill.volume_mm3 for each in mendable for fill in each.fills if not fill.why_not}
    left = Counter(_why(each) for each in found if not each.gone)
    return {
        "figure": figure.name,
        "mould": kind.value,
        "voxels, mm": f"{read.held.pitch_mm:.2f}",
        "told": len(found),
        "mendable": len(mendable),
        "gone by their own mend": len(gone),
        "of these captive no more, and a ledge that can't be filled": sum(each.parted for each in gone),
        "of these costly": sum(any(fill.costly for fill in each.fills) for each in gone),
        "new beside them": sum(each.new for each in found),
        "added, mm³": f"{sum(made.values()):.1f}",
        "not gone": "; ".join(f"{count} × {why}" if count > 1 else why for why, count in left.items()),
    }


def _why(each: Outcome) -> str:
    return f"{each.place.kind} at {each.place.part}, {each.place.size_mm3:.1f} mm³: {each.why}"


def figure_of(path: Path, height_mm: float) -> Figure:
    """A mesh of the public collection, made so high, mended and fused as any job's is."""
    read = read_meshes(path)
    points = np.concatenate([np.asarray(one.mesh.points, np.float64) for one in read])
    turn = Y_UP if np.ptp(points[:, 1]) > np.ptp(points[:, 2]) else np.eye(3)
    matrix = height_mm / np.ptp(points @ turn[2]) * turn
    parts = tuple(
        intake.intake(name=one.name, mesh=one.mesh, matrix_mm=matrix, settings=intake.Settings()).part
        for one in read
    )
    limits = Limits(
        kind=ProcessKind.TWO_PART_BLOCK, pixel_mm=(LATTICE_MM, LATTICE_MM), layer_mm=LATTICE_MM, pitch_mm=(LATTICE_MM, LATTICE_MM, LATTICE_MM),
        reduce_tolerance_mm=0.01, wall_mm=Range(0.3, 0.6, 0.8), gap_mm=Range(0.1, 0.2, 0.3),
    )  # fmt: skip
    made = fuse.fuse(piece=path.stem, parts=parts, limits=limits, settings=fuse.Settings())
    return Figure(path.stem, made.body, made.pitch_mm)


def body_of(path: Path) -> Figure:
    """A body from a file."""
    data = np.load(path)
    body = Body(
        Mesh(data["points"], data["triangles"]), data["part_of_triangle"], tuple(map(str, data["part_names"]))
    )
    precious = str(data["precious"]) if "precious" in data else ""
    zones = (Zone(precious, ZoneMeaning.PRECIOUS, precious, None),) if precious else ()
    return Figure(path.stem, body, data["pitch_mm"], zones)


def main() -> None:
    """Measure what was asked for, and print the table as it grows."""
    from run_all import table

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("meshes", type=Path, nargs="?")
    parser.add_argument("--height", type=float, default=32.0)
    parser.add_argument("--only", nargs="+", default=[])
    parser.add_argument("--kind", nargs="+", default=["two-part-block", "hard-tool"])
    parser.add_argument("--body", type=Path)
    asked = parser.parse_args()
    figures = [body_of(asked.body)] if asked.body else []
    if asked.meshes:
        paths = [p for p in sorted(asked.meshes.iterdir()) if not asked.only or p.stem in asked.only]
        figures += [figure_of(path, asked.height) for path in paths]
    rows = []
    for figure in figures:
        for kind in map(ProcessKind, asked.kind):
            read, found = measured(figure, kind)
            rows.append(table_row(figure, kind, read, found))
            print(table(rows[-1:]), flush=True)
    print(table(rows))


if __name__ == "__main__":
    main()
