"""The page of places that hold a mould: each close up, from where most of what it touches is seen, that surface tinted."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image

from firstcast.geometry.mesh import Mesh
from firstcast.sheets import dimensions
from firstcast.sheets.face import ACCENT, FAINT_INK, INK, PAPER, SHADOW
from firstcast.sheets.heading import draw_page_heading
from firstcast.sheets.light import LitMesh, light_mesh
from firstcast.sheets.mould_sections import UPPER_TONE
from firstcast.sheets.mould_views import MARGIN_PX, SAMPLES, SMALL_PX, TALL_PX, WIDE_PX, Held
from firstcast.sheets.plate import Title
from firstcast.sheets.render import Picture, fit_scale, render_lit
from firstcast.sheets.setting import Box, Page, wrap
from firstcast.sheets.sightings import HARDLY, Lookout, Sighting, Spots, lookout, only, spots_of
from firstcast.sheets.views import View, extent_mm

MOST_PLACES = 9
TOP_PX, BETWEEN_PX, WORDS_PX, LINE_PX, BAR_PX = 132, 28, 88, 24, 150
"""Where pictures begin, room between them, a caption's height and that of its lines, the longest scale bar."""

NUMBER_PX = 14.0
PLACE_FILLS = 0.5
"""Share of a close-up that its place fills; the rest shows a reader where he is."""

LEAST_ACROSS_MM = 6.0
"""So much of the figure is in a close-up at least: less is a patch of surface that nobody could find again."""

TINT = tuple(0.72 * a + 0.28 * tone for a, tone in zip(ACCENT, UPPER_TONE, strict=True))
INSIDE = (150.0, 164.0, 173.0)
"""The figure's inside, where it is cut open: slate beside the bone of its outside."""

CUT_SAYS = "cut open"


@dataclass(frozen=True)
class Place:
    """A place that holds the mould, and the vertices (k,) of the body that it touches."""

    held: Held
    vertices: npt.NDArray[np.intp]


def draw_places_page(
    mesh: Mesh, places: Sequence[Place], *, title: Title, kind: str = "what holds the mould"
) -> Page:
    """Draw up to nine places close up, what matters most first, numbered in this order.

    Parameters
    ----------
    mesh : Mesh
        The body in figure space, mm.
    places : sequence of Place
        At least one. What touches no vertex is shown at the vertex nearest to it.
    """
    shown = [_touching(mesh, each) for each in places[:MOST_PLACES]]
    page = Page(WIDE_PX, TALL_PX)
    draw_page_heading(page, title, kind, MARGIN_PX)
    lit = light_mesh(np.asarray(mesh.points, np.float64), mesh.triangles)
    boxes = _boxes(len(shown))
    spots = spots_of(lit, [each.vertices for each in shown])
    looks = lookout(mesh)
    found = looks.sightings(spots)
    for number, (place, some, first, box) in enumerate(zip(shown, spots, found, boxes, strict=True), start=1):
        sighting, scale = _draw_place(page, lit, looks, place, some, first, box)
        _caption(page, box, number, place.held, sighting, scale)
    return page


def _touching(mesh: Mesh, place: Place) -> Place:
    if len(place.vertices):
        return place
    points = np.asarray(mesh.points, np.float64)
    nearest = int(((points - np.asarray(place.held.place_mm)) ** 2).sum(axis=1).argmin())
    return Place(place.held, np.array([nearest]))


def _boxes(count: int) -> list[Box]:
    """Where each picture lies, in as few rows and columns as hold them, at most three each way."""
    columns = next(
        wide for wide, tall in ((1, 1), (2, 1), (3, 1), (2, 2), (3, 2), (3, 3)) if wide * tall >= count
    )
    rows = -(-count // columns)
    wide = (WIDE_PX - 2 * MARGIN_PX - (columns - 1) * BETWEEN_PX) // columns
    tall = (TALL_PX - MARGIN_PX - TOP_PX + 20) // rows
    return [
        Box(left, top, left + wide, top + tall - WORDS_PX)
        for number in range(count)
        for left, top in [
            (MARGIN_PX + (number % columns) * (wide + BETWEEN_PX), TOP_PX + (number // columns) * tall)
        ]
    ]


def _draw_place(
    page: Page, lit: LitMesh, looks: Lookout, place: Place, spots: Spots, sighting: Sighting, box: Box
) -> tuple[Sighting, float]:
    """Draw a close-up; from where it was drawn after all, and its scale."""
    picture = _close_up(lit, place.vertices, sighting, box)
    if sighting.cut_mm is None:
        # the full figure may hide what its thinned one let through
        inside = _in_frame(picture, spots.points_mm)
        if inside.any() and (spots.seen(picture, 0.1)[inside] > 0.0).mean() < HARDLY:
            sighting = looks.cut_open(spots)
            picture = _close_up(lit, place.vertices, sighting, box)
    page.image.paste(Image.fromarray(picture.rgb), (int(box.left), int(box.top)))
    corners = [(box.left, box.top), (box.right, box.top), (box.right, box.bottom), (box.left, box.bottom)]
    page.line([*corners, corners[0]], width_px=1.2, colour=SHADOW)
    return sighting, picture.projection.px_per_mm


def _in_frame(picture: Picture, points_mm) -> npt.NDArray[np.bool_]:
    where = picture.projection.place(points_mm)
    tall, wide = picture.depth_mm.shape
    return np.all((where >= 0) & (where < [wide, tall]), axis=1)


def _close_up(lit: LitMesh, vertices: npt.NDArray[np.intp], sighting: Sighting, box: Box) -> Picture:
    """The picture of a place, as large as leaves room round it."""
    view, wide, tall = sighting.view, int(box.right - box.left), int(box.bottom - box.top)
    extent = extent_mm(lit.points[vertices], view)
    across = np.maximum(np.ptp(extent, axis=0)[:2], 1e-6)
    whole = fit_scale(lit.used, view, wide, tall, 12.0)
    fills = min(PLACE_FILLS * wide / across[0], PLACE_FILLS * tall / across[1], tall / LEAST_ACROSS_MM)
    scale = max(whole, float(fills))
    middle = extent.mean(axis=0) if scale > whole else extent_mm(lit.used, view).mean(axis=0)
    near = _framed(lit, view, middle, (wide / scale, tall / scale))
    colours = np.tile(np.asarray(UPPER_TONE, np.float32), (len(lit.points), 1))
    colours[vertices] = TINT
    if sighting.cut_mm is not None:
        near, colours = _opened(near, view, sighting.cut_mm, colours)
    return render_lit(
        near, view=view, width_px=wide, height_px=tall, px_per_mm=scale, centre_mm=middle @ view.axes,
        vertex_colour=colours, samples=SAMPLES, ground=False,
    )  # fmt: skip


def _framed(lit: LitMesh, view: View, middle, size_mm) -> LitMesh:
    """Only the triangles that can be in a picture: the rest of a large mesh would be sorted for nothing."""
    across = np.abs(lit.points @ view.axes[:2].T - middle[:2]) <= 0.55 * np.asarray(size_mm)
    return only(lit, across.all(axis=1)[lit.triangles].any(axis=1))


def _opened(lit: LitMesh, view: View, cut_mm: float, colours) -> tuple[LitMesh, npt.NDArray[np.float32]]:
    """The mesh without what is nearer than the cut, in light of its own, its inside in a tone of its own."""
    depth = lit.points @ view.axes[2]
    rows = lit.triangles[(depth[lit.triangles] <= cut_mm).all(axis=1)]
    if not len(rows):
        return lit, colours
    a, b, c = (lit.points[rows[:, k]] for k in range(3))
    away = np.cross(b - a, c - a) @ view.axes[2] < 0.0
    used, names = np.unique(rows, return_inverse=True)
    names = names.reshape(-1, 3).astype(np.int32)
    names[away] += len(used)
    inside = np.tile(np.asarray(INSIDE, np.float32), (len(used), 1))
    opened = light_mesh(np.tile(lit.points[used], (2, 1)), names, sky_count=48)
    return opened, np.concatenate([colours[used], inside])


def _caption(page: Page, box: Box, number: int, held: Held, sighting: Sighting, scale: float) -> None:
    """Number, volume, what is said of it and from where it is seen; the scale bar at the right."""
    at = (box.left + NUMBER_PX + 8, box.top + NUMBER_PX + 8)
    page.disc(at, NUMBER_PX + 1.5, colour=PAPER)
    page.disc(at, NUMBER_PX, colour=ACCENT if held.captive else INK)
    page.text(at, str(number), size_px=1.45 * NUMBER_PX, colour=PAPER, anchor="mm")
    room = box.right - box.left - BAR_PX - 70
    told = wrap(f"{number}  ·  {held.volume_mm3:.1f} mm³  ·  {held.says}", SMALL_PX, room, 2)
    y = box.bottom + 26.0
    for line in told:
        page.text((box.left, y), line, size_px=SMALL_PX)
        y += LINE_PX
    opened = f", {CUT_SAYS}" if sighting.cut_mm is not None else ""
    # below the scale bar it has all the width
    seen = f"{sighting.view.name}{opened}"
    page.text((box.left, box.bottom + 26.0 + 2 * LINE_PX), seen, size_px=SMALL_PX, colour=FAINT_INK)
    dimensions.scale_bar(page, (box.right - BAR_PX - 24, box.bottom + 40), scale, BAR_PX, 16.0)
