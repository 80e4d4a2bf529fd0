"""The rim of a fill: the crease between its new surface and the body is rounded by a ball of two voxels' radius.

The fillet is what lies nearer than the radius to both, outside of the circle that touches both. It lies in locked rubber, or stands on the
body or the fill in what leaves one way, so it locks nothing that was free. It is smaller in slits, and none where no ball of one voxel
enters; it tapers off towards voxels that it may not take, and on walls thinner than itself.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation, distance_transform_edt, gaussian_filter, map_coordinates

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.normals import vertex_normals
from firstcast.geometry.tree import build_tree, closest_points
from firstcast.kernels.locked import BODY, DOWN, LOCKED, UP
from firstcast.moulding.fill_window import Mask
from firstcast.moulding.labels import EVERY_WAY, labelled

RADIUS_VOXELS = 2.0
"""Radius of the fillet. The new surface is drawn half a voxel fine and smoothed by nearly a voxel: a smaller fillet is lost in that, and a
larger one adds more than the least."""

LEAST_RADIUS = 0.25
"""Where so little is left of the radius, in voxels, there is no fillet."""

SURE_VOXELS = 0.25
"""A ball has room where the rubber's middle lies so much more than its radius from the middle of the nearest voxel of the body, which
reaches half a voxel beyond: a ball of one voxel's radius has none in a slit of two voxels."""

Field = npt.NDArray[np.float32]


class Skin:
    """A body's surface, to be asked how far places lie outside of it."""

    def __init__(self, mesh: Mesh) -> None:
        self._mesh = mesh

    @cached_property
    def _boxes(self) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
        corners = np.asarray(self._mesh.points, np.float32)[self._mesh.triangles]
        return corners.min(axis=1), corners.max(axis=1)

    @cached_property
    def _normals(self) -> npt.NDArray[np.float64]:
        return vertex_normals(self._mesh)

    def outside_mm(self, places_mm: npt.NDArray[np.float64], reach_mm: float) -> npt.NDArray[np.float64]:
        """(n,) float64: distances of places (n, 3) from the surface, below nought inside; infinite beyond the reach."""
        out = np.full(len(places_mm), np.inf)
        if not len(places_mm):
            return out
        low, high = self._boxes
        rows = np.flatnonzero(
            (high >= places_mm.min(axis=0) - reach_mm).all(axis=1)
            & (low <= places_mm.max(axis=0) + reach_mm).all(axis=1)
        )
        if not len(rows):
            return out
        triangles = self._mesh.triangles[rows]
        near = closest_points(build_tree(Mesh(self._mesh.points, triangles)), places_mm)
        corners = triangles[near.triangle]
        share = _shares(near.point_mm, np.asarray(self._mesh.points, np.float64)[corners])
        # between the normals of its corners, as beside an edge that of one triangle tells the wrong side
        normal = (self._normals[corners] * share[:, :, None]).sum(axis=1)
        side = np.where(((places_mm - near.point_mm) * normal).sum(axis=1) < 0.0, -1.0, 1.0)
        within = near.distance_mm <= reach_mm
        out[within] = (side * near.distance_mm)[within]
        return out


def _shares(points, corners) -> npt.NDArray[np.float64]:
    """(n, 3): the share of each corner (n, 3, 3) in points (n, 3) of the triangles."""
    ahead = np.roll(corners, -1, axis=1) - points[:, None]
    behind = np.roll(corners, -2, axis=1) - points[:, None]
    area = np.linalg.norm(np.cross(ahead, behind), axis=2)
    total = area.sum(axis=1, keepdims=True)
    return np.where(total > 0.0, area / np.maximum(total, 1e-300), 1.0 / 3.0)


def may_round(states: npt.NDArray[np.uint8], fill: Mask, closed: Mask) -> Mask:
    """Voxels in which a fill's fillet may lie: they hang together with the fill, and nothing free is locked by it.

    Parameters
    ----------
    states : (a, b, c) uint8
        `firstcast.kernels.locked`.
    fill, closed : (a, b, c) bool
        The fill, and what may not be taken.
    """
    near = np.asarray(distance_transform_edt(~fill)) <= 2.0 * RADIUS_VOXELS + 1.0
    ground = (states == BODY) | fill
    rests = _resting(ground, states == UP, 1) | _resting(ground, states == DOWN, -1)
    there = (((states == LOCKED) | rests) & near & ~closed) | fill
    rows, count = labelled(there)
    mine = np.zeros(count + 1, np.bool_)
    mine[np.unique(rows[fill])] = True
    mine[0] = False
    return mine[rows] & ~fill


def _resting(ground: Mask, free: Mask, step: int) -> Mask:
    """Free voxels along the pull (`step` 1) or against it that stand on the ground within the fillet's radius: nothing is behind them."""
    out, behind = np.zeros_like(free), ground
    for _ in range(int(RADIUS_VOXELS)):
        beside = np.roll(behind, step, axis=2)
        # nothing is known of what lies beyond the grid
        beside[:, :, 0 if step > 0 else -1] = False
        behind = free & beside
        out |= behind
    return out


@dataclass(frozen=True)
class Rim:
    """What the fillet of a fill is drawn by, on the voxels of a box.

    Attributes
    ----------
    away, radius : (a, b, c) float32
        How far each voxel lies from the fill's new surface, and the radius that a fillet may have there, in voxels.
    near : (a, b, c) bool
        Voxels that a fillet may lie in, those of the fill, and those of the body right beside the first.
    """

    away: Field
    radius: Field
    near: Mask

    def field(
        self, at: npt.NDArray[np.float64], places_mm, skin: Skin, pitch_mm: float
    ) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
        """The fillet at places, given in voxels of the box (n, 3) and in millimetres.

        Returns
        -------
        (value (n,) float32, below nought in the fillet, outside (n,) float32, distance from the body), both in voxels; 1 and
        infinite where there is no fillet.
        """
        value, outside = np.ones(len(at), np.float32), np.full(len(at), np.inf, np.float32)
        last = np.array(self.near.shape) - 1
        voxel = np.rint(np.clip(at, 0, last)).astype(np.int64)
        rows = np.flatnonzero(self.near[tuple(voxel.T)] & ((at >= 0) & (at <= last)).all(axis=1))
        away = map_coordinates(self.away, at[rows].T, order=1, mode="nearest")
        radius = map_coordinates(self.radius, at[rows].T, order=1, mode="nearest")
        # a step beyond the radius too, so that the contour knows how far beyond
        some = (radius > LEAST_RADIUS) & (away < radius + 1.0)
        rows, away, radius = rows[some], away[some], radius[some]
        gap = skin.outside_mm(places_mm[rows], (RADIUS_VOXELS + 1.0) * pitch_mm) / pitch_mm
        within = np.isfinite(gap)
        rows, away, radius, gap = rows[within], away[within], radius[within], gap[within]
        # the circle that touches both; it ends where it touches them
        round_ = radius - np.hypot(np.maximum(radius - gap, 0.0), np.maximum(radius - away, 0.0))
        value[rows] = np.maximum(round_, np.maximum(away, gap) - radius)
        outside[rows] = gap
        return value, outside


def rim_of(states: npt.NDArray[np.uint8], fill: Mask, may: Mask, *, outward: float, smooth: float) -> Rim:
    """What the fillet of a fill is drawn by, on the voxels of a box.

    Parameters
    ----------
    states : (a, b, c) uint8
    fill, may : (a, b, c) bool
        The fill, and what its fillet may take (`may_round`).
    outward, smooth : float
        By how much the new surface is moved into the rubber, and smoothed, in voxels.
    """
    rubber = (states != BODY) & ~fill
    to_fill = np.asarray(distance_transform_edt(~fill), np.float32)
    to_rubber = np.asarray(distance_transform_edt(~rubber), np.float32) if rubber.any() else 1e3
    inside = to_fill <= to_rubber
    away = np.where(inside, 0.5 - np.maximum(to_rubber, 0.5), to_fill - 0.5) - outward
    radius = _radius_that_fits(rubber)
    shut = rubber & ~may
    if shut.any():
        left = np.asarray(distance_transform_edt(~shut), np.float32) - np.float32(0.5)
        radius = np.minimum(radius, np.maximum(left, np.float32(0.0)))
    near = may | fill | (binary_dilation(may, EVERY_WAY) & (states == BODY))
    return Rim(np.asarray(gaussian_filter(away.astype(np.float32), smooth), np.float32), radius, near)


def _radius_that_fits(rubber: Mask) -> Field:
    """Radius, in voxels, of the ball that the rubber has room for beside each voxel; 0 in slits that the smallest doesn't enter."""
    room = np.asarray(distance_transform_edt(rubber)) - SURE_VOXELS
    radius = np.zeros(rubber.shape, np.float32)
    for ball in (0.5 * RADIUS_VOXELS, RADIUS_VOXELS):
        middles = room >= ball
        if middles.any():
            # a crease of 60 degrees is two radii from the ball's middle
            radius[np.asarray(distance_transform_edt(~middles)) <= 2.0 * ball] = ball
    return radius
