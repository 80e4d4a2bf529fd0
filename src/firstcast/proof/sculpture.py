"""The sculptor's parts at master size, ready to be measured against."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.proof.distances import Nearest, areas, at_creases, nearest, spread_points, windings
from firstcast.proof.expected import Expected
from firstcast.proof.tree import Tree, build_tree

STEP_OUT_MM = 1e-3
"""A place counts as visible if a step of one micron out of the surface leaves all parts."""
CREASE_PITCHES = 3.0
CORNERS_RATIO = 4
"""One corner of the parts is looked at for this many evenly spread points."""


class Sheet(NamedTuple):
    """An open part: its tree, half its thickness at master size, its index among the parts."""

    tree: Tree
    half_mm: float
    part: int


class Sculpture(NamedTuple):
    """All parts of a piece at master size.

    Attributes
    ----------
    closed : Tree or None
        Over the triangles of all closed parts.
    part_of_triangle : (m,) int32
        Part of each triangle in the closed tree's order.
    sheets : tuple of Sheet
    names : tuple of str
    pitch_mm : float
    """

    closed: Tree | None
    part_of_triangle: npt.NDArray[np.int32]
    sheets: tuple[Sheet, ...]
    names: tuple[str, ...]
    pitch_mm: float


class Reading(NamedTuple):
    """Distances of points to the parts: (n,) mm, the nearest part's index, whether it is a crease there."""

    distance_mm: npt.NDArray[np.float64]
    part: npt.NDArray[np.int32]
    creased: npt.NDArray[np.bool_]


def sculpture_of(expected: Expected) -> Sculpture:
    """Map the parts to master size and build their trees."""
    closed, owners, sheets = [], [], []
    turned = np.linalg.det(np.asarray(expected.matrix, dtype=np.float64)) < 0
    stretch = abs(np.linalg.det(np.asarray(expected.matrix, dtype=np.float64))) ** (1.0 / 3.0)
    for index, part in enumerate(expected.parts):
        if not len(part.corners):
            continue
        corners = expected.to_master(np.asarray(part.corners, dtype=np.float64))
        if part.closed:
            closed.append(corners[:, ::-1] if turned else corners)
            owners.append(np.full(len(corners), index, dtype=np.int32))
        else:
            sheets.append(Sheet(build_tree(corners), part.thickness_mm * stretch / 2.0, index))
    tree = build_tree(np.concatenate(closed)) if closed else None
    owner = np.concatenate(owners)[tree.order] if tree is not None else np.zeros(0, dtype=np.int32)
    return Sculpture(tree, owner, tuple(sheets), tuple(p.name for p in expected.parts), expected.pitch_mm)


def read_distances(sculpture: Sculpture, points_mm: npt.NDArray, crease_beyond_mm: float) -> Reading:
    """Distance of master points (n, 3) to the parts' surfaces.

    Of a sheet counts how far a point is from half the thickness. Creases are looked for only where the
    distance is above `crease_beyond_mm`, within three pitches past the nearest surface.
    """
    distance = np.full(len(points_mm), np.inf)
    part = np.full(len(points_mm), -1, dtype=np.int32)
    place = np.zeros(len(points_mm), dtype=np.int64)
    source = np.full(len(points_mm), -1, dtype=np.int32)
    raw = np.full(len(points_mm), np.inf)
    if sculpture.closed is not None:
        found = nearest(sculpture.closed, points_mm)
        distance, raw, place = found.distance.copy(), found.distance, found.triangle.copy()
        part = sculpture.part_of_triangle[found.triangle]
    for number, sheet in enumerate(sculpture.sheets):
        found = nearest(sheet.tree, points_mm)
        away = np.abs(found.distance - sheet.half_mm)
        nearer = away < distance
        distance = np.where(nearer, away, distance)
        raw = np.where(nearer, found.distance, raw)
        place = np.where(nearer, found.triangle, place)
        part = np.where(nearer, np.int32(sheet.part), part)
        source = np.where(nearer, np.int32(number), source)
    creased = np.zeros(len(points_mm), dtype=np.bool_)
    trees = [sculpture.closed, *(sheet.tree for sheet in sculpture.sheets)]
    for number, tree in enumerate(trees, start=-1):
        rows = np.flatnonzero((distance > crease_beyond_mm) & (source == number))
        if tree is not None and len(rows):
            reach = raw[rows] + CREASE_PITCHES * sculpture.pitch_mm
            creased[rows] = at_creases(tree, points_mm[rows], reach, Nearest(raw[rows], place[rows]))
    return Reading(distance, part, creased)


class Shown(NamedTuple):
    """Points (n, 3) on what shows of the parts, the part (n,) of each, and which are spread evenly.

    The others are corners of the parts' triangles, where tips and edges are.
    """

    points_mm: npt.NDArray[np.float64]
    part: npt.NDArray[np.int32]
    even: npt.NDArray[np.bool_]


def visible_points(sculpture: Sculpture, count: int) -> Shown:
    """Points over what shows of the parts, at master size: `count` evenly spread, some at corners besides.

    A point of a closed part shows if a step outward leaves every closed part and every sheet's thickness.
    A sheet's points are taken on both of its faces, half a thickness out.
    """
    points, steps, parts, even = [], [], [], []
    sources = [(sheet.tree, sheet.half_mm, sheet.part) for sheet in sculpture.sheets]
    if sculpture.closed is not None:
        sources.insert(0, (sculpture.closed, 0.0, -1))
    sizes = [float(areas(tree.corners).sum()) * (2.0 if half else 1.0) for tree, half, _ in sources]
    for (tree, half, part), size in zip(sources, sizes, strict=True):
        share = max(1, round(count * size / max(sum(sizes), 1e-300)))
        some, rows = spread_points(tree.corners, share)
        every = max(1, 3 * len(tree.corners) * CORNERS_RATIO // share)
        corners = np.arange(0, 3 * len(tree.corners), every)
        even.append(np.arange(len(some) + len(corners)) < len(some))
        some = np.concatenate([some, tree.corners.reshape(-1, 3)[corners]])
        rows = np.concatenate([rows, corners // 3])
        a, b, c = tree.corners[rows, 0], tree.corners[rows, 1], tree.corners[rows, 2]
        normal = np.cross(b - a, c - a)
        normal /= np.maximum(np.sqrt((normal * normal).sum(axis=1)), 1e-300)[:, None]
        if half > 0:
            normal[1::2] *= -1.0
        points.append(some + half * normal)
        steps.append(some + (half + STEP_OUT_MM) * normal)
        parts.append(sculpture.part_of_triangle[rows] if part < 0 else np.full(len(rows), part, np.int32))
    if not points:
        return Shown(np.zeros((0, 3)), np.zeros(0, np.int32), np.zeros(0, np.bool_))
    surface, outside, part = np.concatenate(points), np.concatenate(steps), np.concatenate(parts)
    shows = np.ones(len(surface), dtype=np.bool_)
    if sculpture.closed is not None:
        shows &= windings(sculpture.closed, outside) == 0
    for sheet in sculpture.sheets:
        shows[shows] = nearest(sheet.tree, outside[shows]).distance >= sheet.half_mm
    return Shown(surface[shows], part[shows], np.concatenate(even)[shows])


def creased_at(sculpture: Sculpture, points_mm: npt.NDArray) -> npt.NDArray[np.bool_]:
    """(n,) whether the parts turn sharply within three pitches of each point (n, 3) on their surface."""
    creased = np.zeros(len(points_mm), dtype=np.bool_)
    reach = CREASE_PITCHES * sculpture.pitch_mm
    for tree in (sculpture.closed, *(sheet.tree for sheet in sculpture.sheets)):
        if tree is not None and len(points_mm):
            found = nearest(tree, points_mm)
            creased |= at_creases(tree, points_mm, found.distance + reach, found)
    return creased
