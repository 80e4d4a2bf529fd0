"""The join station: the body at master size and its fittings become one closed mesh.

Until a pour station says more, the one fitting is a plain tab: a drafted bar under the feet, or a small one
at the lowest or a named place of a piece without feet.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field

from firstcast.findings import Finding, Measure
from firstcast.geometry import footing
from firstcast.geometry.attach import Attached, attach
from firstcast.geometry.body import Body
from firstcast.geometry.boxtree import bounds_of, build_box_tree
from firstcast.geometry.crossings import crossing_rows, snap_points
from firstcast.geometry.footing import Frame
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.neighbourhood import near_box, with_own_points
from firstcast.geometry.tabs import Spot, TabSpec, TabWanted, find_spot, tab_at
from firstcast.process.limits import Limits
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.vocabulary import Verdict

TAB = "tab"
"""The tab's name among the parts."""

BURIED_SHARE = 0.5
"""A tab of which less than this lies outside the piece points the wrong way."""

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
    wanted = _wanted(settings, matrix)
    spot = find_spot(mapped, wanted)
    tab, joined, crossings = _joined_clear(mapped, spot, wanted)
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


def _wanted(settings: Settings, matrix: npt.NDArray[np.float64]) -> TabWanted:
    place = settings.place_mm
    return TabWanted(
        length_mm=settings.length_mm,
        width_mm=settings.width_mm,
        height_mm=settings.height_mm,
        draft_deg=settings.draft_deg,
        overlap_mm=settings.overlap_mm,
        toward=np.asarray(settings.toward, dtype=np.float64),
        place_mm=None if place is None else matrix @ np.asarray(place),
    )


def _joined_clear(mesh: Mesh, spot: Spot, wanted: TabWanted) -> tuple[TabSpec, Attached, int]:
    """The tab joined where rounding leaves no crossing: as placed, or nudged by a hair, always the same way."""
    tab, joined, crossings = None, None, 0
    for step in range(NUDGES):
        tab = tab_at(spot, wanted, step)
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


def _findings(
    piece: str,
    spot: Spot,
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
