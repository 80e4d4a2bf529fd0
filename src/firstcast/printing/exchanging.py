"""Trees of posts that give limbs to one another: each limb is tried elsewhere, and alone, and stays where all take least resin."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from firstcast.printing.descent import STEEPEST
from firstcast.printing.grafting import Limbs, grafts, limbs_at, on_a_foot, put_on, without
from firstcast.printing.routing import LEAST_RUN_MM, TIPS_PER_POST
from firstcast.printing.settling import ROUGH_ROUNDS, Settling
from firstcast.printing.skeletons import Skeleton
from firstcast.printing.stand_of_posts import Stand
from firstcast.printing.ways import TIP

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]

NEAREST = 2
"""So many limbs that are nearest are tried for each that is taken, besides a foot of its own."""

PASSES = 2
"""All limbs are gone through so often at most."""

TRIES_PER_TIP = 5
"""So many places are tried for each tip that there is, all in all: what this leaves out saves little. Trees that take most come
first."""

SHORT_STEPS_MM = (0.7, 0.3)
"""Steps of the search round a limb that was put elsewhere."""

WORTH_MM3 = 0.04
"""An exchange is made if it saves more."""

SHORTEST_MM = 0.05
"""No limb is made shorter."""

LEAN = 0.8
"""Tangent of the lean with which a limb goes to another, to begin with."""


@dataclass
class Exchange:
    """Trees that give limbs to one another. A tree that is given away is None."""

    stand: Stand
    trees: list[Settling | None]
    tried: set[tuple[float, bytes, float, int]] = field(default_factory=set)

    @property
    def _tries(self) -> int:
        return TRIES_PER_TIP * len(self.stand.contacts)

    def run(self) -> list[Settling]:
        """The trees as they are when no exchange that is tried saves any more; those that took no part are the same objects."""
        for _ in range(PASSES):
            greatest = sorted(
                (number for number, tree in enumerate(self.trees) if tree is not None),
                key=lambda number: (-getattr(self.trees[number], "price", 0.0), number),
            )
            changed = [self._give(number) for number in greatest]
            if not any(changed):
                break
        return [tree for tree in self.trees if tree is not None]

    def _give(self, giver: int) -> bool:
        """Try all limbs of one tree elsewhere."""
        changed, node = False, 0
        while len(self.tried) < self._tries:
            tree = self.trees[giver]
            if tree is None or node >= len(tree.tree.kinds) - 1:
                return changed
            if node in grafts(tree.tree) and self._move(giver, node):
                changed = True
                node = 0
            else:
                node += 1
        return changed

    def _move(self, giver: int, node: int) -> bool:
        """Try all that stands on one node elsewhere; whether it was moved."""
        mine = self.trees[giver]
        assert mine is not None
        tree = mine.skeleton()
        limbs, rest = limbs_at(tree, node), without(tree, node)
        left = None
        if rest is not None:
            left = self._sized(rest, rest.down[:0])
            if left is None:
                return False
        return self._to_others(giver, limbs, left) or (left is not None and self._alone(giver, limbs, left))

    def _alone(self, giver: int, limbs: Limbs, left: Settling) -> bool:
        """On a foot of their own, right under them."""
        foot = limbs.root * [1.0, 1.0, 0.0]
        made = on_a_foot(limbs, foot, 0.5 * self.stand.shapes.post_mm)
        own = self._sized(made, np.array([len(made.kinds) - 2]))
        mine = self.trees[giver]
        assert mine is not None
        if own is None or not self._worth([mine], [left, own], np.array([len(made.kinds) - 2])):
            return False
        self.trees[giver] = left
        self.trees.append(own)
        return True

    def _to_others(self, giver: int, limbs: Limbs, left: Settling | None) -> bool:
        """On a limb of another tree, or another of their own."""
        mine = self.trees[giver]
        assert mine is not None
        for taker, limb, spot in self._spots(giver, limbs, left):
            other = left if taker == giver else self.trees[taker]
            assert other is not None
            # trees are known by what they take
            key = (mine.price, limbs.part.places[0].tobytes(), other.price, limb)
            if key in self.tried or len(self.tried) >= self._tries:
                continue
            self.tried.add(key)
            before = other.skeleton()
            made = put_on(before, limb, spot, limbs)
            root = np.flatnonzero((made.places == limbs.root).all(axis=1))
            both = self._sized(made, root[:1])
            if both is None:
                continue
            near = np.unique([*root, *both.tree.down[root], *both.tree.above(int(both.tree.down[root[0]]))])
            if taker == giver:
                if self._worth([mine], [both], near):
                    self.trees[giver] = both
                    return True
            elif self._worth([mine, other], [both] if left is None else [left, both], near):
                self.trees[giver], self.trees[taker] = left, both
                return True
        return False

    def _sized(self, tree: Skeleton, fresh: Whole) -> Settling | None:
        """A tree sized as it stands; None if its new limbs are too near the figure or lean too far."""
        long = np.linalg.norm(tree.places[:-1] - tree.places[tree.down[:-1]], axis=1)
        if (long < SHORTEST_MM).any():
            return None
        work = Settling.of(self.stand, tree, 1)
        usual = 0.5 * self.stand.shapes.post_mm + self.stand.shapes.clearance_mm
        if len(fresh) and (
            (work.room.needs_mm[fresh] < usual).any() or not work.room.leans_well(tree.places, fresh)
        ):
            return None
        work.size(ROUGH_ROUNDS)
        return work

    def _worth(self, before: list[Settling], after: list[Settling], near: Whole) -> bool:
        """Whether trees take less than others did; the last is moved a little about some of its nodes if they take no more as it is.

        Looking at those that take a little more as they are took twice as long on a figure of 39 mm and saved no more.
        """
        was = sum(tree.price for tree in before)
        if sum(tree.price for tree in after) > was:
            return False
        after[-1].search(SHORT_STEPS_MM, near=near)
        return sum(tree.price for tree in after) < was - WORTH_MM3

    def _spots(self, giver: int, limbs: Limbs, left: Settling | None) -> list[tuple[int, int, Floats]]:
        """Trees, limbs of theirs and places on these where limbs could go, the nearest first."""
        found: list[tuple[float, int, int, Floats]] = []
        for number, other in enumerate(self.trees):
            other = left if number == giver else other
            if other is None or (other.tree.rows >= 0).sum() + limbs.tips > TIPS_PER_POST:
                continue
            tree = other.tree
            posts = np.flatnonzero((tree.down >= 0) & (tree.kinds != TIP))
            spots, runs = _meets(limbs.root, tree.places[posts], tree.places[tree.down[posts]], self.stand)
            found += [
                (float(run), number, int(post), spot)
                for run, post, spot in zip(runs, posts, spots, strict=True)
                if np.isfinite(run)
            ]
        found.sort(key=lambda one: one[:3])
        return [one[1:] for one in found[:NEAREST]]


def _meets(place: Floats, top: Floats, end: Floats, stand: Stand) -> tuple[Floats, Floats]:
    """Where the cone under a place first meets posts (p, 3) from top to end, and how far off; infinite where it doesn't."""
    t = np.linspace(0.0, 1.0, 17)[1:]
    spots = top[:, None] + t[None, :, None] * (end - top)[:, None]
    away = np.linalg.norm(spots[:, :, :2] - place[:2], axis=2)
    lowest = stand.shapes.foot_height_mm + LEAST_RUN_MM
    reached = (away <= LEAN * STEEPEST * (place[2] - LEAST_RUN_MM - spots[:, :, 2])) & (
        spots[:, :, 2] > lowest
    )
    first = reached.argmax(axis=1)
    chosen = spots[np.arange(len(top)), first]
    return chosen, np.where(reached.any(axis=1), np.linalg.norm(chosen - place, axis=1), np.inf)
