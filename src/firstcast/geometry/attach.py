"""Joining a small fitting to a large body, or taking it out of it, exactly, and touching only its neighbourhood.

The body's triangles near the fitting are cut out whole, closed by a cone over each rim of the cut, united with
the fitting by manifold3d (or freed of it), and put back. The cones do not meet the fitting (checked), and neither does the rest
of the body, so the winding number of rest and cones together is one and the same number all over the fitting;
it is taken at one place, and must be nought. Then the local union is the union. All other triangles keep
their points, bit by bit. Where no direction of the cones serves, the whole body is taken instead of the cut.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.neighbourhood import near_box, with_own_points
from firstcast.geometry.solids import raw_manifold
from firstcast.kernels.edges import OPEN, pair_edges
from firstcast.kernels.winding import winding_at

FAR = 50.0
"""Height of the cones, in diagonals of the cut: so steep that they stay clear of the fitting."""


class Attached(NamedTuple):
    """The body with the fitting.

    Attributes
    ----------
    mesh : Mesh
        points (n, 3) float32.
    source : (m,) int32
        For each triangle the body's triangle that it is, or is part of; -1 for the fitting's.
    seam : (k,) int32
        Numbers of the triangles that the union made or cut.
    overlap_mm3 : float
        Volume that body and fitting share.
    overlap_count : int
        Connected regions of that volume.
    added_mm3 : float
        Volume of the fitting beyond the body: what it adds.
    """

    mesh: Mesh
    source: npt.NDArray[np.int32]
    seam: npt.NDArray[np.int32]
    overlap_mm3: float
    overlap_count: int
    added_mm3: float


class _Patch(NamedTuple):
    """Whole triangles of the body near the fitting: their numbers, their own points, and the rims of the cut."""

    numbers: np.ndarray
    points: np.ndarray
    triangles: np.ndarray
    rim: np.ndarray


def attach(
    body: Mesh,
    fitting: Mesh,
    away: npt.NDArray[np.float64],
    *,
    margin_mm: float = 1.0,
    takes_out: bool = False,
) -> Attached:
    """The union of a closed body and a fitting of one piece that overlaps it; or the body without it.

    Parameters
    ----------
    body : Mesh
        points (n, 3) float32; closed, manifold and outward.
    fitting : Mesh
        Closed, of one piece and outward; its points are rounded to float32.
    away : (3,) float64
        From the fitting into the body: the side on which the cones stand.
    margin_mm : float
        How far round the fitting triangles are cut out.
    takes_out : bool
        Whether what the fitting holds is taken out of the body, instead of added to it.

    Raises
    ------
    InputError
        The body is not closed near the fitting, or a fitting that is to be added doesn't meet it.
    """
    points = np.ascontiguousarray(body.points, dtype=np.float32)
    fitting = Mesh(fitting.points.astype(np.float32).astype(np.float64), fitting.triangles)
    for margin in (margin_mm, np.inf):
        patch = _cut_out(points, body.triangles, fitting.bounds, margin)
        for direction in _directions(away):
            closed = _closed(patch, fitting, direction)
            if _stands_for_body(closed, fitting, points, body.triangles):
                united = _unite(patch, closed, fitting, takes_out)
                if united is not None:
                    return _put_back(points, body.triangles, patch, *united)
    raise InputError(
        "the union with the fitting could not be made",
        where="join",
        mend="Move the fitting by a tenth of a millimetre.",
    )


def _directions(away: np.ndarray) -> list[np.ndarray | None]:
    """Directions to try for the cones: the one named, each away from the fitting (None), then those along the axes."""
    axes = np.concatenate([np.eye(3), -np.eye(3)])
    order = np.argsort(-(axes @ away), kind="stable")
    return [away / np.linalg.norm(away), None, *axes[order]]


def _cut_out(points: np.ndarray, triangles: np.ndarray, bounds: np.ndarray, margin: float) -> _Patch:
    """Triangles that may reach within `margin` of the box, and so many more that each rim passes a point once."""
    a, b, c = triangles.T
    chosen = near_box(points, triangles, bounds, margin)
    while True:
        numbers = np.flatnonzero(chosen)
        local, used = with_own_points(points, triangles[numbers])
        rim = _rim(local.triangles, len(used))
        crowded = np.flatnonzero(np.bincount(rim[:, 0], minlength=len(used)) > 1)
        if not len(crowded):
            _demand_closed(points, triangles[~chosen], used[rim])
            return _Patch(numbers, local.points.astype(np.float64), local.triangles, rim)
        pinched = np.zeros(len(points), dtype=bool)
        pinched[used[crowded]] = True
        grown = chosen | pinched[a] | pinched[b] | pinched[c]
        if (grown == chosen).all():
            where = local.points[crowded[0]]
            raise InputError(
                f"the body is not manifold at ({where[0]:.2f}, {where[1]:.2f}, {where[2]:.2f})",
                where="join",
                mend="Join a body made by fuse.",
            )
        chosen = grown


def _demand_closed(points: np.ndarray, rest: np.ndarray, rim: np.ndarray) -> None:
    """Every edge of the cut's rim must go on in the rest of the body; else it is the rim of a hole."""
    if not len(rim):
        return
    on_rim = np.zeros(len(points), dtype=np.uint8)
    on_rim[rim] = 1
    a, b, c = rest.T
    beside = rest[on_rim[a] + on_rim[b] + on_rim[c] >= 2].astype(np.int64)
    there = beside.ravel() * len(points) + np.roll(beside, -1, axis=1).ravel()
    wide = rim.astype(np.int64)
    hole = ~np.isin(wide[:, 1] * len(points) + wide[:, 0], there)
    if hole.any():
        where = points[rim[int(np.flatnonzero(hole)[0]), 0]]
        raise InputError(
            f"the body is not closed at ({where[0]:.2f}, {where[1]:.2f}, {where[2]:.2f})",
            where="join",
            mend="Join a body made by fuse.",
        )


def _rim(triangles: np.ndarray, count: int) -> np.ndarray:
    """Directed edges (k, 2) of the triangles (m, 3) int32, over `count` points, that have no other triangle."""
    halves = np.flatnonzero(pair_edges(triangles, count) == OPEN)
    start, corner = triangles.ravel()[halves], halves % 3
    return np.column_stack([start, triangles.ravel()[halves - corner + (corner + 1) % 3]])


def _closed(patch: _Patch, fitting: Mesh, direction: np.ndarray | None) -> Mesh:
    """The cut-out triangles with a cone over each rim: cones follow the patch's own triangles.

    Without a direction each cone stands away from the fitting's middle.
    """
    rim = patch.rim
    if not len(rim):
        return Mesh(patch.points, patch.triangles)
    loop = _loops(rim, len(patch.points))
    size = float(np.linalg.norm(np.ptp(np.concatenate([patch.points, fitting.points]), axis=0)))
    middle = np.stack([np.bincount(loop, patch.points[rim[:, 0], k]) for k in range(3)], axis=1)
    middle /= np.bincount(loop)[:, None]
    outward = middle - fitting.bounds.mean(axis=0)
    outward /= np.maximum(np.linalg.norm(outward, axis=1), 1e-300)[:, None]
    apex = middle + (outward if direction is None else direction) * FAR * size
    cone = np.column_stack([rim[:, 1], rim[:, 0], len(patch.points) + loop])
    return Mesh(
        np.concatenate([patch.points, apex]), np.concatenate([patch.triangles, cone]).astype(np.int32)
    )


def _loops(rim: np.ndarray, count: int) -> np.ndarray:
    """Number of the closed loop that each rim edge belongs to."""
    leaving = np.full(count, -1, dtype=np.int64)
    leaving[rim[:, 0]] = np.arange(len(rim))
    following = leaving[rim[:, 1]].tolist()
    loop = [-1] * len(rim)
    found = 0
    for first in range(len(rim)):
        if loop[first] >= 0:
            continue
        edge = first
        while loop[edge] < 0:
            loop[edge] = found
            edge = following[edge]
        found += 1
    return np.array(loop)


def _stands_for_body(closed: Mesh, fitting: Mesh, points: np.ndarray, triangles: np.ndarray) -> bool:
    """Whether the closed cut winds as often as the whole body round the fitting's first corner."""
    place = fitting.points[0]
    whole = winding_at(place, points, triangles)
    local = winding_at(place, closed.points.astype(np.float32), closed.triangles)
    return abs(whole - local) < 0.25


def _unite(patch: _Patch, closed: Mesh, fitting: Mesh, takes_out: bool):
    """Points, triangles, source (patch triangle or -1) of the local union, or difference, without its cones; volumes.

    None if the fitting met a cone.
    """
    near = len(patch.triangles)
    total = len(closed.triangles)
    body = raw_manifold(closed, where="join", face_id=np.arange(total))
    tool = raw_manifold(fitting, where="join", face_id=total + np.arange(len(fitting.triangles)))
    out = (body - tool if takes_out else body + tool).to_mesh64()
    points = np.array(out.vert_properties, dtype=np.float64)[:, :3]
    triangles = np.array(out.tri_verts, dtype=np.int64).reshape(-1, 3)
    face = np.array(out.face_id, dtype=np.int64)
    cone = (face >= near) & (face < total)
    if int(cone.sum()) != total - near or not _same(points, triangles[cone], closed, face[cone]):
        return None
    shared = body ^ tool
    meets = not shared.is_empty() and shared.volume() > 0.0
    if not meets and not takes_out:
        raise InputError(
            "the fitting doesn't meet the body",
            where="join",
            mend="Move it into the body, or overlap it more.",
        )
    kept = ~cone
    source = np.where(face[kept] < near, face[kept], -1)
    added = tool.volume() - shared.volume()
    found = (shared.volume(), len(shared.decompose())) if meets else (0.0, 0)
    return points, triangles[kept], source, (*found, added)


def _same(points: np.ndarray, triangles: np.ndarray, closed: Mesh, face: np.ndarray) -> bool:
    """Whether each triangle has the three points of the one that it came from."""
    now = points[triangles]
    then = closed.points[closed.triangles[face]]
    return bool((now[:, :, None, :] == then[:, None, :, :]).all(axis=3).any(axis=2).all())


def _put_back(points: np.ndarray, triangles: np.ndarray, patch: _Patch, local, faces, source, volumes):
    """The body with the local union in place of what was cut out; unused points dropped."""
    to_body = _match_points(points, triangles, patch, local, faces, source)
    fresh = np.flatnonzero(to_body < 0)
    to_body[fresh] = len(points) + np.arange(len(fresh))
    everything = np.concatenate([points, local[fresh].astype(np.float32)])
    faces = to_body[faces]
    whole = _untouched(triangles, patch, faces, source)
    seam_faces, seam_source = faces[~whole], source[~whole]
    order = np.lexsort((np.arange(len(seam_source)), np.where(seam_source < 0, 1 << 40, seam_source)))
    seam_faces, seam_source = seam_faces[order], seam_source[order]
    stays = np.ones(len(triangles), dtype=bool)
    stays[patch.numbers] = False
    stays[patch.numbers[source[whole]]] = True
    kept = np.flatnonzero(stays)
    new_triangles = np.concatenate([triangles[kept], seam_faces.astype(np.int32)])
    new_source = np.concatenate([kept, np.where(seam_source < 0, -1, patch.numbers[seam_source])])
    mesh, _ = with_own_points(everything, new_triangles)
    seam = np.arange(len(kept), len(new_triangles), dtype=np.int32)
    return Attached(mesh, new_source.astype(np.int32), seam, *volumes)


def _match_points(points, triangles, patch: _Patch, local, faces, source) -> np.ndarray:
    """The body's point that each point of the local union is, or -1 if it is new.

    A point is held against the corners of the triangle that its own triangle came from, so that
    two of the body's points in one place are told apart.
    """
    to_body = np.full(len(local), -1, dtype=np.int64)
    own = source >= 0
    origin = triangles[patch.numbers[source[own]]]
    now = local[faces[own]]
    then = points[origin].astype(np.float64)
    for k in range(3):
        same = (now[:, k, None, :] == then).all(axis=2)
        row, corner = np.nonzero(same)
        to_body[faces[own][row, k]] = origin[row, corner]
    return to_body


def _untouched(triangles: np.ndarray, patch: _Patch, faces: np.ndarray, source: np.ndarray) -> np.ndarray:
    """Which triangles of the local union are the body's own, uncut."""
    origin = np.sort(triangles[patch.numbers[np.maximum(source, 0)]], axis=1)
    return (source >= 0) & (np.sort(faces, axis=1) == origin).all(axis=1)
