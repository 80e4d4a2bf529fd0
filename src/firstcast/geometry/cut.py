"""Cutting a closed body at a plane: the side that is kept, closed by a flat face.

manifold3d cuts exactly. Files hold float32, though, and on a face of thousands of corners its thin triangles would turn
over when they are rounded. So the face's outline is rounded first and then filled anew, seen along the plane's normal:
what does not overlap there can't cross itself. Where the body's own triangles cross the face after rounding, the
plane moves by a hair.
"""

from typing import NamedTuple

import manifold3d
import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.geometry.boxtree import build_box_tree
from firstcast.geometry.crossings import crossing_rows, snap_points
from firstcast.geometry.footing import Frame, frame_into
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.neighbourhood import near_box, with_own_points
from firstcast.geometry.pieces import Side
from firstcast.geometry.solids import raw_manifold

NUDGE_MM = 0.0007
"""By so much the plane moves where rounding leaves a crossing: far below what any process shows."""

NUDGES = 12

BEYOND = 4.0
"""The block that is taken away reaches so many extents of the body beyond it."""


class Cut(NamedTuple):
    """What is kept.

    Attributes
    ----------
    mesh : Mesh
        points (n, 3) float32; closed and outward.
    source : (m,) int32
        For each triangle that of the body which it is, or is part of; -1 for the face.
    side : Side
        Where it was cut in the end: a hair beside what was asked, where rounding wanted it.
    crossings : int
        Pairs of triangles at the face that still cross, and triangles without area: 0 unless no plane served.
    """

    mesh: Mesh
    source: npt.NDArray[np.int32]
    side: Side
    crossings: int


def cut_at(body: Mesh, side: Side, *, where: str = "cut") -> Cut:
    """The part of a closed outward body on one side of a plane.

    Parameters
    ----------
    body : Mesh
        points (n, 3) float32, mm; closed, manifold, outward.
    side : Side
    where : str
        What the errors are about.

    Raises
    ------
    InputError
        The body is not closed, or the plane leaves all of it or nothing.
    """
    frame = frame_into(np.asarray(side.toward, np.float64))
    heights = np.asarray(body.points, np.float64) @ frame.into
    level = float(np.asarray(side.place_mm, np.float64) @ frame.into)
    if not heights.min() < level < heights.max():
        keeps = "nothing of it" if heights.max() <= level else "all of it"
        raise InputError(
            f"the plane leaves {keeps}: along its direction the body lies between {heights.min():.2f} and "
            f"{heights.max():.2f} mm, the plane at {level:.2f}",
            where=where,
            mend="Move keep's place_mm into the piece, or turn toward round.",
        )
    solid = raw_manifold(body, where=where, face_id=np.arange(len(body.triangles)))
    found = None
    for step in range(NUDGES):
        found = _cut(body, solid, frame, level + step * NUDGE_MM)
        if not found.crossings:
            break
    assert found is not None
    return found


def _cut(body: Mesh, solid: manifold3d.Manifold, frame: Frame, level: float) -> Cut:
    """The body cut at one level."""
    count = len(body.triangles)
    out = (solid - _block(body, frame, level, count)).to_mesh64()
    points = np.array(out.vert_properties, dtype=np.float64)[:, :3].astype(np.float32)
    triangles = np.array(out.tri_verts, dtype=np.int64).reshape(-1, 3)
    face = np.array(out.face_id, dtype=np.int64)
    own = face < count
    filled = _filled(points, triangles[~own], frame)
    every = np.concatenate([triangles[own], filled]).astype(np.int32)
    source = np.concatenate([face[own], np.full(len(filled), -1)]).astype(np.int32)
    order = np.argsort(np.where(source < 0, count, source), kind="stable")
    mesh, _ = with_own_points(points, every[order])
    place = level * frame.into
    x, y, z = (float(c) for c in place)
    towards = (float(frame.into[0]), float(frame.into[1]), float(frame.into[2]))
    source = source[order]
    return Cut(mesh, source, Side((x, y, z), towards), _crossings(mesh, source, frame, level))


def _block(body: Mesh, frame: Frame, level: float, first: int) -> manifold3d.Manifold:
    """A block that holds all of the body below the level; its faces are numbered from `first` on."""
    axes = np.stack(frame)
    places = np.asarray(body.points, np.float64) @ axes.T
    low, high = places.min(axis=0), places.max(axis=0)
    reach = BEYOND * float((high - low).max())
    size = (high[0] - low[0] + reach, high[1] - low[1] + reach, reach)
    middle = ((low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0, level - reach / 2.0)
    block = manifold3d.Manifold.cube(size, True).translate(middle).to_mesh64()
    corners = np.array(block.vert_properties, dtype=np.float64)[:, :3] @ axes
    faces = np.array(block.tri_verts, dtype=np.int32).reshape(-1, 3)
    return raw_manifold(Mesh(corners, faces), face_id=first + np.arange(len(faces)))


def _filled(points: npt.NDArray[np.float32], face: npt.NDArray[np.int64], frame: Frame) -> npt.NDArray:
    """The face's triangles made anew over its rounded outline."""
    loops = _loops_of(face)
    flat = [frame.flat(points[loop]) for loop in loops]
    # seen from below, which is outside, the outline runs the other way
    seen = [np.column_stack([loop[:, 1], loop[:, 0]]) for loop in flat]
    fresh = manifold3d.triangulate(seen, allow_convex=False)
    return np.concatenate(loops)[np.asarray(fresh, dtype=np.int64).reshape(-1, 3)]


def _loops_of(face: npt.NDArray[np.int64]) -> list[npt.NDArray[np.int64]]:
    """The closed outlines of some triangles: their corners in the triangles' own direction."""
    start, end = face.ravel(), np.roll(face, -1, axis=1).ravel()
    size = int(face.max()) + 1
    rim = ~np.isin(start * size + end, end * size + start)
    following: dict[int, list[int]] = {}
    for a, b in zip(start[rim].tolist(), end[rim].tolist(), strict=True):
        following.setdefault(a, []).append(b)
    loops = []
    while following:
        first = next(iter(following))
        loop, at = [], first
        while at in following:
            loop.append(at)
            onward = following[at]
            step = onward.pop()
            if not onward:
                del following[at]
            at = step
        loops.append(np.array(loop, dtype=np.int64))
    return loops


def _crossings(mesh: Mesh, source: npt.NDArray[np.int32], frame: Frame, level: float) -> int:
    """How many triangles near the face cross others or have no area."""
    heights = np.abs(np.asarray(mesh.points, np.float64) @ frame.into - level)
    near = heights < 2.0 * NUDGE_MM
    beside = near[mesh.triangles].any(axis=1) | (source < 0)
    rows = np.flatnonzero(beside)
    box = mesh.points[mesh.triangles[rows]].reshape(-1, 3).astype(np.float64)
    around = np.flatnonzero(
        near_box(mesh.points, mesh.triangles, np.array([box.min(axis=0), box.max(axis=0)]))
    )
    local, _ = with_own_points(mesh.points, mesh.triangles[around])
    chosen = np.searchsorted(around, rows).astype(np.int32)
    a, b, c = np.moveaxis(Mesh(local.points, local.triangles[chosen]).corners, 1, 0)
    flat = int((np.cross(b - a, c - a) == 0.0).all(axis=1).sum())
    points = snap_points(local.points, where="cut")
    tree = build_box_tree(points, local.triangles, np.arange(len(local.triangles), dtype=np.int32))
    return flat + len(
        np.unique(np.sort(crossing_rows(points, local.triangles, chosen, tree, 1000), axis=1), axis=0)
    )
