"""The certificate: how far two meshes lie apart at most, both ways, proved by bound."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import check_triangles
from firstcast.errors import InputError
from firstcast.geometry.boxtree import build_box_tree, nearest_of
from firstcast.geometry.crossings import snap_points
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.threads import side_by_side
from firstcast.kernels.certify import HELD, RUN, Surface, bound_from
from firstcast.kernels.halfedges import pair_edges

RESOLUTION_MM = 5e-5
"""The certified bound exceeds the true distance by no more than this: a twentieth of a micrometre."""

ROUNDING_MM = 1e-9
"""Added to every bound for the rounding of float64: coordinates of 256 mm round by 3e-14 mm."""

SHARE = 32 * RUN
"""Triangles that a thread proves at once."""


class Bound(NamedTuple):
    """One way's result.

    Attributes
    ----------
    mm : float
        No place of the triangles that held is farther away than this.
    failed : (k,) int32
        Rows that did not hold.
    nearest : (k,) int32
        For each, the nearest triangle of the other mesh; -1 where that was not looked for.
    """

    mm: float
    failed: npt.NDArray[np.int32]
    nearest: npt.NDArray[np.int32]


class Certificate(NamedTuple):
    """Two-sided distance of two meshes, as an upper bound.

    Attributes
    ----------
    there_mm, back_mm : float
        Proved: every place of the first mesh is within `there_mm` of the second, and the other way round.
        Infinite where the tolerance is not held. At most `RESOLUTION_MM` above the true distance.
    holds : bool
        Whether both are within the tolerance.
    failed_there, failed_back : (k,) int32
        Triangles of the first and of the second mesh that lie farther away, or could not be decided.
    """

    there_mm: float
    back_mm: float
    holds: bool
    failed_there: npt.NDArray[np.int32]
    failed_back: npt.NDArray[np.int32]


def prepare_surface(
    points: npt.NDArray[np.float32],
    triangles: npt.NDArray[np.int32],
    twin: npt.NDArray[np.int32] | None = None,
    bounds: npt.NDArray[np.float64] | None = None,
) -> Surface:
    """The search tree of a mesh, and its edges' partners unless they are given."""
    if twin is None:
        twin = np.empty(3 * len(triangles), np.int32)
        pair_edges(triangles.ravel(), len(points), twin)
    rows = np.arange(len(triangles), dtype=np.int32)
    return Surface(points, triangles, build_box_tree(points, triangles, rows, bounds), twin)


def bound_distance(
    source: Surface,
    chosen: npt.NDArray[np.int32],
    target: Surface,
    tolerance_mm: float,
    floor_mm: float,
    near: npt.NDArray[np.int32] | None = None,
) -> Bound:
    """Bound the distance from the chosen triangles of one surface to another; bounds below the floor read as it.

    `near` (n,) may name, for each point of the source, a triangle of the target that is likely to be near it.
    """
    if near is None:
        near = np.full(len(source.points), -1, np.int32)
        used = np.zeros(len(source.points), np.bool_)
        used[source.triangles[chosen]] = True
        rows = np.flatnonzero(used).astype(np.int32)
        nearest_of(source.points, rows, target.tree, target.points, target.triangles, near)
    state = np.empty(len(chosen), np.uint8)
    nearest = np.empty(len(chosen), np.int32)

    def bound(first: int, last: int) -> float:
        return bound_from(
            source.points, source.triangles, chosen[first:last], near, target,
            tolerance_mm - ROUNDING_MM, floor_mm, RESOLUTION_MM, state[first:last], nearest[first:last],
        )  # fmt: skip

    most_mm = max(side_by_side(bound, len(chosen), SHARE), default=0.0)
    failed = np.flatnonzero(state != HELD)
    return Bound(most_mm + ROUNDING_MM, chosen[failed], nearest[failed])


def _tight_bound(source: Surface, target: Surface, tolerance_mm: float) -> Bound:
    """Bound the distance of a whole surface closely: with a high floor first, which is fast and mostly enough."""
    rows = np.arange(len(source.triangles), dtype=np.int32)
    for floor_mm in (0.75 * tolerance_mm, 0.0):
        bound = bound_distance(source, rows, target, tolerance_mm, floor_mm)
        if len(bound.failed) or bound.mm > floor_mm + 2 * ROUNDING_MM:
            break
    return bound


def certified_distance(first: Mesh, second: Mesh, tolerance_mm: float) -> Certificate:
    """Prove how far two meshes lie apart at most, or that they lie farther apart than a tolerance.

    Parameters
    ----------
    first, second : Mesh
        Any triangles, closed or not. The proof is on the points as given; they are rounded to float32 for it and
        what the rounding moves is added to the bounds.
    tolerance_mm : float
        Above zero.

    Raises
    ------
    InputError
        No triangles, points that are not finite or too far out, a tolerance that is not above zero.

    Notes
    -----
    No sampling: see `firstcast.kernels.certify` and `firstcast.kernels.cover`. The same for any number of threads.
    """
    if not tolerance_mm > 0.0:
        raise InputError(
            f"tolerance {tolerance_mm} mm is not above zero",
            where="certificate",
            mend="Give a positive length.",
        )
    surfaces, moved = [], 0.0
    for mesh in (first, second):
        points = snap_points(mesh.points, where="certificate")
        triangles = check_triangles(mesh.triangles, len(points), where="certificate")
        if not len(triangles):
            raise InputError("a mesh has no triangles", where="certificate", mend="Leave empty meshes out.")
        moved += float(np.linalg.norm(points - np.asarray(mesh.points, np.float64), axis=1).max())
        surfaces.append(prepare_surface(points, triangles))
    there = _tight_bound(surfaces[0], surfaces[1], tolerance_mm - moved)
    back = _tight_bound(surfaces[1], surfaces[0], tolerance_mm - moved)
    there_mm = np.inf if len(there.failed) else there.mm + moved
    back_mm = np.inf if len(back.failed) else back.mm + moved
    return Certificate(there_mm, back_mm, max(there_mm, back_mm) <= tolerance_mm, there.failed, back.failed)
