"""The body's surface as a parting sees it: small triangles with what it costs to lead a seam across each."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.fields.blocks import run_blocks
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.refine import split_long_edges
from firstcast.geometry.thinned import Thinned, thinned
from firstcast.geometry.zones import Zone
from firstcast.kernels.locked import BODY, UP
from firstcast.kernels.parting import even_out, sample_near
from firstcast.moulding.pull import frame_of
from firstcast.moulding.voxels import mark_voxels
from firstcast.vocabulary import ZoneMeaning

DETAIL_MM, DETAIL_ROUNDS = 0.4, 3
"""Relief is read over about a millimetre: so many rounds of means over voxels of this side."""

FULL_DETAIL = 0.25
"""What of the surface's normals cancels out within that millimetre where relief counts in full: as on an edge of 83°. Chosen, no
source."""

LOOKS_DEG = (-35.0, 0.0, 35.0)
"""A figure is looked at from the front and from so far to either side, at eye level."""

FACES_ONE = 0.25
"""What turns less of itself than this towards the viewer is seen edge on, as an outline: a line there doesn't show."""

MOST_VOXELS = 3_000_000

MOST_ROUNDS = 50

TRIANGLES_PER_FACE, LEAST_TRIANGLES = 6.0, 100_000
"""A mesh of more triangles than so many to a voxel's face is thinned to about that: readings are by voxels."""


@dataclass(frozen=True)
class Skin:
    """The body in triangles no longer than asked for, with readings of each; m triangles.

    Attributes
    ----------
    mesh : Mesh
        The body's surface; a fine mesh is thinned, which moves it by a fraction of a voxel.
    origin : (m,) int32
        The body's triangle that each lies in.
    stands_for : (v,) int32
        For each vertex of a body that was thinned the vertex of `mesh` that it became; empty where nothing was thinned.
    middles, normals : (m, 3) float64
        In figure space; normals of length 1, zeros where there is no area.
    area_mm2 : (m,) float64
    detail : (m,) float64
        0 where the surface is even or evenly curved, 1 where relief counts in full.
    seen : (m,) float64
        Share of the looks from the front that see it, times how far it faces them.
    in_view : (m,) bool
        Whether it faces someone who stands straight in front, with nothing between.
    precious : (m,) bool
    """

    mesh: Mesh
    origin: npt.NDArray[np.int32]
    stands_for: npt.NDArray[np.int32]
    middles: npt.NDArray[np.float64]
    normals: npt.NDArray[np.float64]
    area_mm2: npt.NDArray[np.float64]
    detail: npt.NDArray[np.float64]
    seen: npt.NDArray[np.float64]
    in_view: npt.NDArray[np.bool_]
    precious: npt.NDArray[np.bool_]


def read_skin(
    mesh: Mesh,
    pitch_mm: float,
    zones: tuple[Zone, ...] = (),
    *,
    part_of_triangle: npt.NDArray[np.integer] | None = None,
    part_names: tuple[str, ...] = (),
) -> Skin:
    """Bring a closed outward mesh to edges of about `pitch_mm` at most, and read relief, what is seen, and precious zones.

    Raises
    ------
    InputError
        The mesh is empty or isn't closed, or a zone is by part and no parts are given.
    """
    light = thinned(mesh, max(LEAST_TRIANGLES, int(TRIANGLES_PER_FACE * _area_mm2(mesh) / pitch_mm**2)))
    fine, within = split_long_edges(light.mesh, pitch_mm)
    origin = light.kept[within].astype(np.int32)
    corners = fine.corners
    double = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(double, axis=1)
    normals = double / np.maximum(length, 1e-30)[:, None]
    middles, area = corners.mean(axis=1), 0.5 * length
    precious = np.zeros(len(middles), np.bool_)
    parts = None if part_of_triangle is None else np.asarray(part_of_triangle)[origin]
    for zone in zones:
        if zone.meaning is ZoneMeaning.PRECIOUS:
            precious |= zone.contains(middles, part_of_point=parts, part_names=part_names)
    seen, in_view = _seen(light.mesh, middles, normals, pitch_mm)
    detail = _detail(light.mesh, middles, normals, area)
    stands_for = _stands_for(mesh, light)
    return Skin(fine, origin, stands_for, middles, normals, area, detail, seen, in_view, precious)


def _area_mm2(mesh: Mesh) -> float:
    corners = mesh.corners
    double = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return 0.5 * float(np.linalg.norm(double, axis=1).sum())


def _stands_for(mesh: Mesh, light: Thinned) -> npt.NDArray[np.int32]:
    """The thinned mesh's vertex that each of the given mesh's became."""
    if light.cell_mm == 0.0:
        return np.zeros(0, np.int32)
    became = np.full(len(mesh.points), -1, np.int32)
    became[mesh.triangles[light.kept]] = light.mesh.triangles
    # in a triangle that was drawn together all corners became the same
    for _ in range(MOST_ROUNDS):
        known = became[mesh.triangles]
        part = ((known >= 0).any(axis=1)) & ((known < 0).any(axis=1))
        if not part.any():
            break
        most = known[part].max(axis=1)
        became[mesh.triangles[part]] = np.where(known[part] < 0, most[:, None], known[part])
    return np.maximum(became, 0)


def voxels_outside(places, normals, origin_mm, pitch_mm: float, states) -> npt.NDArray[np.int64]:
    """(n,) int64: flat number of the mould voxel just outside of each place of the surface, in the frame; -1 for none."""
    shape = np.array(states.shape)
    found = np.full(len(places), -1, np.int64)
    for pitches in (0.5, 1.0, 1.5):
        left = np.flatnonzero(found < 0)
        at = np.rint((places[left] - origin_mm) / pitch_mm + pitches * normals[left]).astype(np.int64)
        at = np.clip(at, 0, shape - 1)
        flat = (at[:, 0] * shape[1] + at[:, 1]) * shape[2] + at[:, 2]
        found[left] = np.where(states.reshape(-1)[flat] == BODY, -1, flat)
    return found


def evened(fields, mould, rounds: int) -> npt.NDArray[np.float32]:
    """(f, nx, ny, nz) float32 after so many rounds of means over mould voxels and their neighbours."""
    given = np.ascontiguousarray(fields, np.float32)
    other = np.zeros_like(given)
    for _ in range(rounds):
        run_blocks(even_out, mould.shape[0], mould, given, other, block=8)
        given, other = other, given
    return given


def sampled(fields, mould, spots) -> npt.NDArray[np.float32]:
    """(n, f) float32: fields at spots (n, 3) given in voxels, from mould voxels only; NaN where there are none."""
    found = np.empty((len(spots), len(fields)), np.float32)
    run_blocks(sample_near, len(spots), np.ascontiguousarray(spots), mould, fields, found, block=1 << 14)
    return found


def _coarse_pitch(mesh: Mesh, least_mm: float) -> float:
    low, high = mesh.bounds
    return max(least_mm, float(np.cbrt(np.prod(high - low + 2.0) / MOST_VOXELS)))


def _seen(mesh: Mesh, middles, normals, pitch_mm: float):
    seen, straight = np.zeros(len(middles)), np.zeros(len(middles), np.bool_)
    pitch = _coarse_pitch(mesh, pitch_mm)
    for turn in np.radians(LOOKS_DEG):
        towards = np.array([np.sin(turn), -np.cos(turn), 0.0])
        frame = frame_of(towards)
        voxels = mark_voxels(mesh, frame, pitch, pitch, bytes_per_voxel=2)
        at = voxels_outside(middles @ frame.T, normals @ frame.T, voxels.origin_mm, pitch, voxels.states)
        clear = (at >= 0) & ((voxels.states.reshape(-1)[at] & UP) != 0)
        faces = np.maximum(normals @ towards, 0.0)
        seen += np.where(clear, faces, 0.0) / len(LOOKS_DEG)
        if turn == 0.0:
            straight = clear & (faces > FACES_ONE)
    return seen, straight


def _detail(mesh: Mesh, middles, normals, area) -> npt.NDArray[np.float64]:
    """How much of the normals cancels out round each place, on the same side of the body."""
    pitch = _coarse_pitch(mesh, DETAIL_MM)
    voxels = mark_voxels(mesh, np.eye(3), pitch, 2.0 * pitch, bytes_per_voxel=40)
    at = voxels_outside(middles, normals, voxels.origin_mm, pitch, voxels.states)
    there = at >= 0
    size = voxels.states.size
    fields = [
        np.bincount(at[there], weights=weights[there], minlength=size).reshape(voxels.states.shape)
        for weights in (*(normals.T * area), area)
    ]
    mould = (voxels.states != BODY).astype(np.uint8)
    fields = evened(fields, mould, DETAIL_ROUNDS)
    found = sampled(fields, mould, (middles - voxels.origin_mm) / pitch + 0.75 * normals).astype(np.float64)
    even = np.linalg.norm(found[:, :3], axis=1) / np.maximum(found[:, 3], 1e-12)
    return np.clip((1.0 - np.nan_to_num(even, nan=1.0)) / FULL_DETAIL, 0.0, 1.0)
