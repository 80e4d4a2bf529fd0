"""The join station: the body at master size and its fittings become one closed mesh.

Pegs are added and sockets taken out as fit made them. Until a pour station says more, the one other fitting is a plain tab: a
drafted bar under the feet, or a small one at the lowest or a named place of a piece without feet.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field

from firstcast.findings import Finding, Measure
from firstcast.geometry import footing
from firstcast.geometry.attach import Attached, attach
from firstcast.geometry.body import Body
from firstcast.geometry.boxtree import bounds_of
from firstcast.geometry.fittings import Fitting, fitted, seam_crossings
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.solids import raw_manifold
from firstcast.geometry.tabs import Spot, TabSpec, TabWanted, find_spot, tab_at
from firstcast.process.limits import Limits
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.vocabulary import Verdict

TAB = "tab"
"""The tab's name among the parts."""

BURIED_SHARE = 0.5
"""A tab of which less than this lies outside the piece points the wrong way."""

NUDGES = 8


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
        The body's parts, then its joints' pegs, sockets and beds, then "tab" where there is one.
    tab : TabSpec or None
    fittings : tuple of Fitting
        What of joints went into it, each where it went in the end.
    """

    mesh: Mesh
    part_of_triangle: npt.NDArray[np.uint16]
    part_names: tuple[str, ...]
    tab: TabSpec | None
    fittings: tuple[Fitting, ...] = ()


def join(
    *,
    piece: str,
    body: Body,
    matrix: npt.NDArray[np.float64],
    limits: Limits,
    settings: Settings,
    fittings: tuple[Fitting, ...] = (),
) -> Joined:
    """Map the body to master size, and join its joints' fittings and a plain tab to it.

    Parameters
    ----------
    matrix : (3, 3) float64
        From figure to master, about the figure's origin.
    fittings : tuple of Fitting
        Of all pieces, at master size; those of this one are joined, in their order.
    """
    mapped = _mapped(body.mesh, matrix)
    size = _size_measures(mapped)
    before = _with_fittings(mapped, body, [fitting for fitting in fittings if fitting.piece == piece])
    crossed = _seam_findings(piece, before.crossings)
    if settings.tab == "none":
        return Joined(
            mesh=before.mesh, part_of_triangle=before.part, part_names=before.names, tab=None,
            fittings=before.fittings, says=_fitted_says(before.fittings), findings=crossed, measures=size,
        )  # fmt: skip
    wanted = _wanted(settings, matrix)
    spot = find_spot(mapped, wanted)
    tab, joined, crossings = _joined_clear(before.mesh, spot, wanted)
    part = before.part[np.maximum(joined.source, 0)]
    part[joined.source < 0] = len(before.names)
    says = f"a {tab.kind} tab {tab.length_mm:.2f} × {tab.width_mm:.2f} × {tab.height_mm:.2f} mm"
    return Joined(
        mesh=joined.mesh,
        part_of_triangle=part,
        part_names=(*before.names, TAB),
        tab=tab,
        fittings=before.fittings,
        says="; ".join(filter(None, [says, _fitted_says(before.fittings)])),
        findings=(
            *_findings(piece, spot, tab, joined, crossings, matrix, limits),
            *_tab_on_joint(piece, tab, before.fittings, matrix),
            *crossed,
        ),
        measures=(*size, *_tab_measures(tab, joined)),
    )


@dataclass(frozen=True)
class _Fitted:
    """A body with its joints' fittings, at master size."""

    mesh: Mesh
    part: npt.NDArray[np.uint16]
    names: tuple[str, ...]
    fittings: tuple[Fitting, ...]
    crossings: int


def _with_fittings(mapped: Mesh, body: Body, fittings: Sequence[Fitting]) -> _Fitted:
    mesh, part, names, crossings = mapped, body.part_of_triangle, body.part_names, 0
    placed = []
    for fitting in fittings:
        moved, joined, crossing = fitted(mesh, fitting)
        part = part[np.maximum(joined.source, 0)]
        part[joined.source < 0] = len(names)
        mesh, names = joined.mesh, (*names, fitting.name)
        placed.append(moved)
        crossings += crossing
    return _Fitted(mesh, part, names, tuple(placed), crossings)


def _fitted_says(fittings: Sequence[Fitting]) -> str:
    return ", ".join(fitting.name for fitting in fittings)


def _seam_findings(piece: str, crossings: int) -> tuple[Finding, ...]:
    if not crossings:
        return ()
    return (
        Finding(
            "join", "joint-crossing", Verdict.STOP, piece,
            f"{crossings} triangles along the seams of pegs and sockets cross others after rounding to the file's numbers",
            "Change the joint's place_mm or width_mm by a hundredth of a millimetre.",
            measured=float(crossings), limit=0.0, unit="count", worse="high",
        ),
    )  # fmt: skip


def _tab_on_joint(
    piece: str, tab: TabSpec, fittings: Sequence[Fitting], matrix: npt.NDArray[np.float64]
) -> list[Finding]:
    """A tab that stands where a joint is: the pieces would not go together before it is cut off."""
    own = raw_manifold(tab.mesh)
    touched = [fitting.name for fitting in fittings if not (own ^ raw_manifold(fitting.mesh)).is_empty()]
    if not touched:
        return []
    x, y, z = (float(c) for c in np.linalg.solve(matrix, tab.top_mm))
    return [
        Finding(
            "join", "tab-on-joint", Verdict.WATCH, piece,
            f"the tab stands on {', '.join(touched)}, so what is left of it keeps the pieces apart",
            "Name another join.place_mm and join.toward for this piece, or set its join.tab to \"none\".",
            (x, y, z), float(len(touched)), 0.0, "count", "high",
        )
    ]  # fmt: skip


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
        crossings = seam_crossings(joined, spot.frame)
        if not crossings:
            break
    assert tab is not None
    assert joined is not None
    return tab, joined, crossings


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
