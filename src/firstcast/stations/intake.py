"""Intake: one part as the sculptor delivered it, mended and classed shell by shell.

In this order: points at one place are welded; triangles without extent or given twice are dropped; the rest is
parted into shells wound one way; specks are dropped; narrow holes are closed; each shell is classed as
closed, capped or sheet; closed and capped shells are turned outward.

A closed shell wholly inside another is turned outward too, whichever way it was wound: the fused body is
solid there, as a casting is. That is said, since it may have been meant as a hollow.

Shells that cross themselves or one another are left as they are: fuse makes one body of them.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from pydantic import Field

from firstcast.errors import InputError
from firstcast.findings import Finding, Measure
from firstcast.geometry.caps import Capped, close_holes
from firstcast.geometry.enclosure import enclosed_shells
from firstcast.geometry.mesh import Mesh, Part, Shell
from firstcast.geometry.shells import Shells, Tally, part_shells
from firstcast.geometry.summary import PartSummary
from firstcast.geometry.welding import Welded, weld
from firstcast.kernels.shells import measure_shells
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.tolerances import TOLERANCES
from firstcast.vocabulary import ShellKind, Verdict

FLAT_MM = 1e-3
"""A closed shell thinner than this on average encloses nothing: two skins on one another, as of a cape drawn
from both sides. It is a sheet. No printer resolves a thousandth of a millimetre."""


class Settings(StationSettings):
    """The maker's choices for one part; lengths are millimetres on the figure."""

    close_holes_mm: float = Field(
        default=1.0,
        ge=0.0,
        le=200.0,
        description="Holes up to this width are closed. The default is chosen: wider than a seam or a slip of "
        "modelling leaves at this size, narrower than a sleeve, hem or hood of a 25 mm figure. Raise it to fill "
        "the open underside of a bust.",
    )
    speck_mm: float = Field(
        default=0.05,
        ge=0.0,
        le=5.0,
        description="Loose shells smaller than this every way are dropped. The default is about one printer "
        "pixel: a smaller grain can't be printed.",
    )
    sheet_thickness_mm: float = Field(
        default=0.6,
        ge=0.05,
        le=10.0,
        description="Thickness given to surfaces that have none, such as a cape or a hood. The default is a "
        "little over the 0.5 mm that hot spin casting fills (from memory).",
    )
    weld_ratio: float = Field(
        default=TOLERANCES.weld_ratio,
        ge=0.0,
        le=1e-3,
        description="Points nearer than this share of the part's diagonal are one point.",
    )


@dataclass(frozen=True, kw_only=True)
class Intaken(StationResult):
    """The part in millimetres, its figures, and what was mended."""

    part: Part
    summary: PartSummary


class _Classed(NamedTuple):
    """Every shell's lot: kinds (s,), whether turned outward, whether enclosed; and the wound triangles."""

    triangles: np.ndarray
    kinds: list[ShellKind]
    turned: np.ndarray
    enclosed: np.ndarray
    flat: np.ndarray
    volume: np.ndarray
    area: np.ndarray


def intake(*, name: str, mesh: Mesh, matrix_mm: npt.NDArray[np.float64], settings: Settings) -> Intaken:
    """Bring one part to millimetres, mend it and class its shells.

    Parameters
    ----------
    name : str
        The part's name in the job.
    mesh : Mesh
        In file units; triangles as delivered.
    matrix_mm : (3, 3) float64
        From file units to millimetres, z up: the factor and the turn of the size station.
    settings : Settings

    Raises
    ------
    InputError
        The part is empty, has no extent, or is smaller than a speck.
    """
    points = np.ascontiguousarray(np.asarray(mesh.points, dtype=np.float64) @ np.asarray(matrix_mm).T)
    diagonal = float(np.linalg.norm(points.max(axis=0) - points.min(axis=0))) if len(points) else 0.0
    if not len(mesh.triangles) or not diagonal > 0 or not np.isfinite(diagonal):
        raise InputError("the part has no extent", where=name, mend="Export it again.")
    welded = weld(points, mesh.triangles, settings.weld_ratio * diagonal)
    shells = part_shells(welded.points, welded.triangles)
    if not shells.shell_count:
        raise InputError("no triangle has any extent", where=name, mend="Export it again.")
    middle = points.mean(axis=0)
    area, volume, low, high = measure_shells(
        shells.points, shells.triangles, shells.shell, shells.shell_count, middle
    )
    reach = (high - low).max(axis=1)
    keep = (reach >= settings.speck_mm) & (area > FLAT_MM * reach)
    specks = Tally()
    if not keep.all():
        shells, specks = _without_specks(name, shells, keep, settings.speck_mm)
        area, volume = area[keep], volume[keep]
    capped = close_holes(shells, area, widest=settings.close_holes_mm)
    if len(capped.triangles) != len(shells.triangles):
        area, volume, _, _ = measure_shells(
            capped.points, capped.triangles, capped.shell, shells.shell_count, middle
        )
    classed = _class_shells(capped, area, volume)
    part, summary = _assemble(name, capped, classed, settings.sheet_thickness_mm)
    notes = _Notes(name, settings)
    notes.mends(welded, shells, specks)
    notes.shells(capped, classed)
    return Intaken(part=part, summary=summary, findings=tuple(notes.findings), measures=tuple(notes.measures))


def _without_specks(name: str, shells: Shells, keep: np.ndarray, speck_mm: float) -> tuple[Shells, Tally]:
    """The shells that `keep` (s,) marks, and how many went."""
    if not keep.any():
        raise InputError(
            f"every shell is smaller than speck_mm = {speck_mm:g} mm, or has no breadth",
            where=name,
            mend="Check the scale, or lower speck_mm.",
        )
    kept = keep[shells.shell]
    place = shells.points[shells.triangles[int(np.argmin(kept)), 0]]
    number = np.cumsum(keep, dtype=np.int32) - 1
    used = np.zeros(len(shells.points), dtype=bool)
    used[shells.triangles[kept].ravel()] = True
    renumber = np.cumsum(used, dtype=np.int32) - 1
    return shells._replace(
        points=shells.points[used],
        triangles=renumber[shells.triangles[kept]],
        shell=number[shells.shell[kept]],
        shell_count=int(keep.sum()),
    ), Tally(int((~keep).sum()), place)


def _class_shells(capped: Capped, area: np.ndarray, volume: np.ndarray) -> _Classed:
    """Each shell's kind; closed ones wound so that their volume is positive."""
    points, triangles, shell, shell_count = capped.points, capped.triangles, capped.shell, len(area)
    is_open = np.zeros(shell_count, dtype=bool)
    is_open[capped.open_shell] = True
    flat = ~is_open & (2 * np.abs(volume) < FLAT_MM * area)
    closed = ~is_open & ~flat
    turned = closed & (volume < 0)
    if turned.any():
        turn = turned[shell]
        triangles = triangles.copy()
        triangles[turn] = triangles[turn][:, [0, 2, 1]]
    has_cap = np.zeros(shell_count, dtype=bool)
    has_cap[capped.capped_shell] = True
    kinds = [
        ShellKind.SHEET if not solid else ShellKind.CAPPED if cap else ShellKind.CLOSED
        for solid, cap in zip(closed.tolist(), has_cap.tolist(), strict=True)
    ]
    enclosed = enclosed_shells(points, triangles, shell, closed)
    return _Classed(triangles, kinds, turned, enclosed, flat, np.abs(volume), area)


def _assemble(
    name: str, capped: Capped, classed: _Classed, sheet_thickness_mm: float
) -> tuple[Part, PartSummary]:
    """The part, its triangles sorted by shell, and its summary."""
    order = np.argsort(capped.shell, kind="stable")
    stops = np.cumsum(np.bincount(capped.shell, minlength=len(classed.kinds))).tolist()
    shells = tuple(
        Shell(kind, start, stop, sheet_thickness_mm if kind is ShellKind.SHEET else 0.0)
        for kind, start, stop in zip(classed.kinds, [0, *stops[:-1]], stops, strict=True)
    )
    mesh = Mesh(capped.points, np.ascontiguousarray(classed.triangles[order]))
    sheet = np.array([kind is ShellKind.SHEET for kind in classed.kinds])
    one_side = np.where(classed.flat, classed.area / 2, classed.area)[sheet].sum()
    volume = float(classed.volume[~sheet].sum() + one_side * sheet_thickness_mm)
    area = float(classed.area[~sheet].sum() + 2 * one_side)
    low, high = mesh.bounds.tolist()
    summary = PartSummary(
        name=name,
        extents_mm=(tuple(low), tuple(high)),
        volume_mm3=volume,
        area_mm2=area,
        triangle_count=len(mesh.triangles),
        mean_thickness_mm=2 * volume / area if area else 0.0,
        shell_counts=tuple((kind, classed.kinds.count(kind)) for kind in ShellKind),
        is_sheet=bool(2 * one_side > area / 2),
    )
    return Part(name, mesh, shells), summary


def _counted(count: int, thing: str, things: str = "") -> str:
    return f"{count} {thing}" if count == 1 else f"{count} {things or thing + 's'}"


class _Notes:
    """What was mended, in the maker's words: one finding and one measure per kind."""

    def __init__(self, name: str, settings: Settings) -> None:
        self.name, self.settings = name, settings
        self.findings: list[Finding] = []
        self.measures: list[Measure] = []

    def add(
        self,
        code: str,
        tally: Tally,
        says: str,
        *,
        mend: str = "Nothing to do.",
        verdict: Verdict = Verdict.SOUND,
        measured: float | None = None,
        limit: float | None = None,
        unit: str = "mm",
    ) -> None:
        """Measure the count; a finding only where there is something to find."""
        self.measures.append(Measure(code, float(tally.count), "count"))
        if not tally.count:
            return
        place = None
        if tally.place is not None:
            x, y, z = (float(c) for c in tally.place)
            place = (x, y, z)
            says += f", {'at' if tally.count == 1 else 'first at'} ({x:.1f}, {y:.1f}, {z:.1f})"
        self.findings.append(
            Finding(
                station="intake",
                code=code,
                verdict=verdict,
                part=self.name,
                says=f"{says}.",
                mend=mend,
                place_mm=place,
                measured=float(tally.count) if measured is None else measured,
                limit=limit,
                unit="count" if measured is None else unit,
                worse="high",
            )
        )

    def mends(self, welded: Welded, shells: Shells, specks: Tally) -> None:
        """What was mended before shells were classed."""
        count = Tally(welded.joined, welded.place)
        self.add(
            "welded-points", count, f"{_counted(count.count, 'point')} welded to others at the same place"
        )
        for code, tally, thing in (
            ("degenerate-triangles", shells.degenerate, "triangle without extent"),
            ("doubled-triangles", shells.doubled, "triangle given twice"),
        ):
            things = thing.replace("triangle", "triangles")
            self.add(code, tally, f"{_counted(tally.count, thing, things)} dropped")
        tally = shells.turned
        says = f"{_counted(tally.count, 'triangle')} wound against the neighbours and turned"
        self.add("turned-triangles", tally, says)
        tally = shells.shared
        says = f"{_counted(tally.count, 'edge')} with more than two triangles, where surfaces were parted"
        self.add(
            "crowded-edges",
            tally,
            says,
            mend="Look at the place; part the surfaces there in the sculpture if it came out wrong.",
            verdict=Verdict.WATCH,
        )
        tally = shells.touching
        self.add(
            "touching-points", tally, f"{_counted(tally.count, 'point')} where surfaces only touch, parted"
        )
        tally = shells.one_sided
        self.add(
            "one-sided",
            tally,
            f"a surface with one side only, cut along {_counted(tally.count, 'edge')}",
            mend="Give the surface two sides in the sculpture.",
            verdict=Verdict.WATCH,
        )
        says = f"{_counted(specks.count, 'loose shell')} below {self.settings.speck_mm:g} mm or without breadth dropped"
        self.add("specks", specks, says, limit=self.settings.speck_mm)

    def shells(self, capped: Capped, classed: _Classed) -> None:
        """What became of the shells."""
        rows = np.arange(len(classed.kinds))
        first_points = _first_points(capped, len(rows))
        hollow = classed.turned & classed.enclosed
        turned = classed.turned & ~classed.enclosed
        tally = _tally(turned, first_points)
        self.add("turned-shells", tally, f"{_counted(tally.count, 'shell')} inside out, turned outward")
        solid = classed.enclosed & ~classed.turned
        tally = _tally(solid, first_points)
        says = f"{_counted(tally.count, 'enclosed inner shell')}, which vanishes in the fused body"
        self.add("enclosed-shells", tally, says.replace("shells, which vanishes", "shells, which vanish"))
        tally = _tally(hollow, first_points)
        self.add(
            "sealed-hollows",
            tally,
            f"{_counted(tally.count, 'enclosed inner shell')} wound as a hollow; the fused body is solid there",
            mend="Nothing to do: a casting is solid. Open the hollow to the outside if it must stay.",
            verdict=Verdict.WATCH,
        )
        self._holes(capped)
        self._sheets(capped, classed, first_points)

    def _holes(self, capped: Capped) -> None:
        if len(capped.capped_width):
            widest = int(np.argmax(capped.capped_width))
            tally = Tally(len(capped.capped_width), capped.capped_place[widest])
            width = float(capped.capped_width[widest])
        else:
            tally, width = Tally(), 0.0
        self.add(
            "capped-holes",
            tally,
            f"{_counted(tally.count, 'hole')} closed, the widest {width:.2f} mm",
            mend=f"Nothing to do, or set close_holes_mm below {width:.2f} to leave it open.",
            verdict=Verdict.WATCH,
            measured=width,
            limit=self.settings.close_holes_mm,
        )

    def _sheets(self, capped: Capped, classed: _Classed, first_points: np.ndarray) -> None:
        sheet = np.array([kind is ShellKind.SHEET for kind in classed.kinds])
        wide, place, fillable = 0.0, None, False
        if len(capped.open_width):
            widest = int(np.argmax(capped.open_width))
            wide, place = float(capped.open_width[widest]), capped.open_place[widest]
            fillable = bool(capped.open_fillable[widest])
        tally = _tally(sheet, first_points)
        if place is not None:
            tally = Tally(tally.count, place)
        says = f"{_counted(tally.count, 'open surface')} given a thickness of {self.settings.sheet_thickness_mm:g} mm"
        mend = "Set sheet_thickness_mm for this part, or close the surface in the sculpture."
        if wide > 0:
            says += f"; the widest opening is {wide:.2f} mm"
        if fillable:
            mend = f"Set sheet_thickness_mm for this part, or close_holes_mm above {wide:.2f} to fill it."
        self.add(
            "sheets",
            tally,
            says,
            mend=mend,
            verdict=Verdict.WATCH,
            measured=wide if wide > 0 else None,
            limit=self.settings.close_holes_mm if wide > 0 else None,
        )


def _first_points(capped: Capped, shell_count: int) -> np.ndarray:
    """(s, 3) a point of each shell."""
    _, first = np.unique(capped.shell, return_index=True)
    return capped.points[capped.triangles[first, 0]].reshape(shell_count, 3)


def _tally(chosen: np.ndarray, places: np.ndarray) -> Tally:
    return Tally(int(chosen.sum()), places[int(np.argmax(chosen))] if chosen.any() else None)
