"""Placing shadows on one platform: in order, and all together. The same places for any number of threads.

How long it looks is counted in tries and sweeps, not in seconds, so that the outcome does not depend on the machine.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.fields.blocks import run_blocks
from firstcast.kernels.nesting import ABSENT, Plate, place_in_order
from firstcast.kernels.settling import settle
from firstcast.printing.nesting_maps import pair_maps
from firstcast.printing.shadows import Shadow


class Spot(NamedTuple):
    """Where a copy of a shadow stands: its number, its turn in the shadow's steps, and the cell that its middle comes to."""

    shadow: int
    turn: int
    column: int
    row: int


class Effort(NamedTuple):
    """How long to look for places.

    Attributes
    ----------
    tries : int
        Orders in which pieces are placed one after the other, and searches that move all together.
    sweeps : int
        How often a search moves all pieces that overlap before it gives up; 0 leaves these searches out.
    seed : int
    """

    tries: int = 4
    sweeps: int = 100
    seed: int = 1


def plate_of(
    shadows: Sequence[Shadow],
    size: tuple[int, int],
    *,
    clearance_mm: float,
    turns: Sequence[int],
    fine: int = 1,
) -> Plate:
    """The platform of so many columns and rows of steps, with the maps of all pairs of shadows (see `pair_maps`)."""
    maps = pair_maps(shadows, clearance_mm, turns, fine=fine)
    return Plate(
        np.array(size, np.int64),
        maps.windows,
        maps.tables,
        maps.depths,
        np.array(turns, np.int64),
        maps.around,
    )


def fits_alone(plate: Plate, shadow: int) -> bool:
    """Whether a shadow has a place on the empty platform in one of its turns."""
    windows = plate.windows[plate.around * shadow + plate.turns]
    return bool((windows[:, 2:] <= plate.size).all(axis=1).any())


def place_in_turn(plate: Plate, items: Sequence[int]) -> list[Spot | None]:
    """Places for items (shadow numbers) one after the other, in the order given: None where there was no room.

    Of both axes the one is kept along which more of the first items found room.
    """
    orders = np.tile(np.arange(len(items)), (2, 1))
    poses, places = _place(plate, items, orders, np.array([0, 1]))
    best = max((0, 1), key=lambda s: ((poses[s] != ABSENT).sum(), tuple(poses[s] != ABSENT)))
    return _spots(plate, items, poses[best], places[best])


def place_all(
    plate: Plate, items: Sequence[int], effort: Effort, *, known: Sequence[Spot | None] = ()
) -> list[Spot] | None:
    """Places for all items (shadow numbers) at once, or None where none were found.

    Parameters
    ----------
    known : sequence of Spot or None
        Places of the first items to search on from.
    """
    spots = _in_some_order(plate, items, effort)
    if spots is None and effort.sweeps:
        spots = _together(plate, items, effort, known)
    return spots


def _in_some_order(plate: Plate, items: Sequence[int], effort: Effort) -> list[Spot] | None:
    """Tries every other order along each axis; the first are the largest first."""
    rng = np.random.default_rng(effort.seed)
    area = plate.windows[plate.around * np.asarray(items, np.int64), 2:].prod(axis=1)
    orders = [np.argsort(-area, kind="stable")] * 2
    while len(orders) < effort.tries:
        # random keys about the area: mostly large before small
        orders.append(np.argsort(-area * rng.uniform(0.5, 1.0, len(items)), kind="stable"))
    poses, places = _place(plate, items, np.array(orders), np.arange(len(orders)) % 2)
    whole = np.flatnonzero((poses != ABSENT).all(axis=1))
    return None if not len(whole) else _whole(_spots(plate, items, poses[whole[0]], places[whole[0]]))


def _together(
    plate: Plate, items: Sequence[int], effort: Effort, known: Sequence[Spot | None]
) -> list[Spot] | None:
    count, tries = len(items), effort.tries
    poses, places = np.full((tries, count), ABSENT, np.int64), np.zeros((tries, count, 2), np.int64)
    for n, spot in enumerate(known):
        if spot is not None:
            poses[:, n] = plate.around * spot.shadow + spot.turn
            places[:, n] = spot.column, spot.row
    # odd and spread over 64 bits: a state of xorshift must not be 0
    seeds = (np.arange(1, tries + 1, dtype=np.uint64) + np.uint64(1000 * effort.seed)) * np.uint64(
        0x9E3779B97F4A7C15
    ) | np.uint64(1)
    took = np.empty(tries, np.int64)
    shadows = np.asarray(items, np.int64)
    run_blocks(settle, tries, plate, shadows, poses, places, seeds, effort.sweeps, took, block=1)
    done = np.flatnonzero(took != ABSENT)
    if not len(done):
        return None
    best = done[took[done].argmin()]
    return _whole(_spots(plate, items, poses[best], places[best]))


def _place(plate: Plate, items: Sequence[int], orders: npt.NDArray[np.int64], alongs: npt.NDArray[np.int64]):
    shape = orders.shape
    poses, places = np.empty(shape, np.int64), np.empty((*shape, 2), np.int64)
    shadows = np.asarray(items, np.int64)
    run_blocks(
        place_in_order, shape[0], plate, shadows, np.ascontiguousarray(orders), alongs, poses, places,
        block=1,
    )  # fmt: skip
    return poses, places


def _spots(plate: Plate, items: Sequence[int], poses: npt.NDArray, places: npt.NDArray) -> list[Spot | None]:
    return [
        None if pose == ABSENT else Spot(int(item), int(pose) % plate.around, int(place[0]), int(place[1]))
        for item, pose, place in zip(items, poses, places, strict=True)
    ]


def _whole(spots: Sequence[Spot | None]) -> list[Spot]:
    return [spot for spot in spots if spot is not None]
