"""From where a place of a mesh is seen best: most of its surface turned towards the viewer, and nothing before it."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from firstcast.sheets.light import Lights, LitMesh, cast_lights
from firstcast.sheets.views import View

MAP_PX = 512
LOWEST_DEG, HIGHEST_DEG = -35.0, 62.0
"""Elevations between which a place is looked at: from beneath or straight above a figure is hard to know again."""
MOST_POINTS = 3000


def seen_shares(
    lit: LitMesh, lights: Lights, place_mm: npt.NDArray, radius_mm: float
) -> npt.NDArray[np.float64]:
    """(k,) how much of the surface in a ball is seen from each of k directions, 0 to 1.

    The mean over the ball's corners of triangles of the cosine to the direction, 0 where the corner is hidden.
    """
    close = np.linalg.norm(lit.points - place_mm, axis=1) < radius_mm
    rows = np.flatnonzero(close[lit.triangles].all(axis=1))
    if not len(rows):
        nearest = int(np.linalg.norm(lit.points - place_mm, axis=1).argmin())
        rows = np.flatnonzero((lit.triangles == nearest).any(axis=1))
    rows = rows[:: max(1, len(rows) // MOST_POINTS)]
    about = lit.points[lit.triangles[rows]].mean(axis=1) - lit.middle_mm
    normals = lit.normals[rows].astype(np.float64).mean(axis=1)
    size = lights.maps.shape[1]
    scale = size / (2.0 * lit.radius_mm)
    slack = 3.0 / scale
    shares = np.zeros(len(lights.frames))
    for index, (frame, depths) in enumerate(zip(lights.frames, lights.maps, strict=True)):
        across, up, towards = frame @ about.T
        column = np.clip((lit.radius_mm + across) * scale, 0, size - 1).astype(int)
        row = np.clip((lit.radius_mm - up) * scale, 0, size - 1).astype(int)
        seen = towards + slack >= depths[row, column]
        shares[index] = (np.maximum(0.0, normals @ frame[2]) * seen).mean()
    return shares


def best_direction(lit: LitMesh, place_mm: npt.NDArray, radius_mm: float) -> View:
    """The view, among the directions of the sky, that shows most of the surface in a ball."""
    towards = lit.sky.frames[:, 2]
    elevation = np.degrees(np.arcsin(np.clip(towards[:, 2], -1.0, 1.0)))
    shares = seen_shares(lit, lit.sky, place_mm, radius_mm)
    shares[(elevation < LOWEST_DEG) | (elevation > HIGHEST_DEG)] = -1.0
    best = int(shares.argmax())
    azimuth = float(np.degrees(np.arctan2(towards[best, 0], -towards[best, 1])))
    return View("close-up", azimuth, float(elevation[best]))


def best_view(lit: LitMesh, balls: Sequence[tuple[npt.NDArray, float]], views: Sequence[View]) -> View:
    """The one of some views that shows most of some places (place (3,), radius); the first where there is none."""
    if not balls:
        return views[0]
    lights = cast_lights(lit.dots, np.array([view.axes[2] for view in views]), lit.radius_mm, MAP_PX)
    total = sum(np.sqrt(seen_shares(lit, lights, *ball)) for ball in balls)
    return views[int(np.argmax(total))]
