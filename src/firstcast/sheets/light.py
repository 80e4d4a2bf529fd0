"""Light for pictures: smooth normals, and which directions of light reach which place of a mesh.

The sky is many small lights spread evenly over all directions; the key is a tight bundle of them from the
upper left of the viewer. Each light has a depth map of the mesh, so shadows, soft contact and occlusion in
hollows all come from one sum. The maps of the sky depend on the mesh alone and are made once.
"""

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles, check_points, check_triangles
from firstcast.errors import InputError
from firstcast.sheets import _raster, _shading

CREASE_DEG = 42.0
"""Faces that meet at a sharper angle than this keep a hard edge. Chosen by eye on sculpted and on built meshes."""

DOT_CELLS = 0.9
"""Spacing of dots in cells of the sky's maps: each marks two cells by two, so that even the key's finer maps stay whole."""

MANY_DOTS = 1_000_000
"""With more dots than this, one per cell is kept."""

GOLDEN_TURN = math.pi * (3.0 - math.sqrt(5.0))


@dataclass(frozen=True)
class Lights:
    """Directions of light and the depth map of the mesh seen from each.

    frames : (k, 3, 3) float64, rows right, up, towards the light
    maps : (k, size, size) float32, mm towards the light about the mesh's middle; -inf where nothing is
    """

    frames: npt.NDArray[np.float64]
    maps: npt.NDArray[np.float32]


@dataclass(frozen=True)
class LitMesh:
    """A mesh made ready for pictures; see `light_mesh`.

    `used` (k, 3) are the points that triangles use; `dots` (d, 3) float32 cast the shadows, about the mesh's middle.
    """

    points: Points
    triangles: Triangles
    used: Points
    normals: npt.NDArray[np.float32]
    middle_mm: npt.NDArray[np.float64]
    radius_mm: float
    dots: npt.NDArray[np.float32]
    sky: Lights


def in_threads(work: Callable[[int], None], count: int) -> None:
    """Call work(0) .. work(count - 1) on numba's number of threads; kernels release the interpreter."""
    threads = min(numba.get_num_threads(), count)
    if threads <= 1:
        for index in range(count):
            work(index)
        return
    with ThreadPoolExecutor(threads) as pool:
        for _ in pool.map(work, range(count)):
            pass


def even_directions(count: int) -> npt.NDArray[np.float64]:
    """(count, 3) unit vectors spread evenly over the sphere, along a golden-angle spiral."""
    index = np.arange(count)
    height = 1.0 - (2.0 * index + 1.0) / count
    ring = np.sqrt(1.0 - height**2)
    return np.stack([ring * np.cos(index * GOLDEN_TURN), ring * np.sin(index * GOLDEN_TURN), height], axis=1)


def disc_directions(axis: npt.NDArray, half_angle_deg: float, count: int) -> npt.NDArray[np.float64]:
    """(count, 3) unit vectors spread evenly over a cone about `axis`."""
    across = frames_of(np.asarray(axis, dtype=np.float64)[None])[0]
    index = np.arange(count)
    tilt = math.radians(half_angle_deg) * np.sqrt((index + 0.5) / count)
    around = index * GOLDEN_TURN
    local = np.stack([np.sin(tilt) * np.cos(around), np.sin(tilt) * np.sin(around), np.cos(tilt)], axis=1)
    return local @ across


def frames_of(directions: npt.NDArray) -> npt.NDArray[np.float64]:
    """(k, 3, 3) right-handed frames whose third row is each (k, 3) unit direction."""
    helper = np.where(np.abs(directions[:, 2:3]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    right = np.cross(helper, directions)
    right /= np.linalg.norm(right, axis=1, keepdims=True)
    return np.ascontiguousarray(np.stack([right, np.cross(directions, right), directions], axis=1))


def cast_lights(
    dots: npt.NDArray[np.float32], directions: npt.NDArray, radius_mm: float, map_px: int
) -> Lights:
    """Depth maps of dots from each of (k, 3) unit directions, `map_px` square over the mesh's ball of bounds."""
    frames = frames_of(directions)
    maps = np.empty((len(frames), map_px, map_px), dtype=np.float32)
    in_threads(lambda k: _raster.light_map(dots, frames[k], radius_mm, maps[k]), len(frames))
    return Lights(frames, maps)


def shadow_dots(about_mm: Points, triangles: Triangles, spacing_mm: float) -> npt.NDArray[np.float32]:
    """Dots (d, 3) float32 that cast the shadows of a mesh: as dense as the cells of shadow maps need, no denser.

    Several times as quick to draw as triangles. Triangles smaller than the spacing give their corners.
    """
    a, b, c = (about_mm[triangles[:, k]] for k in range(3))
    longest = np.maximum.reduce([((p - q) ** 2).sum(axis=1) for p, q in ((a, b), (b, c), (c, a))])
    small = longest <= spacing_mm**2
    named = np.zeros(len(about_mm), bool)
    named[triangles[small].reshape(-1)] = True
    large = np.ascontiguousarray(triangles[~small])
    count = _raster.spread_dots(about_mm, large, spacing_mm, np.empty((0, 3), np.float32))
    spread = np.empty((count, 3), np.float32)
    _raster.spread_dots(about_mm, large, spacing_mm, spread)
    dots = np.concatenate([about_mm[named].astype(np.float32), spread])
    if len(dots) > MANY_DOTS:
        cells = ((dots - dots.min(axis=0)) / spacing_mm).astype(np.int64)
        _, first = np.unique((cells[:, 0] << 42) | (cells[:, 1] << 21) | cells[:, 2], return_index=True)
        dots = np.ascontiguousarray(dots[first])
    return dots


def corner_normals(points_mm: Points, triangles: Triangles) -> npt.NDArray[np.float32]:
    """(m, 3, 3) float32 unit normals per corner, smooth but for edges sharper than `CREASE_DEG`.

    Angle-weighted (Thürmer and Wüthrich 1998, from memory). Points at the same place count as one.
    """
    normals, angles = np.zeros((len(triangles), 3), np.float32), np.zeros((len(triangles), 3), np.float32)
    _shading.face_normals(points_mm, triangles, normals, angles)
    together = triangles
    if len(points_mm) > 0.6 * len(triangles):
        _, same = np.unique(points_mm, axis=0, return_inverse=True)
        together = same.reshape(-1).astype(np.int32)[triangles]
    flat = together.reshape(-1)
    order = np.argsort(flat, kind="stable").astype(np.int32)
    count = int(flat.max()) + 1
    starts = np.zeros(count + 1, np.int64)
    np.cumsum(np.bincount(flat, minlength=count), out=starts[1:])
    out = np.zeros((len(triangles), 3, 3), np.float32)
    cosine, blocks = math.cos(math.radians(CREASE_DEG)), 16
    cuts = np.linspace(0, count, blocks + 1).astype(np.int64)
    in_threads(
        lambda k: _shading.corner_normals(cuts[k : k + 2], starts, order, normals, angles, cosine, out),
        blocks,
    )
    return out


def light_mesh(
    points_mm: npt.ArrayLike, triangles: npt.ArrayLike, *, sky_count: int = 96, map_px: int = 512
) -> LitMesh:
    """Make a mesh ready for pictures from any side.

    Parameters
    ----------
    points_mm : (n, 3)
    triangles : (m, 3), counter-clockwise from outside
    sky_count : int
        Directions of the sky; more gives smoother occlusion.
    map_px : int
        Side of each direction's depth map; finer reaches into smaller hollows.

    Raises
    ------
    InputError
        Shapes that don't fit, places that are not finite, or no triangle at all.
    """
    points = check_points(points_mm)
    faces = check_triangles(triangles, len(points))
    if not len(faces):
        raise InputError(
            "there is no triangle to draw", where="light_mesh", mend="Give at least one triangle."
        )
    named = np.zeros(len(points), bool)
    named[faces.reshape(-1)] = True
    used = points[named]
    low, high = used.min(axis=0), used.max(axis=0)
    middle = (low + high) / 2.0
    radius = max(1e-9, 1.02 * float(np.sqrt(((used - middle) ** 2).sum(axis=1).max())))
    dots = shadow_dots(points - middle, faces, DOT_CELLS * 2.0 * radius / map_px)
    sky = cast_lights(dots, even_directions(sky_count), radius, map_px)
    return LitMesh(points, faces, used, corner_normals(points, faces), middle, radius, dots, sky)
