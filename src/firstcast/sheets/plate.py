"""The plate: one drawing of a piece or of the whole figure, on A4, with its measures and findings.

Four views at one scale that a ruler can use, dimension lines, a bar of millimetres, numbered marks with
leaders, the list that the numbers refer to, and a title block.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageChops

from firstcast.findings import Finding, Measure
from firstcast.sheets import dimensions
from firstcast.sheets._plate_list import draw_heading, draw_list, draw_title_block
from firstcast.sheets.light import LitMesh, light_mesh
from firstcast.sheets.marks import MARK_PX, Mark, draw_mark, spread
from firstcast.sheets.render import Picture, render_lit
from firstcast.sheets.scales import SurfaceMap, draw_legend
from firstcast.sheets.setting import Page
from firstcast.sheets.urgent import Note, folded_says, most_urgent
from firstcast.sheets.views import FOUR_VIEWS, FRONT, SIDE, View, extent_mm

DPI = 200
PAGE_PX = (2339, 1654)
"""A4 across, 297 x 210 mm, at 200 dots per inch."""

MARGIN_PX, GUTTER_PX, SIDE_PX, SHADOW_PX = 64, 74, 84, 120
TOP_PX, BOTTOM_PX, LEGEND_PX = 176, 1044, 92
TEXT_PX, SAMPLES = 22.0, 3


@dataclass(frozen=True)
class Title:
    """What the title block says. `date` is given, never read from a clock: the same job gives the same plate."""

    job: str
    piece: str
    date: str
    process: str = ""
    drawn_by: str = "firstcast"


@dataclass(frozen=True)
class Sheet:
    """A finished plate.

    `pictures` and `corners_px` give each view's picture and the pixel of its upper left corner on the page.
    """

    page: Page
    px_per_mm: float
    pictures: Mapping[str, Picture]
    corners_px: Mapping[str, tuple[int, int]]
    coloured: bool
    marks: tuple[Mark, ...]
    notes: tuple[Note, ...]

    def place_px(self, view: View, point_mm: Sequence[float]) -> tuple[float, float]:
        """Where a place of the figure falls on the page in one of the views."""
        x, y = self.pictures[view.name].projection.place([point_mm])[0]
        left, top = self.corners_px[view.name]
        return left + float(x), top + float(y)


@dataclass
class _Layout:
    """Where the views stand: scale, baseline, and the pixels that each view's figure spans."""

    px_per_mm: float
    top_px: int
    baseline_px: float
    extents: dict[str, npt.NDArray[np.float64]]
    left_px: dict[str, float] = field(default_factory=dict)

    def span(self, view: View) -> tuple[float, float]:
        """Left and right end of a view's figure on the page."""
        low, high = self.extents[view.name]
        left = self.left_px[view.name]
        return left, left + float(high[0] - low[0]) * self.px_per_mm

    def rows(self, view: View) -> tuple[float, float]:
        """Top and bottom of a view's figure on the page."""
        low, high = self.extents[view.name]
        return self.baseline_px - float(high[1]) * self.px_per_mm, self.baseline_px - float(
            low[1]
        ) * self.px_per_mm


def _lay_out(lit: LitMesh, base_mm: npt.NDArray, top_px: int) -> _Layout:
    """Fit the four views on the page at the greatest drawing scale; heights are about the middle of the base."""
    tall_px = BOTTOM_PX - top_px
    used = lit.used
    extents = {}
    for view in FOUR_VIEWS:
        extent = extent_mm(used, view)
        extent[:, 1] -= float(view.axes[1] @ base_mm)
        extents[view.name] = extent
    wide = sum(float(extent[1, 0] - extent[0, 0]) for extent in extents.values())
    above = max(float(extent[1, 1]) for extent in extents.values())
    below = min(float(extent[0, 1]) for extent in extents.values())
    room = PAGE_PX[0] - 2 * MARGIN_PX - SIDE_PX - 2 * GUTTER_PX * len(FOUR_VIEWS)
    most = min(room / wide, tall_px / (above - below))
    scale = dimensions.drawing_scale(most * 25.4 / DPI) * DPI / 25.4
    layout = _Layout(scale, top_px, top_px + (tall_px + (above + below) * scale) / 2, extents)
    spare = (room - wide * scale) / len(FOUR_VIEWS)
    x = MARGIN_PX + SIDE_PX
    for view in FOUR_VIEWS:
        extent = extents[view.name]
        layout.left_px[view.name] = x + GUTTER_PX + spare / 2
        x += 2 * GUTTER_PX + spare + float(extent[1, 0] - extent[0, 0]) * scale
    return layout


def _draw_views(page: Page, lit: LitMesh, layout: _Layout, base_mm: npt.NDArray, colours):
    """Draw the four views onto the page; returns their pictures and corners."""
    pictures, corners = {}, {}
    for view in FOUR_VIEWS:
        left, right = layout.span(view)
        low, high = layout.extents[view.name]
        wide, tall = round(right - left) + 2 * SHADOW_PX, BOTTOM_PX - layout.top_px + 80
        corner = (round(left) - SHADOW_PX, layout.top_px - 30)
        middle_up = (
            float(view.axes[1] @ base_mm) + (layout.baseline_px - corner[1] - tall / 2) / layout.px_per_mm
        )
        middle_right = (
            float(low[0] + high[0]) / 2 + (corner[0] + wide / 2 - (left + right) / 2) / layout.px_per_mm
        )
        picture = render_lit(
            lit,
            view=view,
            width_px=wide,
            height_px=tall,
            px_per_mm=layout.px_per_mm,
            centre_mm=np.array([middle_right, middle_up, 0.0]) @ view.axes,
            vertex_colour=colours,
            samples=SAMPLES,
        )
        box = (*corner, corner[0] + wide, corner[1] + tall)
        drawn = Image.fromarray(picture.rgb)
        page.image.paste(ImageChops.darker(page.image.crop(box), drawn), box)
        pictures[view.name], corners[view.name] = picture, corner
    return pictures, corners


def _facing(lit: LitMesh, place_mm: Sequence[float]) -> npt.NDArray[np.float64]:
    """Unit normal of the surface at the mesh's point nearest to a place."""
    nearest = int(((lit.points - np.asarray(place_mm)) ** 2).sum(axis=1).argmin())
    triangles, corners = np.nonzero(lit.triangles == nearest)
    normal = lit.normals[triangles, corners].astype(np.float64).sum(axis=0)
    return normal / max(1e-12, float(np.linalg.norm(normal)))


def _far_off(lit: LitMesh, place_mm: Sequence[float]) -> bool:
    """Whether a place lies so far from the mesh that no view can show it."""
    slack = 0.05 * lit.radius_mm
    place = np.asarray(place_mm)
    return bool((place < lit.used.min(axis=0) - slack).any() or (place > lit.used.max(axis=0) + slack).any())


def _choose_views(
    lit: LitMesh, notes: Sequence[Note], pictures: Mapping[str, Picture]
) -> dict[int, tuple[View, bool]]:
    """For each note with a place: the view that shows it best, and whether even there it is hidden."""
    chosen: dict[int, tuple[View, bool]] = {}
    crowd = dict.fromkeys(pictures, 0)
    slack = max(0.4, 0.02 * lit.radius_mm)
    for index, note in enumerate(notes):
        if note.place_mm is None or _far_off(lit, note.place_mm):
            continue
        normal = _facing(lit, note.place_mm)
        best, best_score, shown = FRONT, -np.inf, False
        for view in FOUR_VIEWS:
            visible = bool(pictures[view.name].shows([note.place_mm], slack_mm=slack)[0])
            score = 4.0 * visible + float(view.axes[2] @ normal) - 0.15 * crowd[view.name]
            if score > best_score:
                best, best_score, shown = view, score, visible
        chosen[index] = (best, not shown)
        crowd[best.name] += 1
    return chosen


def _place_marks(layout: _Layout, chosen, notes: Sequence[Note], place_px) -> list[Mark]:
    """Stand the marks in columns on both sides of each view, ordered by height so that leaders don't cross."""
    marks = []
    for view in FOUR_VIEWS:
        left, right = layout.span(view)
        top, bottom = layout.rows(view)
        sides: dict[bool, list] = {False: [], True: []}
        for index, (its_view, hidden) in chosen.items():
            if its_view is view:
                x, y = place_px(view, notes[index].place_mm)
                sides[x > (left + right) / 2].append((y, x, index, hidden))
        for at_right, column in sides.items():
            column.sort()
            x = right + 46 if at_right else left - 46
            heights = spread(
                [y for y, *_ in column], 2.7 * MARK_PX, top + MARK_PX, max(bottom - 2 * MARK_PX, top)
            )
            for (y, px, index, hidden), height in zip(column, heights, strict=True):
                marks.append(Mark(index + 1, notes[index].shown, view.name, (x, height), (px, y), hidden))
    return sorted(marks, key=lambda mark: mark.number)


def _draw_measures(page: Page, layout: _Layout, sheet: Sheet, used_mm: npt.NDArray) -> None:
    """Height beside the front view, width under it, depth under the side view, a name under each view.

    Extension lines start at the very points that bound the figure.
    """
    size_mm = used_mm.max(axis=0) - used_mm.min(axis=0)
    lowest = max(layout.rows(view)[1] for view in FOUR_VIEWS)
    y = lowest + 44
    for view, axis in ((FRONT, 0), (SIDE, 1)):
        left, right = layout.span(view)
        bounds = used_mm[[used_mm[:, axis].argmin(), used_mm[:, axis].argmax()]]
        starts = [sheet.place_px(view, point)[1] for point in bounds]
        dimensions.width_line(page, left, right, y, (starts[0], starts[1]), float(size_mm[axis]), TEXT_PX)
    left, _ = layout.span(FRONT)
    top, bottom = layout.rows(FRONT)
    bounds = used_mm[[used_mm[:, 2].argmax(), used_mm[:, 2].argmin()]]
    starts = [sheet.place_px(FRONT, point)[0] for point in bounds]
    dimensions.height_line(
        page, top, bottom, left - 112, (starts[0], min(starts[1], left)), float(size_mm[2]), TEXT_PX
    )
    for view in FOUR_VIEWS:
        left, right = layout.span(view)
        page.label(((left + right) / 2, y + 48), view.name, size_px=18, anchor="ms")


def draw_plate(
    points_mm: npt.ArrayLike | LitMesh,
    triangles: npt.ArrayLike | None = None,
    *,
    title: Title,
    findings: Sequence[Finding | Note | Mapping[str, Any]] = (),
    measures: Sequence[Measure] = (),
    surface_map: SurfaceMap | None = None,
) -> Sheet:
    """Draw the plate of a piece or a figure.

    Parameters
    ----------
    points_mm, triangles : (n, 3), (m, 3)
        The mesh, z up, facing -y; or a `LitMesh` in place of both.
    findings
        All of them: the ten that matter most are marked and listed, the rest are counted.
    measures : sequence of Measure
        Figures for the title block, at most six.
    surface_map : SurfaceMap or None
        A value per point, shown in colour with a legend.

    Raises
    ------
    InputError
        The mesh is not one; see `light_mesh`.
    """
    lit = (
        points_mm
        if isinstance(points_mm, LitMesh)
        else light_mesh(points_mm, () if triangles is None else triangles)
    )
    used = lit.used
    low, high = used.min(axis=0), used.max(axis=0)
    base = np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2]])
    notes, folded = most_urgent(findings)
    layout = _lay_out(lit, base, TOP_PX + (0 if surface_map is None else LEGEND_PX))
    page = Page(*PAGE_PX)
    colours = None if surface_map is None else surface_map.colours()
    pictures, corners = _draw_views(page, lit, layout, base, colours)
    sheet = Sheet(page, layout.px_per_mm, pictures, corners, colours is not None, (), tuple(notes))
    marks = _place_marks(layout, _choose_views(lit, notes, pictures), notes, sheet.place_px)
    _draw_measures(page, layout, sheet, used)
    for mark in marks:
        draw_mark(page, mark)
    draw_heading(page, title, findings, MARGIN_PX)
    if surface_map is not None:
        draw_legend(page, surface_map, (MARGIN_PX, TOP_PX - 16), 560)
    draw_list(page, notes, folded_says(notes, folded), MARGIN_PX)
    draw_title_block(page, title, measures, layout.px_per_mm * 25.4 / DPI, layout.px_per_mm, MARGIN_PX)
    return replace(sheet, marks=tuple(marks))
