"""Fills that were found once and are kept while everything they were found from stays equal.

A mould is read and filled round by round, and most fills of a round touch few places. What a place is filled with follows from its window
alone, so it is told by a digest of that: of the bytes of all arrays that go in, the lattice's places among them.
"""

from collections.abc import Callable
from hashlib import blake2b

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh
from firstcast.moulding.fill_tries import Tried
from firstcast.moulding.fill_window import Mask, Window
from firstcast.moulding.hollows import Room
from firstcast.moulding.tongues import Tongue

Key = tuple[str, bytes]


class Kept:
    """What was tried, and the solids of it, of one body and its mould over the rounds in which it is filled.

    Good for one mould material, one set of bounds, one wall and one draft: these are not part of what is compared.
    """

    def __init__(self) -> None:
        self._tries: dict[Key, list[tuple[Mask, Tried]]] = {}
        self._lumps: dict[Key, list[Mesh]] = {}

    def tries(self, key: Key, make: Callable[[], list[tuple[Mask, Tried]]]) -> list[tuple[Mask, Tried]]:
        """What was found under a key, each with the voxels it is for; made if there is nothing."""
        if key not in self._tries:
            self._tries[key] = make()
        return self._tries[key]

    def lumps(self, key: Key, make: Callable[[], list[Mesh]]) -> list[Mesh]:
        """The solids under a key; made if there are none."""
        if key not in self._lumps:
            self._lumps[key] = make()
        return self._lumps[key]


def window_key(way: str, window: Window, closed: Mask) -> Key:
    """Of all that a fill is tried on in a window, and the way it is tried."""
    held, room = window.held, window.room
    return way, _digest(
        held.frame, held.origin_mm, np.float64(held.pitch_mm), held.states, window.mine, closed,
        room.origin_mm, np.float64(room.pitch_mm), room.width_mm,
    )  # fmt: skip


def tongue_key(window: Window, closed: Mask, room: Room, tongue: Tongue) -> Key:
    """Of a window and a tongue of the whole room, with what of the room lies beside the tongue."""
    low = np.maximum(tongue.voxels.min(axis=0) - 1, 0)
    high = np.minimum(tongue.voxels.max(axis=0) + 2, room.width_mm.shape)
    beside = tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    way, whole = window_key("tongue", window, closed)
    return way, whole + _digest(
        room.origin_mm, np.array(room.width_mm.shape), tongue.voxels, np.float64(tongue.ratio), room.width_mm[beside],
    )  # fmt: skip


def solid_key(window: Window, fill: Mask) -> Key:
    """Of all that the solid of a fill is drawn from."""
    held = window.held
    return "solid", _digest(held.frame, held.origin_mm, np.float64(held.pitch_mm), held.states, fill)


def _digest(*arrays: npt.ArrayLike) -> bytes:
    """Of shapes, types and bytes."""
    found = blake2b(digest_size=32)
    for each in arrays:
        array = np.ascontiguousarray(each)
        found.update(f"{array.shape}{array.dtype.str};".encode())
        found.update(array.tobytes())
    return found.digest()
