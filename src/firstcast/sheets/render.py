"""Shaded pictures of meshes, drawn without a display.

>>> from firstcast.sheets.render import render_view
>>> from firstcast.sheets.views import FRONT
>>> points = [[0, 0, 0], [10, 0, 0], [0, 0, 10]]
>>> picture = render_view(points, [[0, 1, 2]], view=FRONT, width_px=60, height_px=60)
>>> picture.rgb.shape
(60, 60, 3)
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter

from firstcast.arrays import Points
from firstcast.errors import InputError
from firstcast.sheets import _ink, _raster, _shading, face
from firstcast.sheets.light import Lights, LitMesh, cast_lights, disc_directions, in_threads, light_mesh
from firstcast.sheets.views import Projection, View, extent_mm

BAND_PX = 16
"""Pixel rows per band of work: fixed, so that the work divides alike for any number of threads."""

KEY_TOWARDS = (-0.52, 0.62, 0.59)
"""The key light in the viewer's right, up, towards: from the upper left, before the figure."""

KEY_COUNT, KEY_HALF_ANGLE_DEG, KEY_MAP_PX = 20, 13.0, 768
KEY_SHARE = 0.70
GROUND_STEP_PX = 3
BREAK_LOW, BREAK_HIGH = 0.006, 0.06
"""Breaks in depth, as shares of the mesh's radius, at which an ink line begins and reaches its full width."""
GROUND_TILT = 0.12
"""The ground's shadow is drawn as if seen from about 7 degrees above, so that it shows in level views."""


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


def _weights(directions: npt.NDArray, view: View) -> npt.NDArray[np.float64]:
    """How bright the sky is in each direction, as the viewer sees it: upper left, with a faint rim at right."""
    seen = directions @ view.axes.T
    right, up, towards = seen.T
    sky = 0.62 + 0.30 * up - 0.22 * right + 0.16 * towards
    rim = 0.9 * np.clip(0.75 * right - 0.66 * towards, 0.0, 1.0) ** 4
    paper = 0.10 * np.clip(-directions[:, 2], 0.0, 1.0)
    return 4.0 / len(directions) * 0.45 * (np.clip(sky, 0.06, None) + rim + paper)


def _sky_and_key(lit: LitMesh, view: View):
    """The sky and the key for a view, each as (frames, maps, weights, offset from the surface in mm)."""
    key = _key(lit, view)
    cell = 2.0 * lit.radius_mm
    weights = _weights(lit.sky.frames[:, 2], view)
    sky = (lit.sky.frames, lit.sky.maps, weights, cell / lit.sky.maps.shape[1])
    share = np.full(len(key.frames), KEY_SHARE / len(key.frames))
    return sky, (key.frames, key.maps, share, cell / KEY_MAP_PX)


def _key(lit: LitMesh, view: View) -> Lights:
    axis = np.array(KEY_TOWARDS) @ view.axes
    directions = disc_directions(axis / np.linalg.norm(axis), KEY_HALF_ANGLE_DEG, KEY_COUNT)
    return cast_lights(lit.caster, directions, radius_mm=lit.radius_mm, map_px=KEY_MAP_PX)


def _raster_all(screen: npt.NDArray, lit: LitMesh, rows: int, columns: int, band: int):
    """Depth (rows, columns) float32 and face (rows, columns) int32 of the nearest surface."""
    depth = np.full((rows, columns), -np.inf, np.float32)
    name = np.full((rows, columns), -1, np.int32)
    count = -(-rows // band)
    starts, names = _raster.bin_triangles(screen, lit.triangles, band, count, float(columns))

    def draw(k: int) -> None:
        some = names[starts[k] : starts[k + 1]]
        _raster.raster_band(screen, lit.triangles, some, k * band, min(rows, (k + 1) * band), depth, name)

    in_threads(draw, count)
    return depth, name


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
    shading, shade = _shade_all(lit, view, screen, depth, name, fit, colour, samples)
    if not ground:
        shade[0][:] = 1.0
    rgb = _mix_all(depth, shading, shade, fit, samples, pen_px, len(colour) > 0, lit.radius_mm)
    return Picture(
        rgb, projection, np.ascontiguousarray(depth[samples // 2 :: samples, samples // 2 :: samples])
    )


def _ground_plane(lit: LitMesh, view: View, fit: npt.NDArray) -> npt.NDArray[np.float64]:
    """Where the ground is on the picture, as `_shading.ground_band` takes it.

    In level views the ground is an edge; its shade is laid out about the foremost contact, never taller than
    the figure, which must hide what it stands on.
    """
    floor, height = float(lit.used[:, 2].min()), 2.0 * lit.radius_mm
    flat = view.axes[2, :2] / max(1e-12, float(np.linalg.norm(view.axes[2, :2])))
    feet = lit.used[lit.used[:, 2] < floor + 0.03 * height]
    foremost = float((feet[:, :2] @ flat).max())
    toe = np.array([*(flat * foremost), floor])
    row = fit[3, 1] - float(view.axes[1] @ toe) * fit[3, 2]
    reach = float(np.linalg.norm(feet[:, :2] - lit.middle_mm[:2], axis=1).max()) + 0.04 * height
    along = lit.used[:, :2] @ flat
    flattest = 0.8 * float(np.ptp(lit.used[:, 2])) / max(1e-9, float(np.ptp(along)))
    tilt = max(min(GROUND_TILT, flattest), float(view.axes[2, 2]), 1e-4)
    return np.array([floor, tilt, row, foremost, reach**2, (reach + 0.22 * height) ** 2])


def _soften(shade: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The ground's share of light, the softer the fainter: crisp at the contact, without steps
    far off, and none at the picture's edges."""
    near, far = gaussian_filter(shade, 0.8, mode="nearest"), gaussian_filter(shade, 5.0, mode="nearest")
    crisp = np.clip((1.0 - near - 0.25) / 0.35, 0.0, 1.0)
    soft = far + (near - far) * crisp
    rows, columns = soft.shape
    across, down = np.arange(columns), np.arange(rows)[:, None]
    edge = np.minimum(
        np.minimum(across, columns - 1 - across) / (0.16 * columns), (rows - 1 - down) / (0.04 * rows)
    )
    edge = np.clip(edge, 0.0, 1.0)
    return np.ascontiguousarray(1.0 - (1.0 - soft) * edge**2 * (3.0 - 2.0 * edge), dtype=np.float32)


def _shade_all(lit: LitMesh, view: View, screen, depth, name, fit, colour, samples: int):
    """Light, normals and colour of the figure, (h, w, 8); and the ground's share of light with its step."""
    rows, columns = depth.shape
    sky, key = _sky_and_key(lit, view)
    shading = np.zeros((rows, columns, 8), np.float32)

    def draw(k: int) -> None:
        first, stop = k * BAND_PX, min(rows // samples, (k + 1) * BAND_PX)
        _shading.surface_band(
            first * samples, stop * samples, screen, lit.triangles, name, lit.normals, fit, colour, shading
        )
        _shading.light_band(first, stop, samples, depth, fit, lit.middle_mm, sky, key, lit.radius_mm, shading)

    in_threads(draw, -(-rows // (BAND_PX * samples)))
    step = GROUND_STEP_PX * samples
    shade = np.ones((rows // step + 2, columns // step + 2), np.float32)
    if view.axes[2, 2] > -0.1:
        plane = _ground_plane(lit, view, fit)
        in_threads(
            lambda k: _shading.ground_band(
                k, k + 1, step, fit, plane, lit.middle_mm, sky, key, lit.radius_mm, shade
            ),
            len(shade),
        )
    return shading, (_soften(shade), step)


def _pen_all(depth, shading, samples: int, pen_px: float, radius_mm: float) -> npt.NDArray[np.float32]:
    """Half-width of the ink line that starts at each sample, (h, w) float32."""
    rows, columns = depth.shape
    band = BAND_PX * samples
    first, clean = np.zeros((rows, columns), np.float32), np.zeros((rows, columns), np.float32)
    low, high = BREAK_LOW * radius_mm, BREAK_HIGH * radius_mm

    def line(k: int) -> None:
        rows_of = (k * band, min(rows, (k + 1) * band))
        _ink.pen_band(*rows_of, depth, shading, pen_px * samples, low, high, first)

    def sweep(k: int) -> None:
        _ink.clean_band(k * band, min(rows, (k + 1) * band), 5 * samples, first, clean)

    in_threads(line, -(-rows // band))
    in_threads(sweep, -(-rows // band))
    return clean


def _mix_all(depth, shading, shade, fit, samples: int, pen_px: float, coloured: bool, radius_mm: float):
    """(h, w, 3) uint8: ink over tone over shadow over paper."""
    rows, columns = depth.shape
    band = BAND_PX * samples
    tones = np.zeros((rows, columns), np.float32)
    in_threads(
        lambda k: _shading.even_band(
            k * band, min(rows, (k + 1) * band), samples, depth, fit, shading, tones
        ),
        -(-rows // band),
    )
    pen = _pen_all(depth, shading, samples, pen_px, radius_mm)
    ramp = face.ramp(face.FIGURE_TONES)
    colours = np.array([face.PAPER, face.INK, face.SHADOW], np.float32)
    relief = (np.array([samples, 3 * samples]), np.array([1.6, 0.7]))
    steepest = 3.0 / fit[3, 2]
    out = np.zeros((rows // samples, columns // samples, 3), np.uint8)

    def mix(k: int) -> None:
        _ink.mix_band(
            k * BAND_PX, min(len(out), (k + 1) * BAND_PX), samples, depth, shading, tones,
            (pen, pen_px * samples * 1.3), shade, ramp, colours, coloured, relief, steepest, out,
        )  # fmt: skip

    in_threads(mix, -(-rows // band))
    return out


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
