"""The sculptor's parts at master size, ready to be measured against."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.proof.distances import areas, nearest, spread_points
from firstcast.proof.expected import Expected
from firstcast.proof.narrow import Change, Sheet, Solid
from firstcast.proof.tree import Tree, build_tree

STEP_OUT_MM = 1e-3
"""A place counts as visible if a step of one micron out of the surface leaves all parts."""

GRADIENT_STEP_MM = 1e-4
CORNERS_RATIO = 4
"""One corner of the parts is looked at for this many evenly spread points."""


class Sculpture(NamedTuple):
    """All parts of a piece at master size.

    Attributes
    ----------
    closed : Tree or None
        Over the triangles of all closed parts; those of what is taken look into it, out of the body.
    part_of_triangle : (m,) int32
        Part of each triangle in the closed tree's order.
    sheets : tuple of Sheet
    names : tuple of str
    pitch_mm : float
    cut : Solid or None
        What is inside, where something is taken out of the parts; None: all that they hold.
    """

    closed: Tree | None
    part_of_triangle: npt.NDArray[np.int32]
    sheets: tuple[Sheet, ...]
    names: tuple[str, ...]
    pitch_mm: float
    cut: Solid | None = None

    @property
    def solid(self) -> Solid:
        """What is inside."""
        return self.cut or Solid(self.closed, self.sheets)


def sculpture_of(expected: Expected) -> Sculpture:
    """Map the parts to master size and build their trees."""
    closed, owners, sheets = [], [], []
    # closed shells of one role in a row make one solid
    solids: list[tuple[str, list[npt.NDArray[np.float64]]]] = [("sculpted", [])]
    turned = np.linalg.det(np.asarray(expected.matrix, dtype=np.float64)) < 0
    stretch = abs(np.linalg.det(np.asarray(expected.matrix, dtype=np.float64))) ** (1.0 / 3.0)
    for index, part in enumerate(expected.parts):
        if not len(part.corners):
            continue
        corners = expected.to_master(np.asarray(part.corners, dtype=np.float64))
        if part.closed:
            outward = corners[:, ::-1] if turned else corners
            row = solids[0] if part.role == "sculpted" else solids[-1]
            if row[0] != part.role:
                solids.append(row := (part.role, []))
            row[1].append(outward)
            closed.append(outward[:, ::-1] if part.role == "taken" else outward)
            owners.append(np.full(len(corners), index, dtype=np.int32))
        else:
            sheets.append(Sheet(build_tree(corners), part.thickness_mm * stretch / 2.0, index))
    tree = build_tree(np.concatenate(closed)) if closed else None
    owner = np.concatenate(owners)[tree.order] if tree is not None else np.zeros(0, dtype=np.int32)
    cut = None
    if any(role == "taken" for role, _ in solids):
        trees = [build_tree(np.concatenate(found)) if found else None for _, found in solids]
        changes = zip(solids[1:], trees[1:], strict=True)
        cut = Solid(
            trees[0],
            tuple(sheets),
            tuple(Change(role == "added", tree) for (role, _), tree in changes if tree is not None),
        )
    names = tuple(part.name for part in expected.parts)
    return Sculpture(tree, owner, tuple(sheets), names, expected.pitch_mm, cut)


class Found(NamedTuple):
    """Of each point: how far the parts' surface is, how far the triangles behind it, which source and triangle.

    A source is a tree: 0 the closed parts', 1 and on the sheets'.
    """

    away_mm: npt.NDArray[np.float64]
    raw_mm: npt.NDArray[np.float64]
    source: npt.NDArray[np.int64]
    triangle: npt.NDArray[np.int64]

    def chosen(self, rows: npt.NDArray) -> "Found":
        """Some of the points."""
        return Found(self.away_mm[rows], self.raw_mm[rows], self.source[rows], self.triangle[rows])


def sources_of(sculpture: Sculpture) -> list[tuple[Tree | None, float, int]]:
    """Tree, half the thickness and part (-1: see the tree) of each source."""
    return [
        (sculpture.closed, 0.0, -1),
        *((sheet.tree, sheet.half_mm, sheet.part) for sheet in sculpture.sheets),
    ]


def find(sculpture: Sculpture, points_mm: npt.NDArray[np.float64]) -> Found:
    """The nearest surface of each point; a sheet's lies half its thickness from it."""
    count = len(points_mm)
    away, raw = np.full(count, np.inf), np.full(count, np.inf)
    source, triangle = np.zeros(count, np.int64), np.zeros(count, np.int64)
    for number, (tree, half, _) in enumerate(sources_of(sculpture)):
        if tree is None:
            continue
        found = nearest(tree, points_mm)
        gap = np.abs(found.distance - half)
        nearer = gap < away
        away, raw = np.where(nearer, gap, away), np.where(nearer, found.distance, raw)
        source, triangle = np.where(nearer, number, source), np.where(nearer, found.triangle, triangle)
    return Found(away, raw, source, triangle)


def normals_of(
    sculpture: Sculpture, number: int, points_mm: npt.NDArray[np.float64], triangle: npt.NDArray[np.int64]
) -> npt.NDArray[np.float64]:
    """(n, 3) outward normals of a source's surface beside some points: of a sheet, the way from it."""
    tree, half, _ = sources_of(sculpture)[number]
    if tree is None or not len(points_mm):
        return np.zeros((len(points_mm), 3))
    if half == 0.0:
        normal = face_normals(tree.corners[triangle])
    else:
        normal = np.empty((len(points_mm), 3))
        for axis in range(3):
            step = np.zeros(3)
            step[axis] = GRADIENT_STEP_MM
            ahead, behind = nearest(tree, points_mm + step), nearest(tree, points_mm - step)
            normal[:, axis] = ahead.distance - behind.distance
    return normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]


def face_normals(corners: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """(m, 3) unit normals of triangles (m, 3, 3); zero where one has no area."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return normal / np.maximum(np.sqrt((normal * normal).sum(axis=1)), 1e-300)[:, None]


class Shown(NamedTuple):
    """Points (n, 3) on what shows of the parts, their normals, the part (n,) of each, and which are spread evenly.

    The others are corners of the parts' triangles, where tips and edges are.
    """

    points_mm: npt.NDArray[np.float64]
    normals: npt.NDArray[np.float64]
    part: npt.NDArray[np.int32]
    even: npt.NDArray[np.bool_]

    def chosen(self, rows: npt.NDArray) -> "Shown":
        """Some of the points."""
        return Shown(self.points_mm[rows], self.normals[rows], self.part[rows], self.even[rows])


def visible_points(sculpture: Sculpture, count: int) -> Shown:
    """Points over what shows of the parts, at master size: `count` evenly spread, some at corners besides.

    A point of a closed part shows if a step outward leaves every closed part and every sheet's thickness; where something is
    taken out, if besides a step inward meets what is left. A sheet's points are taken on both of its faces, half a thickness out.
    """
    points, normals, parts, even = [], [], [], []
    sources = [source for source in sources_of(sculpture) if source[0] is not None]
    sizes = [float(areas(tree.corners).sum()) * (2.0 if half else 1.0) for tree, half, _ in sources if tree]
    for (tree, half, part), size in zip(sources, sizes, strict=True):
        assert tree is not None
        share = max(1, round(count * size / max(sum(sizes), 1e-300)))
        some, rows = spread_points(tree.corners, share)
        every = max(1, 3 * len(tree.corners) * CORNERS_RATIO // share)
        corners = np.arange(0, 3 * len(tree.corners), every)
        even.append(np.arange(len(some) + len(corners)) < len(some))
        some = np.concatenate([some, _within(tree.corners, corners)])
        rows = np.concatenate([rows, corners // 3])
        normal = face_normals(tree.corners[rows])
        if half > 0:
            normal[1::2] *= -1.0
        points.append(some + half * normal)
        normals.append(normal)
        parts.append(sculpture.part_of_triangle[rows] if part < 0 else np.full(len(rows), part, np.int32))
    if not points:
        nothing = np.zeros((0, 3))
        return Shown(nothing, nothing, np.zeros(0, np.int32), np.zeros(0, np.bool_))
    surface, normal = np.concatenate(points), np.concatenate(normals)
    shows = ~sculpture.solid.holds(surface + STEP_OUT_MM * normal)
    if sculpture.cut is not None:
        shows &= sculpture.solid.holds(surface - STEP_OUT_MM * normal)
    return Shown(surface[shows], normal[shows], np.concatenate(parts)[shows], np.concatenate(even)[shows])


def _within(triangles: npt.NDArray[np.float64], corners: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """(k, 3) some of the corners of triangles (m, 3, 3), each a micron into its triangle: off edges, sides are told."""
    places = triangles.reshape(-1, 3)[corners]
    inward = triangles.mean(axis=1)[corners // 3] - places
    length = np.maximum(np.linalg.norm(inward, axis=1), 1e-300)
    return places + inward * np.minimum(1.0, STEP_OUT_MM / length)[:, None]
