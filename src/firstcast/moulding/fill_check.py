"""Whether the solids of a fill free their place: the mould round it is read as it will be with them."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from firstcast.geometry.mesh import Mesh
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.fill_made import locks_made, place_it_was, tongues_made, window_made
from firstcast.moulding.fill_window import Mask, Window
from firstcast.moulding.locks import Lock
from firstcast.moulding.reading import Read
from firstcast.moulding.tongues import Tongue, reached_by
from firstcast.process.materials import Mould

SURE = 0.95
"""A place has to stay under so much of its bounds: the union moves some voxels in a hundred, and with them a way through the place by half
a voxel."""

LOOSE_RATIO = 0.5
"""What is left of a tongue is told from so slender on."""


class Left(NamedTuple):
    """What is left of a place.

    Attributes
    ----------
    words : str
        What is still told there; "" if nothing is, and the place is free.
    after : float
        What is asked for then, as `Fill.after` says it.
    """

    words: str
    after: float


class FillCheck:
    """Reads the mould round a place as it will be with some solids."""

    def __init__(self, read: Read, mould: Mould, bounds: Bounds) -> None:
        self._read, self._mould, self._bounds = read, mould, bounds
        self._surely = replace(bounds, share=SURE * bounds.share, tongue_ratio=SURE * bounds.tongue_ratio)

    def of_locks(self, whole: Window, rows: Sequence[int], lumps: Sequence[Mesh], *, links: bool) -> Left:
        """What is left of some locks.

        Parameters
        ----------
        whole : Window
            Round all that hangs together with them.
        rows : sequence of int
            Which of the read's locks.
        links : bool
            Whether only captive rubber counts: then a ledge may be left of it.

        Notes
        -----
        What is told then is left of the place with which it shares most of its voxels. What wasn't told before and borders on a fill
        is held against the fill too.
        """
        bounds = self._bounds
        made = window_made(whole, lumps)
        locks, numbers = locks_made(made, self._mould, bounds)
        before = self._read.numbers[whole.slices]
        asked = 0.0
        for n, lock in enumerate(locks, start=1):
            row = place_it_was(before, numbers == n) - 1
            if row not in rows and row >= 0 and bounds.told(self._read.locks[row]):
                continue
            if lock.captive if links else self._surely.told(lock):
                return Left(_words(lock), high_end(lock))
            if row in rows:
                asked = max(asked, high_end(lock))
        return Left("", 0.0 if links else asked)

    def of_tongue(self, window: Window, tongue: Tongue, lumps: Sequence[Mesh]) -> Left:
        """What is left of a tongue; the window is one round it."""
        made = window_made(window, lumps)
        start = np.rint(
            (window.room.origin_mm - self._read.room.origin_mm) / self._read.room.pitch_mm
        ).astype(np.int64)
        shape = window.room.width_mm.shape
        i, j, k = (slice(int(a), int(a) + n) for a, n in zip(start, shape, strict=True))
        inside = np.zeros(shape, np.bool_)
        spots = tongue.voxels - start
        inside[tuple(spots[((spots >= 0) & (spots < shape)).all(axis=1)].T)] = True
        loose = replace(self._bounds, tongue_ratio=min(LOOSE_RATIO, self._surely.tongue_ratio))
        found = tongues_made(made, loose, [mask[i, j, k] for mask in self.reached])
        ratio = max((each.ratio for each in found if inside[tuple(each.voxels.T)].any()), default=0.0)
        return Left(f"a tongue of {ratio:.1f} to 1" if ratio >= self._surely.tongue_ratio else "", ratio)

    @cached_property
    def reached(self) -> list[Mask]:
        """What balls of the sizes that tell tongues reach from outside."""
        return reached_by(self._read.room, self._bounds.tongue_base_mm)


def _words(lock: Lock) -> str:
    what = "captive rubber" if lock.captive else f"a {lock.kind}"
    return f"{what} of {lock.volume_mm3:.1f} mm³, {lock.depth_mm:.1f} mm deep"


def high_end(lock: Lock) -> float:
    """The share of what the rubber bears that a lock asks for, at the high end."""
    asks = lock.asks
    return 0.0 if asks is None else max(asks.of_break.high, asks.of_tear.high)
