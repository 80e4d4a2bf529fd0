"""Read: walls and gaps of the figure in millimetres, held against what print, mould, cast and paint bear.

Every place of the body is read by the ball that grows from it (`firstcast.geometry.walls`); what is narrower than a
limit is gathered into regions (`firstcast.geometry.narrow`), which leaves out the edges that walls taper to and the
creases between forms. Long thin regions are told as pins, with what they bear. What is shallower than the least gap and
lies within one part is a groove, and held against what may be engraved; what is lower than the least wall and stands on
something stout is a ridge, and its height is held against what may be raised. Strokes of letters are one or the other; in a zone that means letters
they are measured as such (`firstcast.geometry.letters`). Lines whose sides slope, so that they don't face each other, are
measured on sections across them (`firstcast.geometry.lines`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from pydantic import Field

from firstcast.findings import Measure
from firstcast.geometry.body import Body
from firstcast.geometry.narrow import NarrowRegion, Places, narrow_regions
from firstcast.geometry.slender import Slender, extents, slender
from firstcast.geometry.starred import Starred, starred
from firstcast.geometry.walls import read_widths
from firstcast.geometry.zones import Zone
from firstcast.process.chain import ChainScenario
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.stations.read_findings import Figure, Kind, Reading, findings_of
from firstcast.stations.read_letters import LetterReading, about_letters, letters_in
from firstcast.stations.read_lines import LineReading, about_lines, lines_in, measures_of

APART_MM = 0.12
"""Places nearer together than this are read together: a third of what a wall or gap measures that is told."""

BEYOND_MM = 0.16
"""How much wider than their limit walls and gaps are still read: both sides may give way by the cap of carry."""

LEAST_MM = 0.01
"""A limit may be 0, where the maker says so: then this much is looked through, and nothing is below it."""

BEHIND_GAP = 2.0
"""How far outside its crease a gap is measured, over the least gap: what is wider there is a crease between forms."""

STANDS_ON = 0.35
"""A ridge's foot is wide at once: no more than this share of the places round it still read as a wall, those at its ends
and single ones on its flanks; of a wall that grows thicker it is half and more."""

ALONG = 0.25
"""Share of the places round a ridge that lie beside its middle half; evenly spread it would be a half."""

GAP_MM2 = 0.5
"""Least surface of a gap or groove, both sides together: 1 mm long where it is 0.25 mm deep."""


class Settings(StationSettings):
    """What is told of the readings; the limits are those of [process.override.limits]."""

    most_findings: int = Field(
        default=12,
        ge=1,
        le=100,
        description="How many findings of a kind are told one by one, the gravest first; the rest are counted in one.",
    )


@dataclass(frozen=True, kw_only=True)
class Readings(StationResult):
    """What read gives.

    Attributes
    ----------
    readings : tuple of Reading
        Every region that is narrower than its limit, the gravest of each kind first.
    walls, gaps : Places
        Thickness of the wall behind each vertex of the body and width of the air before it, edges and creases too; inf
        where it is wider than its limit and `BEYOND_MM`. With the triangle opposite, and how far off the edge is.
    wall_spare_mm, gap_spare_mm : (n,) float32
        What either side of a wall, or gap, can give before it is at the low end of its limit: 0 where it is below, inf
        where it is wide, and beside edges and creases, which are no walls and gaps.
    letters : tuple of LetterReading
        What the zones that mean letters hold, those that this piece has a share of.
    lines : tuple of LineReading
        Grooves and ridges with sloping sides that are too fine, grooves first.
    """

    readings: tuple[Reading, ...]
    walls: Places
    gaps: Places
    wall_spare_mm: npt.NDArray[np.float32]
    gap_spare_mm: npt.NDArray[np.float32]
    letters: tuple[LetterReading, ...] = ()
    lines: tuple[LineReading, ...] = ()


def read(
    *,
    piece: str,
    body: Body,
    limits: Limits,
    materials: Materials,
    height_mm: float,
    settings: Settings,
    zones: Sequence[Zone] = (),
    chain: Sequence[ChainScenario] = (),
) -> Readings:
    """Thin walls, pins, narrow gaps and grooves of a piece.

    Parameters
    ----------
    piece : str
        The piece's name.
    body : Body
        Closed, outward, without internal surfaces.
    limits : Limits
    materials : Materials
        For what pins bear.
    height_mm : float
        Height of the figure, for the size at which a place would pass.
    settings : Settings
    zones : sequence of Zone
        Of the job; those that mean letters are read for lettering.
    chain : sequence of ChainScenario
        Low, likely, high: for what films and fills leave of lines with sloping sides. None: they leave all.
    """
    surface = starred(body.mesh, where=f"the body of {piece}")
    widths = read_widths(
        body.mesh,
        most_mm=max(limits.wall_mm.likely, LEAST_MM) + BEYOND_MM,
        most_gap_mm=max(limits.gap_mm.likely, LEAST_MM) + BEYOND_MM,
        apart_mm=APART_MM,
        surface=surface,
    )
    behind, before = (
        Places(widths.wall_mm, widths.wall_opposite, widths.wall_edge_mm),
        Places(widths.gap_mm, widths.gap_opposite, widths.gap_edge_mm),
    )
    walls = _walls(body, surface, behind, limits)
    gaps = _gaps(body, surface, before, limits)
    readings = (*walls, *gaps)
    letters, lines = letters_in(body, zones), lines_in(body, limits, chain, zones, surface=surface)
    figure = Figure(piece, body, height_mm)
    return Readings(
        readings=readings,
        walls=behind,
        gaps=before,
        wall_spare_mm=_spare(body, surface, behind, limits.wall_mm.low),
        gap_spare_mm=_spare(body, surface, before, limits.gap_mm.low),
        says=_says(readings, lines, limits),
        findings=(
            *findings_of(figure, readings, limits, materials, most=settings.most_findings),
            *about_lines(figure, lines, limits, chain, most=settings.most_findings),
            *about_letters(figure, letters, limits),
        ),
        letters=letters,
        lines=lines,
        measures=(*_measures(readings), *measures_of(lines)),
    )


def _spare(body: Body, surface: Starred, places: Places, limit_mm: float) -> npt.NDArray[np.float32]:
    """(n,) half of what a wall or gap is wider than its limit, inf where there is none."""
    spare = np.full(len(places.width_mm), np.inf, np.float32)
    for region in narrow_regions(
        body.mesh,
        places,
        limit_mm=limit_mm + BEYOND_MM,
        part_of_triangle=body.part_of_triangle,
        surface=surface,
    ):
        rows = region.vertices
        spare[rows] = np.maximum(0.5 * (places.width_mm[rows] - limit_mm), 0.0)
    return spare


def _walls(body: Body, surface: Starred, places: Places, limits: Limits) -> list[Reading]:
    """Walls, pins and ridges."""
    found = []
    for region in narrow_regions(
        body.mesh,
        places,
        limit_mm=limits.wall_mm.likely,
        part_of_triangle=body.part_of_triangle,
        surface=surface,
    ):
        own = region.part == region.across
        height_mm = _height(body, region)
        if own and height_mm < limits.wall_mm.likely and _is_ridge(surface, region, places):
            ridge = _reading(Kind.RIDGE, body, region, None)
            found.append(replace(ridge, least_mm=height_mm, width_mm=region.least_mm))
        elif own and (shape := slender(body.mesh.points[region.vertices], region.middle_mm)) is not None:
            found.append(_reading(Kind.PIN, body, region, shape))
        else:
            found.append(_reading(Kind.WALL, body, region, None))
    thin = [reading for reading in found if reading.least_mm < reading.kind.limit(limits).likely]
    return sorted(thin, key=lambda reading: list(Kind).index(reading.kind))


def _height(body: Body, region: NarrowRegion) -> float:
    """How high a ridge stands, how deep a groove is: half of its surface, which is one flank's, over its length."""
    return region.area_mm2 / 2.0 / max(extents(body.mesh.points[region.vertices])[2], LEAST_MM)


def _is_ridge(surface: Starred, region: NarrowRegion, places: Places) -> bool:
    """Whether what is round the region is wide at once, and all along it: a pin's foot is at its end.

    A wall that grows thicker reads on beyond its limit.
    """
    around = surface.beside(region.vertices)
    if not len(around) or float(np.isfinite(places.width_mm[around]).mean()) > STANDS_ON:
        return False
    own = surface.points[region.vertices]
    middle = own.mean(axis=0)
    axis = np.linalg.svd(own - middle, full_matrices=False)[2][0]
    half = 0.5 * np.abs((own - middle) @ axis).max()
    return float((np.abs((surface.points[around] - middle) @ axis) < half).mean()) > ALONG


def _gaps(body: Body, surface: Starred, places: Places, limits: Limits) -> list[Reading]:
    """Gaps, then the grooves that are narrower than may be engraved."""
    limit = limits.gap_mm.likely
    regions = narrow_regions(
        body.mesh,
        places,
        limit_mm=limit,
        behind_mm=BEHIND_GAP * limit,
        part_of_triangle=body.part_of_triangle,
        least_area_mm2=GAP_MM2,
        surface=surface,
    )
    shallow = [_is_groove(body, region, limit) for region in regions]
    gaps = [region for region, groove in zip(regions, shallow, strict=True) if not groove]
    grooves = [
        region
        for region, groove in zip(regions, shallow, strict=True)
        if groove and region.least_mm < limits.engraved_mm.likely
    ]
    return [_reading(Kind.GAP, body, region, None) for region in gaps] + [
        _reading(Kind.GROOVE, body, region, None) for region in grooves
    ]


def _is_groove(body: Body, region: NarrowRegion, limit_mm: float) -> bool:
    """Whether it lies within one part and is shallower than the least gap."""
    return region.part == region.across and _height(body, region) < limit_mm


def _reading(kind: Kind, body: Body, region: NarrowRegion, shape: Slender | None) -> Reading:
    return Reading(
        kind,
        body.part_names[region.part],
        body.part_names[region.across],
        region.place_mm,
        region.least_mm,
        region.middle_mm,
        region.area_mm2,
        0.0 if shape is None else shape.length_mm,
        0.0 if shape is None else shape.width_mm,
    )


def _says(readings: Sequence[Reading], lines: Sequence[LineReading], limits: Limits) -> str:
    counts = {kind: sum(reading.kind is kind for reading in readings) for kind in Kind}
    told = [f"{count} {kind.many if count > 1 else kind.one}" for kind, count in counts.items() if count]
    if lines:
        told.append(f"{len(lines)} line{'s' if len(lines) > 1 else ''} with sloping sides")
    against = f"walls of {limits.wall_mm.likely:.2f} mm and gaps of {limits.gap_mm.likely:.2f} mm are wanted"
    return f"{', '.join(told) or 'nothing'} below the limit; {against}"


def _measures(readings: Sequence[Reading]) -> tuple[Measure, ...]:
    found = []
    for kind in Kind:
        mine = [reading for reading in readings if reading.kind is kind]
        found.append(Measure(kind.many, float(len(mine)), "count", "Regions below the limit."))
        if mine:
            least = min(reading.least_mm for reading in mine)
            found.append(Measure(f"least of {kind.many}", least, "mm", "Over a patch of 0.25 mm²."))
    return tuple(found)
