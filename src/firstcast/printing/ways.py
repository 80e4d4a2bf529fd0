"""The ways of props from their tips down: a forest in which each node goes down to one other."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Place = npt.NDArray[np.float64]

TIP, HEAD, JOINT, FOOT, REST = range(5)
"""Kinds of nodes: a neck on the piece, where it has become the post, a joint, on the platform, on the figure."""


@dataclass
class Ways:
    """A forest of posts: each node goes down to one other.

    Attributes
    ----------
    places : list of (3,) float64
    kinds : list of int
    down : list of int
        The node that each goes down to; -1 at feet and rests.
    tips, loads_n : list of int, list of float
        How many tips each node carries, and what they bear together at most.
    moments_nmm : list of (2,) float64
        By how much those loads lie beside the node: sum of load times offset.
    tip_of : dict
        Contact row of each TIP node.
    """

    places: list[Place] = field(default_factory=list)
    kinds: list[int] = field(default_factory=list)
    down: list[int] = field(default_factory=list)
    tips: list[int] = field(default_factory=list)
    loads_n: list[float] = field(default_factory=list)
    moments_nmm: list[Place] = field(default_factory=list)
    tip_of: dict[int, int] = field(default_factory=dict)
    unreached: list[int] = field(default_factory=list)
    """Contact rows that found neither the platform nor a place to rest."""

    def add(self, place: Place, kind: int, tips: int, load_n: float) -> int:
        """A new node; its number."""
        self.places.append(np.asarray(place, np.float64))
        self.kinds.append(kind)
        self.down.append(-1)
        self.tips.append(tips)
        self.loads_n.append(load_n)
        self.moments_nmm.append(np.zeros(2))
        return len(self.places) - 1

    def moment_at(self, node: int, spots: Place) -> Place:
        """What the loads of a node lie beside other places (..., 2)."""
        return self.moments_nmm[node] + self.loads_n[node] * (self.places[node][:2] - spots)

    def lead(self, node: int, below: int) -> None:
        """Let a node go down to another that bears something already."""
        self.down[node] = below
        while below >= 0:
            self.tips[below] += self.tips[node]
            self.loads_n[below] += self.loads_n[node]
            self.moments_nmm[below] = self.moments_nmm[below] + self.moment_at(node, self.places[below][:2])
            below = self.down[below]

    def end_of(self, node: int) -> int:
        """Where a node has come down to so far."""
        while self.down[node] >= 0:
            node = self.down[node]
        return node

    @property
    def edges(self) -> npt.NDArray[np.int64]:
        """(e, 2) upper and lower node."""
        return np.array([(n, d) for n, d in enumerate(self.down) if d >= 0], np.int64).reshape(-1, 2)

    def lengths_mm(self) -> float:
        """Of all posts and tips together."""
        edges = self.edges
        at = np.array(self.places).reshape(-1, 3)
        return float(np.linalg.norm(at[edges[:, 0]] - at[edges[:, 1]], axis=1).sum())


def pruned(ways: Ways) -> Ways:
    """Without the posts that no tip goes down by any more."""
    used = [False] * len(ways.places)
    count, load = [0] * len(ways.places), [0.0] * len(ways.places)
    for tip in ways.tip_of:
        node = tip
        while node >= 0:
            used[node] = True
            count[node] += 1
            load[node] += ways.loads_n[tip]
            node = ways.down[node]
    number, out = {-1: -1}, Ways(unreached=ways.unreached)
    for node in range(len(used)):
        if used[node]:
            number[node] = out.add(ways.places[node], ways.kinds[node], count[node], load[node])
    for node in list(number)[1:]:
        out.down[number[node]] = number[ways.down[node]]
    out.tip_of = {number[tip]: row for tip, row in ways.tip_of.items()}
    return out


SEGMENT_MM = 1.5
"""Posts are cut into parts no longer than this, each as thick as it must be and has room to be."""


def roots_of(ways: Ways) -> npt.NDArray[np.int64]:
    """(nodes,) the node that each comes down to at last: one number for all of a tree."""
    out = np.full(len(ways.places), -1, np.int64)
    for node in range(len(out)):
        end = ways.end_of(node)
        out[node] = end
    return out


def segmented(ways: Ways) -> Ways:
    """With joints along all posts, none farther apart than SEGMENT_MM. Old nodes keep their numbers."""
    out = Ways(
        list(ways.places), list(ways.kinds), list(ways.down), list(ways.tips), list(ways.loads_n),
        list(ways.moments_nmm), dict(ways.tip_of), list(ways.unreached),
    )  # fmt: skip
    for node, below in enumerate(ways.down):
        if below < 0 or ways.kinds[node] == TIP or (ways.kinds[node] == HEAD and ways.kinds[below] == REST):
            continue
        step = ways.places[below] - ways.places[node]
        parts = int(np.ceil(np.linalg.norm(step) / SEGMENT_MM))
        last = node
        for part in range(1, parts):
            joint = out.add(
                ways.places[node] + part / parts * step, JOINT, ways.tips[node], ways.loads_n[node]
            )
            out.down[last], last = joint, joint
        out.down[last] = below
    return out


def picked(ways: Ways, keep: npt.NDArray[np.bool_]) -> Ways:
    """Whole trees out of some ways: the nodes that `keep` (nodes,) says, numbered anew in their order."""
    number = np.cumsum(keep) - 1
    out = Ways()
    for node in np.flatnonzero(keep).tolist():
        new = out.add(ways.places[node], ways.kinds[node], ways.tips[node], ways.loads_n[node])
        out.moments_nmm[new] = ways.moments_nmm[node]
        out.down[new] = int(number[ways.down[node]]) if ways.down[node] >= 0 else -1
    out.tip_of = {int(number[tip]): row for tip, row in ways.tip_of.items() if keep[tip]}
    rows = set(out.tip_of.values())
    out.unreached = [row for row in ways.unreached if row in rows]
    return out


def together(several: list[Ways]) -> Ways:
    """One forest of several, the nodes of each after those of the one before."""
    out = Ways()
    for ways in several:
        first = len(out.places)
        out.places += ways.places
        out.kinds += ways.kinds
        out.down += [below + first if below >= 0 else -1 for below in ways.down]
        out.tips += ways.tips
        out.loads_n += ways.loads_n
        out.moments_nmm += ways.moments_nmm
        out.tip_of |= {tip + first: row for tip, row in ways.tip_of.items()}
        out.unreached += ways.unreached
    return out
