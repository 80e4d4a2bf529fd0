"""The seam on the body: where the halves of the mould meet it, as closed curves that are not bound to voxels.

Labels of the voxels are evened out along the body, never through it, and read at its vertices. Near the change the surface's own
lean along the pull decides: a seam lies where the surface stands along the pull, if it does so within a voxel or two.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.normals import vertex_normals
from firstcast.kernels.parting import LOWER, NONE, UPPER
from firstcast.moulding.halves import Halves
from firstcast.moulding.skin import Skin, evened, sampled, voxels_outside

ROUNDS, LEAN_ROUNDS = 3, 1
"""Rounds of means: a step in the labels becomes a ramp some four voxels wide; the lean is kept nearer to its place."""

LEAN_COUNTS, MOST_LEAN = 12.0, 0.8
"""Against the ramp, from -1 to 1, counts the lean (the sine of its angle to the pull) times so much, this at most: it moves a seam
within the ramp and never turns over what lies beyond."""

ALIKE = 0.97
"""A vertex leans as its surroundings within a voxel do where it faces as they do, within 14°; else it lies at an edge, and leans
as it does itself."""

LEAST_PATCH_FACES = 12.0
"""A patch of fewer voxels' faces in the other half is the voxels' roughness."""

LEAST_LOOP_PITCHES = 10.0
"""A closed curve no longer than this is round a hole of some three voxels, or where two sheets of the body all but touch: it is left out."""

NEAREST = 1e-3
"""A seam keeps so far from a triangle's corners, as a share of its edges."""


STEP_PITCHES, EVENED_PITCHES = 0.5, 0.7
"""Places along a seam are so far apart, and means over so much of its length (a standard deviation) on either side: what a mesh's
own triangles make it wander is less."""


class Seam(NamedTuple):
    """Closed curves on the body between the halves.

    Attributes
    ----------
    curves_mm : tuple of (n, 3) float64
        In figure space, at even steps, the last place joined to the first; seen from outside, the upper half lies to the left.
    triangles : tuple of (n,) int32
        The skin's triangle beside each place.
    upper : (m,) bool
        For each triangle of the skin, whether it lies in the upper half.
    upper_vertex : (v,) bool
        The same for each of its vertices.
    """

    curves_mm: tuple[npt.NDArray[np.float64], ...]
    triangles: tuple[npt.NDArray[np.int32], ...]
    upper: npt.NDArray[np.bool_]
    upper_vertex: npt.NDArray[np.bool_]


def trace_seam(halves: Halves, skin: Skin) -> Seam:
    """The curves between the halves, and the half of each of the skin's triangles."""
    lean = half_of_vertices(halves, skin)
    least_mm2 = LEAST_PATCH_FACES * halves.pitch_mm**2
    lean = without_specks(skin.mesh, skin.area_mm2, lean, least_mm2)
    drawn = [
        drawn_even(curve, rows, STEP_PITCHES * halves.pitch_mm, EVENED_PITCHES / STEP_PITCHES)
        for curve, rows in zip(*zero_curves(skin.mesh, lean), strict=True)
    ]
    drawn = [each for each in drawn if curve_length(each[0]) > LEAST_LOOP_PITCHES * halves.pitch_mm]
    curves, triangles = tuple(curve for curve, _ in drawn), tuple(rows for _, rows in drawn)
    return Seam(curves, triangles, lean[skin.mesh.triangles].mean(axis=1) >= 0.0, lean >= 0.0)


def half_of_vertices(halves: Halves, skin: Skin) -> npt.NDArray[np.float64]:
    """(v,) float64: above 0 at vertices of the upper half, below at those of the lower."""
    frame, pitch, shape = halves.frame, halves.pitch_mm, halves.states.shape
    mould = (halves.labels != NONE).astype(np.uint8)
    at = voxels_outside(
        skin.middles @ frame.T, skin.normals @ frame.T, halves.origin_mm, pitch, halves.states
    )
    there = at >= 0
    facing = (skin.normals @ frame.T * skin.area_mm2[:, None])[there]

    def on_voxels(weights):
        return np.bincount(at[there], weights=weights, minlength=mould.size).reshape(shape)

    labels = (halves.labels == UPPER).astype(np.float32) - (halves.labels == LOWER).astype(np.float32)
    leans = evened([on_voxels(facing[:, k]) for k in range(3)], mould, LEAN_ROUNDS)
    fields = np.concatenate([evened([labels], mould, ROUNDS), leans])
    points = np.asarray(skin.mesh.points, np.float64)
    normals = vertex_normals(skin.mesh)
    spots = (points @ frame.T - halves.origin_mm) / pitch
    out = normals @ frame.T
    found = np.full((len(points), 4), np.nan, np.float32)
    for pitches in (0.75, 1.25, 2.0, 0.0):
        left = np.flatnonzero(np.isnan(found[:, 0]))
        if len(left):
            found[left] = sampled(fields, mould, spots[left] + pitches * out[left])
    # shut in on all sides there is no mould, and so no half
    ramp, around = np.nan_to_num(found[:, 0], nan=1.0).astype(np.float64), np.nan_to_num(found[:, 1:])
    around /= np.maximum(np.linalg.norm(around, axis=1), 1e-12)[:, None]
    even = (around * out).sum(axis=1) >= ALIKE
    lean = np.where(even, around[:, 2], out[:, 2])
    return ramp + np.clip(LEAN_COUNTS * lean, -MOST_LEAN, MOST_LEAN)


def without_specks(mesh: Mesh, area_mm2, value, least_mm2: float) -> npt.NDArray[np.float64]:
    """The vertices' values with small patches turned over: what hangs together by edges and has less area than that."""
    value = np.where(value == 0.0, 1e-9, value)
    a, b = mesh.triangles.ravel(), np.roll(mesh.triangles, -1, axis=1).ravel()
    of_vertex = np.bincount(
        mesh.triangles.ravel(), weights=np.repeat(area_mm2 / 3.0, 3), minlength=len(value)
    )
    # what is turned over may join two patches that were small, and so may become one of the others
    for _ in range(4):
        alike = (value[a] > 0.0) == (value[b] > 0.0)
        links = coo_array(
            (np.ones(int(alike.sum()), np.bool_), (a[alike], b[alike])), shape=(len(value),) * 2
        )
        count, patch = connected_components(links, directed=False)
        area = np.bincount(patch, weights=of_vertex, minlength=count)
        # a whole shell that is small has no neighbour of the other half, and stays
        meets = np.zeros(count, np.bool_)
        meets[patch[a[~alike]]] = True
        small = meets & (area < least_mm2)
        if not small.any():
            break
        value = np.where(small[patch], -0.5 * value, value)
    return value


def zero_curves(
    mesh: Mesh, value: npt.NDArray[np.float64]
) -> tuple[tuple[npt.NDArray[np.float64], ...], tuple[npt.NDArray[np.int32], ...]]:
    """Where a value of the vertices, linear between them, passes zero: closed curves, and the triangle of each piece.

    A closed mesh has as many triangles on one side of an edge as on the other, so each piece has one that follows; where
    sheets touch along an edge, they are paired in order.
    """
    above = value >= 0.0
    rows = np.flatnonzero((above[mesh.triangles].sum(axis=1) % 3) != 0)
    corners = mesh.triangles[rows]
    after = np.roll(corners, -1, axis=1)
    leaves, enters = above[corners] & ~above[after], ~above[corners] & above[after]
    # walked from the edge that goes up to the one that goes down, the upper side lies to the left
    starts = _edge_keys(corners, after, enters, len(value))
    ends = _edge_keys(corners, after, leaves, len(value))
    follows = np.empty(len(rows), np.int64)
    follows[np.argsort(ends, kind="stable")] = np.argsort(starts, kind="stable")
    places = _crossings(mesh, value, starts)
    curves, triangles = [], []
    for cycle in _cycles(follows):
        curves.append(places[cycle])
        triangles.append(rows[cycle].astype(np.int32))
    order = sorted(range(len(curves)), key=lambda n: (-curve_length(curves[n]), n))
    return tuple(curves[n] for n in order), tuple(triangles[n] for n in order)


def drawn_even(curve, rows, step_mm: float, steps: float):
    """A closed curve (n, 3) at even steps along it, each place the mean over so many steps to either side, and their rows."""
    pieces = np.linalg.norm(np.roll(curve, -1, axis=0) - curve, axis=1)
    at = np.concatenate([[0.0], np.cumsum(pieces)])
    count = max(8, int(np.ceil(at[-1] / step_mm)))
    wanted = (np.arange(count) + 0.5) * at[-1] / count
    closed = np.concatenate([curve, curve[:1]])
    even = np.column_stack([np.interp(wanted, at, closed[:, k]) for k in range(3)])
    even = gaussian_filter1d(even, min(steps, count / 12.0), axis=0, mode="wrap")
    beside = np.clip(np.searchsorted(at, wanted, side="right") - 1, 0, len(rows) - 1)
    return even, rows[beside]


def _edge_keys(corners, after, which, count: int) -> npt.NDArray[np.int64]:
    one, other = corners[which].astype(np.int64), after[which].astype(np.int64)
    return np.minimum(one, other) * count + np.maximum(one, other)


def _crossings(mesh: Mesh, value, keys) -> npt.NDArray[np.float64]:
    low, high = np.divmod(keys, len(value))
    share = np.clip(value[low] / (value[low] - value[high]), NEAREST, 1.0 - NEAREST)[:, None]
    points = np.asarray(mesh.points, np.float64)
    return (1.0 - share) * points[low] + share * points[high]


def _cycles(follows) -> list[npt.NDArray[np.int64]]:
    left = np.ones(len(follows), np.bool_)
    cycles = []
    ahead = follows.tolist()
    for first in range(len(ahead)):
        if not left[first]:
            continue
        cycle = []
        at = first
        while left[at]:
            left[at] = False
            cycle.append(at)
            at = ahead[at]
        cycles.append(np.array(cycle, np.int64))
    return cycles


def curve_length(curve: npt.NDArray[np.float64]) -> float:
    """Length of a closed curve (n, 3)."""
    return float(np.linalg.norm(np.roll(curve, -1, axis=0) - curve, axis=1).sum())
