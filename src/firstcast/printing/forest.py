"""The cheapest props that bear: trees where they save resin, single posts where they don't.

Trees don't load one another, since the piece keeps their tips where they are. So each tree, once it is sized, is weighed
against its own tips going down one by one, and is kept only if that costs more, or bears less.
"""

from collections.abc import Callable, Container
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.fields.far import FarField
from firstcast.printing.descent import FreeSpace
from firstcast.printing.holding import fullest, packed_cases
from firstcast.printing.post_cost import PostCost, cost_of
from firstcast.printing.posts import Strong, room_of, stiffer, strengthen, sway_use
from firstcast.printing.prop_shapes import PropShapes, foot_mm3
from firstcast.printing.prop_wants import Strength
from firstcast.printing.rests import Rough
from firstcast.printing.routing import TIPS_PER_POST, route
from firstcast.printing.settled_trees import groups_of, settled_forest
from firstcast.printing.skeletons import loaded, skeleton_of, together_with_radii
from firstcast.printing.stand_of_posts import Stand
from firstcast.printing.tips import Avoids, Contacts
from firstcast.printing.ways import FOOT, TIP, Ways, picked, roots_of, segmented, together

Floats = npt.NDArray[np.float64]

PLANS = (
    ((TIPS_PER_POST, 1.4), (6, 1.0), (3, 0.6)),
    ((TIPS_PER_POST, 1.0), (6, 1.0), (3, 0.6)),
)
"""How many tips may go down as one, and by how much of the lean they go to meet others; tips whose tree isn't kept go on to the
next. All plans are tried and the cheapest is taken."""

STEADY_ROUNDS, LAST_ROUNDS = 4, 12
"""So often a tree that would give way as a whole grows while trees are weighed, on the demo two are enough; and once they are chosen."""

OVERLOADED = 1.02
"""Up to this, plans and trees are weighed by their resin alone: growing against sway stops a little short of 1 while they are."""

SWAYS_MOST = 1.0
"""A tree that is used by more as a whole grows."""


@dataclass(frozen=True)
class Ground:
    """What posts stand in, and what they are made of.

    Attributes
    ----------
    far : FarField or None
        Distances from the piece; None lets posts grow as they must.
    spaces : tuple of FreeSpace
        The roomiest first.
    """

    far: FarField | None
    spaces: tuple[FreeSpace, ...]
    shapes: PropShapes
    strength: Strength
    avoids: Avoids | None = None
    rough: Rough | None = None

    @property
    def cost(self) -> PostCost:
        """What posts cost before their frame is known."""
        strength = self.strength
        return cost_of(self.shapes, strength.modulus_mpa, strength.strength_mpa, strength.safety)


Price = tuple[int, int, float, float]
"""Of a tree: 1 where it bears too much or ends in the air; 1 where it isn't on the platform; greatest use; resin in mm3."""


@dataclass(frozen=True)
class _Sized:
    """Some ways with their radii, and per tree what it is worth.

    `tree` (nodes,) is the node in which each ends; `prices` by that number.
    """

    ways: Ways
    strong: Strong
    tree: npt.NDArray[np.int64]
    prices: dict[int, Price]

    @property
    def own(self) -> dict[int, int]:
        """Each contact's tree."""
        return {row: int(self.tree[tip]) for tip, row in self.ways.tip_of.items()}


def lead_down(contacts: Contacts, loads_n: Floats, cases: Floats, ground: Ground) -> tuple[Ways, Strong]:
    """Ways and posts for all contacts.

    Parameters
    ----------
    contacts : Contacts
    loads_n : (n,) float64
        What each bears at most.
    cases : (n, 3, cases) float64
        What all bear at once: `holding.load_cases`.
    """
    alone = _sized(contacts, loads_n, cases, ground, np.arange(len(contacts)), 1, 1.0)
    weak = np.array(
        sorted(row for row, root in alone.own.items() if alone.prices[root][:2] == (1, 0)), np.int64
    )
    if len(weak):
        # what can't be thick enough all the way down may be on a short way to the figure
        resting = _sized(contacts, loads_n, cases, ground, weak, 1, 1.0, down=False)
        alone = _better(alone, resting, ground.shapes)
    own = alone.own
    # who finds no way to the platform alone finds none with others: it has no room to begin
    free = np.array([alone.prices[own[row]][1] == 0 for row in range(len(contacts))], bool)
    best, least = None, (0, 0, np.inf, np.inf)
    for plan in PLANS:
        ways, strong = _planned(
            plan,
            alone,
            own,
            free,
            lambda rows, most, lean: _sized(contacts, loads_n, cases, ground, rows, most, lean),
        )
        price = _all_of(list(_prices(ways, strong, roots_of(ways), ground.shapes).values()))
        if best is None or price < least:
            best, least = (ways, strong), price
    assert best is not None
    ways, strong = _settled(*best, contacts, loads_n, cases, ground)
    return ways, _steadied(ways, strong, contacts, cases, ground, rounds=LAST_ROUNDS)


def _planned(
    plan: tuple[tuple[int, float], ...],
    alone: _Sized,
    own: dict[int, int],
    free: npt.NDArray[np.bool_],
    lead: Callable[[npt.NDArray[np.int64], int, float], _Sized],
) -> tuple[Ways, Strong]:
    """Trees by a plan where they are worth it; all others alone.

    `own` gives each contact's tree in `alone`, and `free` (n,) who may go with others.
    """
    everyone, left = np.arange(len(free)), free.copy()
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
            if len(rows) > 1 and tried.prices[tree] < _all_of([alone.prices[own[row]] for row in rows])
        ]
        for tree in kept:
            left[rows_of[tree]] = False
        _take(tried, np.isin(tried.tree, kept), ways, strong)
    singly = everyone[left | ~free].tolist()
    _take(alone, np.isin(alone.tree, [own[row] for row in singly]), ways, strong)
    return together(ways), _joined(strong)


def size_posts(
    ways: Ways, contacts: Contacts, cases: Floats, ground: Ground, *, least_mm: Floats | None = None
) -> Strong:
    """Radii of some ways: see `strengthen`."""
    strength = ground.strength
    root = roots_of(ways)
    tree_of = np.full(len(contacts), -1)
    for tip, row in ways.tip_of.items():
        tree_of[row] = root[tip]
    return strengthen(
        ways, contacts, packed_cases(cases, tree_of), ground.far, ground.shapes, modulus_mpa=strength.modulus_mpa,
        strength_mpa=strength.strength_mpa, safety=strength.safety, least_mm=least_mm,
    )  # fmt: skip


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
) -> _Sized:
    shapes = replace(ground.shapes, lean_deg=lean * ground.shapes.lean_deg)
    ways = route(
        contacts, loads_n, ground.spaces, shapes, ground.cost, avoids=ground.avoids, rough=ground.rough, rows=rows, most_tips=most_tips, down=down
    )  # fmt: skip
    ways = segmented(ways)
    strong = size_posts(ways, contacts, cases, ground)
    strong = _steadied(ways, strong, contacts, cases, ground)
    tree = roots_of(ways)
    return _Sized(ways, strong, tree, _prices(ways, strong, tree, ground.shapes))


def _settled(
    ways: Ways, strong: Strong, contacts: Contacts, loads_n: Floats, cases: Floats, ground: Ground
) -> tuple[Ways, Strong]:
    """Each tree that stands on the platform moved to where it takes least resin, if it does so by the same rules as before."""
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
    thick = _steadied(moved, thick, contacts, cases, ground)
    ends = roots_of(moved)
    new = _Sized(moved, thick, ends, _prices(moved, thick, ends, ground.shapes))
    return _cheaper(_Sized(ways, strong, tree, _prices(ways, strong, tree, ground.shapes)), new)


def _cheaper(old: _Sized, new: _Sized) -> tuple[Ways, Strong]:
    """Of every few trees that have the same tips between them the cheaper; trees that are in the old ones alone stay."""
    was = {row: int(old.tree[tip]) for tip, row in old.ways.tip_of.items()}
    came = {row: int(new.tree[tip]) for tip, row in new.ways.tip_of.items()}
    take, drop = set(), set()
    for ends, roots in groups_of(was, came):
        if _all_of([new.prices[end] for end in ends]) < _all_of([old.prices[root] for root in roots]):
            take |= ends
            drop |= roots
    ways: list[Ways] = []
    strong: list[Strong] = []
    _take(new, np.isin(new.tree, sorted(take)), ways, strong)
    _take(old, ~np.isin(old.tree, sorted(drop)), ways, strong)
    return together(ways), _joined(strong)


def _steadied(
    ways: Ways,
    strong: Strong,
    contacts: Contacts,
    cases: Floats,
    ground: Ground,
    *,
    rounds: int = STEADY_ROUNDS,
) -> Strong:
    """Thicker posts for trees that would give way as a whole; what still would counts as used by so much."""
    tree = roots_of(ways)
    room, modulus = room_of(ways, ground.far, ground.shapes), ground.strength.modulus_mpa
    swaying = sways(ways, strong, contacts, cases, ground)
    for _ in range(rounds):
        over = {root for root, use in swaying.items() if use > SWAYS_MOST}
        if not over:
            break
        radii = strong.radii_mm.copy()
        for root in over:
            mine = tree == root
            one = picked(ways, mine)
            radii[mine] = stiffer(
                one, contacts, fullest(cases, sorted(one.tip_of.values())), radii[mine], room[mine], modulus_mpa=modulus, safety=ground.strength.safety
            )  # fmt: skip
        strong = size_posts(ways, contacts, cases, ground, least_mm=radii)
        swaying |= sways(ways, strong, contacts, cases, ground, only=over)
    buckling = strong.buckling.copy()
    for root, use in swaying.items():
        if use > OVERLOADED:
            buckling[tree == root] = np.maximum(buckling[tree == root], use)
    return replace(strong, buckling=buckling)


def _prices(ways: Ways, strong: Strong, tree: npt.NDArray[np.int64], shapes: PropShapes) -> dict[int, Price]:
    """Of each tree, by the node in which it ends."""
    places, edges = np.array(ways.places).reshape(-1, 3), ways.edges
    resin, use = np.zeros(len(places)), np.full(len(places), OVERLOADED)
    if len(edges):
        upper, lower = edges.T
        length = np.linalg.norm(places[upper] - places[lower], axis=1)
        np.add.at(resin, tree[upper], np.pi * strong.radii_mm[upper] ** 2 * length)
        np.maximum.at(use, tree[upper], strong.use[upper])
        for node, below in edges.tolist():
            if ways.kinds[below] == FOOT:
                resin[below] += foot_mm3(shapes, float(strong.radii_mm[node]))
    return {
        int(root): (
            int(use[root] > OVERLOADED or ways.kinds[root] == TIP),
            int(ways.kinds[root] != FOOT),
            float(use[root]),
            float(resin[root]),
        )
        for root in np.unique(tree)
    }


def _all_of(prices: list[Price]) -> Price:
    """What several trees come to."""
    return (
        sum(price[0] for price in prices),
        sum(price[1] for price in prices),
        max((price[2] for price in prices), default=OVERLOADED),
        sum(price[3] for price in prices),
    )


def _better(sized: _Sized, others: _Sized, shapes: PropShapes) -> _Sized:
    """Of two ways of some contacts that each goes by alone the better: `others` are of some of those of `sized`."""
    mine, theirs = sized.own, others.own
    swapped = [row for row, tree in theirs.items() if others.prices[tree] < sized.prices[mine[row]]]
    ways: list[Ways] = []
    strong: list[Strong] = []
    _take(sized, ~np.isin(sized.tree, [mine[row] for row in swapped]), ways, strong)
    _take(others, np.isin(others.tree, [theirs[row] for row in swapped]), ways, strong)
    both, thick = together(ways), _joined(strong)
    tree = roots_of(both)
    return _Sized(both, thick, tree, _prices(both, thick, tree, shapes))


def _take(sized: _Sized, keep: npt.NDArray[np.bool_], ways: list[Ways], strong: list[Strong]) -> None:
    ways.append(picked(sized.ways, keep))
    whole = sized.strong
    strong.append(Strong(whole.radii_mm[keep], whole.bending[keep], whole.buckling[keep]))


def _joined(parts: list[Strong]) -> Strong:
    return Strong(
        np.concatenate([part.radii_mm for part in parts]),
        np.concatenate([part.bending for part in parts]),
        np.concatenate([part.buckling for part in parts]),
    )


def sways(
    ways: Ways,
    strong: Strong,
    contacts: Contacts,
    cases: Floats,
    ground: Ground,
    *,
    only: Container[int] | None = None,
) -> dict[int, float]:
    """For each tree, by the node in which it ends, how near it comes to buckling as a whole, by the factor of safety.

    Under the case in which its tips bear most together, all pressing.

    Parameters
    ----------
    only : container of int, optional
        Only these trees.
    """
    tree = roots_of(ways)
    out = {}
    for root in np.unique(tree).tolist():
        mine = tree == root
        if mine.sum() < 2 or not cases.shape[2] or (only is not None and root not in only):
            continue
        one = picked(ways, mine)
        share = sway_use(
            one,
            contacts,
            fullest(cases, sorted(one.tip_of.values())),
            strong.radii_mm[mine],
            ground.strength.modulus_mpa,
        )
        out[root] = ground.strength.safety * share
    return out
