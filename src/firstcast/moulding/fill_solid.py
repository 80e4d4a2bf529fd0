"""The solid of a fill: from filled voxels to a smooth closed mesh that reaches a little into the body.

What separates filled voxels from the rubber that stays is the only new surface; it lies halfway between them and is smoothed. Inside the
body the solid ends wherever it likes: it is united with the body afterwards.
"""

import numpy as np
import numpy.typing as npt
from scipy.ndimage import distance_transform_edt, gaussian_filter, map_coordinates

from firstcast.fields.contour import Contour, contour_dense
from firstcast.fields.voids import components_of
from firstcast.geometry.mesh import Mesh
from firstcast.kernels.locked import BODY
from firstcast.moulding.fill_window import Mask
from firstcast.moulding.held import Held

MARGIN = 5
"""Voxels round a fill that its solid is drawn in."""

REACH = 1.75
"""How many voxels the solid reaches into the body: past the voxels' own half, and short of the far side of a wall that they see."""

SMOOTH = 0.8
"""Deviation, in voxels, of the smoothing that takes the stairs off the new surface."""

FINER = 2
"""Steps of the solid's lattice per voxel."""

LEAST_VOXELS = 2.0
"""A lump of the solid smaller than so many voxels is chance."""


def solid_of(held: Held, fill: Mask, *, outward: float = 0.0, draft: float = 0.0) -> list[Mesh]:
    """The solids of a fill, each one lump, in figure space.

    Parameters
    ----------
    held : Held
    fill : (nx, ny, nz) bool
        Voxels of `held` that are to be body.
    outward : float
        Voxels by which the new surface is moved into the rubber: for a hard tool, in which nothing may stay locked.
    draft : float
        Tangent of the angle by which the new surface leans from the pull, wider against the pull; negative: along it.

    Returns
    -------
    list of Mesh
        points (n, 3) float32; closed, outward, free of self-crossings.
    """
    spots = np.argwhere(fill)
    if not len(spots):
        return []
    shape = np.array(fill.shape)
    low = np.maximum(spots.min(axis=0) - MARGIN, 0)
    high = np.minimum(spots.max(axis=0) + MARGIN + 1, shape)
    box = tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    filled, states = fill[box], held.states[box]
    front = _front(filled, (states != BODY) & ~filled, outward, draft)
    reach = np.asarray(distance_transform_edt(~filled), np.float32) - np.float32(REACH)
    pitch = held.pitch_mm / FINER
    ends = held.places_mm(
        np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    )
    first = np.floor(ends.min(axis=0) / pitch)
    count = (np.ceil(ends.max(axis=0) / pitch) - first).astype(int) + 1
    values = np.empty(tuple(count), np.float32)
    across = np.stack(np.meshgrid(np.arange(count[1]), np.arange(count[2]), indexing="ij"), axis=-1).reshape(
        -1, 2
    )
    for i in range(count[0]):
        places = (first + np.column_stack([np.full(len(across), i), across])) * pitch
        at = ((places @ held.frame.T - held.origin_mm) / held.pitch_mm - low).T
        parted = map_coordinates(front, at, order=1, mode="constant", cval=1.0)
        ended = map_coordinates(reach, at, order=1, mode="constant", cval=1.0)
        values[i] = np.maximum(parted, ended).reshape(count[1], count[2]) * held.pitch_mm
    return _lumps(contour_dense(values, first * pitch, pitch), held.pitch_mm)


def _front(filled: Mask, stays: Mask, outward: float, draft: float) -> npt.NDArray[np.float32]:
    """Half the way to what is filled less half the way to rubber that stays: below nought nearer to the fill."""
    to_fill, nearest = distance_transform_edt(~filled, return_indices=True)  # type: ignore[misc]
    to_rubber = distance_transform_edt(~stays) if stays.any() else np.full(filled.shape, 1e3)
    value = 0.5 * (np.asarray(to_fill) - np.asarray(to_rubber)) - outward
    if draft:
        i, j, _ = np.asarray(nearest)
        levels = np.arange(filled.shape[2])
        if draft > 0.0:
            end = np.where(filled, levels, -1).max(axis=2)
            behind = end[i, j] - levels
        else:
            end = np.where(filled, levels, 1 << 30).min(axis=2)
            behind = levels - end[i, j]
        value = value - abs(draft) * np.clip(behind, 0, None)
    return np.asarray(gaussian_filter(value.astype(np.float32), SMOOTH), np.float32)


def _lumps(found: Contour, pitch_mm: float) -> list[Mesh]:
    """Each outward lump of a contour with its hollows left out, the largest first."""
    parts = components_of(found)
    lumps = []
    for number in np.argsort(-parts.volume_mm3, kind="stable"):
        if parts.volume_mm3[number] < LEAST_VOXELS * pitch_mm**3:
            continue
        mine = parts.label_of_point[found.triangles[:, 0]] == number
        used = np.unique(found.triangles[mine])
        renamed = np.full(len(found.points), -1, np.int32)
        renamed[used] = np.arange(len(used), dtype=np.int32)
        lumps.append(Mesh(found.points[used], np.ascontiguousarray(renamed[found.triangles[mine]])))
    return lumps
