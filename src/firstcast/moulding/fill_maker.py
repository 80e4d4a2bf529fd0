"""Making the fills of one body: which voxels, what they cost, their solids."""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.kernels.locked import BODY
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.fill import CAPTIVE, LOCK, TONGUE, Fill, Place
from firstcast.moulding.fill_check import FillCheck, Left, high_end
from firstcast.moulding.fill_levels import HALF_VOXEL
from firstcast.moulding.fill_made import locks_made, place_it_was, window_made
from firstcast.moulding.fill_rim import Skin, may_round
from firstcast.moulding.fill_solid import Round, Solid, solid_of
from firstcast.moulding.fill_tries import Tried, captive_fills, lock_fills, tongue_fills, whole_fills
from firstcast.moulding.fill_window import Mask, Window, window_round
from firstcast.moulding.fill_zones import ClosedZones
from firstcast.moulding.hollows import find_hollows
from firstcast.moulding.reading import Read
from firstcast.moulding.splits import split_at
from firstcast.moulding.tongues import Tongue

MOST_BODY_RATIO, MOST_RISE_RATIO = 0.03, 0.1
"""A fill that adds more of the body's volume, or rises by more of its longest side, changes the sculpture: a split is proposed
beside it. Chosen, no source."""

NO_FILL = "no fill brings it inside its bounds"


NOTHING = Solid([], 0.0, 0.0, 0.0)


class Freed(NamedTuple):
    """A fill that was found, or the last that was tried in vain, its solid, and what is asked for after it (`Fill.after`)."""

    tried: Tried
    solid: Solid
    after: float


class FillMaker:
    """Makes the fills of one body, each checked to free its place as a solid."""

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
        self._check = FillCheck(read, mould, bounds)

    def of_locks(self, only: Collection[Place] | None = None) -> Iterator[Fill]:
        """Fills of all locks that are told: those of captive rubber that hangs together in one, each other by itself.

        With `only`, of those places: and of all captive rubber that hangs together with one that is.
        """
        read = self._read
        told = [n for n, lock in enumerate(read.locks) if self._bounds.told(lock)]
        shared: dict[int, list[int]] = {}
        for n in told:
            at = np.argwhere(read.numbers == n + 1)[0]
            shared.setdefault(int(read.held.labels[tuple(at)]), []).append(n)
        for label, rows in shared.items():
            captive = [n for n in rows if self._bounds.stretches and read.locks[n].captive]
            one_by_one = [n for n in rows if n not in captive]
            if only is not None:
                captive = captive if any((LOCK, n) in only for n in captive) else []
                one_by_one = [n for n in one_by_one if (LOCK, n) in only]
            if captive or one_by_one:
                inside = np.argwhere(read.held.labels == label)
                whole = window_round(read.held, read.room, read.hollows, inside)
                if captive:
                    yield from self._of_captive(whole, captive)
                yield from (self._of_one(whole, n) for n in one_by_one)

    def _of_captive(self, whole: Window, captive: list[int]) -> Iterator[Fill]:
        """One fill that shuts all links of what hangs together, then what is still told of it."""
        closed = self._closed.voxels(whole)
        shut = self._first_that_frees(
            whole,
            captive_fills(whole, closed, self._mould, self._bounds, self._wall_mm),
            lambda lumps: self._check.of_locks(whole, captive, lumps, links=True),
        )
        yield self._fill(whole, captive, shut)
        if shut.tried.passes:
            yield from self._of_rest(whole, captive, shut.solid)

    def _of_rest(self, whole: Window, captive: list[int], shut: Solid) -> Iterator[Fill]:
        """What is still told of captive rubber once its links are shut by a solid."""
        before = self._read.numbers[whole.slices]
        made = window_made(whole, shut.lumps)
        locks, numbers = locks_made(made, self._mould, self._bounds)
        hollows = find_hollows(made.room, self._bounds.least_mm3)
        for number, lock in enumerate(locks, start=1):
            mine = numbers == number
            row = place_it_was(before, mine) - 1
            if row in captive and self._bounds.told(lock):
                part = window_round(made.held, made.room, hollows, np.argwhere(mine))
                part = replace(part, corner=part.corner + whole.corner)
                freed = self._first_that_frees(
                    part,
                    lock_fills(part, self._closed.voxels(part), self._mould, self._bounds),
                    lambda lumps, row=row: self._check.of_locks(
                        whole, [row], [*shut.lumps, *lumps], links=False
                    ),
                )
                yield self._fill(part, [row], freed)

    def _of_one(self, whole: Window, n: int) -> Fill:
        """The fill of one lock; all of it in a hard tool."""
        read = self._read
        window = window_round(read.held, read.room, read.hollows, np.argwhere(read.numbers == n + 1))
        closed = self._closed.voxels(window)
        tries = (
            lock_fills(window, closed, self._mould, self._bounds)
            if self._bounds.stretches
            else whole_fills(window, closed)
        )
        freed = self._first_that_frees(
            window, tries, lambda lumps: self._check.of_locks(whole, [n], lumps, links=False)
        )
        return self._fill(window, [n], freed)

    def of_tongue(self, row: int, tongue: Tongue) -> Fill:
        """The fill of a tongue, with whatever would lie locked behind it."""
        read = self._read
        places = read.room.origin_mm + tongue.voxels * read.room.pitch_mm
        inside = np.unique(read.held.voxels_at(places), axis=0)
        window = window_round(read.held, read.room, read.hollows, inside, tall=True)
        closed = self._closed.voxels(window)

        def freed(closed: Mask) -> Freed:
            tries = tongue_fills(window, read.room, self._check.reached, tongue, closed, self._bounds)
            return self._first_that_frees(
                window, tries, lambda lumps: self._check.of_tongue(window, tongue, lumps)
            )

        found = freed(closed)
        if not found.tried.passes and closed.any():
            freely = freed(np.zeros_like(closed))
            # what no fill would mend is told as that, and not as kept by the zone
            if not freely.tried.passes:
                found = freely._replace(tried=replace(freely.tried, why=freely.tried.why or NO_FILL))
        part, words = read.parts.beside(places)
        return self._made(window, (TONGUE,), (row,), part, words, tongue.place_mm, tongue.ratio, found)

    def _first_that_frees(
        self, window: Window, tries: Iterator[Tried], check: Callable[[Sequence[Mesh]], Left]
    ) -> Freed:
        """The first of some fills, each farther than the one before, whose solid is read to free its place."""
        left = Left("", 0.0)
        tried = Tried(np.zeros(window.mine.shape, np.bool_), False)
        for tried in tries:
            if not tried.passes:
                return Freed(tried, NOTHING, left.after)
            solid = self._solid(window, tried)
            left = check(solid.lumps)
            if not left.words:
                return Freed(tried, solid, left.after)
        why = self._closed.why(window) or f"{NO_FILL}: the most that was tried leaves {left.words}"
        return Freed(replace(tried, passes=False, why=why), NOTHING, left.after)

    def _fill(self, window: Window, rows: list[int], freed: Freed) -> Fill:
        locks = [self._read.locks[n] for n in rows]
        first = max(locks, key=lambda lock: lock.volume_mm3)
        captive = [lock for lock in locks if lock.captive]
        if captive or not self._bounds.stretches:
            before = sum(lock.volume_mm3 for lock in captive or locks)
        else:
            before = max(high_end(lock) for lock in locks)
        kinds = tuple(CAPTIVE if lock.captive else lock.kind for lock in locks)
        return self._made(window, kinds, tuple(rows), first.part, first.words, first.place_mm, before, freed)

    def _made(self, window: Window, kinds, rows, part, words, place_mm, before, freed: Freed) -> Fill:
        tried, solid = freed.tried, freed.solid
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
            before, freed.after, why, much, split,
        )  # fmt: skip

    def _solid(self, window: Window, tried: Tried) -> Solid:
        held, fill = window.held, tried.fill
        rim = Round(self._skin, may_round(held.states, fill, self._closed.voxels(window)))
        if self._bounds.stretches:
            return solid_of(held, fill, rim)
        both = [
            solid_of(held, fill, rim, outward=tried.outward, draft=sign * self._draft)
            for sign in ((1.0, -1.0) if self._draft else (1.0,))
        ]
        return min(both, key=lambda solid: sum(measure_solid(lump).volume for lump in solid.lumps))

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
