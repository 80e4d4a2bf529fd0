"""A piece of the mould to try fills on: what some more body there would leave locked, told as the whole is.

Filled voxels are taken out of locked rubber, so the outline of a line along the pull stays as it is: a fill never locks anything
that was free. What is read after a fill is read by the same functions as before it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation, distance_transform_edt, find_objects

from firstcast.kernels.locked import BODY, LOCKED
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.held import Held
from firstcast.moulding.hollows import Hollows, Room, find_hollows
from firstcast.moulding.labels import labelled
from firstcast.moulding.locks import Lock, locks_of
from firstcast.moulding.tongues import Tongue, find_tongues
from firstcast.process.materials import Mould

Mask = npt.NDArray[np.bool_]

ROOM_MM = 3.0
"""Room kept round a place, in which widths and tongues are read: as thick as the thickest tongue."""

EDGE = 5
"""Voxels kept round a place in the pull's frame: what the solid of a fill is drawn in."""


class Nowhere:
    """Stands for the parts where nobody asks beside which a place lies."""

    def beside(self, places_mm) -> tuple[str, str]:
        """No part and no words."""
        return "", ""


@dataclass(frozen=True)
class Window:
    """A box of the mould round one place.

    Attributes
    ----------
    held : Held
        What of the whole lies in the box; only `mine` has labels.
    corner : (3,) int64
        Its first voxel in the grid of the whole.
    mine : (a, b, c) bool
        Locked voxels that hang together with the place.
    room : Room
        The same place in the figure's axes, with `ROOM_MM` round it.
    at : (x, y, z) int64
        For each voxel of the room the voxel of the box it lies in, counted through; -1 for none.
    """

    held: Held
    corner: npt.NDArray[np.int64]
    mine: Mask
    room: Room
    at: npt.NDArray[np.int64]

    @property
    def slices(self) -> tuple[slice, slice, slice]:
        """Where the box lies in the grid of the whole."""
        i, j, k = (
            slice(int(c), int(c) + n) for c, n in zip(self.corner, self.held.states.shape, strict=True)
        )
        return i, j, k

    def in_room(self, mask: Mask) -> Mask:
        """A mask of the box as one of the room.

        The two grids round a surface differently: beside the mask, what is body in the box counts as of the mask, so that no
        voxel of the room that lies between the two is missed.
        """
        wide = mask | (binary_dilation(mask) & (self.held.states == BODY))
        return (self.at >= 0) & wide.ravel()[self.at]


def window_round(
    held: Held, room: Room, hollows: Hollows, inside: npt.NDArray[np.integer], *, tall: bool = False
) -> Window:
    """The window round some voxels (n, 3) of the mould's grid, and round all hollows that they lie in.

    A tall one holds the whole of all lines along the pull.
    """
    shape = np.array(held.states.shape)
    low = np.maximum(inside.min(axis=0) - EDGE, 0)
    high = np.minimum(inside.max(axis=0) + EDGE + 1, shape)
    if tall:
        low[2], high[2] = 0, shape[2]
    box = tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    mine = np.zeros(tuple(high - low), np.bool_)
    mine[tuple((inside - low).T)] = True
    states = np.ascontiguousarray(held.states[box])
    cropped = replace(
        held,
        origin_mm=held.origin_mm + low * held.pitch_mm,
        states=states,
        labels=mine.astype(np.int32),
        count=1,
    )
    near = room.voxels_at(held.places_mm(inside))
    first, last = _with_hollows(near, hollows)
    margin = int(np.ceil(ROOM_MM / room.pitch_mm))
    start = np.maximum(first - margin, 0)
    stop = np.minimum(last + margin + 1, room.width_mm.shape)
    part = tuple(slice(int(a), int(b)) for a, b in zip(start, stop, strict=True))
    small = Room(
        room.origin_mm + start * room.pitch_mm, room.pitch_mm, np.ascontiguousarray(room.width_mm[part])
    )
    return Window(cropped, low.astype(np.int64), mine, small, _voxel_of_room(cropped, small))


def _with_hollows(near: npt.NDArray[np.int64], hollows: Hollows):
    """First and last voxel of the room that some voxels and the hollows they lie in reach to."""
    first, last = near.min(axis=0), near.max(axis=0)
    numbers = np.unique(hollows.number_of_voxel[tuple(near.T)])
    boxes = find_objects(hollows.number_of_voxel) if (numbers > 0).any() else []
    for number in numbers[numbers > 0]:
        box = boxes[number - 1]
        first = np.minimum(first, [s.start for s in box])
        last = np.maximum(last, [s.stop - 1 for s in box])
    return first, last


def _voxel_of_room(held: Held, room: Room) -> npt.NDArray[np.int64]:
    shape = room.width_mm.shape
    voxels = np.stack(np.meshgrid(*(np.arange(n) for n in shape), indexing="ij"), axis=-1).reshape(-1, 3)
    places = (room.origin_mm + voxels * room.pitch_mm) @ held.frame.T
    at = np.rint((places - held.origin_mm) / held.pitch_mm).astype(np.int64)
    size = np.array(held.states.shape)
    within = ((at >= 0) & (at < size)).all(axis=1)
    flat = np.ravel_multi_index(tuple(np.clip(at, 0, size - 1).T), held.states.shape)
    return np.where(within, flat, -1).reshape(shape)


def held_with(window: Window, fill: Mask) -> Held:
    """The mould's voxels in a window once some of them are body."""
    states = np.where(fill, np.uint8(BODY), window.held.states)
    labels, count = labelled(window.mine & (states == LOCKED))
    return replace(window.held, states=states, labels=labels, count=count)


def locks_with(
    window: Window, fill: Mask, mould: Mould, bounds: Bounds, *, hollows: bool = True
) -> tuple[tuple[Lock, ...], npt.NDArray[np.int32], Held]:
    """What of a window stays locked once some voxels of it are body; as `locks_of` without `narrowest`, and the mould's voxels then.

    Without `hollows` none is looked for, and no lock is told as a plug.
    """
    held = held_with(window, fill)
    room = room_with(window, fill)
    found = (
        find_hollows(room, bounds.least_mm3)
        if hollows
        else Hollows((), np.zeros(room.width_mm.shape, np.int32))
    )
    locks, numbers = locks_of(
        held, room, found, Nowhere(), mould, least_mm3=bounds.least_mm3, narrowest=False
    )
    return locks, numbers, held


def tongues_with(window: Window, fill: Mask, bounds: Bounds, outside: Sequence[Mask]) -> list[Tongue]:
    """Tongues that are told in a window's room once some voxels of it are body; `outside` is as `find_tongues` takes it."""
    return find_tongues(
        room_with(window, fill), least_ratio=bounds.tongue_ratio, most_base_mm=bounds.tongue_base_mm,
        least_mm3=bounds.least_mm3, outside=outside,
    )  # fmt: skip


def room_with(window: Window, fill: Mask) -> Room:
    """A window's room once some voxels are body: the nearest body is the old or the new."""
    filled, pitch = window.in_room(fill), window.room.pitch_mm
    if not filled.any():
        return window.room
    away = np.asarray(distance_transform_edt(~filled), np.float32)
    width = np.minimum(window.room.width_mm, np.maximum(away - 0.5, 0.0) * pitch).astype(np.float32)
    still = (window.room.width_mm > 0.0) & ~filled
    width[still] = np.maximum(width[still], np.float32(0.25 * pitch))
    return replace(window.room, width_mm=np.ascontiguousarray(width))
