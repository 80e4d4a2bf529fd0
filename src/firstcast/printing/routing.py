"""The way of each prop from its tip down to the platform: highest first, leaning towards others and going on as one.

Greedy merging as in clever supports (J. Vanek et al. 2014): of all props that are still on their way, the highest is taken;
it goes on to the place where it saves most by joining another, or a post that already stands, and straight down, or round
the figure, where it saves nothing.
"""

import heapq
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from firstcast.fields.far import sample
from firstcast.printing.descent import FreeSpace, Place
from firstcast.printing.heads import choose_heads, straighten
from firstcast.printing.post_cost import PostCost
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.rests import Rough, rest_on_figure
from firstcast.printing.tips import Avoids, Contacts
from firstcast.printing.ways import FOOT, HEAD, JOINT, REST, TIP, Ways, pruned

Floats = npt.NDArray[np.float64]

TIPS_PER_POST = 30
"""No more tips than this go down as one: so much is lost if a post fails. Chosen, no source."""

NEAREST_MM = 0.2
"""Posts that have to be thick stay so far off the figure."""

Option = tuple[float, int, Place, bool, float]
"""What joining saves in mm3; the node to join; where; whether on a post that stands; the radius that it asks for."""

SAME_MM = 0.05
"""Joints nearer than this are one."""

LONGEST_MM = 1e3
"""What a way is worth that can't be told on the lattice."""

LEAST_RUN_MM = 0.3
"""A prop comes down so far at least before it leans on a post."""


@dataclass
class _Router:
    """Props on their way down."""

    ways: Ways
    spaces: tuple[FreeSpace, ...]
    shapes: PropShapes
    cost: PostCost
    most_tips: int
    heap: list[tuple[float, int]] = field(default_factory=list)
    space_of: dict[int, int] = field(default_factory=dict)

    @property
    def slope(self) -> float:
        """Tangent of the lean with which props meet."""
        return float(np.tan(np.radians(self.shapes.lean_deg)))

    def push(self, node: int, space: int) -> None:
        heapq.heappush(self.heap, (-self.ways.places[node][2], node))
        self.space_of[node] = space

    def run(self) -> None:
        """Until nothing is on its way any more."""
        while self.heap:
            _, node = heapq.heappop(self.heap)
            if node in self.space_of:
                space = self.space_of.pop(node)
                if not self._join(node, space):
                    self._go_down(node, space)

    def _left(self, places: Place, space: int) -> npt.NDArray[np.float64]:
        return self.spaces[space].left_mm(places)

    def _go_down(self, node: int, space: int) -> None:
        ways = self.ways
        stop = self.spaces[space].next_stop(ways.places[node])
        if stop is None:
            if space + 1 < len(self.spaces):
                self.push(node, space + 1)
            return
        if stop[2] <= 0.0:
            ways.lead(node, ways.add(stop, FOOT, 0, 0.0))
            return
        below = ways.add(stop, JOINT, 0, 0.0)
        ways.lead(node, below)
        self.push(below, self._roomiest(stop, space))

    def _roomiest(self, spot: Place, last: int) -> int:
        """The first of the spaces, none beyond `last`, in which a place has its way down."""
        for number in range(last):
            free = self.spaces[number]
            if np.isfinite(free.left_mm(spot[None])[0]) and sample(free.far, spot[None])[0] >= free.need_mm:
                return number
        return last

    def _join(self, node: int, space: int) -> bool:
        """Lean towards another that is on its way, or a post that stands, if that saves resin."""
        ways, free = self.ways, self.spaces[space]
        place = ways.places[node]
        left = min(float(self._left(place[None], space)[0]), LONGEST_MM)
        own = float(self.cost.down_mm3(ways.loads_n[node], left, np.linalg.norm(ways.moments_nmm[node])))
        options = self._with_others(node, space, own) + self._with_posts(node, space, own)
        options.sort(key=lambda option: (-option[0], option[1]))
        for saving, other, spot, on_post, radius in options[:24]:
            if saving <= 0.0:
                return False
            need = max(free.need_mm, radius + NEAREST_MM)
            if not free.clear(place, spot, need):
                continue
            if on_post:
                joint = self._split(other, spot)
                ways.lead(node, joint)
                return True
            if np.linalg.norm(spot - ways.places[other]) < SAME_MM:
                ways.lead(node, other)
                return True
            if free.clear(ways.places[other], spot, need):
                joint = ways.add(spot, JOINT, 0, 0.0)
                ways.lead(node, joint)
                ways.lead(other, joint)
                last = max(space, self.space_of.pop(other))
                self.push(joint, self._roomiest(spot, last))
                return True
        return False

    def _with_others(self, node: int, space: int, own: float) -> list[Option]:
        """What joining each of those that are on their way saves, and where."""
        ways = self.ways
        most = self.most_tips - ways.tips[node]
        if most <= 0:
            return []
        others = [n for n in self.space_of if ways.tips[n] <= most]
        if not others:
            return []
        place, slope = ways.places[node], self.slope
        at = np.array([ways.places[n] for n in others])
        away = np.linalg.norm(at[:, :2] - place[:2], axis=1)
        z = np.minimum(0.5 * (place[2] + at[:, 2] - away / slope), at[:, 2])
        z = np.where(at[:, 2] - z < SAME_MM, at[:, 2], z)
        ok = (z > self.shapes.foot_height_mm + 0.3) & (place[2] - z > SAME_MM)
        # straight under one another, or within the cone: down to the other itself
        share = np.where(away > 1e-9, np.minimum((place[2] - z) * slope / np.maximum(away, 1e-9), 1.0), 0.0)
        spots = np.column_stack([place[:2] + share[:, None] * (at[:, :2] - place[:2]), z])
        left, without = self._left(spots, space), np.minimum(self._left(at, space), LONGEST_MM)
        ok &= np.isfinite(left)
        mine, loads = ways.loads_n[node], np.array([ways.loads_n[n] for n in others])
        run, theirs = np.linalg.norm(spots - place, axis=1), np.linalg.norm(spots - at, axis=1)
        cost, left = self.cost, np.where(ok, left, 0.0)
        beside = np.linalg.norm([ways.moments_nmm[n] for n in others], axis=1)
        both = ways.moment_at(node, spots[:, :2]) + np.array(
            [ways.moment_at(n, spot[:2]) for n, spot in zip(others, spots, strict=True)]
        )
        net = np.linalg.norm(both, axis=1)
        limbs = cost.area_mm2(mine, run, net) * run + cost.area_mm2(loads, theirs, net) * theirs
        saving = own + cost.down_mm3(loads, without, beside) - limbs - cost.down_mm3(mine + loads, left, net)
        saving[~ok] = -1.0
        radius = np.sqrt(cost.area_mm2(np.maximum(mine, loads), np.maximum(run, theirs), net) / np.pi)
        return [
            (float(saving[n]), others[n], spots[n], False, float(radius[n]))
            for n in np.flatnonzero(ok & (saving > 0.0))
        ]

    def _with_posts(self, node: int, space: int, own: float) -> list[Option]:
        """What leaning on each post that already stands saves: where the cone under the node first meets it."""
        ways = self.ways
        most = self.most_tips - ways.tips[node]
        if most <= 0:
            return []
        posts = [n for n, d in enumerate(ways.down) if d >= 0 and ways.kinds[n] != TIP]
        # not on what comes down to the node itself, and not where too many would go down as one
        posts = [n for n in posts if (end := ways.end_of(n)) != node and ways.tips[end] <= most]
        if not posts:
            return []
        place, slope = ways.places[node], self.slope
        top = np.array([ways.places[n] for n in posts])
        end = np.array([ways.places[ways.down[n]] for n in posts])
        t = np.linspace(0.0, 1.0, 17)
        spots = top[:, None] + t[None, :, None] * (end - top)[:, None]
        away = np.linalg.norm(spots[:, :, :2] - place[:2], axis=2)
        reached = (away <= (place[2] - LEAST_RUN_MM - spots[:, :, 2]) * slope) & (
            spots[:, :, 2] > self.shapes.foot_height_mm + 0.3
        )
        first = reached.argmax(axis=1)
        rows = np.flatnonzero(reached.any(axis=1))
        chosen = spots[rows, first[rows]]
        run, below = np.linalg.norm(chosen - place, axis=1), chosen[:, 2]
        mine, loads = ways.loads_n[node], np.array([ways.loads_n[posts[n]] for n in rows])
        cost = self.cost
        beside = np.array(
            [ways.moment_at(posts[n], spot[:2]) for n, spot in zip(rows, chosen, strict=True)]
        ).reshape(-1, 2)
        net = np.linalg.norm(beside + ways.moment_at(node, chosen[:, :2]), axis=1)
        thicker = cost.area_mm2(mine + loads, below, net) - cost.area_mm2(
            loads, below, np.linalg.norm(beside, axis=1)
        )
        saving = own - cost.area_mm2(mine, run, net) * run - thicker * below
        radius = np.sqrt(cost.area_mm2(mine, run, net) / np.pi)
        return [
            (float(saving[m]), posts[rows[m]], chosen[m], True, float(radius[m]))
            for m in np.flatnonzero(saving > 0.0)
        ]

    def _split(self, post: int, spot: Place) -> int:
        """A joint within a post, or its end where that is as near."""
        ways = self.ways
        if np.linalg.norm(ways.places[post] - spot) < SAME_MM:
            return post
        end = ways.down[post]
        if np.linalg.norm(ways.places[end] - spot) < SAME_MM:
            return end
        joint = ways.add(spot, JOINT, ways.tips[post], ways.loads_n[post])
        ways.moments_nmm[joint] = ways.moment_at(post, spot[:2])
        ways.down[joint], ways.down[post] = end, joint
        return joint


def route(
    contacts: Contacts,
    loads_n: Floats,
    spaces: tuple[FreeSpace, ...],
    shapes: PropShapes,
    cost: PostCost,
    *,
    avoids: Avoids | None = None,
    rough: Rough | None = None,
    rows: npt.NDArray[np.int64] | None = None,
    most_tips: int = TIPS_PER_POST,
    down: bool = True,
) -> Ways:
    """Posts for contacts.

    Parameters
    ----------
    contacts : Contacts
    loads_n : (n,) float64
        What each bears at most.
    spaces : tuple of FreeSpace
        The first with room to spare, further ones tighter: a prop takes the first in which it has a way down.
    avoids : callable, optional
        Where nothing may rest.
    rough : callable, optional
        How rough the figure is: what rests takes smooth places.
    rows : (r,) int64, optional
        Which contacts; left out, all.
    most_tips : int
        So many go down as one at most: 1 for posts by themselves.
    down : bool
        Whether they may go down to the platform; else all stand on the figure.
    """
    ways = Ways()
    router = _Router(ways, spaces, shapes, cost, most_tips)
    rows = np.arange(len(contacts)) if rows is None else rows
    heads, space_of = choose_heads(contacts.only(rows), loads_n[rows], spaces, shapes, cost)
    for n, row in enumerate(rows.tolist()):
        tip = ways.add(contacts.places_mm[row], TIP, 1, float(loads_n[row]))
        ways.tip_of[tip] = row
        if space_of[n] < 0 or not down:
            continue
        head = ways.add(heads[n], HEAD, 1, float(loads_n[row]))
        ways.down[tip] = head
        ways.moments_nmm[head] = ways.moment_at(tip, heads[n, :2])
        router.push(head, int(space_of[n]))
    router.run()
    # what lost its way further down begins again at its tips
    lost = [tip for tip in ways.tip_of if ways.kinds[ways.end_of(tip)] not in (FOOT, REST)]
    for tip in lost:
        ways.down[tip] = -1
    for tip in lost:
        row = ways.tip_of[tip]
        rest_on_figure(
            ways, tip, contacts.normals[row], float(contacts.diameters_mm[row]), spaces[-1], shapes, cost,
            avoids=avoids, rough=rough,
        )  # fmt: skip
    ways.unreached = [ways.tip_of[tip] for tip in lost if ways.down[tip] < 0]
    ways = pruned(ways)
    straighten(ways, contacts, spaces[-1], shapes)
    return ways
