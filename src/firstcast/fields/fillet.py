"""Fillets at the seams between parts: what a ball of the radius can't reach is filled.

The surface beside the seams is taken as a sheet, widened by the radius and narrowed by it again (a closing).
Away from creases that gives the sheet back; in a crease it fills what the ball can't touch. What is
filled is a solid of its own, to be united with the parts.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.fields.contour import Contour
from firstcast.fields.sheets import level_surface, thicken
from firstcast.fields.union import lattice_around
from firstcast.fields.voids import components_of

SPREAD = 2.5
"""The surface within this many radii of a seam takes part: enough for creases of 44 degrees and more."""

SKIN_PITCHES = 0.05
"""What the closing would fill less deeply than this is left: without it the sheet itself would come out as flakes."""

AGAINST_PITCHES, SUNK_PITCHES = 0.1, 0.75
"""What of a filling lies nearer to the parts than the first is sunk into them by the second, so that no gap is left."""


class Nearest(NamedTuple):
    """Distances (q,) float64 in mm and the nearest triangle (q,) of each place."""

    distance_mm: npt.NDArray[np.float64]
    triangle: npt.NDArray[np.int32]


Search = Callable[[Points, Triangles], Callable[[Points], Nearest]]
"""From a mesh to a function that finds the nearest place on it."""


def seam_fillets(surface: Contour, radius_mm: float, pitch_mm, search: Search) -> Contour | None:
    """The solids that fillet the seams of a union's surface; None where there is nothing to fill.

    Parameters
    ----------
    surface : Contour
        Of the union, with the part of each triangle.
    radius_mm : float
        At least four pitches.
    search : function of points (n, 3) and triangles (m, 3)
        Gives a function of places that finds the nearest triangle.

    Returns
    -------
    Contour or None
        Closed and outward; each triangle has the part that it lies against. Fillings that touch a single part
        only are left out: a part's own creases are the sculptor's.
    """
    patch = _beside_seams(surface, SPREAD * radius_mm)
    if patch is None:
        return None
    pitch = np.broadcast_to(np.asarray(pitch_mm, np.float64), (3,))
    points, triangles, part = patch
    to_patch = search(points, triangles)
    # its valleys carry the centres of the ball, and a lattice cuts them: a finer one cuts less
    wide = thicken(points, 2 * radius_mm, pitch / 2, lambda places: to_patch(places).distance_mm)
    to_wide = search(wide.points.astype(np.float64), wide.triangles)
    skin = SKIN_PITCHES * float(pitch.min())

    def depth(places: Points) -> npt.NDArray[np.float64]:
        border = to_wide(places).distance_mm
        within = to_patch(places).distance_mm < radius_mm
        return radius_mm + skin - np.where(within, border, -border)

    filled = level_surface(lattice_around(points, pitch, 2 * float(pitch.max())), depth)
    if not len(filled.triangles):
        return None
    middles = filled.points[filled.triangles].mean(axis=1).astype(np.float64)
    chosen = _between_parts(filled._replace(part_of_triangle=part[to_patch(middles).triangle]))
    if chosen is None:
        return None
    return chosen._replace(points=_sunk(chosen.points, points, triangles, to_patch, pitch))


def _sunk(filled_points, points, triangles, to_patch, pitch) -> npt.NDArray[np.float32]:
    """The filling's points, with those that lie against the surface sunk into it."""
    places = filled_points.astype(np.float64)
    near = to_patch(places)
    a, b, c = (points[triangles[near.triangle, n]] for n in range(3))
    inward = -np.cross(b - a, c - a)
    inward /= np.maximum(np.linalg.norm(inward, axis=1), np.finfo(np.float64).tiny)[:, None]
    against = near.distance_mm < AGAINST_PITCHES * float(np.min(pitch))
    places[against] += SUNK_PITCHES * float(np.min(pitch)) * inward[against]
    return places.astype(np.float32)


def _beside_seams(surface: Contour, reach_mm: float):
    """Points, triangles and parts of the surface within reach of where two parts meet; None if they don't."""
    least = np.full(len(surface.points), np.iinfo(np.uint16).max, np.uint16)
    most = np.zeros(len(surface.points), np.uint16)
    for corner in range(3):
        np.minimum.at(least, surface.triangles[:, corner], surface.part_of_triangle)
        np.maximum.at(most, surface.triangles[:, corner], surface.part_of_triangle)
    seam = surface.points[least < most]
    if not len(seam):
        return None
    from scipy.spatial import KDTree  # slow to import: a run that makes nothing again does without it

    gap = KDTree(seam).query(surface.points, distance_upper_bound=reach_mm)[0]
    rows = np.flatnonzero((gap[surface.triangles] < np.inf).any(axis=1))
    used = np.zeros(len(surface.points), bool)
    used[surface.triangles[rows]] = True
    renamed = (np.cumsum(used) - 1).astype(np.int32)[surface.triangles[rows]]
    return surface.points[used].astype(np.float64), renamed, surface.part_of_triangle[rows]


def _between_parts(filled: Contour) -> Contour | None:
    """Only the fillings that lie against more than one part."""
    found = components_of(filled)
    label = found.label_of_point[filled.triangles[:, 0]]
    count = len(found.volume_mm3)
    least, most = np.full(count, np.iinfo(np.uint16).max, np.uint16), np.zeros(count, np.uint16)
    np.minimum.at(least, label, filled.part_of_triangle)
    np.maximum.at(most, label, filled.part_of_triangle)
    kept = (least < most)[label]
    if not kept.any():
        return None
    return Contour(filled.points, np.ascontiguousarray(filled.triangles[kept]), filled.part_of_triangle[kept])
