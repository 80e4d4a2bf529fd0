"""How much of a place is filled, and from where: the least of several orders that brings it inside its bounds.

Each order gives every voxel of the place a level, in voxels; a fill takes all above one level. So a fill to a lower level holds every
fill to a higher one, and the level is found by bisection.
"""

from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation
from scipy.spatial import KDTree

from firstcast.kernels.locked import BODY, DOWN, LOCKED, UP, deepen
from firstcast.moulding.fill_window import Mask, Window
from firstcast.moulding.hollows import Hollows
from firstcast.moulding.labels import labelled
from firstcast.moulding.locks import IN_HOLLOW

HALF_VOXEL = 0.5
"""How near the level comes to the least."""

ALL_OF_IT = -HALF_VOXEL
"""The level above which all of a place lies."""

Levels = npt.NDArray[np.float32]


def depths_of(states: npt.NDArray[np.uint8], mask: Mask) -> Levels:
    """How deep each voxel of a mask lies behind what is free, through the mask, in voxels; -1 beside the mask."""
    free = (states & (UP | DOWN)) != 0
    depth = np.where(binary_dilation(mask) & free, np.float32(-0.5), np.float32(1e9))
    deepen(np.ascontiguousarray(mask, np.uint8), depth, np.zeros(mask.shape, np.int32))
    return np.where(mask, np.minimum(depth, np.float32(1e5)), np.float32(-1.0))


def orders_of(window: Window, mask: Mask, hollows: Hollows) -> Iterator[Levels]:
    """Orders in which a place may be filled: its deepest first; and if it lies in a hollow, what is widest of its neck first."""
    yield depths_of(window.held.states, mask)
    beside = _beside_neck(window, mask, hollows)
    if beside is not None:
        yield beside


def _beside_neck(window: Window, mask: Mask, hollows: Hollows) -> Levels | None:
    """How far each voxel lies beside the neck of its hollow, seen along the way out: what lies before the neck gets out."""
    room = window.room
    voxels = np.argwhere(mask)
    at = room.voxels_at(window.held.places_mm(voxels))
    numbers = hollows.number_of_voxel[tuple(at.T)]
    counts = np.bincount(numbers, minlength=2)
    number = int(counts[1:].argmax()) + 1
    if counts[number] < IN_HOLLOW * len(voxels):
        return None
    inside = hollows.number_of_voxel == number
    neck, way = _neck_of(inside, room.width_mm > 0.0)
    if way is None:
        return None
    # two directions across the way out
    across = np.linalg.svd(way[None, :])[2][1:]
    gap, _ = KDTree(neck @ across.T).query(at @ across.T)
    levels = np.full(mask.shape, -1.0, np.float32)
    # the nearest voxel of the neck reaches half a voxel beyond its middle
    levels[tuple(voxels.T)] = np.where(numbers == number, gap - HALF_VOXEL, -1.0)
    return levels


def _neck_of(inside: Mask, opened: Mask):
    """Faces between a hollow and the rest of the room, (n, 3) in voxels, and the way out through them."""
    places, normal = [], np.zeros(3)
    for axis in range(3):
        ahead, behind = [slice(None)] * 3, [slice(None)] * 3
        ahead[axis], behind[axis] = slice(1, None), slice(None, -1)
        for one, two, sign in ((ahead, behind, -1.0), (behind, ahead, 1.0)):
            rows = np.argwhere(inside[tuple(one)] & ~inside[tuple(two)] & opened[tuple(two)])
            normal[axis] += sign * len(rows)
            places.append(rows.astype(float))
    length = float(np.linalg.norm(normal))
    return np.concatenate(places), normal / length if length else None


def least_level(levels: Levels, passes: Callable[[float], bool]) -> float | None:
    """The highest level, to half a voxel, to which a fill brings the place inside its bounds; None if no fill does.

    `passes` says it of the fill of all voxels above a level.
    """
    none, all_of_it = float(levels.max()), ALL_OF_IT
    if not passes(all_of_it):
        return None
    while none - all_of_it > HALF_VOXEL:
        middle = 0.5 * (none + all_of_it)
        if passes(middle):
            all_of_it = middle
        else:
            none = middle
    return all_of_it


def without_traps(states: npt.NDArray[np.uint8], mine: Mask, fill: Mask) -> Mask:
    """A fill, and what of `mine` it would shut in: rubber without a way out is no mould material."""
    left = mine & ~fill & (states == LOCKED)
    rows, count = labelled(left)
    if not count:
        return fill
    free = (states & (UP | DOWN)) != 0
    beside = np.zeros(count + 1, np.bool_)
    beside[np.unique(rows[binary_dilation(free) & left])] = True
    return fill | (left & ~beside[rows])


def without_undercuts(states: npt.NDArray[np.uint8], fill: Mask) -> Mask:
    """A fill of free voxels together with all that would lie locked behind it, along the pull and against it.

    What leaves along the pull has nothing over it: below a filled voxel of it everything down to the body is filled. What leaves
    either way is filled between the first and the last filled voxel of its line.
    """
    up_free, down_free = states == UP, states == DOWN
    both = states == (UP | DOWN)
    out = fill & (states != BODY)
    # free along the pull: filled from the body up to the highest filled voxel
    over = np.flip(np.maximum.accumulate(np.flip(out & up_free, 2), axis=2), 2)
    under = np.maximum.accumulate(out & down_free, axis=2)
    first = np.maximum.accumulate(out & both, axis=2)
    last = np.flip(np.maximum.accumulate(np.flip(out & both, 2), axis=2), 2)
    return out | (over & up_free) | (under & down_free) | (first & last & both)
