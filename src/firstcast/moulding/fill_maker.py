"""Making the fills of one body: which voxels, what they cost, their solids."""

from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property

import numpy as np

from firstcast.geometry.mesh import measure_solid
from firstcast.kernels.locked import BODY
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.fill import CAPTIVE, TONGUE, Fill
from firstcast.moulding.fill_levels import HALF_VOXEL
from firstcast.moulding.fill_rim import Skin, may_round
from firstcast.moulding.fill_solid import Round, Solid, solid_of
from firstcast.moulding.fill_tries import Tried, fill_captive, fill_lock, fill_rest, fill_tongue
from firstcast.moulding.fill_window import Mask, Window, window_round
from firstcast.moulding.fill_zones import ClosedZones
from firstcast.moulding.locks import Lock
from firstcast.moulding.reading import Read
from firstcast.moulding.splits import split_at
from firstcast.moulding.tongues import Tongue, reached_by

MOST_BODY_RATIO, MOST_RISE_RATIO = 0.03, 0.1
"""A fill that adds more of the body's volume, or rises by more of its longest side, changes the sculpture: a split is proposed
beside it. Chosen, no source."""

OUTWARD_VOXELS = 0.5
"""In a hard tool a fill goes so far beyond what is locked: voxels know the edge of a shadow no better."""

NO_FILL = "no fill brings it inside its bounds"


class FillMaker:
    """Makes the fills of one body."""

    def __init__(
        self, body, read: Read, mould, bounds: Bounds, wall_mm, draft_deg, closed: ClosedZones
    ) -> None:
        self._body, self._read, self._mould, self._bounds = body, read, mould, bounds
        self._wall_mm, self._draft, self._closed = wall_mm, float(np.tan(np.radians(draft_deg))), closed
        low, high = body.mesh.bounds
        self._longest_mm = float((high - low).max())
        self._volume_mm3 = measure_solid(body.mesh).volume
        self._skin = Skin(body.mesh)
        self._before = np.logical_or.accumulate(read.room.width_mm == 0.0, axis=1)

    def of_locks(self):
        """Fills of all locks that are told: those of captive rubber that hangs together in one, each other by itself."""
        read = self._read
        told = [n for n, lock in enumerate(read.locks) if self._bounds.told(lock)]
        shared: dict[int, list[int]] = {}
        for n in told:
            at = np.argwhere(read.numbers == n + 1)[0]
            shared.setdefault(int(read.held.labels[tuple(at)]), []).append(n)
        for label, rows in shared.items():
            window = window_round(read.held, read.room, read.hollows, np.argwhere(read.held.labels == label))
            if self._bounds.stretches and any(read.locks[n].captive for n in rows):
                yield from self._of_captive(window, rows)
                continue
            for n in rows:
                yield self._of_one(n)

    def _of_captive(self, window: Window, rows: list[int]) -> Iterator[Fill]:
        """One fill that shuts all links of what hangs together, then those of what else is told there."""
        read, closed = self._read, self._closed.voxels(window)
        captive = [n for n in rows if read.locks[n].captive]
        shut = fill_captive(window, closed, self._mould, self._bounds, self._wall_mm)
        yield self._fill(window, captive, shut)
        if not shut.passes:
            yield from (self._of_one(n) for n in rows if n not in captive)
            return
        numbers = read.numbers[window.slices]
        for mine, tried in fill_rest(window, closed, self._mould, self._bounds, shut.fill):
            # what it was before the links were shut: the place it shares most with
            counts = np.bincount(numbers[mine & window.mine], minlength=2)
            yield self._fill(window, [int(counts[1:].argmax())], tried)

    def _of_one(self, n: int) -> Fill:
        """The fill of one lock; all of it in a hard tool."""
        read = self._read
        window = window_round(read.held, read.room, read.hollows, np.argwhere(read.numbers == n + 1))
        closed = self._closed.voxels(window)
        if self._bounds.stretches:
            return self._fill(window, [n], fill_lock(window, closed, self._mould, self._bounds))
        return self._fill(window, [n], Tried(window.mine & ~closed, 0.0, not (window.mine & closed).any()))

    def of_tongue(self, row: int, tongue: Tongue) -> Fill:
        """The fill of a tongue, with whatever would lie locked behind it."""
        read = self._read
        places = read.room.origin_mm + tongue.voxels * read.room.pitch_mm
        inside = np.unique(read.held.voxels_at(places), axis=0)
        window = window_round(read.held, read.room, read.hollows, inside, tall=True)
        closed = self._closed.voxels(window)
        tried = fill_tongue(window, read.room, self._reached, tongue, closed, self._bounds)
        if not tried.passes and closed.any():
            freely = fill_tongue(
                window, read.room, self._reached, tongue, np.zeros_like(closed), self._bounds
            )
            tried = tried if freely.passes else replace(freely, why=freely.why or NO_FILL)
        part, words = read.parts.beside(places)
        return self._made(
            window, (TONGUE,), (row,), part, words, tongue.place_mm, tongue.ratio, tried,
        )  # fmt: skip

    def _fill(self, window: Window, rows: list[int], tried: Tried) -> Fill:
        locks = [self._read.locks[n] for n in rows]
        first = max(locks, key=lambda lock: lock.volume_mm3)
        captive = [lock for lock in locks if lock.captive]
        if captive or not self._bounds.stretches:
            before = sum(lock.volume_mm3 for lock in captive or locks)
        else:
            before = max(_high(lock) for lock in locks)
        kinds = tuple(CAPTIVE if lock.captive else lock.kind for lock in locks)
        return self._made(window, kinds, tuple(rows), first.part, first.words, first.place_mm, before, tried)

    def _made(self, window: Window, kinds, rows, part, words, place_mm, before, tried: Tried) -> Fill:
        solid = self._solid(window, tried.fill) if tried.passes else Solid([], 0.0, 0.0, 0.0)
        volume = solid.added_mm3
        rise, seen = self._rise_and_sight(window, tried.fill)
        rise = max(rise, solid.fillet_rise_mm)
        why, split = "", None
        if not tried.passes:
            why = tried.why or self._closed.why(window) or NO_FILL
        much = volume > MOST_BODY_RATIO * self._volume_mm3 or rise > MOST_RISE_RATIO * self._longest_mm
        if why or much:
            split = split_at(self._body, part, place_mm, window.held.frame[2])
        return Fill(
            kinds, rows, part, words, f"fill {words.replace(chr(39), '')}", place_mm, tuple(solid.lumps), volume, rise, seen,
            before, tried.after, why, much, split,
        )  # fmt: skip

    def _solid(self, window: Window, fill: Mask) -> Solid:
        held = window.held
        rim = Round(self._skin, may_round(held.states, fill, self._closed.voxels(window)))
        if self._bounds.stretches:
            return solid_of(held, fill, rim)
        both = [
            solid_of(held, fill, rim, outward=OUTWARD_VOXELS, draft=sign * self._draft)
            for sign in ((1.0, -1.0) if self._draft else (1.0,))
        ]
        return min(both, key=lambda solid: sum(measure_solid(lump).volume for lump in solid.lumps))

    @cached_property
    def _reached(self) -> list[Mask]:
        """What balls of the sizes that tell tongues reach from outside."""
        return reached_by(self._read.room, self._bounds.tongue_base_mm)

    def _rise_and_sight(self, window: Window, fill: Mask) -> tuple[float, float]:
        """The largest distance of the new surface from the old, and the share of it in sight from the front."""
        stays = (window.held.states != BODY) & ~fill
        beside = np.zeros(fill.shape, np.bool_)
        for axis in range(3):
            for step in (-1, 1):
                beside |= np.roll(stays, step, axis=axis)
        front = np.argwhere(fill & beside)
        if not len(front):
            return 0.0, 0.0
        at = self._read.room.voxels_at(window.held.places_mm(front))
        rise = float(self._read.room.width_mm[tuple(at.T)].max()) + HALF_VOXEL * window.held.pitch_mm
        ahead = at.copy()
        ahead[:, 1] = np.maximum(ahead[:, 1] - 1, 0)
        return rise, float((~self._before[tuple(ahead.T)]).mean())


def _high(lock: Lock) -> float:
    asks = lock.asks
    return 0.0 if asks is None else max(asks.of_break.high, asks.of_tear.high)
