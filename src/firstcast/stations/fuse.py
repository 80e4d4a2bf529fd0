"""Fuse: the parts of a piece become one body without internal geometry.

Closed shells of all parts, however they overlap, nest or cross themselves, are united on a lattice:
inside is where their winding number is positive. Sheets are given their thickness first. Sealed voids are filled,
grains too small to cast are dropped, and what is thinner than two pitches is reported.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
import numpy.typing as npt
from pydantic import Field

from firstcast.arrays import Points
from firstcast.errors import InputError
from firstcast.fields.contour import Contour, contour_union
from firstcast.fields.fillet import Nearest, seam_fillets
from firstcast.fields.memory import check_fits
from firstcast.fields.sheets import thicken
from firstcast.fields.thin import ThinPlaces, thin_places
from firstcast.fields.union import (
    Columns,
    Lattice,
    Occupancy,
    Shells,
    estimate_bytes,
    lattice_around,
    occupy,
    read_columns,
)
from firstcast.fields.voids import Components, components_of, drop_fragments, fill_voids
from firstcast.findings import Finding, Measure
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh, Part, measure_solid
from firstcast.geometry.tree import build_tree, closest_points
from firstcast.process.limits import Limits
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.tolerances import TOLERANCES
from firstcast.vocabulary import ShellKind, Verdict

SMALL_HOLLOW_MM3 = 0.01
"""Sealed hollows up to this, a fifth of a millimetre wide, are told together: overlapping relief leaves hundreds."""

GROWTH_RATIO = 0.01
"""A body this much larger than its parts is told: rules of size that differ by as much are, too."""

MOST_THIN_PLACES = 12
"""Findings of thin places per piece, the thinnest first; the rest are counted in a measure."""

LEAST_FILLET_PITCHES = 4.0
"""Below this the lattice cuts as much of a fillet as it leaves."""


class Settings(StationSettings):
    """The maker's choices for one piece; lengths are millimetres on the figure."""

    pitch_mm: float | None = Field(
        default=None,
        gt=0.0,
        le=1.0,
        description="Lattice pitch. Left out, plan's pitch for the printer is taken.",
    )
    fillet_mm: float = Field(
        default=0.0,
        ge=0.0,
        le=5.0,
        description="Radius of a fillet in the creases where two parts meet; 0 leaves them sharp. A part's own creases "
        "are never touched.",
    )
    drop_fragments_mm: float = Field(
        default=0.5,
        ge=0.0,
        le=10.0,
        description="Loose bodies no larger than this every way are dropped. The default is chosen: the least that "
        "hot spin casting fills (from memory).",
    )
    fill_voids: bool = Field(
        default=True,
        description="Whether hollows without a way out are filled. A sealed hollow can't be cast, and traps resin "
        "in a print.",
    )


@dataclass(frozen=True, kw_only=True)
class Fused(StationResult):
    """What fuse gives.

    Attributes
    ----------
    body : Body
        One closed, outward mesh free of self-crossings.
    extents_mm : (2, 3) float64
        The body's least and greatest coordinates.
    pitch_mm : (3,) float64
        The lattice pitch it was made on.
    mended : (k, 4) float64
        Balls, middle and radius in mm, around hollows that were filled and grains that were dropped.
    """

    body: Body
    extents_mm: npt.NDArray[np.float64]
    pitch_mm: npt.NDArray[np.float64]
    mended: npt.NDArray[np.float64]


@dataclass(frozen=True)
class _Union:
    """What the steps of this station hand on to one another."""

    shells: Shells
    lattice: Lattice
    columns: Columns
    occupancy: Occupancy


def fuse(*, piece: str, parts: tuple[Part, ...], limits: Limits, settings: Settings) -> Fused:
    """Unite the parts of a piece into one body.

    Parameters
    ----------
    piece : str
        The piece's name.
    parts : tuple of Part
        In millimetres; closed shells outward, sheets with a thickness.
    limits : Limits
        For the lattice pitch.
    settings : Settings

    Raises
    ------
    InputError
        No part has a closed shell or a sheet.
    SizeError
        The lattice would not fit this machine.
    """
    pitch = np.asarray(limits.pitch_mm if settings.pitch_mm is None else (settings.pitch_mm,) * 3, np.float64)
    names = tuple(part.name for part in parts)
    shells = _shells_of(piece, parts, pitch)
    lattice = lattice_around(shells.points, pitch, float(pitch.max()))
    check_fits(
        estimate_bytes(shells, lattice),
        where=piece,
        mend=f"Give [fuse] a pitch_mm above {pitch.max():g}, or make the piece of smaller pieces.",
    )
    sharp = _united(shells, lattice)
    union = _filleted(piece, sharp, settings.fillet_mm) if settings.fillet_mm > 0 else sharp
    found, findings, mended = _cleaned(piece, names, union, settings)
    if not len(found.triangles):
        raise InputError(
            f"nothing is left on a lattice of {pitch.max():g} mm",
            where=piece,
            mend="Check the scale, or give [fuse] a finer pitch_mm.",
        )
    thin = thin_places(sharp.shells, sharp.columns, lattice)
    findings += _thin_findings(names, thin, lattice)
    findings += _disagreement_findings(piece, union)
    mesh = Mesh(cast(Points, found.points), found.triangles)
    findings += _growth_findings(piece, parts, mesh)
    return Fused(
        body=Body(mesh, found.part_of_triangle, names),
        extents_mm=mesh.bounds,
        pitch_mm=pitch,
        mended=mended,
        says=f"{len(parts)} parts, {len(shells.triangles):,} triangles, to one body of {len(mesh.triangles):,}",
        findings=tuple(findings),
        measures=_measures(mesh, shells, thin),
    )


def _united(shells: Shells, lattice: Lattice) -> _Union:
    columns = read_columns(shells, lattice)
    return _Union(shells, lattice, columns, occupy(columns, lattice, float(lattice.pitch_mm.max())))


def _filleted(piece: str, union: _Union, radius_mm: float) -> _Union:
    """The union with the creases between its parts filled to a radius."""
    pitch = union.lattice.pitch_mm
    least_mm = LEAST_FILLET_PITCHES * float(pitch.max())
    if radius_mm < least_mm:
        raise InputError(
            f"a fillet of {radius_mm:g} mm is finer than the lattice can round, {least_mm:g} mm",
            where=f"{piece}, [fuse] fillet_mm",
            mend=f"Give {least_mm:g} or more, or 0 for none.",
        )

    def search(points, triangles):
        tree = build_tree(Mesh(points, triangles))

        def nearest(places):
            found = closest_points(tree, places)
            return Nearest(found.distance_mm, found.triangle)

        return nearest

    surface, _ = contour_union(union.occupancy, union.columns, union.shells.part)
    filled = seam_fillets(surface, radius_mm, pitch, search)
    if filled is None:
        return union
    before = union.shells
    shells = Shells(
        np.concatenate([before.points, filled.points.astype(np.float64)]),
        np.concatenate([before.triangles, filled.triangles + np.int32(len(before.points))]),
        np.concatenate([before.part, filled.part_of_triangle]),
    )
    return _without_grains(_united(shells, union.lattice))


def _without_grains(union: _Union) -> _Union:
    """The union without the hollows and flakes, smaller than a cell, where a filling meets its parts."""
    found, traced = contour_union(union.occupancy, union.columns, union.shells.part)
    components = components_of(found)
    grain = np.abs(components.volume_mm3) < float(union.lattice.pitch_mm.prod())
    if not grain.any():
        return union
    hollow = grain & (components.volume_mm3 < 0)
    occupancy = fill_voids(union.occupancy, traced, hollow[components.label_of_point])
    flake = (grain & ~hollow)[components.label_of_point]
    return replace(union, occupancy=drop_fragments(occupancy, traced, flake))


def _shells_of(piece: str, parts: tuple[Part, ...], pitch) -> Shells:
    """The closed shells of all parts in one run of triangles, sheets with their thickness."""
    points, triangles, numbers, first = [np.empty((0, 3))], [np.empty((0, 3), np.int32)], [], 0
    for number, part in enumerate(parts):
        for solid in _solids_of(part, pitch):
            points.append(np.asarray(solid.points, np.float64))
            triangles.append(solid.triangles + np.int32(first))
            numbers.append(np.full(len(solid.triangles), number, np.uint16))
            first += len(solid.points)
    if not numbers:
        raise InputError(
            "no part has a closed shell or a sheet",
            where=piece,
            mend="Check the part files: they hold no surface.",
        )
    joined = np.ascontiguousarray(np.concatenate(triangles), np.int32)
    return Shells(np.concatenate(points), joined, np.concatenate(numbers))


def _solids_of(part: Part, pitch) -> Iterator[Mesh]:
    """A part's closed shells as one mesh, then each of its sheets as a solid of its thickness."""
    closed = [
        part.mesh.triangles[shell.start : shell.stop]
        for shell in part.shells
        if shell.kind is not ShellKind.SHEET
    ]
    if closed:
        yield Mesh(part.mesh.points, np.concatenate(closed))
    for shell in part.shells:
        if shell.kind is ShellKind.SHEET:
            rows, used = part.mesh.triangles[shell.start : shell.stop], np.zeros(len(part.mesh.points), bool)
            used[rows] = True
            points = np.asarray(part.mesh.points[used], np.float64)
            renamed = (np.cumsum(used) - 1).astype(np.int32)[rows]
            tree = build_tree(Mesh(points, renamed))
            solid = thicken(
                points,
                shell.thickness,
                pitch,
                lambda places, tree=tree: closest_points(tree, places).distance_mm,
            )
            yield Mesh(cast(Points, solid.points), solid.triangles)


def _cleaned(
    piece: str, names, union: _Union, settings: Settings
) -> tuple[Contour, list[Finding], npt.NDArray[np.float64]]:
    """The union's surface once voids are filled and small fragments dropped, what was found, and where."""
    mended = [np.empty((0, 4))]
    part, occupancy, findings = union.shells.part, union.occupancy, []
    found, traced = contour_union(occupancy, union.columns, part)
    components = components_of(found)
    sealed = components.volume_mm3 < 0
    if sealed.any():
        findings += _void_findings(names, components, sealed, settings.fill_voids)
        if settings.fill_voids:
            mended.append(_balls(components, sealed))
            occupancy = fill_voids(occupancy, traced, sealed[components.label_of_point])
            found, traced = contour_union(occupancy, union.columns, part)
            components = components_of(found)
    bodies = components.volume_mm3 >= 0
    small = bodies & (components.extent_mm <= settings.drop_fragments_mm)
    small[np.argmax(components.volume_mm3) if len(small) else []] = False
    if small.any():
        findings += _fragment_findings(names, components, small)
        mended.append(_balls(components, small))
        occupancy = drop_fragments(occupancy, traced, small[components.label_of_point])
        found, traced = contour_union(occupancy, union.columns, part)
    findings += _separate_findings(piece, components, bodies & ~small)
    return found, findings, np.concatenate(mended)


def _balls(components: Components, chosen) -> npt.NDArray[np.float64]:
    """(k, 4): balls that hold the chosen components; none reaches farther from its middle than it is long."""
    return np.column_stack([components.middle_mm[chosen], components.extent_mm[chosen]]).astype(np.float64)


def _void_findings(names, components: Components, sealed, filled: bool) -> list[Finding]:
    """One finding per hollow, the small ones together at the largest of them."""
    done = "was filled" if filled else "is left as it is"
    mend = (
        "If it is meant, open it to the outside; if not, nothing needs doing."
        if filled
        else "Open it to the outside, or let [fuse] fill_voids be true."
    )
    order = sorted(np.flatnonzero(sealed), key=lambda n: components.volume_mm3[n])
    large = [n for n in order if -components.volume_mm3[n] > SMALL_HOLLOW_MM3]
    small = order[len(large) :]
    found = []
    for n in [*large, *small[:1]]:
        volume = float(-components.volume_mm3[n])
        says = f"A hollow of {volume:.3g} mm³ inside the body has no way out; it {done}."
        if n not in large:
            total = float(-components.volume_mm3[small].sum())
            says = f"{len(small)} hollows of at most {volume:.2g} mm³, together {total:.2g} mm³, have no way out; each {done}."
        found.append(
            Finding(
                station="fuse",
                code="sealed-void" if n in large else "small-voids",
                verdict=Verdict.WATCH if n in large or not filled else Verdict.SOUND,
                part=names[components.part[n]],
                says=says,
                mend=mend,
                place_mm=_place(components.middle_mm[n]),
                measured=volume,
                limit=0.0,
                unit="mm3",
                worse="high",
            )
        )
    return found


def _fragment_findings(names, components: Components, small) -> list[Finding]:
    return [
        Finding(
            station="fuse",
            code="loose-fragment",
            verdict=Verdict.WATCH,
            part=names[components.part[n]],
            says=f"A loose grain of '{names[components.part[n]]}', {components.extent_mm[n]:.2f} mm at its longest, "
            "hung on nothing and was dropped.",
            mend="Join it to the figure, or lower [fuse] drop_fragments_mm to keep it.",
            place_mm=_place(components.middle_mm[n]),
            measured=float(components.extent_mm[n]),
            unit="mm",
            worse="high",
        )
        for n in np.flatnonzero(small)
    ]


def _separate_findings(piece: str, components: Components, bodies) -> list[Finding]:
    order = sorted(np.flatnonzero(bodies), key=lambda n: -components.volume_mm3[n])
    return [
        Finding(
            station="fuse",
            code="separate-body",
            verdict=Verdict.WATCH,
            part=piece,
            says=f"A body of {components.volume_mm3[n]:.3g} mm³, {components.extent_mm[n]:.2f} mm at its longest, "
            "doesn't touch the rest of the piece.",
            mend="Move it until it overlaps the figure, or make it a piece of its own.",
            place_mm=_place(components.middle_mm[n]),
            measured=float(components.volume_mm3[n]),
            unit="mm3",
            worse="high",
        )
        for n in order[1:]
    ]


def _thins(least_mm: float) -> str:
    """How thin a place is: an edge that a part tapers to has no thickness to name."""
    return f"is {least_mm:.3f} mm thin" if least_mm >= 0.0005 else "thins out to an edge"


def _thin_findings(names, thin: ThinPlaces, lattice: Lattice) -> list[Finding]:
    limit = TOLERANCES.thin_pitches * float(lattice.pitch_mm.min())
    return [
        Finding(
            station="fuse",
            code="thin-place",
            verdict=Verdict.WATCH,
            part=names[thin.part[n]],
            says=f"'{names[thin.part[n]]}' {_thins(thin.thickness_mm[n])} over about {thin.area_mm2[n]:.2g} mm²: "
            f"below {limit:.3f} mm, two steps of the lattice, shape is lost.",
            mend=f"Thicken it to {limit:.3f} mm or more; it is far below what can be cast.",
            place_mm=_place(thin.place_mm[n]),
            measured=float(thin.thickness_mm[n]),
            limit=limit,
        )
        for n in range(min(len(thin.thickness_mm), MOST_THIN_PLACES))
    ]


def _growth_findings(piece: str, parts: tuple[Part, ...], mesh: Mesh) -> list[Finding]:
    """A body that is larger than its parts: open surfaces stand out by half the thickness they were given."""
    bounds = np.array([part.mesh.bounds for part in parts if len(part.mesh.triangles)])
    were = bounds[:, 1].max(axis=0) - bounds[:, 0].min(axis=0)
    grown = (mesh.bounds[1] - mesh.bounds[0]) - were
    axis = int(np.argmax(grown / were.max()))
    if grown[axis] <= GROWTH_RATIO * were[axis]:
        return []
    now = float(were[axis] + grown[axis])
    return [
        Finding(
            station="fuse",
            code="grown",
            verdict=Verdict.WATCH,
            part=piece,
            says=f"The body is {now:.2f} mm long along {'xyz'[axis]} where its parts are {were[axis]:.2f}: open surfaces "
            "stand out by half of the thickness they were given.",
            mend="Clothes and hair over a body want [intake] close_holes_mm above their openings, so that they are filled; "
            "free cloth wants a smaller sheet_thickness_mm.",
            measured=now,
            limit=float(were[axis] * (1.0 + GROWTH_RATIO)),
            worse="high",
        )
    ]


def _disagreement_findings(piece: str, union: _Union) -> list[Finding]:
    count, leaking = union.occupancy.disagreements, union.columns.leaking
    if not count and not leaking:
        return []
    return [
        Finding(
            station="fuse",
            code="axes-disagree",
            verdict=Verdict.WATCH,
            part=piece,
            says=f"Seen along x, y and z, {count} lattice points don't come out the same ({leaking} lines enter without "
            "leaving): some shell isn't closed. The majority was taken.",
            mend="Close the shell's holes in the sculpture, or raise [intake] close_holes_mm.",
            measured=float(count),
            limit=0.0,
            unit="points",
            worse="high",
        )
    ]


def _measures(mesh: Mesh, shells: Shells, thin: ThinPlaces) -> tuple[Measure, ...]:
    solid = measure_solid(mesh)
    return (
        Measure("volume", solid.volume, "mm3", "Volume of the body."),
        Measure("surface", solid.area, "mm2", "Surface of the body."),
        Measure("triangles taken", float(len(shells.triangles)), "count", "Triangles of the parts."),
        Measure("triangles given", float(len(mesh.triangles)), "count", "Triangles of the body."),
        Measure("thin places", float(len(thin.thickness_mm)), "count", "Places thinner than two pitches."),
    )


def _place(place_mm) -> tuple[float, float, float]:
    return (float(place_mm[0]), float(place_mm[1]), float(place_mm[2]))
