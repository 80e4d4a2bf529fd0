"""Shaded pictures of meshes, drawn without a display.

>>> from firstcast.sheets.render import render_view
>>> from firstcast.sheets.views import FRONT
>>> points = [[0, 0, 0], [10, 0, 0], [0, 0, 10]]
>>> picture = render_view(points, [[0, 1, 2]], view=FRONT, width_px=60, height_px=60)
>>> picture.rgb.shape
(60, 60, 3)
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter, uniform_filter

from firstcast.arrays import Points
from firstcast.errors import InputError
from firstcast.sheets import _ink, _raster, _shading, face
from firstcast.sheets.ground import plain_paper, shaded_paper
from firstcast.sheets.light import LitMesh, in_threads, light_mesh
from firstcast.sheets.sky import brightness, sky_and_key
from firstcast.sheets.views import Projection, View, extent_mm

BAND_PX = 16
"""Pixel rows per band of work: fixed, so that the work divides alike for any number of threads."""

LIGHT_PX = 2
"""Light is worked out once for every so many pixels each way, on each smooth surface, and evened out afterwards."""

BREAK_LOW, BREAK_HIGH = 0.006, 0.06
"""Breaks in depth, as shares of the mesh's radius, at which an ink line begins and reaches its full width."""
CLEAN_PX = 5
"""Ink lines shorter than about twice this are specks."""


@dataclass(frozen=True)
class Picture:
    """A drawn view.

    rgb : (height, width, 3) uint8
    projection : Projection
        Where places of the figure are on it.
    depth_mm : (height, width) float32
        How far towards the viewer the surface lies at each pixel (at its middle; half a sample right of and
        below it where the samples per pixel are even); -inf where there is only paper.
    """

    rgb: npt.NDArray[np.uint8]
    projection: Projection
    depth_mm: npt.NDArray[np.float32]

    def shows(self, points_mm: npt.ArrayLike, *, slack_mm: float = 0.5) -> npt.NDArray[np.bool_]:
        """(n,) whether each place is in the picture and not hidden by more than `slack_mm` of figure."""
        where = np.floor(self.projection.place(points_mm)).astype(int)
        height, width = self.depth_mm.shape
        inside = (where >= 0).all(axis=1) & (where[:, 0] < width) & (where[:, 1] < height)
        column, row = np.clip(where.T, 0, [[width - 1], [height - 1]])
        return inside & (self.projection.depth_mm(points_mm) + slack_mm >= self.depth_mm[row, column])


def fit_scale(points_mm: Points, view: View, width_px: int, height_px: int, margin_px: float) -> float:
    """The greatest scale, px per mm, at which some places fit a picture with a margin all round."""
    low, high = extent_mm(points_mm, view)
    wide, tall = np.maximum(high - low, 1e-9)[:2]
    return float(min((width_px - 2 * margin_px) / wide, (height_px - 2 * margin_px) / tall))


def bands_of(screen: npt.NDArray, triangles: npt.NDArray, band: int, count: int):
    """The names of the triangles that touch each of `count` bands of rows, each list in order."""
    y = screen[:, 1]
    a, b, c = (y[triangles[:, k]] for k in range(3))
    first = np.maximum(np.ceil(np.minimum(np.minimum(a, b), c) - 0.5), 0.0)
    last = np.minimum(np.floor(np.maximum(np.maximum(a, b), c) - 0.5), band * count - 1.0)
    first, last = (first // band).astype(np.int32), np.where(last >= first, last // band, -1).astype(np.int32)
    spans = np.maximum(0, last - first + 1)
    names = np.repeat(np.arange(len(triangles), dtype=np.int32), spans)
    starts = np.cumsum(spans) - spans
    bands = first[names] + (np.arange(len(names)) - starts[names])
    order = np.argsort(bands.astype(np.int16), kind="stable")
    return np.split(names[order], np.searchsorted(bands[order], np.arange(1, count)))


def _raster_all(screen: npt.NDArray, lit: LitMesh, rows: int, columns: int, band: int):
    """Depth (rows, columns) float32 and face (rows, columns) int32 of the nearest surface."""
    depth = np.full((rows, columns), -np.inf, np.float32)
    name = np.full((rows, columns), -1, np.int32)
    count = -(-rows // band)
    names = bands_of(screen, lit.triangles, band, count)
    in_threads(
        lambda k: _raster.raster_band(
            screen, lit.triangles, names[k], k * band, min(rows, (k + 1) * band), depth, name
        ),
        count,
    )
    return depth, name


def depth_view(lit: LitMesh, *, view: View, width_px: int, height_px: int) -> Picture:
    """What is nearest at each pixel and no more: a picture without light, its paper bare, that fits the mesh just so."""
    scale = fit_scale(lit.used, view, width_px, height_px, 2.0)
    right, up, _ = extent_mm(lit.used, view).mean(axis=0)
    projection = Projection(view, scale, (width_px / 2 - right * scale, height_px / 2 + up * scale))
    screen = np.column_stack([projection.place(lit.points), projection.depth_mm(lit.points)])
    depth, _ = _raster_all(screen, lit, height_px, width_px, BAND_PX)
    return Picture(plain_paper((height_px, width_px)), projection, depth)


def _colours(lit: LitMesh, vertex_colour: npt.ArrayLike | None) -> npt.NDArray[np.float32]:
    """Colours as the kernels take them: (n, 3), or (0, 3) where there are none."""
    if vertex_colour is None:
        return np.zeros((0, 3), np.float32)
    colour = np.ascontiguousarray(vertex_colour, dtype=np.float32)
    if colour.shape != lit.points.shape:
        raise InputError(
            f"colours of shape {colour.shape} for {len(lit.points)} points",
            where="render",
            mend="Give one row red, green, blue per point.",
        )
    return colour


def render_lit(
    lit: LitMesh,
    *,
    view: View,
    width_px: int,
    height_px: int,
    vertex_colour: npt.ArrayLike | None = None,
    px_per_mm: float | None = None,
    centre_mm: npt.ArrayLike | None = None,
    margin_px: float | None = None,
    samples: int = 2,
    ground: bool = True,
    pen_px: float = 0.8,
) -> Picture:
    """Draw a mesh that `light_mesh` made ready.

    Parameters
    ----------
    vertex_colour : (n, 3) sRGB 0 to 255 per point, or None for the warm grey
    px_per_mm : float or None
        Scale; None fits the mesh with `margin_px` all round (a sixteenth of the width by default).
    centre_mm : (3,) or None
        The place that falls on the middle of the picture; None takes the middle of what is seen.
    samples : int
        Samples per pixel along each axis.
    ground : bool
        Whether the figure shades the paper that it stands on.
    pen_px : float
        Half-width of the outline, px.

    Raises
    ------
    InputError
        No pixel, or colours that don't match the points.
    """
    if width_px < 1 or height_px < 1 or samples < 1:
        raise InputError(
            f"{width_px} x {height_px} pixels of {samples} samples", where="render", mend="Give at least one."
        )
    colour = _colours(lit, vertex_colour)
    margin = width_px / 16 if margin_px is None else margin_px
    scale = px_per_mm or fit_scale(lit.used, view, width_px, height_px, margin)
    if not scale > 0.0:
        raise InputError(
            f"scale {scale:g} px per mm",
            where="render",
            mend="Give a scale above 0, or margins that leave room.",
        )
    axes = view.axes
    middle = extent_mm(lit.used, view).mean(axis=0) if centre_mm is None else axes @ np.asarray(centre_mm)
    origin = (width_px / 2 - middle[0] * scale, height_px / 2 + middle[1] * scale)
    projection = Projection(view, scale, origin)
    screen = np.empty((len(lit.points), 3))
    screen[:, :2] = projection.place(lit.points) * samples
    screen[:, 2] = projection.depth_mm(lit.points)
    rows, columns = height_px * samples, width_px * samples
    depth, name = _raster_all(screen, lit, rows, columns, BAND_PX * samples)
    fit = np.array([*axes, [origin[0] * samples, origin[1] * samples, scale * samples]])
    sky, key = sky_and_key(lit, view)
    surface = _shade_all(lit, screen, depth, name, fit, colour, samples, (sky, key))
    size_px = (height_px, width_px)
    paper = shaded_paper(lit, view, fit, samples, size_px, (sky, key)) if ground else plain_paper(size_px)
    bright = brightness(view, sky, key)
    rgb = _mix_all(depth, surface, bright, paper, samples, pen_px, 1.0 / scale, lit.radius_mm)
    return Picture(
        rgb, projection, np.ascontiguousarray(depth[samples // 2 :: samples, samples // 2 :: samples])
    )


class _Surface(NamedTuple):
    """What is seen at each sample: normal (h, w, 3), share of light (h, w), colour (h, w, 3) or (0, 0, 3); float32."""

    normal: npt.NDArray[np.float32]
    share: npt.NDArray[np.float32]
    tint: npt.NDArray[np.float32]


def _shade_all(lit: LitMesh, screen, depth, name, fit, colour, samples: int, lights) -> _Surface:
    """Normal, light and colour of the figure."""
    rows, columns = depth.shape
    normal, share = np.zeros((rows, columns, 3), np.float32), np.zeros((rows, columns), np.float32)
    tint = np.zeros((rows, columns, 3) if len(colour) else (0, 0, 3), np.float32)
    band, near = BAND_PX * samples, 3.0 * samples / fit[3, 2]

    def draw(k: int) -> None:
        first, stop = k * band, min(rows, (k + 1) * band)
        _shading.surface_band(
            first, stop, screen, lit.triangles, name, lit.normals, fit, colour, normal, tint
        )
        _shading.light_band(
            first,
            stop,
            LIGHT_PX * samples,
            near,
            depth,
            normal,
            fit,
            lit.middle_mm,
            *lights,
            lit.radius_mm,
            share,
        )

    in_threads(draw, -(-rows // band))
    return _Surface(normal, share, tint)


def _pen_all(depth, normal, samples: int, pen_px: float, radius_mm: float):
    """Half-width of the ink line that starts at each sample, (h, w) float32; the share that counts, by pixel.

    A start counts in full only where a line runs on through it. A line across a window leaves at least as many
    starts in it as the window is wide; a speck leaves few.
    """
    rows, columns = depth.shape
    band = BAND_PX * samples
    pen = np.zeros((rows, columns), np.float32)
    starts = np.zeros((rows // samples, columns // samples), np.uint16)
    low, high = BREAK_LOW * radius_mm, BREAK_HIGH * radius_mm
    in_threads(
        lambda k: _ink.pen_band(
            k * band, (k + 1) * band, samples, depth, normal, pen_px * samples, low, high, pen, starts
        ),
        -(-rows // band),
    )
    wide = 2 * CLEAN_PX + 1
    count = uniform_filter(starts, wide, output=np.float32, mode="constant") * wide**2
    kept = np.clip(count / (CLEAN_PX * samples) - 0.8, 0.0, 1.0)
    return pen, np.where(starts > 0, kept, np.float32(0.0))


def _mix_all(
    depth, surface: _Surface, bright, paper, samples: int, pen_px: float, px_mm: float, radius_mm: float
):
    """(h, w, 3) uint8: ink over tone over `paper` (h, w, 3) uint8, which is painted on."""
    pen, kept = _pen_all(depth, surface.normal, samples, pen_px, radius_mm)
    reach = math.ceil(1.3 * pen_px + 0.5 / samples)
    inked = maximum_filter(kept, 2 * reach + 1) > 0.0
    ramp, ink = face.ramp(face.FIGURE_TONES), np.array(face.INK, np.float32)

    def mix(k: int) -> None:
        _ink.mix_band(
            k * BAND_PX, min(len(paper), (k + 1) * BAND_PX), samples, px_mm, depth, *surface, bright,
            pen, kept, inked, reach, ramp, ink, paper,
        )  # fmt: skip

    in_threads(mix, -(-len(paper) // BAND_PX))
    return paper


def render_view(
    points_mm: npt.ArrayLike,
    triangles: npt.ArrayLike,
    *,
    view: View,
    width_px: int,
    height_px: int,
    **settings,
) -> Picture:
    """Draw one view of a mesh: `light_mesh`, then `render_lit` with its settings.

    For several views of one mesh call those two, so that the light is worked out once.
    """
    return render_lit(
        light_mesh(points_mm, triangles), view=view, width_px=width_px, height_px=height_px, **settings
    )
