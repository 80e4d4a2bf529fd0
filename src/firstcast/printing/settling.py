"""A tree of posts moved, place by place, to where it takes least resin: joints, heads and feet, with all its parts sized anew.

A search by coordinates whose steps halve (as R. Hooke and T. Jeeves 1961). The piece keeps its tips, so a tree is by itself,
and sizing it once takes about as long as looking whether it is clear of the figure.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.kernels.tree_sizing import MODES, size_tree
from firstcast.printing.heads import STRAIGHT_MM
from firstcast.printing.prop_shapes import foot_mm3
from firstcast.printing.skeletons import Parts, Skeleton, cut
from firstcast.printing.stand_of_posts import Stand
from firstcast.printing.tree_room import TreeRoom, room_for
from firstcast.printing.ways import HEAD, JOINT, TIP

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]

STEPS_MM = (1.0, 0.5, 0.25, 0.12)
"""By how far places move, one after another."""

TURNS = 3
"""Each step is gone through so often at most, as long as it helps."""

ROUGH_ROUNDS, ROUNDS, LAST_ROUNDS = 4, 10, 40
"""Rounds of sizing: for a move that is tried, from the radii that the tree has; between moves; at the end."""

WORTH_MM3 = 1e-3
"""A move is taken if it saves more."""

IN_LINE = 1.0 - 1e-6


@dataclass
class Settling:
    """A tree while its places move."""

    stand: Stand
    tree: Skeleton
    parts: Parts
    room: TreeRoom
    radii: Floats
    roof: Floats
    price: float
    uses: Floats
    shapes: Floats

    @classmethod
    def of(cls, stand: Stand, tree: Skeleton, rounds: int = ROUNDS) -> "Settling":
        """Sized by so many rounds."""
        parts, radii = cut(tree, stand.contacts, stand.cases, stand.shapes)
        room = room_for(tree, parts, stand.far, stand.shapes)
        roof = np.full(len(radii), 0.5 * stand.shapes.post_most_mm)
        seen = room.roof_mm(tree.places, np.arange(len(tree.kinds)))
        assert seen is not None
        roof[seen[0]] = seen[1]
        out = cls(
            stand,
            tree,
            parts,
            room,
            np.minimum(radii, np.maximum(roof, parts.least_mm)),
            roof,
            np.inf,
            np.zeros(3),
            np.zeros((len(radii), 6, MODES)),
        )
        out.size(rounds)
        return out

    def size(self, rounds: int) -> None:
        """Radii for the places as they are."""
        price, radii, uses = self.priced(self.tree.places, self.radii, self.roof, rounds)
        if price < self.price:
            self.price, self.radii, self.uses = price, radii, uses

    def priced(
        self, places: Floats, radii: Floats, roof: Floats, rounds: int
    ) -> tuple[float, Floats, Floats]:
        """What the tree takes with its places elsewhere, its radii and uses then."""
        strength, parts, best, uses = self.stand.strength, self.parts, np.empty(len(radii)), np.empty(3)
        price = size_tree(
            parts.places(places), parts.below, parts.held, parts.necks_mm, parts.least_mm, roof, parts.loads, parts.together,
            strength.modulus_mpa, strength.strength_mpa / strength.safety, strength.safety, rounds, radii.copy(), self.shapes, best,
            uses,
        )  # fmt: skip
        return price + foot_mm3(self.stand.shapes, float(best[-2])) + self._askew_mm3(places), best, uses

    def _askew_mm3(self, places: Floats) -> float:
        """What it is worth, as in `heads`, that tips stand square on the surface."""
        tips = np.flatnonzero(self.tree.rows >= 0)
        step = places[self.tree.down[tips]] - places[tips]
        normals = self.stand.contacts.normals[self.tree.rows[tips]]
        square = (step * normals).sum(axis=1) / np.linalg.norm(step, axis=1)
        return float(self.stand.cost.least_mm2 * STRAIGHT_MM * (1.0 - square).sum())

    def skeleton(self) -> Skeleton:
        """As it stands, with its radii."""
        counts = np.bincount(self.parts.limb, minlength=len(self.tree.kinds))
        limbs = [
            self.radii[first : first + count] if below >= 0 else np.zeros(0)
            for first, count, below in zip(self.parts.first, counts, self.tree.down, strict=True)
        ]
        return replace(self.tree, radii_mm=tuple(limbs))

    def recut(self) -> None:
        """Parts of the right length again, after places have moved."""
        again = Settling.of(self.stand, self.skeleton(), ROUGH_ROUNDS)
        self.tree, self.parts, self.room = again.tree, again.parts, again.room
        self.radii, self.roof, self.price, self.uses = again.radii, again.roof, again.price, again.uses
        self.shapes = again.shapes

    def search(self, steps_mm: tuple[float, ...] = STEPS_MM, *, near: Whole | None = None) -> None:
        """Move places as long as that saves resin; joints and heads one by one only if they are among `near`."""
        for step in steps_mm:
            for _ in range(TURNS):
                moved = [self._follow(who, way, step) for who, way in _moves(self.tree, near)]
                if not any(moved):
                    break
                self.recut()
                self.size(ROUNDS)

    def _follow(self, who: Whole, way: Floats, step: float) -> bool:
        """Move some nodes along a direction and on, or the other way; whether any step was worth it."""
        for sign in (step, -step):
            taken = False
            while self._move(who, sign * way):
                taken = True
            if taken:
                return True
        return False

    def _move(self, who: Whole, shift: Floats) -> bool:
        """Take one step if it saves resin."""
        places, changed = self._shifted(who, shift)
        limbs = np.flatnonzero(changed | changed[self.tree.down])
        limbs = limbs[self.tree.down[limbs] >= 0]
        if not self.room.leans_well(places, limbs):
            return False
        seen = self.room.roof_mm(places, limbs)
        if seen is None or not self.room.tips_fit(places, limbs[self.tree.kinds[limbs] == TIP]):
            return False
        roof = self.roof.copy()
        roof[seen[0]] = seen[1]
        start = np.maximum(np.minimum(self.radii, roof), self.parts.least_mm)
        price, radii, uses = self.priced(places, start, roof, ROUGH_ROUNDS)
        if price >= self.price - WORTH_MM3:
            return False
        self.tree = replace(self.tree, places=places)
        self.room = replace(self.room, tree=self.tree)
        self.price, self.radii, self.roof, self.uses = price, radii, roof, uses
        return True

    def _shifted(self, who: Whole, shift: Floats) -> tuple[Floats, npt.NDArray[np.bool_]]:
        """Places with some moved, tips as long as they are and in line with their limbs where they are so now."""
        tree, old = self.tree, self.tree.places
        places, changed = old.copy(), np.zeros(len(old), bool)
        places[who] += shift
        changed[who] = True
        tips = np.flatnonzero(tree.rows >= 0)
        heads = tree.down[tips]
        length = np.linalg.norm(old[heads] - old[tips], axis=1)
        for tip, head, long in zip(tips, heads, length, strict=True):
            below = tree.down[head]
            if changed[below] and not changed[head] and tree.kinds[below] == JOINT and self._in_line(tip):
                changed[head], to = True, places[below]
            elif changed[head]:
                to = places[head]
            else:
                continue
            step = to - places[tip]
            places[head] = places[tip] + step * long / max(float(np.linalg.norm(step)), 1e-9)
        return places, changed

    def _in_line(self, tip: int | np.intp) -> bool:
        """Whether a tip points along its limb."""
        head = self.tree.down[tip]
        a = self.tree.places[head] - self.tree.places[tip]
        b = self.tree.places[self.tree.down[head]] - self.tree.places[head]
        return bool(a @ b > IN_LINE * np.linalg.norm(a) * np.linalg.norm(b))


def settled(tree: Skeleton, stand: Stand) -> Skeleton:
    """A tree where it takes least resin, as far as moves place by place find it."""
    work = Settling.of(stand, tree)
    work.search()
    work.size(LAST_ROUNDS)
    work.recut()
    work.size(LAST_ROUNDS)
    return work.skeleton()


def _moves(tree: Skeleton, near: Whole | None = None) -> list[tuple[Whole, Floats]]:
    """Which nodes move together, and along what: the tree as a whole, its foot, its trunk, then each joint and head."""
    x, y, z = np.eye(3)
    joints, heads = np.flatnonzero(tree.kinds == JOINT), np.flatnonzero(tree.kinds == HEAD)
    foot = len(tree.kinds) - 1
    lowest = joints[tree.down[joints] == foot]
    out = [(np.append(joints, foot), x), (np.append(joints, foot), y)]
    if len(joints):
        out += [(joints, z)]
    out += [(np.array([foot]), x), (np.array([foot]), y)]
    if len(lowest) and len(joints) > 1:
        out += [(np.append(lowest, foot), x), (np.append(lowest, foot), y)]
    if near is not None:
        joints, heads = np.intersect1d(joints, near), np.intersect1d(heads, near)
    out += [(np.array([joint]), way) for joint in joints for way in (x, y, z)]
    out += [(np.array([head]), way) for head in heads for way in (x, y)]
    return out
