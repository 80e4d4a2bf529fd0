"""Side by side: the sculpture and its forecasts from one camera in one light, whole and close up.

A column per version, a row per place. Places are shown as a drawing shows details: a ring with a letter on the whole
figure, and below it what the ring holds, enlarged. The words under the pictures are the caller's; nothing is
measured here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from string import ascii_uppercase

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageChops

from firstcast.arrays import Points, Triangles, check_points, check_triangles
from firstcast.errors import InputError
from firstcast.sheets._captions import LEADING, draw_captions
from firstcast.sheets._few_colours import in_few_colours
from firstcast.sheets._rings import box_about, draw_bar, draw_letter, draw_ring, paste_ring
from firstcast.sheets.dimensions import said_mm
from firstcast.sheets.face import FAINT_INK
from firstcast.sheets.heading import draw_page_heading
from firstcast.sheets.legend import draw_whole_legend
from firstcast.sheets.light import LitMesh, light_mesh
from firstcast.sheets.outlook import best_direction, best_view
from firstcast.sheets.plate import Title
from firstcast.sheets.render import Picture, fit_scale, render_lit
from firstcast.sheets.scales import SurfaceMap
from firstcast.sheets.setting import Box, Page, fitted, wrap
from firstcast.sheets.views import FOUR_VIEWS, View, extent_mm

DPI = 150
WIDE_PX, MARGIN_PX, GUTTER_PX = 1240, 44, 24
"""A4 upright at 150 dots per inch, so that the file stays small; as long as what it shows."""
MOST_TALL_PX = 4000
COLUMN_PX = (WIDE_PX - 2 * MARGIN_PX - 2 * GUTTER_PX) // 3
HEAD_PX, ROW_HEAD_PX, RING_PX, ROW_GAP_PX = 118, 66, 360, 26
WHOLE_PX, FEET_PX, SIDE_PX = 480, 36, 30
"""The tallest whole view; the room under its feet for their shadow, and at its sides."""
NAME_PX, SAYS_PX = 27.0, 20.0
SAMPLES, FINE_MAP_PX = 3, 640
MOST_VERSIONS, MOST_PLACES = 3, 3
REACH, BEHIND = 1.7, 4.0
"""How much is drawn close up, in radii about the middle: sideways, for what casts shadows into the ring, and to the
back, for what lies deeper is another part of the figure."""
GREYS, COLOURS = 64, 256
"""Colours of a page without and with a map: fewer show as steps on smooth cloth."""


@dataclass(frozen=True)
class Version:
    """One of the bodies that stand side by side.

    name : what it is, in plain words ("the sculpture")
    points_mm : (n, 3), z up, facing -y; the triangles are the same for all
    says : what stands under its whole view
    surface_map : a value at each point, shown in colour; None leaves it in grey
    """

    name: str
    points_mm: npt.ArrayLike
    says: str = ""
    surface_map: SurfaceMap | None = None


@dataclass(frozen=True)
class CloseUp:
    """A place to be looked at: a ball about `place_mm`, and what is said under each version's picture.

    view : None looks from where most of the place is seen.
    """

    name: str
    place_mm: Sequence[float]
    radius_mm: float
    says: tuple[str, ...] = ()
    view: View | None = None

    @property
    def ball(self) -> tuple[npt.NDArray[np.float64], float]:
        """Its middle (3,) and its radius, mm."""
        return np.asarray(self.place_mm, dtype=np.float64), float(self.radius_mm)


@dataclass(frozen=True)
class SideBySide:
    """The finished page; `whole` are the pictures of the whole figure, `close` those of each place, by version."""

    page: Page
    whole: tuple[Picture, ...]
    close: tuple[tuple[Picture, ...], ...]
    coloured: bool


def draw_side_by_side(
    triangles: npt.ArrayLike,
    versions: Sequence[Version],
    *,
    title: Title,
    close_ups: Sequence[CloseUp] = (),
    view: View | None = None,
    foot: str = "",
) -> SideBySide:
    """Draw up to three versions of a body from one camera in one light.

    Parameters
    ----------
    triangles : (m, 3), counter-clockwise from outside, the same for all versions
    versions : the sculpture first: the camera, and what the close-ups hold, are chosen by it
    close_ups : up to three places
    view : of the whole figure; None takes the plain view in which most of the places are seen
    foot : a sentence under all of it

    Raises
    ------
    InputError
        Other numbers of versions or places, points that don't match, a place off the body.
    """
    points, faces = _checked(triangles, versions, close_ups)
    maps = [version.surface_map for version in versions]
    colours = [None if each is None else each.colours() for each in maps]
    page = Page(WIDE_PX, MOST_TALL_PX)
    draw_page_heading(page, title, f"side by side {title.date}".strip(), MARGIN_PX)
    lit = [light_mesh(each, faces) for each in points]
    chosen = view or best_view(lit[0], [each.ball for each in close_ups], FOUR_VIEWS)
    whole, y = _draw_whole(page, versions, lit, colours, chosen, close_ups)
    close = []
    for letter, close_up in zip(ascii_uppercase, close_ups, strict=False):
        camera = close_up.view or best_direction(lit[0], *close_up.ball)
        pictures = [
            _close_picture(each, points[0], faces, camera, close_up, colour)
            for each, colour in zip(points, colours, strict=True)
        ]
        y = _draw_row(page, letter, close_up, pictures, y)
        close.append(tuple(pictures))
    mapped = next((each for each in maps if each is not None), None)
    y = _draw_foot(page, mapped, foot, y)
    page.height_px = round(y + MARGIN_PX - ROW_GAP_PX)
    page.image = page.image.crop((0, 0, WIDE_PX, page.height_px))
    return SideBySide(page, tuple(whole), tuple(close), mapped is not None)


def write_side_by_side(path: Path | str, drawn: SideBySide) -> None:
    """The page as a small PNG that prints at its true size."""
    image = in_few_colours(drawn.page.image, COLOURS if drawn.coloured else GREYS)
    image.save(path, format="PNG", dpi=(DPI, DPI), optimize=True)


def _checked(
    triangles: npt.ArrayLike, versions: Sequence[Version], close_ups: Sequence[CloseUp]
) -> tuple[list[Points], Triangles]:
    """Every version's points, and the triangles."""
    if not 1 <= len(versions) <= MOST_VERSIONS or len(close_ups) > MOST_PLACES:
        raise InputError(
            f"{len(versions)} versions and {len(close_ups)} places",
            where="side by side",
            mend=f"Give one to {MOST_VERSIONS} versions and at most {MOST_PLACES} places.",
        )
    points = [check_points(version.points_mm, where=version.name) for version in versions]
    if len({len(each) for each in points}) > 1:
        raise InputError(
            f"versions of {', '.join(str(len(each)) for each in points)} points",
            where="side by side",
            mend="Give versions that share their triangles.",
        )
    for close_up in close_ups:
        place, radius = close_up.ball
        if not radius > 0.0 or not (np.linalg.norm(points[0] - place, axis=1) < radius).any():
            raise InputError(
                f"no point of the body within {radius:g} mm",
                where=f"close-up {close_up.name!r}",
                mend="Name a place on the body, and a radius that holds some of it.",
            )
    return points, check_triangles(triangles, len(points[0]))


def _left(column: int) -> int:
    return MARGIN_PX + column * (COLUMN_PX + GUTTER_PX)


def _draw_whole(
    page: Page,
    versions: Sequence[Version],
    lit: Sequence[LitMesh],
    colours: Sequence,
    view: View,
    close_ups: Sequence[CloseUp],
) -> tuple[list[Picture], float]:
    """Names, whole views at one scale about one middle, rings, captions; and where the next row begins."""
    scale = fit_scale(lit[0].used, view, COLUMN_PX, WHOLE_PX, SIDE_PX)
    extent = extent_mm(lit[0].used, view)
    tall = round((extent[1, 1] - extent[0, 1]) * scale) + 2 * FEET_PX
    pictures = []
    for column, (version, mesh, colour) in enumerate(zip(versions, lit, colours, strict=True)):
        picture = render_lit(
            mesh, view=view, width_px=COLUMN_PX, height_px=tall, vertex_colour=colour, px_per_mm=scale,
            centre_mm=extent.mean(axis=0) @ view.axes, samples=SAMPLES,
        )  # fmt: skip
        left, top = _left(column), HEAD_PX + round(NAME_PX)
        box = (left, top, left + COLUMN_PX, top + tall)
        page.image.paste(ImageChops.darker(page.image.crop(box), Image.fromarray(picture.rgb)), box)
        name, size = fitted(version.name, (NAME_PX, 23.0, 19.0), COLUMN_PX)
        page.text((left + COLUMN_PX / 2, HEAD_PX + 0.6 * NAME_PX), name, size_px=size, anchor="ms")
        _draw_rings(page, picture, close_ups, (left, top))
        pictures.append(picture)
    y = HEAD_PX + NAME_PX + tall + 0.3 * SAYS_PX
    return pictures, _draw_says(page, [version.says for version in versions], y)


def _draw_rings(page: Page, picture: Picture, close_ups: Sequence[CloseUp], corner: tuple[int, int]) -> None:
    """A ring with its letter about each place on a whole view."""
    places = (
        picture.projection.place([close_up.place_mm for close_up in close_ups]) + corner if close_ups else []
    )
    radii = [close_up.radius_mm * picture.projection.px_per_mm for close_up in close_ups]
    letters: list[Box] = []
    for number, close_up in enumerate(close_ups):
        place, radius = close_up.ball
        others = [box_about(places[k], 0.9 * radii[k]) for k in range(len(close_ups)) if k != number]
        hidden = not picture.shows(place[None], slack_mm=radius)[0]
        letter = ascii_uppercase[number]
        taken = [*letters, *others]
        letters.append(draw_ring(page, letter, places[number], radii[number], hidden=hidden, taken=taken))


def _close_picture(
    points: Points, by: Points, faces: Triangles, view: View, close_up: CloseUp, colour
) -> Picture:
    """One version of a place; which triangles are drawn is decided by the points `by` of the sculpture."""
    place, radius = close_up.ball
    right, up, towards = view.axes @ (by - place).T
    near = (np.hypot(right, up) < REACH * radius) & (towards > -BEHIND * radius)
    used, named = np.unique(faces[near[faces].any(axis=1)], return_inverse=True)
    lit = light_mesh(points[used], named.reshape(-1, 3).astype(np.int32), map_px=FINE_MAP_PX)
    return render_lit(
        lit, view=view, width_px=RING_PX, height_px=RING_PX, px_per_mm=RING_PX / (2 * radius), centre_mm=place,
        vertex_colour=None if colour is None else colour[used], samples=SAMPLES, ground=False,
    )  # fmt: skip


def _draw_row(page: Page, letter: str, close_up: CloseUp, pictures: Sequence[Picture], y: float) -> float:
    """A place: letter and name under a rule, how much it is enlarged, its rings, the captions."""
    right = page.width_px - MARGIN_PX
    page.line([(MARGIN_PX, y), (right, y)], width_px=1.0)
    draw_letter(page, letter, (MARGIN_PX + 14, y + 32), 14.0)
    scale = pictures[0].projection.px_per_mm
    bar = draw_bar(page, right, y + 32, scale, SAYS_PX)
    across = said_mm(2 * close_up.radius_mm)
    enlarged = f"{across} across, {scale * 25.4 / DPI:.2g} : 1 on A4"
    said = page.text((bar.left - 30, y + 39), enlarged, size_px=SAYS_PX, colour=FAINT_INK, anchor="rs")
    name, size = fitted(close_up.name, (NAME_PX, 23.0, 19.0), said.left - MARGIN_PX - 64)
    page.text((MARGIN_PX + 42, y + 41), name, size_px=size)
    top = round(y + ROW_HEAD_PX)
    for column, picture in enumerate(pictures):
        paste_ring(page, Image.fromarray(picture.rgb), (_left(column) + (COLUMN_PX - RING_PX) // 2, top))
    return _draw_says(page, close_up.says[: len(pictures)], top + RING_PX + 0.7 * SAYS_PX)


def _draw_says(page: Page, says: Sequence[str], y: float) -> float:
    """A caption under each column, at `y`; returns where the next row begins."""
    middles = [_left(column) + COLUMN_PX / 2 for column in range(len(says))]
    return y + draw_captions(page, says, middles, COLUMN_PX, SAYS_PX, y) + ROW_GAP_PX


def _draw_foot(page: Page, mapped: SurfaceMap | None, foot: str, y: float) -> float:
    """The map's legend, and the last sentence beside it or alone; returns where the page may end."""
    right, left, end = page.width_px - MARGIN_PX, MARGIN_PX, y
    if mapped is None and not foot:
        return y
    page.line([(left, y), (right, y)], width_px=1.0)
    if mapped is not None:
        legend = draw_whole_legend(page, mapped, (left, y + 22), 2 * COLUMN_PX - 60)
        end, left = legend.bottom + ROW_GAP_PX, _left(2)
    lines = wrap(foot, SAYS_PX, right - left) if foot else []
    for number, line in enumerate(lines):
        place = (left, y + 22 + (LEADING * number + 0.75) * SAYS_PX)
        page.text(place, line, size_px=SAYS_PX, colour=FAINT_INK)
    return max(end, y + 22 + LEADING * SAYS_PX * len(lines) + ROW_GAP_PX)
