"""A fill as it will be read once it is made: the voxels whose middle its solid takes, and what is told of the mould then.

Both grids of the mould lie on multiples of their pitch, so the voxels of a solid that is drawn alone are those that the body has with it; the
union moves the surface by hundredths of a voxel at most.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import distance_transform_edt

from firstcast.geometry.mesh import Mesh
from firstcast.kernels.locked import BODY, DOWN, LOCKED, UP
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.fill_window import Mask, Window, locks_with
from firstcast.moulding.hollows import Room
from firstcast.moulding.locks import Lock
from firstcast.moulding.tongues import Tongue, find_tongues
from firstcast.moulding.voxels import mark_voxels
from firstcast.process.materials import Mould

BYTES_PER_VOXEL = 2
"""Of a lump's own grid: its state, and its mask."""


def voxels_within(
    lumps: Iterable[Mesh], frame: npt.NDArray[np.float64], origin_mm, pitch_mm: float, shape: Sequence[int]
) -> Mask:
    """Voxels of a grid whose middle lies in some closed outward meshes, (nx, ny, nz) bool, read as the mould reads a body.

    Parameters
    ----------
    lumps : iterable of Mesh
        Millimetres in figure space.
    frame : (3, 3) float64
        From figure space to the grid's axes.
    origin_mm : (3,) float64
        Of the grid's first voxel, in its axes: a multiple of the pitch.
    """
    within = np.zeros(tuple(shape), np.bool_)
    for lump in lumps:
        voxels = mark_voxels(lump, frame, pitch_mm, 0.0, bytes_per_voxel=BYTES_PER_VOXEL)
        start = np.rint((voxels.origin_mm - origin_mm) / pitch_mm).astype(np.int64)
        stop = start + voxels.states.shape
        low, high = np.maximum(start, 0), np.minimum(stop, within.shape)
        if (low < high).all():
            there = tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
            mine = tuple(slice(int(a), int(b)) for a, b in zip(low - start, high - start, strict=True))
            within[there] |= voxels.states[mine] == BODY
    return within


def states_with(states: npt.NDArray[np.uint8], more: Mask) -> npt.NDArray[np.uint8]:
    """States of voxels (nx, ny, nz) once some more are body: what has it before its way out has that way no more."""
    new = more & (states != BODY)
    after = np.flip(np.logical_or.accumulate(np.flip(new, 2), axis=2), 2)
    before = np.logical_or.accumulate(new, axis=2)
    up = ((states & UP) != 0) & ~after
    down = ((states & DOWN) != 0) & ~before
    out = np.full(states.shape, LOCKED, np.uint8)
    out[up], out[down], out[up & down] = UP, DOWN, UP | DOWN
    out[new | (states == BODY)] = BODY
    return out


def window_made(window: Window, lumps: Sequence[Mesh]) -> Window:
    """A window as it is once some solids are united with the body; `mine` is what of it is locked then."""
    held, room = window.held, window.room
    inside = voxels_within(lumps, held.frame, held.origin_mm, held.pitch_mm, held.states.shape)
    states = states_with(held.states, inside)
    locked = states == LOCKED
    # what was free and is locked now belongs to it too
    mine = locked & (window.mine | (held.states != LOCKED))
    for axis in range(3):
        # what reaches the window's end is looked at with a voxel round it
        np.moveaxis(mine, axis, 0)[[0, -1]] = False
    return replace(
        window, held=replace(held, states=states, labels=mine.astype(np.int32)), mine=mine,
        room=_room_made(room, lumps),
    )  # fmt: skip


def _room_made(room: Room, lumps: Sequence[Mesh]) -> Room:
    inside = voxels_within(lumps, np.eye(3), room.origin_mm, room.pitch_mm, room.width_mm.shape)
    if not inside.any():
        return room
    pitch = room.pitch_mm
    away = np.asarray(distance_transform_edt(~inside), np.float32)
    width = np.minimum(room.width_mm, np.maximum(away - np.float32(0.5), np.float32(0.0)) * np.float32(pitch))
    still = (room.width_mm > 0.0) & ~inside
    width[still] = np.maximum(width[still], np.float32(0.25 * pitch))
    return replace(room, width_mm=np.ascontiguousarray(width, np.float32))


def locks_made(
    window: Window, mould: Mould, bounds: Bounds
) -> tuple[tuple[Lock, ...], npt.NDArray[np.int32]]:
    """What of a window is locked, place by place, and the number of each voxel's place; the window is as `window_made` gives it."""
    locks, numbers, _ = locks_with(window, np.zeros(window.mine.shape, np.bool_), mould, bounds)
    return locks, numbers


def tongues_made(window: Window, bounds: Bounds, outside: Sequence[Mask]) -> list[Tongue]:
    """Tongues that are told in a window's room; `outside` is as `find_tongues` takes it."""
    return find_tongues(
        window.room, least_ratio=bounds.tongue_ratio, most_base_mm=bounds.tongue_base_mm, least_mm3=bounds.least_mm3,
        outside=outside,
    )  # fmt: skip


def place_it_was(numbers_before: npt.NDArray[np.int32], mine: Mask) -> int:
    """The number of the place with which some voxels share most of theirs; 0 for none."""
    counts = np.bincount(numbers_before[mine], minlength=2)
    return int(counts[1:].argmax()) + 1 if counts[1:].any() else 0
