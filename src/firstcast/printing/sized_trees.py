"""Trees of posts as thick as they must be: the radii of each, its sway as a whole, and what it is worth.

A tree's price is told in order: whether it bears, whether it stands on the platform, how much of its strength is used, its resin.
"""

from collections.abc import Container
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
from firstcast.printing.tips import Avoids, Contacts
from firstcast.printing.ways import FOOT, TIP, Ways, picked, roots_of

Floats = npt.NDArray[np.float64]

STEADY_ROUNDS, LAST_ROUNDS = 4, 12
"""So often a tree that would give way as a whole grows while trees are weighed, on the demo two are enough; and once they are chosen."""

OVERLOADED = 1.02
"""Up to this, plans and trees are weighed by their resin alone: growing against sway stops a little short of 1 while they are."""

SWAYS_MOST = 1.0
"""A tree that is used by more as a whole grows."""

KEPT_TO = 1.0 + 1e-9
"""What is used by more at last is told."""


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
class Sized:
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


def steadied(
    ways: Ways,
    strong: Strong,
    contacts: Contacts,
    cases: Floats,
    ground: Ground,
    *,
    rounds: int = STEADY_ROUNDS,
) -> Strong:
    """Thicker posts for trees that would give way as a whole; what still would counts as used by so much."""
    tree, most = roots_of(ways), OVERLOADED if rounds < LAST_ROUNDS else KEPT_TO
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
        if use > most:
            buckling[tree == root] = np.maximum(buckling[tree == root], use)
    return replace(strong, buckling=buckling)


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


def prices_of(
    ways: Ways, strong: Strong, tree: npt.NDArray[np.int64], shapes: PropShapes, *, most: float = OVERLOADED
) -> dict[int, Price]:
    """Of each tree, by the node in which it ends. What is used by more than `most` bears too much."""
    places, edges = np.array(ways.places).reshape(-1, 3), ways.edges
    resin, use = np.zeros(len(places)), np.full(len(places), most)
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
            int(use[root] > most or ways.kinds[root] == TIP),
            int(ways.kinds[root] != FOOT),
            float(use[root]),
            float(resin[root]),
        )
        for root in np.unique(tree)
    }


def price_of_all(prices: list[Price]) -> Price:
    """What several trees come to."""
    return (
        sum(price[0] for price in prices),
        sum(price[1] for price in prices),
        max((price[2] for price in prices), default=OVERLOADED),
        sum(price[3] for price in prices),
    )


def take_trees(sized: Sized, keep: npt.NDArray[np.bool_], ways: list[Ways], strong: list[Strong]) -> None:
    """Add the nodes that are kept, (nodes,) of whole trees, and their radii to what is gathered."""
    ways.append(picked(sized.ways, keep))
    whole = sized.strong
    strong.append(Strong(whole.radii_mm[keep], whole.bending[keep], whole.buckling[keep]))


def joined(parts: list[Strong]) -> Strong:
    """The radii and uses of several ways one after the other, as `ways.together` lays them."""
    return Strong(
        np.concatenate([part.radii_mm for part in parts]),
        np.concatenate([part.bending for part in parts]),
        np.concatenate([part.buckling for part in parts]),
    )
