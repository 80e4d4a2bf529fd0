"""All trees of posts where they take least resin: each moved by itself, limbs exchanged between them, and moved again.

What comes of it is sized anew by the rules that all posts are held to, and stays only where it is cheaper and bears as well.
"""

import numpy as np
import numpy.typing as npt

from firstcast.geometry.threads import each_beside
from firstcast.printing.exchanging import Exchange
from firstcast.printing.posts import Strong
from firstcast.printing.settling import Settling, settled
from firstcast.printing.sized_trees import (
    KEPT_TO,
    LAST_ROUNDS,
    Ground,
    Sized,
    joined,
    price_of_all,
    prices_of,
    size_posts,
    steadied,
    take_trees,
)
from firstcast.printing.skeletons import Skeleton, loaded, skeleton_of, together_with_radii
from firstcast.printing.stand_of_posts import Stand
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import FOOT, Ways, picked, roots_of, together

Floats = npt.NDArray[np.float64]


def settled_forest(trees: list[Skeleton], stand: Stand) -> list[Skeleton]:
    """Trees that stand on the platform, with the same tips between them, and less resin."""
    first = each_beside(lambda tree: Settling.of(stand, settled(tree, stand)), trees)
    taken = Exchange(stand, [*first]).run()
    settled_before = {id(tree) for tree in first}
    return each_beside(
        lambda tree: tree.skeleton() if id(tree) in settled_before else settled(tree.skeleton(), stand), taken
    )


def settle(
    ways: Ways, strong: Strong, contacts: Contacts, loads_n: Floats, cases: Floats, ground: Ground
) -> tuple[Ways, Strong]:
    """Each tree that stands on the platform moved to where it takes least resin, if it does so by the same rules as before.

    Parameters
    ----------
    ways, strong : Ways, Strong
        As `forest.lead_down` gives them.
    contacts : Contacts
    loads_n : (n,) float64
        What each bears at most.
    cases : (n, 3, cases) float64
        What all bear at once: `holding.load_cases`.
    """
    tree = roots_of(ways)
    standing = [
        int(root) for root in np.unique(tree) if ways.kinds[root] == FOOT and (tree == root).sum() > 1
    ]
    if ground.far is None or not standing or not cases.shape[2]:
        return ways, strong
    stand = Stand(contacts, cases, ground.far, ground.shapes, ground.strength, ground.cost)
    begun = [skeleton_of(picked(ways, tree == root), strong.radii_mm[tree == root]) for root in standing]
    moved, radii = together_with_radii(settled_forest(begun, stand))
    loaded(moved, loads_n)
    thick = size_posts(moved, contacts, cases, ground, least_mm=radii)
    thick = steadied(moved, thick, contacts, cases, ground, rounds=LAST_ROUNDS)
    ends = roots_of(moved)
    new = Sized(moved, thick, ends, prices_of(moved, thick, ends, ground.shapes, most=KEPT_TO))
    return _cheaper(
        Sized(ways, strong, tree, prices_of(ways, strong, tree, ground.shapes, most=KEPT_TO)), new
    )


def _cheaper(old: Sized, new: Sized) -> tuple[Ways, Strong]:
    """Of every few trees that have the same tips between them the cheaper; trees that are in the old ones alone stay."""
    was = {row: int(old.tree[tip]) for tip, row in old.ways.tip_of.items()}
    came = {row: int(new.tree[tip]) for tip, row in new.ways.tip_of.items()}
    take, drop = set(), set()
    for ends, roots in groups_of(was, came):
        if price_of_all([new.prices[end] for end in ends]) < price_of_all(
            [old.prices[root] for root in roots]
        ):
            take |= ends
            drop |= roots
    ways: list[Ways] = []
    strong: list[Strong] = []
    take_trees(new, np.isin(new.tree, sorted(take)), ways, strong)
    take_trees(old, ~np.isin(old.tree, sorted(drop)), ways, strong)
    return together(ways), joined(strong)


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
