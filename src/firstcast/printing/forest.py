"""The cheapest props that bear: trees where they save resin, single posts where they don't.

Trees don't load one another, since the piece keeps their tips where they are. So each tree, once it is sized, is weighed
against its own tips going down one by one, and is kept only if that costs more, or bears less.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from firstcast.geometry.threads import each_beside
from firstcast.printing.posts import Strong
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.routing import TIPS_PER_POST, route
from firstcast.printing.sized_trees import (
    LAST_ROUNDS,
    Ground,
    Price,
    Sized,
    joined,
    price_of_all,
    prices_of,
    size_posts,
    steadied,
    take_trees,
)
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import Ways, roots_of, segmented, together

Floats = npt.NDArray[np.float64]

PLANS = (
    ((TIPS_PER_POST, 1.4), (6, 1.0), (3, 0.6)),
    ((TIPS_PER_POST, 1.0), (6, 1.0), (3, 0.6)),
)
"""How many tips may go down as one, and by how much of the lean they go to meet others; tips whose tree isn't kept go on to the
next. All plans are tried and the cheapest is taken."""


def lead_down(
    contacts: Contacts,
    loads_n: Floats,
    cases: Floats,
    ground: Ground,
    *,
    rows: npt.NDArray[np.int64] | None = None,
) -> tuple[Ways, Strong]:
    """Ways and posts for all contacts, or for some.

    Parameters
    ----------
    contacts : Contacts
    loads_n : (n,) float64
        What each bears at most.
    cases : (n, 3, cases) float64
        What all bear at once: `holding.load_cases`.
    rows : (k,) int64, optional
        Contacts that are led down; left out, all.
    """
    everyone = np.arange(len(contacts)) if rows is None else rows
    alone = _sized(contacts, loads_n, cases, ground, everyone, 1, 1.0)
    weak = np.array(
        sorted(row for row, root in alone.own.items() if alone.prices[root][:2] == (1, 0)), np.int64
    )
    if len(weak):
        # what can't be thick enough all the way down may be on a short way to the figure
        resting = _sized(contacts, loads_n, cases, ground, weak, 1, 1.0, down=False)
        alone = _better(alone, resting, ground.shapes)
    own = alone.own
    # who finds no way to the platform alone finds none with others: it has no room to begin
    free = np.array([alone.prices[own[row]][1] == 0 for row in everyone.tolist()], bool)

    def lead(rows: npt.NDArray[np.int64], most_tips: int, lean: float) -> Sized:
        return _sized(contacts, loads_n, cases, ground, rows, most_tips, lean)

    def price(planned: tuple[Ways, Strong]) -> Price:
        ways, strong = planned
        return price_of_all(list(prices_of(ways, strong, roots_of(ways), ground.shapes).values()))

    best = min(each_beside(lambda plan: _planned(plan, alone, everyone, free, lead), PLANS), key=price)
    return best[0], steadied(*best, contacts, cases, ground, rounds=LAST_ROUNDS)


def _planned(
    plan: tuple[tuple[int, float], ...],
    alone: Sized,
    everyone: npt.NDArray[np.int64],
    free: npt.NDArray[np.bool_],
    lead: Callable[[npt.NDArray[np.int64], int, float], Sized],
) -> tuple[Ways, Strong]:
    """Trees by a plan where they are worth it; all others alone.

    `everyone` (n,) is led down, and `free` (n,) says who may go with others.
    """
    own, left = alone.own, free.copy()
    ways: list[Ways] = []
    strong: list[Strong] = []
    for most, lean in plan:
        if left.sum() < 2:
            break
        tried = lead(everyone[left], most, lean)
        rows_of: dict[int, list[int]] = {}
        for tip, row in tried.ways.tip_of.items():
            rows_of.setdefault(int(tried.tree[tip]), []).append(row)
        kept = [
            tree
            for tree, rows in rows_of.items()
            if len(rows) > 1 and tried.prices[tree] < price_of_all([alone.prices[own[row]] for row in rows])
        ]
        for tree in kept:
            left &= ~np.isin(everyone, rows_of[tree])
        take_trees(tried, np.isin(tried.tree, kept), ways, strong)
    singly = everyone[left | ~free].tolist()
    take_trees(alone, np.isin(alone.tree, [own[row] for row in singly]), ways, strong)
    return together(ways), joined(strong)


def _sized(
    contacts: Contacts,
    loads_n: Floats,
    cases: Floats,
    ground: Ground,
    rows: npt.NDArray[np.int64],
    most_tips: int,
    lean: float,
    *,
    down: bool = True,
) -> Sized:
    shapes = replace(ground.shapes, lean_deg=lean * ground.shapes.lean_deg)
    ways = route(
        contacts, loads_n, ground.spaces, shapes, ground.cost, avoids=ground.avoids, rough=ground.rough, rows=rows, most_tips=most_tips, down=down
    )  # fmt: skip
    ways = segmented(ways)
    strong = size_posts(ways, contacts, cases, ground)
    strong = steadied(ways, strong, contacts, cases, ground)
    tree = roots_of(ways)
    return Sized(ways, strong, tree, prices_of(ways, strong, tree, ground.shapes))


def _better(sized: Sized, others: Sized, shapes: PropShapes) -> Sized:
    """Of two ways of some contacts that each goes by alone the better: `others` are of some of those of `sized`."""
    mine, theirs = sized.own, others.own
    swapped = [row for row, tree in theirs.items() if others.prices[tree] < sized.prices[mine[row]]]
    ways: list[Ways] = []
    strong: list[Strong] = []
    take_trees(sized, ~np.isin(sized.tree, [mine[row] for row in swapped]), ways, strong)
    take_trees(others, np.isin(others.tree, [theirs[row] for row in swapped]), ways, strong)
    both, thick = together(ways), joined(strong)
    tree = roots_of(both)
    return Sized(both, thick, tree, prices_of(both, thick, tree, shapes))
