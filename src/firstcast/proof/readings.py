"""How far points lie from the sculptor's parts, and what the parts are like there: creased, narrow, or smooth."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.proof.distances import SHARP_COSINE, Nearest, at_creases, nearest
from firstcast.proof.narrow import across, narrow_at
from firstcast.proof.sculpture import STEP_OUT_MM, Found, Sculpture, Shown, find, normals_of, sources_of
from firstcast.proof.tree import Tree

CREASE_PITCHES = 3.0
SEAM_PITCHES = (0.5, 1.0, 2.0, 3.0)
"""How far around a point its seams are looked for: no farther than the surface may turn."""

ROUNDING_MM = 1e-6

KNIFE_PITCHES, KNIFE_TANGENT, ASKEW = 3.5, float(np.tan(np.radians(15.0))), float(np.cos(np.radians(22.5)))
"""The limit for creases is what sampling cuts from a wedge of 15 degrees. A sharper one is a knife: 3.5 pitches in from
its edge its wall is still thinner than that wedge's, whichever way one goes. Of eight ways one runs within 22.5 degrees of
straight in, so that no wedge of 15 degrees is taken for a knife."""


class Reading(NamedTuple):
    """Distances of points to the parts: (n,) mm, the nearest part's index, and what the parts are like there.

    `narrow` (n,): the wall or the gap is narrower than sampling can carry; `creased` (n,): not that, but the
    surface turns sharply. Both are looked for beyond the limit only.
    """

    distance_mm: npt.NDArray[np.float64]
    part: npt.NDArray[np.int32]
    creased: npt.NDArray[np.bool_]
    narrow: npt.NDArray[np.bool_]


def read_distances(
    sculpture: Sculpture, points_mm: npt.NDArray[np.float64], look_beyond_mm: float
) -> Reading:
    """Distance of master points (n, 3) to the parts' surfaces.

    Of a sheet counts how far a point is from half the thickness. Creases and narrow places are looked for only
    where the distance is above `look_beyond_mm`.
    """
    found = find(sculpture, points_mm)
    part = np.full(len(points_mm), -1, dtype=np.int32)
    for number, (tree, _, index) in enumerate(sources_of(sculpture)):
        mine = found.source == number
        if tree is not None:
            part[mine] = sculpture.part_of_triangle[found.triangle[mine]] if index < 0 else index
    far = np.flatnonzero(found.away_mm > look_beyond_mm)
    creased, narrow = np.zeros((2, len(points_mm)), dtype=np.bool_)
    if len(far):
        some, places = found.chosen(far), points_mm[far]
        normals = np.empty((len(far), 3))
        for number in range(len(sources_of(sculpture))):
            mine = some.source == number
            normals[mine] = normals_of(sculpture, number, places[mine], some.triangle[mine])
        narrow[far] = narrow_at(sculpture.solid, places, normals, sculpture.pitch_mm)
        creased[far] = _creased(sculpture, places, some, normals) & ~narrow[far]
    return Reading(found.away_mm, part, creased, narrow)


def read_losses(
    sculpture: Sculpture, shown: Shown, distance_mm: npt.NDArray[np.float64], look_beyond_mm: float
) -> Reading:
    """The reading of points on the parts whose distances (n,) to the master are known."""
    creased, narrow = np.zeros((2, len(distance_mm)), dtype=np.bool_)
    far = np.flatnonzero(distance_mm > look_beyond_mm)
    if len(far):
        points, normals = shown.points_mm[far], shown.normals[far]
        for side in (1.0, -1.0):
            beside = points + side * STEP_OUT_MM * normals
            narrow[far] |= narrow_at(sculpture.solid, beside, normals, sculpture.pitch_mm)
        wide = np.flatnonzero(~narrow[far])
        narrow[far[wide]] = _on_knives(sculpture, points[wide], normals[wide])
        creased[far] = _creased(sculpture, points, find(sculpture, points), normals) & ~narrow[far]
    return Reading(distance_mm, shown.part, creased, narrow)


def _on_knives(
    sculpture: Sculpture, points_mm: npt.NDArray[np.float64], normals: npt.NDArray[np.float64]
) -> npt.NDArray[np.bool_]:
    """(n,) whether each point of the parts' surface lies at the edge of a wedge sharper than 15 degrees.

    At the very edge there is no wall yet to be measured: it is measured some way in, across the surface.
    """
    some, thick = np.zeros((2, len(points_mm)), dtype=np.bool_)
    along = KNIFE_PITCHES * sculpture.pitch_mm
    for axes in across(normals) if len(points_mm) else []:
        for sign in (1.0, -1.0):
            spots = points_mm + sign * along * axes - STEP_OUT_MM * normals
            wall = np.flatnonzero(sculpture.solid.holds(spots))
            beneath = spots[wall] - KNIFE_TANGENT * ASKEW * along * normals[wall]
            some[wall] = True
            thick[wall] |= sculpture.solid.holds(beneath)
    return some & ~thick


def _creased(
    sculpture: Sculpture, points_mm: npt.NDArray[np.float64], found: Found, normals: npt.NDArray[np.float64]
) -> npt.NDArray[np.bool_]:
    """(n,) whether the parts turn sharply within three pitches past the nearest surface of each point.

    They do within one tree, or at a seam, where the surface of another shows at an angle.
    """
    creased = np.zeros(len(points_mm), dtype=np.bool_)
    reach = CREASE_PITCHES * sculpture.pitch_mm
    for number, (tree, half, _) in enumerate(sources_of(sculpture)):
        if tree is None:
            continue
        mine = np.flatnonzero(found.source == number)
        own = Nearest(found.raw_mm[mine], found.triangle[mine])
        creased[mine] |= at_creases(tree, points_mm[mine], found.raw_mm[mine] + reach, own)
        rows = np.flatnonzero((found.source != number) & ~creased)
        reaches = found.away_mm[rows] + reach
        met = np.abs(nearest(tree, points_mm[rows]).distance - half) <= reaches
        rows, reaches = rows[met], reaches[met]
        creased[rows] = _at_seams(sculpture, number, points_mm[rows], normals[rows], reaches)
    return creased


def _at_seams(
    sculpture: Sculpture,
    number: int,
    points_mm: npt.NDArray[np.float64],
    normals: npt.NDArray[np.float64],
    reaches_mm: npt.NDArray[np.float64],
) -> npt.NDArray[np.bool_]:
    """(n,) whether a source's surface shows within reach of each point, at an angle to the normal there.

    It is looked at from the point and from places around it: the nearest place of a rounded edge may run along
    with the other surface, and a step on it turns away.
    """
    tree, half, _ = sources_of(sculpture)[number]
    seam = np.zeros(len(points_mm), dtype=np.bool_)
    if tree is None:
        return seam
    ways = [sign * axis for axis in across(normals) for sign in (1.0, -1.0)] if len(points_mm) else []
    steps = [0.0 * normals, *(length * sculpture.pitch_mm * way for way in ways for length in SEAM_PITCHES)]
    for step in steps:
        rows = np.flatnonzero(~seam)
        spots = points_mm[rows] + step[rows]
        near = nearest(tree, spots)
        other = normals_of(sculpture, number, spots, near.triangle)
        height = near.distance - half if half else _heights(tree, spots, near.triangle, other)
        feet = spots - height[:, None] * other
        turns = (other * normals[rows]).sum(axis=1) < SHARP_COSINE
        close = ((feet - points_mm[rows]) ** 2).sum(axis=1) <= reaches_mm[rows] ** 2
        # the foot in a triangle's plane is a place of the triangle only if it is the nearest one
        met = turns & close & (half > 0.0 or np.abs(np.abs(height) - near.distance) <= ROUNDING_MM)
        met &= (other * other).sum(axis=1) > 0.5
        hidden = sculpture.solid.holds(feet[met] + STEP_OUT_MM * other[met])
        seam[rows[met]] = ~hidden
    return seam


def _heights(
    tree: Tree, points_mm: npt.NDArray[np.float64], triangles: npt.NDArray[np.int64], normals: npt.NDArray
) -> npt.NDArray[np.float64]:
    """(n,) heights of points over the planes of triangles with the given unit normals."""
    return np.asarray(((points_mm - tree.corners[triangles, 0]) * normals).sum(axis=1))
