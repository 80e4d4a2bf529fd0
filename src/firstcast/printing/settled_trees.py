"""All trees of posts where they take least resin: each moved by itself, limbs exchanged between them, and moved again."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numba

from firstcast.printing.exchanging import Exchange
from firstcast.printing.settling import Settling, settled
from firstcast.printing.skeletons import Skeleton
from firstcast.printing.stand_of_posts import Stand

One = TypeVar("One")
Other = TypeVar("Other")


def settled_forest(trees: list[Skeleton], stand: Stand) -> list[Skeleton]:
    """Trees that stand on the platform, with the same tips between them, and less resin."""
    first = _each(lambda tree: Settling.of(stand, settled(tree, stand)), trees)
    taken = Exchange(stand, [*first]).run()
    return _each(lambda tree: settled(tree, stand), taken)


def groups_of(was: dict[int, int], came: dict[int, int]) -> list[tuple[set[int], set[int]]]:
    """New trees and old ones that have the same tips between them, as few together as may be.

    Parameters
    ----------
    was, came : dict
        Which tree each contact's tip went down by, and goes down by now.
    """
    out: list[tuple[set[int], set[int]]] = []
    for row, end in sorted(came.items()):
        mine, apart = ({end}, {was[row]}), []
        for group in out:
            if end in group[0] or was[row] in group[1]:
                mine = (mine[0] | group[0], mine[1] | group[1])
            else:
                apart.append(group)
        out = [*apart, mine]
    return out


def _each(work: Callable[[One], Other], trees: list[One]) -> list[Other]:
    """Trees one beside another, in threads: most of the time is spent in kernels."""
    with ThreadPoolExecutor(max(1, numba.get_num_threads())) as pool:
        return list(pool.map(work, trees))
