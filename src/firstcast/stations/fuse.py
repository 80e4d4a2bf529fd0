"""Fuse: the parts of a piece become one body without internal geometry.

Closed shells of all parts, however they overlap, nest or cross themselves, are united on a lattice:
inside is where their winding number is positive. Sheets are given their thickness first. Sealed voids are filled,
grains too small to cast are dropped, and what is thinner than two pitches is reported.
"""

from dataclasses import dataclass, replace
from typing import cast

import numpy as np
import numpy.typing as npt
from pydantic import Field

from firstcast.arrays import Points
from firstcast.errors import InputError
from firstcast.fields.contour import Contour, contour_union
from firstcast.fields.creases import with_creases
from firstcast.fields.fillet import Nearest, seam_fillets
from firstcast.fields.thin import ThinPlaces, thin_places
from firstcast.fields.union import (
    Columns,
    Lattice,
    Occupancy,
    Shells,
    estimate_bytes,
    estimate_route_bytes,
    lattice_around,
    occupy,
    read_columns,
)
from firstcast.fields.voids import Components, components_of, drop_fragments, fill_voids
from firstcast.findings import Finding, Measure
from firstcast.geometry.body import Body
from firstcast.geometry.cut import cut_at
from firstcast.geometry.mesh import Mesh, Part, measure_solid
from firstcast.geometry.pieces import Side
from firstcast.geometry.tree import build_tree, closest_points
from firstcast.process.limits import Limits
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.stations.fuse_findings import (
    cut_findings,
    disagreement_findings,
    fragment_findings,
    growth_findings,
    separate_findings,
    thin_findings,
    void_findings,
)
from firstcast.stations.fuse_shells import check_piece_fits, shells_of

CUT = "cut"
"""The face of a cut among the parts' names."""

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
    cut : Side or None
        The side of a plane that the body was cut to; the face there is a part of its own, the last.
    """

    body: Body
    extents_mm: npt.NDArray[np.float64]
    pitch_mm: npt.NDArray[np.float64]
    mended: npt.NDArray[np.float64]
    cut: Side | None = None


@dataclass(frozen=True)
class _Union:
    """What the steps of this station hand on to one another."""

    shells: Shells
    lattice: Lattice
    columns: Columns
    occupancy: Occupancy


def fuse(
    *,
    piece: str,
    parts: tuple[Part, ...],
    limits: Limits,
    settings: Settings,
    keep: Side | None = None,
) -> Fused:
    """Unite the parts of a piece into one body, and cut it where the job says so.

    Parameters
    ----------
    piece : str
        The piece's name.
    parts : tuple of Part
        In millimetres; closed shells outward, sheets with a thickness.
    limits : Limits
        For the lattice pitch.
    settings : Settings
    keep : Side or None
        The side of a plane that is kept of the piece, where it is cut.

    Raises
    ------
    InputError
        No part has a closed shell or a sheet; or the cut leaves all of the body or nothing.
    SizeError
        The lattice would not fit this machine.
    """
    pitch = np.asarray(limits.pitch_mm if settings.pitch_mm is None else (settings.pitch_mm,) * 3, np.float64)
    names = tuple(part.name for part in parts)
    shells = shells_of(piece, parts, pitch)
    lattice = lattice_around(shells.points, pitch, float(pitch.max()))
    check_piece_fits(piece, estimate_bytes(shells, lattice), pitch)
    sharp = _united(shells, lattice)
    check_piece_fits(piece, estimate_route_bytes(float(sharp.columns.kept.sum(dtype=np.int64))), pitch)
    union = _filleted(piece, sharp, settings.fillet_mm) if settings.fillet_mm > 0 else sharp
    found, findings, mended = _cleaned(piece, names, union, settings)
    if not len(found.triangles):
        raise InputError(
            f"nothing is left on a lattice of {pitch.max():g} mm",
            where=piece,
            mend="Check the scale, or give [fuse] a finer pitch_mm.",
        )
    thin = thin_places(sharp.shells, sharp.columns, lattice)
    findings += thin_findings(names, thin, lattice)
    findings += disagreement_findings(piece, union.occupancy.disagreements, union.columns.leaking)
    mesh = Mesh(cast(Points, found.points), found.triangles)
    findings += growth_findings(piece, parts, mesh)
    body, cut = Body(mesh, found.part_of_triangle, names), None
    if keep is not None:
        body, cut, crossings = _cut(piece, body, keep)
        mesh = body.mesh
        findings += cut_findings(piece, cut, crossings)
    return Fused(
        body=body,
        extents_mm=mesh.bounds,
        pitch_mm=pitch,
        mended=mended,
        cut=cut,
        says=f"{len(parts)} parts, {len(shells.triangles):,} triangles, to one body of {len(mesh.triangles):,}",
        findings=tuple(findings),
        measures=_measures(mesh, shells, thin),
    )


def _cut(piece: str, body: Body, side: Side) -> tuple[Body, Side, int]:
    """The side of a body that is kept, its flat face as a part of its own; where it was cut, and what crosses there."""
    cut = cut_at(body.mesh, side, where=f"piece '{piece}', keep")
    part = body.part_of_triangle[np.maximum(cut.source, 0)]
    part[cut.source < 0] = len(body.part_names)
    return Body(cut.mesh, part, (*body.part_names, CUT)), cut.side, cut.crossings


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
        findings += void_findings(names, components, sealed, settings.fill_voids)
        if settings.fill_voids:
            mended.append(_balls(components, sealed))
            occupancy = fill_voids(occupancy, traced, sealed[components.label_of_point])
            found, traced = contour_union(occupancy, union.columns, part)
            components = components_of(found)
    bodies = components.volume_mm3 >= 0
    small = bodies & (components.extent_mm <= settings.drop_fragments_mm)
    small[np.argmax(components.volume_mm3) if len(small) else []] = False
    if small.any():
        findings += fragment_findings(names, components, small)
        mended.append(_balls(components, small))
        occupancy = drop_fragments(occupancy, traced, small[components.label_of_point])
        found, traced = contour_union(occupancy, union.columns, part)
    findings += separate_findings(piece, components, bodies & ~small)
    found = with_creases(found, traced, occupancy, union.columns, union.shells)
    return found, findings, np.concatenate(mended)


def _balls(components: Components, chosen) -> npt.NDArray[np.float64]:
    """(k, 4): balls that hold the chosen components; none reaches farther from its middle than it is long."""
    return np.column_stack([components.middle_mm[chosen], components.extent_mm[chosen]]).astype(np.float64)


def _measures(mesh: Mesh, shells: Shells, thin: ThinPlaces) -> tuple[Measure, ...]:
    solid = measure_solid(mesh)
    return (
        Measure("volume", solid.volume, "mm3", "Volume of the body."),
        Measure("surface", solid.area, "mm2", "Surface of the body."),
        Measure("triangles taken", float(len(shells.triangles)), "count", "Triangles of the parts."),
        Measure("triangles given", float(len(mesh.triangles)), "count", "Triangles of the body."),
        Measure("thin places", float(len(thin.thickness_mm)), "count", "Places thinner than two pitches."),
    )
