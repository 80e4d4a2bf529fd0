"""The join station: the body at master size and its fittings become one closed mesh.

Until a pour station says more, the one fitting is a plain tab: a drafted bar under the feet, or a small one
at the lowest or a named place of a piece without feet.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt
from manifold3d import CrossSection
from pydantic import Field

from firstcast.errors import InputError
from firstcast.findings import Finding, Measure
from firstcast.geometry import footing
from firstcast.geometry.attach import Attached, attach
from firstcast.geometry.body import Body
from firstcast.geometry.boxtree import bounds_of, build_box_tree
from firstcast.geometry.crossings import crossing_rows, snap_points
from firstcast.geometry.footing import Bar, Frame
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.neighbourhood import near_box, with_own_points
from firstcast.geometry.solids import from_manifold, prism
from firstcast.process.limits import Limits
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.vocabulary import Verdict

TAB = "tab"
"""The tab's name among the parts."""

LENGTH_SHARE, WIDTH_SHARE = 0.85, 0.6
"""Of the feet's extent along and across: a plain tab's share. Common practice, no source."""

LENGTH_MOST_MM, WIDTH_MOST_MM = 25.0, 3.0
"""A plain tab grows no larger than this by itself. Common practice, no source."""

WIDTH_LEAST_MM, LENGTH_LEAST_MM = 0.8, 1.6
"""A narrower foot takes no bar. Common practice, no source."""

SMALL_MM = 1.5
"""Side of the small tab of a piece without feet. Common practice, no source."""

SMALL_HOLD_MM2 = 0.8
"""A small tab reaches deeper until the piece's section there is this large: about 1 mm across."""

SMALL_DEEPEST = 5
"""A small tab reaches at most this many times `overlap_mm` deep."""

BURIED_SHARE = 0.5
"""A tab of which less than this lies outside the piece points the wrong way."""

NUDGE_MM = (0.0137, 0.0071, 0.0043)
"""Steps along, across and down by which the tab is moved if rounding to float32 leaves a crossing."""

NUDGES = 8

SLACK_MM = 1e-9
"""Turning points into a tab's axes rounds them by far less than this."""

MOST_CROSSINGS = 1000
"""No more crossing pairs than this are counted."""


class Settings(StationSettings):
    """The job file's table [join]. Lengths are those of the master."""

    tab: Literal["auto", "none"] = "auto"
    """"auto" puts a plain tab under the piece, "none" leaves it without."""
    length_mm: float | None = Field(default=None, gt=0, le=100)
    """Length of the tab; from the feet where not given."""
    width_mm: float | None = Field(default=None, gt=0, le=50)
    """Width of the tab; from the feet where not given."""
    height_mm: float = Field(default=4.0, gt=0, le=50)
    """How far the tab reaches beyond the piece."""
    draft_deg: float = Field(default=2.0, ge=0, le=20)
    """How far each side of the tab leans in."""
    overlap_mm: float = Field(default=0.4, gt=0, le=5)
    """How deep the tab reaches into the piece."""
    place_mm: tuple[float, float, float] | None = None
    """Where the tab goes, in the figure's millimetres: the surface place nearest to it."""
    toward: tuple[float, float, float] = (0.0, 0.0, -1.0)
    """The direction in which the tab leaves the piece."""


@dataclass(frozen=True)
class TabSpec:
    """A tab as placed, at master size.

    Attributes
    ----------
    kind : "bar" or "small"
    top_mm : (3,) float64
        Middle of its upper face, inside the piece.
    along, toward : (3,) float64
        Directions of its length, and from the piece to its end.
    length_mm, width_mm, height_mm, overlap_mm, draft_deg : float
        Length and width of the upper face; height beyond the piece; depth in the piece; lean of the sides.
    mesh : Mesh
        The tab alone, points (n, 3) float32.
    """

    kind: str
    top_mm: npt.NDArray[np.float64]
    along: npt.NDArray[np.float64]
    toward: npt.NDArray[np.float64]
    length_mm: float
    width_mm: float
    height_mm: float
    overlap_mm: float
    draft_deg: float
    mesh: Mesh

    @property
    def end_width_mm(self) -> float:
        """Its width at the far end."""
        return self.width_mm - 2.0 * (self.height_mm + self.overlap_mm) * float(
            np.tan(np.radians(self.draft_deg))
        )


@dataclass(frozen=True, kw_only=True)
class Joined(StationResult):
    """One closed mesh per piece, at master size.

    Attributes
    ----------
    mesh : Mesh
        points (n, 3) float32, mm; closed, manifold, outward.
    part_of_triangle : (m,) uint16
        Index into `part_names`; the tab's triangles name the last.
    part_names : tuple of str
        The body's parts, then "tab" where there is one.
    tab : TabSpec or None
    """

    mesh: Mesh
    part_of_triangle: npt.NDArray[np.uint16]
    part_names: tuple[str, ...]
    tab: TabSpec | None


class _Spot(NamedTuple):
    """Where a tab goes: its bar in the frame's section at `level`, how deep, and what it should meet."""

    frame: Frame
    level: float
    overlap: float
    bar: Bar
    kind: str
    regions: list[CrossSection]


def join(
    *, piece: str, body: Body, matrix: npt.NDArray[np.float64], limits: Limits, settings: Settings
) -> Joined:
    """Map the body to master size and join a plain tab to it.

    Parameters
    ----------
    matrix : (3, 3) float64
        From figure to master, about the figure's origin.
    """
    mapped = _mapped(body.mesh, matrix)
    size = _size_measures(mapped)
    if settings.tab == "none":
        return Joined(
            mesh=mapped, part_of_triangle=body.part_of_triangle, part_names=body.part_names, tab=None,
            measures=size,
        )  # fmt: skip
    spot = _find_spot(mapped, matrix, settings)
    tab, joined, crossings = _joined_clear(mapped, spot, settings)
    part = body.part_of_triangle[np.maximum(joined.source, 0)]
    part[joined.source < 0] = len(body.part_names)
    return Joined(
        mesh=joined.mesh,
        part_of_triangle=part,
        part_names=(*body.part_names, TAB),
        tab=tab,
        says=f"a {tab.kind} tab {tab.length_mm:.2f} × {tab.width_mm:.2f} × {tab.height_mm:.2f} mm",
        findings=_findings(piece, spot, tab, joined, crossings, matrix, limits),
        measures=(*size, *_tab_measures(tab, joined)),
    )


def _mapped(mesh: Mesh, matrix: npt.NDArray[np.float64]) -> Mesh:
    """The mesh at master size, its points rounded to float32: before any union, so that it stays exact."""
    if np.array_equal(matrix, np.eye(3)):
        return Mesh(np.ascontiguousarray(mesh.points, dtype=np.float32), mesh.triangles)
    mapped = mesh.mapped(matrix)
    return Mesh(mapped.points.astype(np.float32), mapped.triangles)


def _find_spot(mesh: Mesh, matrix: npt.NDArray[np.float64], settings: Settings) -> _Spot:
    """Under the feet, if there are any that take a bar; else a small tab at the lowest or the named place."""
    toward = np.asarray(settings.toward, dtype=np.float64)
    if not np.linalg.norm(toward) > 0.0:
        raise InputError("toward is (0, 0, 0)", where="join", mend="Give a direction, such as (0, 0, -1).")
    frame = footing.frame_into(-toward)
    if settings.place_mm is not None:
        anchor = footing.nearest_place(mesh, matrix @ np.asarray(settings.place_mm))
        return _small(mesh, frame, float(anchor @ frame.into), anchor, settings)
    height = np.asarray(mesh.points, dtype=np.float64) @ frame.into
    lowest = int(height.argmin())
    level = float(height[lowest]) + settings.overlap_mm
    feet = footing.feet_of(footing.section_at(mesh, frame, level))
    spot = _bar(frame, level, feet, settings) if feet else None
    if spot is not None:
        return spot
    anchor = np.asarray(mesh.points[lowest], dtype=np.float64)
    return _small(mesh, frame, float(height[lowest]), anchor, settings)


def _bar(frame: Frame, level: float, feet: list[CrossSection], settings: Settings) -> _Spot | None:
    """A bar along the feet's long axis; None if they are too small for one."""
    angle = footing.long_axis(CrossSection.compose(feet))
    frame = frame.turned(angle)
    feet = [footing.turned(foot, angle) for foot in feet]
    low_u, low_v, high_u, high_v = CrossSection.compose(feet).bounds()
    if settings.length_mm and settings.width_mm:
        bar = Bar(((low_u + high_u) / 2.0, (low_v + high_v) / 2.0), settings.length_mm, settings.width_mm)
        return _Spot(frame, level, settings.overlap_mm, bar, "bar", feet)
    length = settings.length_mm or min(LENGTH_MOST_MM, LENGTH_SHARE * (high_u - low_u))
    width = settings.width_mm or min(WIDTH_MOST_MM, WIDTH_SHARE * (high_v - low_v))
    bar = footing.bar_under(
        feet, width_mm=width, length_mm=length, least_width_mm=min(width, WIDTH_LEAST_MM),
        least_length_mm=LENGTH_LEAST_MM,
    )  # fmt: skip
    if bar is None or bar.width < WIDTH_LEAST_MM:
        return None
    bar = bar._replace(length=settings.length_mm or bar.length, width=settings.width_mm or bar.width)
    return _Spot(frame, level, settings.overlap_mm, bar, "bar", feet)


def _small(mesh: Mesh, frame: Frame, low: float, anchor: np.ndarray, settings: Settings) -> _Spot:
    """A small tab at a place of the surface: on the region of the section that lies over it."""
    spot = frame.flat(anchor)
    region, overlap = None, settings.overlap_mm
    for times in range(1, SMALL_DEEPEST + 1):
        regions = footing.regions_of(footing.section_at(mesh, frame, low + times * settings.overlap_mm))
        if not regions:
            break
        region = min(regions, key=lambda one: (_distance_to(one, spot), one.bounds()))
        overlap = times * settings.overlap_mm
        if region.area() >= SMALL_HOLD_MM2:
            break
    if region is None:
        raise InputError(
            f"the piece is thinner than overlap_mm = {settings.overlap_mm:g} at "
            f"({anchor[0]:.2f}, {anchor[1]:.2f}, {anchor[2]:.2f})",
            where="join",
            mend="Lower join.overlap_mm, or name another place_mm or toward.",
        )
    width = settings.width_mm or SMALL_MM
    length = settings.length_mm or max(width, SMALL_MM)
    middle = spot if settings.place_mm is not None else footing.middle_of(region)
    bar = Bar((float(middle[0]), float(middle[1])), length, width)
    return _Spot(frame, low + overlap, overlap, bar, "small", [region])


def _distance_to(region: CrossSection, spot: np.ndarray) -> float:
    """How far a place is from a region's outline; 0 inside."""
    dot = CrossSection.circle(footing.FLAT_GRID_MM, 8).translate((float(spot[0]), float(spot[1])))
    if (dot ^ region).area() > 0.0:
        return 0.0
    return min(float(np.linalg.norm(np.asarray(loop) - spot, axis=1).min()) for loop in region.to_polygons())


def _joined_clear(mesh: Mesh, spot: _Spot, settings: Settings) -> tuple[TabSpec, Attached, int]:
    """The tab joined where rounding leaves no crossing: as placed, or nudged by a hair, always the same way."""
    tab, joined, crossings = None, None, 0
    for step in range(NUDGES):
        tab = _tab(spot, settings, step)
        joined = attach(mesh, tab.mesh, spot.frame.into)
        crossings = _seam_crossings(joined, spot.frame)
        if not crossings:
            break
    assert tab is not None
    assert joined is not None
    return tab, joined, crossings


def _seam_crossings(joined: Attached, frame: Frame) -> int:
    """How many pairs of triangles cross of which one was made or cut by the union, and how many of those are flat."""
    local, seam = _near(joined.mesh, joined.mesh.points, joined.seam)
    # The tab's walls are long and thin: along its own axes their box holds far fewer of the body's triangles.
    local, seam = _near(local, local.points @ np.stack(frame).T, seam)
    a, b, c = np.moveaxis(Mesh(local.points, local.triangles[seam]).corners, 1, 0)
    flat = int((np.cross(b - a, c - a) == 0.0).all(axis=1).sum())
    points = snap_points(local.points, where="join")
    tree = build_box_tree(points, local.triangles, np.arange(len(local.triangles), dtype=np.int32))
    pairs = crossing_rows(points, local.triangles, seam, tree, MOST_CROSSINGS)
    return flat + len(np.unique(np.sort(pairs, axis=1), axis=0))


def _near(
    mesh: Mesh, places: npt.NDArray[np.floating], rows: npt.NDArray[np.int32]
) -> tuple[Mesh, npt.NDArray[np.int32]]:
    """The triangles that may meet some rows, seen with the points at `places`; and those rows among them."""
    box = bounds_of(places[mesh.triangles[rows]].reshape(-1, 3))
    near = np.flatnonzero(near_box(places, mesh.triangles, box, SLACK_MM))
    return with_own_points(mesh.points, mesh.triangles[near])[0], np.searchsorted(near, rows).astype(np.int32)


def _tab(spot: _Spot, settings: Settings, step: int) -> TabSpec:
    frame, bar = spot.frame, spot.bar
    shift = step * np.asarray(NUDGE_MM)
    middle = (bar.middle[0] + shift[0], bar.middle[1] + shift[1])
    level = spot.level - min(shift[2], spot.overlap / 4.0)
    flat = prism(
        Bar((0.0, 0.0), bar.length, bar.width).corners,
        settings.height_mm + spot.overlap,
        draft_deg=settings.draft_deg,
    )
    mesh = from_manifold(flat)
    axes = np.stack([frame.along, frame.across, frame.into])
    top = np.array([*middle, level]) @ axes
    points = (mesh.points @ axes + top).astype(np.float32)
    return TabSpec(
        kind=spot.kind, top_mm=top, along=frame.along, toward=-frame.into, length_mm=bar.length,
        width_mm=bar.width, height_mm=settings.height_mm, overlap_mm=spot.overlap,
        draft_deg=settings.draft_deg, mesh=Mesh(points, mesh.triangles),
    )  # fmt: skip


def _findings(
    piece: str,
    spot: _Spot,
    tab: TabSpec,
    joined: Attached,
    crossings: int,
    matrix: np.ndarray,
    limits: Limits,
) -> tuple[Finding, ...]:
    x, y, z = np.linalg.solve(matrix, tab.top_mm)
    place = (float(x), float(y), float(z))
    found = []

    def find(code, verdict, says, mend, measured, limit, worse, unit="mm"):
        found.append(Finding("join", code, verdict, piece, says, mend, place, measured, limit, unit, worse))

    if tab.kind == "small":
        find(
            "tab-chosen", Verdict.WATCH,
            f"no foot takes a bar, so a plain tab of {tab.length_mm:.1f} × {tab.width_mm:.1f} mm was put at "
            f"({place[0]:.1f}, {place[1]:.1f}, {place[2]:.1f}): look whether it may stand there",
            "Name join.place_mm and join.toward, or set join.tab to \"none\".", None, None, "high",
        )  # fmt: skip
    else:
        over = footing.beyond(spot.bar, spot.regions)
        if over > 0.05:
            find(
                "tab-beyond-foot", Verdict.WATCH,
                f"the tab reaches {over:.2f} mm beyond what the piece stands on",
                "Lower join.length_mm or join.width_mm.", over, 0.05, "high",
            )  # fmt: skip
    share = joined.added_mm3 / (joined.added_mm3 + joined.overlap_mm3)
    if share < BURIED_SHARE:
        find(
            "tab-buried",
            Verdict.WATCH,
            f"only {share:.0%} of the tab lies outside the piece",
            "Turn join.toward round, or name another join.place_mm.",
            share,
            BURIED_SHARE,
            "low",
            "ratio",
        )
    if joined.overlap_count > len(spot.regions):
        find(
            "tab-touches", Verdict.WATCH,
            f"the tab meets the piece in {joined.overlap_count} places where {len(spot.regions)} were meant",
            "Name another join.place_mm, or lower the tab's size.", float(joined.overlap_count),
            float(len(spot.regions)), "high", "count",
        )  # fmt: skip
    if tab.end_width_mm < limits.wall_mm.likely:
        find(
            "tab-thin", Verdict.WATCH,
            f"the tab is {tab.end_width_mm:.2f} mm wide at its end, below the least wall of "
            f"{limits.wall_mm.likely:.2f} mm",
            "Raise join.width_mm, or lower join.height_mm or join.draft_deg.", tab.end_width_mm,
            limits.wall_mm.likely, "low",
        )  # fmt: skip
    if crossings:
        find(
            "seam-crossing", Verdict.STOP,
            f"{crossings} triangles along the tab's seam cross others after rounding to the file's numbers",
            "Change join.overlap_mm or the tab's place by a tenth of a millimetre.", float(crossings), 0.0,
            "high", "count",
        )  # fmt: skip
    return tuple(found)


def _size_measures(mesh: Mesh) -> tuple[Measure, ...]:
    x, y, z = (float(extent) for extent in np.ptp(bounds_of(mesh.points), axis=0))
    return (
        Measure("body_x_mm", x, "mm", "the body at master size, left to right"),
        Measure("body_y_mm", y, "mm", "the body at master size, front to back"),
        Measure("body_z_mm", z, "mm", "the body at master size, foot to head"),
    )


def _tab_measures(tab: TabSpec, joined: Attached) -> tuple[Measure, ...]:
    return (
        Measure("tab_length_mm", tab.length_mm, "mm", "length of the tab where it meets the piece"),
        Measure("tab_width_mm", tab.width_mm, "mm", "width of the tab where it meets the piece"),
        Measure("tab_adds_mm3", joined.added_mm3, "mm³", "what the tab adds to the piece"),
        Measure("tab_overlap_mm3", joined.overlap_mm3, "mm³", "what tab and piece share"),
    )
