"""A plain tab: where it goes under a piece, and its shape there.

A drafted bar under the feet, or a small one at the lowest or a named place of a piece without feet.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from manifold3d import CrossSection

from firstcast.errors import InputError
from firstcast.geometry import footing
from firstcast.geometry.footing import Bar, Frame
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.solids import from_manifold, prism

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

NUDGE_MM = (0.0137, 0.0071, 0.0043)
"""Steps along, across and down by which the tab is moved if rounding to float32 leaves a crossing."""


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


class TabWanted(NamedTuple):
    """A tab as asked for: lengths at master size, None where the piece decides; directions and places too."""

    length_mm: float | None
    width_mm: float | None
    height_mm: float
    draft_deg: float
    overlap_mm: float
    toward: npt.NDArray[np.float64]
    place_mm: npt.NDArray[np.float64] | None


class Spot(NamedTuple):
    """Where a tab goes: its bar in the frame's section at `level`, how deep, and what it should meet."""

    frame: Frame
    level: float
    overlap: float
    bar: Bar
    kind: str
    regions: list[CrossSection]


def find_spot(mesh: Mesh, wanted: TabWanted) -> Spot:
    """Under the feet, if there are any that take a bar; else a small tab at the lowest or the named place.

    Raises
    ------
    InputError
        The direction has no length, or the piece is thinner than the overlap.
    """
    if not np.linalg.norm(wanted.toward) > 0.0:
        raise InputError("toward is (0, 0, 0)", where="join", mend="Give a direction, such as (0, 0, -1).")
    frame = footing.frame_into(-wanted.toward)
    if wanted.place_mm is not None:
        anchor = footing.nearest_place(mesh, wanted.place_mm)
        return _small(mesh, frame, float(anchor @ frame.into), anchor, wanted)
    height = np.asarray(mesh.points, dtype=np.float64) @ frame.into
    lowest = int(height.argmin())
    level = float(height[lowest]) + wanted.overlap_mm
    feet = footing.feet_of(footing.section_at(mesh, frame, level))
    spot = _bar(frame, level, feet, wanted) if feet else None
    if spot is not None:
        return spot
    anchor = np.asarray(mesh.points[lowest], dtype=np.float64)
    return _small(mesh, frame, float(height[lowest]), anchor, wanted)


def _bar(frame: Frame, level: float, feet: list[CrossSection], wanted: TabWanted) -> Spot | None:
    """A bar along the feet's long axis; None if they are too small for one."""
    angle = footing.long_axis(CrossSection.compose(feet))
    frame = frame.turned(angle)
    feet = [footing.turned(foot, angle) for foot in feet]
    low_u, low_v, high_u, high_v = CrossSection.compose(feet).bounds()
    if wanted.length_mm and wanted.width_mm:
        bar = Bar(((low_u + high_u) / 2.0, (low_v + high_v) / 2.0), wanted.length_mm, wanted.width_mm)
        return Spot(frame, level, wanted.overlap_mm, bar, "bar", feet)
    length = wanted.length_mm or min(LENGTH_MOST_MM, LENGTH_SHARE * (high_u - low_u))
    width = wanted.width_mm or min(WIDTH_MOST_MM, WIDTH_SHARE * (high_v - low_v))
    bar = footing.bar_under(
        feet, width_mm=width, length_mm=length, least_width_mm=min(width, WIDTH_LEAST_MM),
        least_length_mm=LENGTH_LEAST_MM,
    )  # fmt: skip
    if bar is None or bar.width < WIDTH_LEAST_MM:
        return None
    bar = bar._replace(length=wanted.length_mm or bar.length, width=wanted.width_mm or bar.width)
    return Spot(frame, level, wanted.overlap_mm, bar, "bar", feet)


def _small(mesh: Mesh, frame: Frame, low: float, anchor: np.ndarray, wanted: TabWanted) -> Spot:
    """A small tab at a place of the surface: on the region of the section that lies over it."""
    spot = frame.flat(anchor)
    region, overlap = None, wanted.overlap_mm
    for times in range(1, SMALL_DEEPEST + 1):
        regions = footing.regions_of(footing.section_at(mesh, frame, low + times * wanted.overlap_mm))
        if not regions:
            break
        region = min(regions, key=lambda one: (_distance_to(one, spot), one.bounds()))
        overlap = times * wanted.overlap_mm
        if region.area() >= SMALL_HOLD_MM2:
            break
    if region is None:
        raise InputError(
            f"the piece is thinner than overlap_mm = {wanted.overlap_mm:g} at "
            f"({anchor[0]:.2f}, {anchor[1]:.2f}, {anchor[2]:.2f})",
            where="join",
            mend="Lower join.overlap_mm, or name another place_mm or toward.",
        )
    width = wanted.width_mm or SMALL_MM
    length = wanted.length_mm or max(width, SMALL_MM)
    middle = spot if wanted.place_mm is not None else footing.middle_of(region)
    bar = Bar((float(middle[0]), float(middle[1])), length, width)
    return Spot(frame, low + overlap, overlap, bar, "small", [region])


def _distance_to(region: CrossSection, spot: np.ndarray) -> float:
    """How far a place is from a region's outline; 0 inside."""
    dot = CrossSection.circle(footing.FLAT_GRID_MM, 8).translate((float(spot[0]), float(spot[1])))
    if (dot ^ region).area() > 0.0:
        return 0.0
    return min(float(np.linalg.norm(np.asarray(loop) - spot, axis=1).min()) for loop in region.to_polygons())


def tab_at(spot: Spot, wanted: TabWanted, step: int = 0) -> TabSpec:
    """The tab as it stands at its spot, `step` hair's breadths off."""
    frame, bar = spot.frame, spot.bar
    shift = step * np.asarray(NUDGE_MM)
    middle = (bar.middle[0] + shift[0], bar.middle[1] + shift[1])
    level = spot.level - min(shift[2], spot.overlap / 4.0)
    flat = prism(
        Bar((0.0, 0.0), bar.length, bar.width).corners,
        wanted.height_mm + spot.overlap,
        draft_deg=wanted.draft_deg,
    )
    mesh = from_manifold(flat)
    axes = np.stack([frame.along, frame.across, frame.into])
    top = np.array([*middle, level]) @ axes
    points = (mesh.points @ axes + top).astype(np.float32)
    return TabSpec(
        kind=spot.kind, top_mm=top, along=frame.along, toward=-frame.into, length_mm=bar.length,
        width_mm=bar.width, height_mm=wanted.height_mm, overlap_mm=spot.overlap,
        draft_deg=wanted.draft_deg, mesh=Mesh(points, mesh.triangles),
    )  # fmt: skip
