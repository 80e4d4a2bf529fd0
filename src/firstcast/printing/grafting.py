"""Limbs that are taken from one tree of posts and put to another, to another place of the same, or on a foot of their own."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.printing.skeletons import STRAIGHT, Skeleton, depths
from firstcast.printing.ways import FOOT, HEAD, JOINT, TIP

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Limbs:
    """Limbs that hang together, without what they went down to: as a skeleton, whose last node has no way down yet."""

    part: Skeleton

    @property
    def root(self) -> Floats:
        """(3,) where they begin to need a way down."""
        return self.part.places[-1]

    @property
    def tips(self) -> int:
        """How many tips they carry."""
        return int((self.part.rows >= 0).sum())


def limbs_at(tree: Skeleton, node: int) -> Limbs:
    """All that stands on a node, a head or a joint, with it."""
    mine = _over(tree, node)
    return Limbs(_picked(tree, mine, end=node))


def without(tree: Skeleton, node: int) -> Skeleton | None:
    """A tree without all that stands on a node; None if nothing is left.

    A joint that bore nothing else goes too, and one in which a post now goes straight on.
    """
    keep = ~_over(tree, node)
    below = int(tree.down[node])
    while below >= 0 and not keep[tree.above(below)].any():
        keep[below] = False
        below = int(tree.down[below])
    if not keep[:-1].any():
        return None
    return straightened(_picked(tree, keep, end=len(tree.kinds) - 1))


def straightened(tree: Skeleton) -> Skeleton:
    """A tree without joints in which one post goes straight on."""
    for joint in np.flatnonzero(tree.kinds == JOINT)[::-1].tolist():
        above = tree.above(joint)
        if len(above) != 1 or tree.kinds[above[0]] == TIP:
            continue
        a = tree.places[joint] - tree.places[above[0]]
        b = tree.places[tree.down[joint]] - tree.places[joint]
        if a @ b > (1.0 - STRAIGHT) * np.linalg.norm(a) * np.linalg.norm(b):
            return straightened(bridged(tree, joint))
    return tree


def bridged(tree: Skeleton, joint: int) -> Skeleton:
    """A tree without one of its joints: what stood on it goes down to what it went down to."""
    radii = list(tree.radii_mm)
    for node in tree.above(joint).tolist():
        radii[node] = np.concatenate([radii[node], radii[joint]])
    down = np.where(tree.down == joint, tree.down[joint], tree.down)
    keep = np.arange(len(down)) != joint
    joined = Skeleton(tree.places, tree.kinds, down, tree.rows, tuple(radii))
    return _picked(joined, keep, end=len(down) - 1)


def put_on(tree: Skeleton, limb: int, spot: Floats, limbs: Limbs) -> Skeleton:
    """A tree whose limb, from one node down, bears more limbs at a place on it; at its end if that is the place."""
    part, count = limbs.part, len(tree.kinds)
    below = int(tree.down[limb])
    at_end = bool(np.allclose(spot, tree.places[below])) and tree.kinds[below] == JOINT
    share = float(
        np.linalg.norm(spot - tree.places[limb]) / np.linalg.norm(tree.places[below] - tree.places[limb])
    )
    radii, more = list(tree.radii_mm), list(part.radii_mm)
    more[-1] = np.array([float(np.mean(radii[limb]))])
    joint = below
    places, kinds, rows = [tree.places], [tree.kinds], [tree.rows]
    down = tree.down.copy()
    if not at_end:
        joint, thick = count, radii[limb]
        split = min(max(round(share * len(thick)), 0), len(thick))
        radii[limb] = thick[:split] if split else thick[:1]
        radii.append(thick[split:] if split < len(thick) else thick[-1:])
        places.append(spot[None])
        kinds.append(np.array([JOINT]))
        rows.append(np.array([-1]))
        down[limb] = joint
        down = np.append(down, below)
    base = len(down)
    extra = np.where(part.down >= 0, part.down + base, joint)
    return _ordered(
        np.concatenate([*places, part.places]), np.concatenate([*kinds, part.kinds]), np.concatenate([down, extra]),
        np.concatenate([*rows, part.rows]), [*radii, *more],
    )  # fmt: skip


def on_a_foot(limbs: Limbs, foot: Floats, radius_mm: float) -> Skeleton:
    """Limbs with a post and a foot of their own."""
    part = limbs.part
    count = len(part.kinds)
    radii = [*part.radii_mm[:-1], np.array([radius_mm]), np.zeros(0)]
    down = np.append(np.where(part.down >= 0, part.down, count), -1)
    return _ordered(
        np.concatenate([part.places, foot[None]]), np.append(part.kinds, FOOT), down, np.append(part.rows, -1), radii
    )  # fmt: skip


def _over(tree: Skeleton, node: int) -> npt.NDArray[np.bool_]:
    """(m,) what stands on a node, with it."""
    mine = np.zeros(len(tree.kinds), bool)
    mine[node] = True
    for other in range(node - 1, -1, -1):
        mine[other] = mine[tree.down[other]]
    return mine


def _picked(tree: Skeleton, keep: npt.NDArray[np.bool_], end: int) -> Skeleton:
    """Some nodes, in their order; `end` goes down to nothing any more."""
    number = np.cumsum(keep) - 1
    nodes = np.flatnonzero(keep)
    down = np.array(
        [number[tree.down[node]] if node != end and tree.down[node] >= 0 else -1 for node in nodes], np.int64
    )
    return Skeleton(
        tree.places[nodes],
        tree.kinds[nodes],
        down,
        tree.rows[nodes],
        tuple(tree.radii_mm[node] for node in nodes),
    )


def _ordered(places: Floats, kinds: Whole, down: Whole, rows: Whole, radii: list[Floats]) -> Skeleton:
    """Each node before the one that it goes down to."""
    order = np.argsort(-depths(down), kind="stable")
    number = np.empty(len(order), np.int64)
    number[order] = np.arange(len(order))
    return Skeleton(
        places[order],
        kinds[order].astype(np.int64),
        np.array([number[down[node]] if down[node] >= 0 else -1 for node in order], np.int64),
        rows[order].astype(np.int64),
        tuple(radii[node] for node in order),
    )


def grafts(tree: Skeleton) -> list[int]:
    """Nodes that may be taken with all that stands on them: heads, and joints with more than one tip above."""
    return [node for node in range(len(tree.kinds) - 1) if tree.kinds[node] in (HEAD, JOINT)]
