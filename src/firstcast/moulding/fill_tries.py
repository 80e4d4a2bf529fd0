"""Finding the least fill of one place by trying: captive rubber, a lock, a tongue.

Fills are tried as voxels; the solid that is made of one takes a little more or less. So each search gives its least fill first and then, a
step further each time, what is to be made where the solid of the one before didn't free the place.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import binary_dilation, find_objects, maximum_filter

from firstcast.kernels.locked import BODY, DOWN, UP, deepen
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.fill_levels import (
    ALL_OF_IT,
    least_level,
    orders_of,
    without_traps,
    without_undercuts,
)
from firstcast.moulding.fill_window import Mask, Window, held_with, locks_with, tongues_with
from firstcast.moulding.held import Held, Region, regions_of
from firstcast.moulding.hollows import Room, find_hollows
from firstcast.moulding.tongues import Tongue
from firstcast.moulding.webs import narrowest_web, thickened
from firstcast.process.materials import Mould

MOST_STEPS = 24
"""Links of one region that are shut at most."""

FURTHER = 0.5
"""A step further fills so many voxels more."""

OUTWARD_VOXELS = (0.5, 0.25, 0.0, 1.0)
"""In a hard tool a fill goes so far beyond what is locked; less far where it would hang over what is free and lock that, farther where that leaves
some of the place."""

MOST_FURTHER = 8
"""So many steps further are given before all that may be filled is. Chosen."""


@dataclass(frozen=True)
class Tried:
    """A fill (a, b, c) bool of a window, whether it is inside the bounds as far as voxels tell, and if not, why.

    `outward`: by how many voxels its solid's surface is moved into the rubber.
    """

    fill: Mask
    passes: bool
    why: str = ""
    outward: float = 0.0


def lock_fills(window: Window, closed: Mask, mould: Mould, bounds: Bounds) -> Iterator[Tried]:
    """The least fill of one lock: of each order the highest level that passes, then the order that takes fewest voxels; and steps further.

    Parameters
    ----------
    window : Window
        Round the lock; `window.mine` are its voxels.
    closed : (a, b, c) bool
        Voxels that may not be filled.
    """
    mask, states = window.mine, window.held.states
    hollows = find_hollows(window.room, bounds.least_mm3)
    # where it lies in no hollow a fill seldom makes one, and to look for hollows takes most of the time; the solid is read with them
    deep = bool(hollows.number_of_voxel[window.in_room(mask)].any())
    found: list[tuple[int, float, Callable[[float], Mask]]] = []
    for levels in orders_of(window, mask, hollows):

        def at(level: float, levels=levels) -> Mask:
            return without_traps(states, mask, mask & (levels > level) & ~closed)

        def passes(level: float, at=at) -> bool:
            fill = at(level)
            # what a fill leaves may link up round it: such links are shut when the mould is read again
            return not (fill & closed).any() and not any(
                bounds.overstretched(lock)
                for lock in locks_with(window, fill, mould, bounds, hollows=deep)[0]
            )

        level = least_level(levels, passes)
        if level is not None:
            found.append((int(at(level).sum()), level, at))
    if not found:
        yield Tried(np.zeros(mask.shape, np.bool_), False)
        return
    _, level, chosen = min(found, key=lambda each: each[0])
    for fill in _further(level, chosen, closed):
        yield Tried(fill, True)


def _further(level: float, at: Callable[[float], Mask], closed: Mask) -> Iterator[Mask]:
    """The fill to a level, then to lower ones, and last to the lowest, as long as nothing closed is filled and each takes more."""
    levels = [level - FURTHER * n for n in range(MOST_FURTHER + 1)]
    last = -1
    for each in [each for each in levels if each > ALL_OF_IT] + [ALL_OF_IT]:
        fill = at(each)
        if last >= 0 and (fill & closed).any():
            return
        count = int(fill.sum())
        if count > last:
            yield fill
        last = count


def whole_fills(window: Window, closed: Mask) -> Iterator[Tried]:
    """All of a place, for a hard tool, moved out by so many voxels: they know the edge of a shadow no better than by half of one."""
    for outward in OUTWARD_VOXELS:
        yield Tried(window.mine & ~closed, not (window.mine & closed).any(), outward=outward)


def captive_fills(
    window: Window, closed: Mask, mould: Mould, bounds: Bounds, wall_mm: float
) -> Iterator[Tried]:
    """What shuts the links of what hangs together by walls as thick as they must be; then by walls thicker by a step each time."""
    for n in range(MOST_FURTHER + 1):
        tried = _shut_links(window, closed, mould, bounds, wall_mm + n * FURTHER * window.held.pitch_mm)
        if n == 0 or tried.passes:
            yield tried
        if not tried.passes:
            return


def _shut_links(window: Window, closed: Mask, mould: Mould, bounds: Bounds, wall_mm: float) -> Tried:
    """Shut the links of what hangs together, the smallest place first, until none is captive.

    A link is shut by a wall at the narrowest place between one way out and the others of its half, or by filling all that is
    nearest to that way out, whichever takes less.
    """
    fill = np.zeros(window.mine.shape, np.bool_)
    for _ in range(MOST_STEPS):
        held = held_with(window, fill)
        regions = regions_of(held, bounds.least_mm3, narrowest=False)
        links = [each for each in regions if each.captive and each.volume_mm3 >= bounds.least_mm3]
        if not links:
            return Tried(fill, True)
        masks = [_mask_of(each, fill.shape) for each in links]
        captive = np.logical_or.reduce(masks)
        for _, mine in sorted(zip(links, masks, strict=True), key=lambda each: each[0].volume_mm3):
            steps = [
                without_traps(window.held.states, window.mine, fill | each)
                for each in _shut(window, held, mine, captive, wall_mm)
            ]
            steps = [step for step in steps if not (step & closed).any()]
            if steps:
                fill = min(steps, key=lambda step: int(step.sum()))
                break
        else:
            return Tried(fill, False)
    return Tried(fill, False, "it links up in too many places")


def _mask_of(region: Region, shape: tuple[int, ...]) -> Mask:
    mask = np.zeros(shape, np.bool_)
    mask[tuple(region.voxels.T)] = True
    return mask


def _shut(window: Window, held: Held, mine: Mask, captive: Mask, wall_mm: float) -> Iterator[Mask]:
    """Ways to part one captive place from others: all of it, or a wall at its narrowest web, from what is captive or from all."""
    mask = held.labels == held.labels[mine][0]
    yield mine & mask
    free = (held.states & (UP | DOWN)) != 0
    # a way out is where locked rubber borders on free rubber
    beside = binary_dilation(free) & mask
    for others in (captive & ~mine, ~mine):
        between = mask & (mine | others)
        box = find_objects(between.astype(np.int8))[0]
        web = narrowest_web(between[box], (beside & mine)[box], (beside & others)[box])
        if web is not None:
            wall = np.zeros(mask.shape, np.bool_)
            wall[box] = thickened(web, between[box], wall_mm / window.held.pitch_mm)
            yield wall
            return


def tongue_fills(
    window: Window, room: Room, outside: Sequence[Mask], tongue: Tongue, closed: Mask, bounds: Bounds
) -> Iterator[Tried]:
    """Fill a tongue from its tip, and what would lie locked behind it, until no tongue is told there; and steps further.

    Parameters
    ----------
    window : Window
        A tall one.
    room : Room
        The whole one, in which the tongue was found.
    outside : sequence of (nx, ny, nz) bool
        What balls reach of it (`tongues.reached_by`).
    """
    states = window.held.states
    levels = _tongue_levels(room, tongue)
    opened = np.argwhere(states != BODY)
    at = room.voxels_at(window.held.places_mm(opened))
    here = np.full(states.shape, -1.0, np.float32)
    here[tuple(opened.T)] = levels[tuple(at.T)]
    mine = here > -1.0
    if not mine.any():
        yield Tried(mine, False, "it is thinner than the mould's voxels")
        return
    in_room = np.zeros(window.room.width_mm.shape, np.bool_)
    start = np.rint((window.room.origin_mm - room.origin_mm) / room.pitch_mm).astype(np.int64)
    i, j, k = (slice(int(a), int(a) + n) for a, n in zip(start, in_room.shape, strict=True))
    reached = [mask[i, j, k] for mask in outside]
    spots = tongue.voxels - start
    in_room[tuple(spots[((spots >= 0) & (spots < in_room.shape)).all(axis=1)].T)] = True

    def at_level(level: float) -> Mask:
        return without_undercuts(states, (here > level) & ~closed)

    def left(fill: Mask) -> list[Tongue]:
        return [t for t in tongues_with(window, fill, bounds, reached) if in_room[tuple(t.voxels.T)].any()]

    def passes(level: float) -> bool:
        fill = at_level(level)
        return not (fill & closed).any() and not left(fill)

    level = least_level(here, passes)
    if level is None:
        yield Tried(np.zeros(states.shape, np.bool_), False)
        return
    for fill in _further(level, at_level, closed):
        yield Tried(fill, True)


def _tongue_levels(room: Room, tongue: Tongue):
    """For each voxel of the room how deep it lies in the tongue; -1 beside it."""
    corner = np.maximum(tongue.voxels.min(axis=0) - 1, 0)
    stop = np.minimum(tongue.voxels.max(axis=0) + 2, room.width_mm.shape)
    box = tuple(slice(int(a), int(b)) for a, b in zip(corner, stop, strict=True))
    mask = np.zeros(tuple(stop - corner), np.bool_)
    mask[tuple((tongue.voxels - corner).T)] = True
    begins = (room.width_mm[box] > 0.0) & ~mask
    depth = np.where(begins, np.float32(-0.5), np.float32(1e9))
    deepen(np.ascontiguousarray(mask, np.uint8), depth, np.zeros(mask.shape, np.int32))
    depth = np.where(mask, np.minimum(depth, np.float32(1e5)), np.float32(-1.0))
    levels = np.full(room.width_mm.shape, -1.0, np.float32)
    # what is body here may be open on the mould's other grid: there it is as deep as what lies beside it
    levels[box] = np.where(room.width_mm[box] > 0.0, depth, maximum_filter(depth, 3))
    return levels
