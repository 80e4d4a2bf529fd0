"""A tree of posts as few places as it has: tips, their heads, joints, a foot; and the same cut into parts, for sizing."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.kernels.tree_frames import FOOT as HELD_FOOT
from firstcast.kernels.tree_frames import TIP as HELD_TIP
from firstcast.printing.holding import fullest, packed_cases
from firstcast.printing.posts import TAB_POST_RATIO
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import JOINT, SEGMENT_MM, TIP, Ways, together

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]

STRAIGHT = 1e-9
"""A joint where a post goes straight on is none."""


@dataclass(frozen=True)
class Skeleton:
    """A tree.

    Attributes
    ----------
    places : (m, 3) float64
        Each before the one that it goes down to; the foot is the last.
    kinds, down : (m,) int64
        As in `ways`; the foot goes down to -1.
    rows : (m,) int64
        Contact of each tip; -1 for what is none.
    radii_mm : tuple of (k,) float64
        Of each limb, from the top down, in even parts; empty for the foot.
    """

    places: Floats
    kinds: Whole
    down: Whole
    rows: Whole
    radii_mm: tuple[Floats, ...]

    def above(self, node: int) -> Whole:
        """Nodes that go down to one."""
        return np.flatnonzero(self.down == node)


def skeleton_of(one: Ways, radii_mm: Floats) -> Skeleton:
    """Of one tree that stands on the platform, sized or not (all of one radius)."""
    above: list[list[int]] = [[] for _ in one.places]
    for node, below in enumerate(one.down):
        if below >= 0:
            above[below].append(node)

    def goes_on(node: int) -> bool:
        if one.kinds[node] != JOINT or len(above[node]) != 1:
            return False
        a = one.places[node] - one.places[above[node][0]]
        b = one.places[one.down[node]] - one.places[node]
        return bool(a @ b > (1.0 - STRAIGHT) * np.linalg.norm(a) * np.linalg.norm(b))

    depth = depths(np.array(one.down, np.int64))
    kept = [node for node in np.argsort(-depth, kind="stable").tolist() if not goes_on(node)]
    number = {node: new for new, node in enumerate(kept)}
    down, limbs = [], []
    for node in kept:
        path, below = [node], one.down[node]
        while below >= 0 and below not in number:
            path.append(below)
            below = one.down[below]
        down.append(number[below] if below >= 0 else -1)
        limbs.append(_profile(one, path, below, radii_mm))
    return Skeleton(
        np.array([one.places[node] for node in kept]),
        np.array([one.kinds[node] for node in kept], np.int64),
        np.array(down, np.int64),
        np.array([one.tip_of.get(node, -1) for node in kept], np.int64),
        tuple(limbs),
    )


def depths(down: Whole) -> Whole:
    """(m,) how many members lie between each node and its end."""
    depth = np.zeros(len(down), np.int64)
    for node in range(len(down)):
        below = down[node]
        while below >= 0:
            depth[node] += 1
            below = down[below]
    return depth


def _profile(one: Ways, path: list[int], end: int, radii_mm: Floats) -> Floats:
    """Radii of a limb in even parts, each that of what lies at its middle."""
    if end < 0:
        return np.zeros(0)
    at = np.array([one.places[node] for node in [*path, end]])
    ends = np.cumsum(np.linalg.norm(np.diff(at, axis=0), axis=1))
    parts = len(path) if one.kinds[path[0]] == TIP else parts_of(float(ends[-1]))
    middles = (np.arange(parts) + 0.5) / parts * ends[-1]
    return radii_mm[np.array(path)[np.minimum(np.searchsorted(ends, middles), len(path) - 1)]].astype(
        np.float64
    )


def parts_of(length_mm: float) -> int:
    """How many parts `ways.segmented` makes of a limb."""
    return max(1, int(np.ceil(length_mm / SEGMENT_MM)))


def resampled(radii_mm: Floats, parts: int) -> Floats:
    """A limb's radii for another number of parts."""
    if len(radii_mm) == parts or not len(radii_mm):
        return radii_mm
    middle = ((np.arange(parts) + 0.5) / parts * len(radii_mm)).astype(np.int64)
    return radii_mm[np.minimum(middle, len(radii_mm) - 1)]


@dataclass(frozen=True)
class Parts:
    """A tree cut into parts, in the order that `kernels.tree_frames` goes through them: what doesn't change as places move.

    Attributes
    ----------
    limb, upper, lower : (n,) int64
        The limb that each node begins a part of, and between which two nodes of the skeleton it lies.
    share : (n, 1) float64
        How far down between them.
    below : (n,) int64
    held : (n,) int64
    necks_mm, least_mm : (n,) float64
    loads : (n, 6, cases) float64
    together : (n, 6, 1) float64
    first : (m,) int64
        Where each limb begins.
    """

    limb: Whole
    upper: Whole
    lower: Whole
    share: Floats
    below: Whole
    held: Whole
    necks_mm: Floats
    least_mm: Floats
    loads: Floats
    together: Floats
    first: Whole

    def places(self, skeleton_mm: Floats) -> Floats:
        """(n, 3) of the nodes, where the skeleton stands (m, 3)."""
        return skeleton_mm[self.upper] * (1.0 - self.share) + skeleton_mm[self.lower] * self.share


def cut(tree: Skeleton, contacts: Contacts, cases: Floats, shapes: PropShapes) -> tuple[Parts, Floats]:
    """A tree in parts of SEGMENT_MM at most, and their radii (n,).

    Parameters
    ----------
    cases : (c, 3, cases) float64
        `holding.load_cases`.
    """
    long = np.linalg.norm(tree.places - tree.places[tree.down], axis=1)
    counts = np.array(
        [
            1 if kind == TIP or below < 0 else parts_of(float(length))
            for kind, below, length in zip(tree.kinds, tree.down, long, strict=True)
        ],
        np.int64,
    )
    first = np.concatenate([[0], np.cumsum(counts)[:-1]])
    limb = np.repeat(np.arange(len(counts)), counts)
    place = np.arange(len(limb)) - first[limb]
    lower = np.where(tree.down >= 0, tree.down, np.arange(len(counts)))[limb]
    last = place == counts[limb] - 1
    below = np.where(last, np.where(tree.down >= 0, first[tree.down], -1)[limb], np.arange(1, len(limb) + 1))
    tips = np.flatnonzero(tree.rows >= 0)
    rows = tree.rows[tips]
    held, necks = np.zeros(len(limb), np.int64), np.zeros(len(limb))
    held[first[tips]], held[-1] = HELD_TIP, HELD_FOOT
    necks[first[tips]] = contacts.diameters_mm[rows]
    loads, together = _loads(len(limb), first[tips], rows, cases, len(contacts))
    parts = Parts(
        limb, limb, lower, (place / counts[limb])[:, None], below, held, necks,
        _least(below, first[tips], rows, contacts, shapes), loads, together, first,
    )  # fmt: skip
    start = 0.5 * shapes.post_mm
    radii = np.concatenate(
        [
            resampled(mine, int(count)) if len(mine) else np.full(count, start)
            for mine, count in zip(tree.radii_mm, counts, strict=True)
        ]
    )
    return parts, np.maximum(radii, parts.least_mm)


def _loads(count: int, nodes: Whole, rows: Whole, cases: Floats, contacts: int) -> tuple[Floats, Floats]:
    """What tips bear in each case that tells, and all pressing in the case in which they bear most together."""
    tree_of = np.full(contacts, -1)
    tree_of[rows] = 0
    telling = packed_cases(cases, tree_of)[rows]
    loads, together = np.zeros((count, 6, telling.shape[2])), np.zeros((count, 6, 1))
    # as in `posts`: what pulls at x turns about y the other way round
    loads[nodes, 2], loads[nodes, 3], loads[nodes, 4] = -telling[:, 0], -telling[:, 2], telling[:, 1]
    together[nodes, 2, 0] = -np.abs(fullest(cases, rows)[rows])
    return loads, together


def _least(below: Whole, nodes: Whole, rows: Whole, contacts: Contacts, shapes: PropShapes) -> Floats:
    """(n,) least radii: the run under a tip on the tab begins as thick as its neck asks for."""
    least = np.full(len(below), 0.5 * shapes.post_mm)
    above = np.bincount(below[below >= 0], minlength=len(below))
    for node, row in zip(nodes.tolist(), rows.tolist(), strict=True):
        if contacts.on_tab[row]:
            node = below[node]
            while below[node] >= 0:
                least[node] = max(least[node], TAB_POST_RATIO * contacts.diameters_mm[row])
                node = below[node]
                if above[node] != 1:
                    break
    return least


def ways_of(tree: Skeleton) -> tuple[Ways, Floats]:
    """A tree as ways, cut as `ways.segmented` does, and its radii (nodes,)."""
    out = Ways()
    for place, kind in zip(tree.places, tree.kinds, strict=True):
        out.add(place, int(kind), 0, 0.0)
    out.tip_of = {int(tip): int(tree.rows[tip]) for tip in np.flatnonzero(tree.rows >= 0)}
    radii = [float(mine[0]) if len(mine) else 0.0 for mine in tree.radii_mm]
    for node, below in enumerate(tree.down.tolist()):
        if below < 0:
            radii[node] = float(radii[int(tree.above(node)[0])])
            continue
        step = tree.places[below] - tree.places[node]
        parts = 1 if tree.kinds[node] == TIP else parts_of(float(np.linalg.norm(step)))
        mine, last = resampled(tree.radii_mm[node], parts), node
        for part in range(1, parts):
            joint = out.add(tree.places[node] + part / parts * step, JOINT, 0, 0.0)
            radii.append(float(mine[part]))
            out.down[last], last = joint, joint
        out.down[last] = below
    return out, np.array(radii)


def together_with_radii(trees: list[Skeleton]) -> tuple[Ways, Floats]:
    """Several trees as one forest, in their order."""
    each = [ways_of(tree) for tree in trees]
    return together([ways for ways, _ in each]), np.concatenate([radii for _, radii in each])


def loaded(ways: Ways, loads_n: Floats) -> None:
    """Count in each node how many tips it carries, and what they bear (contacts,) together."""
    for tip, row in ways.tip_of.items():
        node = tip
        while node >= 0:
            ways.tips[node] += 1
            ways.loads_n[node] += float(loads_n[row])
            node = ways.down[node]
