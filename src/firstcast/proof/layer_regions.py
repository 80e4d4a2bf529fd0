"""From the images alone: regions that begin with nothing beneath, and hollows that the film closes.

All layers are read first into graphs (which region lies over which), and the graphs are judged at the end: what the
images say is not followed layer by layer as it was when they were made.
"""

import heapq
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from firstcast.proof import _layers

Image = npt.NDArray[np.uint8]
Labels = npt.NDArray[np.int32]


class LookedAt(NamedTuple):
    """One layer as labels.

    Attributes
    ----------
    kinds : (h, w) uint8
        Outside, shut in (cured ones on either side in its row), or cured: 0, 1, 2.
    spans : (h, 2) int32
        First and stop column of what is not outside.
    cured, empty : (h, w) int32
        Regions of cured pixels and of pixels shut in, from 1 up.
    pixels, empty_pixels : (n + 1,) int64
        Of each region; the first is of what has none.
    is_open : (m + 1,) uint8
        Which empty regions reach the outside within the layer; the first stands for the outside.
    """

    kinds: Image
    spans: npt.NDArray[np.int32]
    cured: Labels
    empty: Labels
    pixels: npt.NDArray[np.int64]
    empty_pixels: npt.NDArray[np.int64]
    is_open: npt.NDArray[np.uint8]


class Start(NamedTuple):
    """A bare start: layer, pixels, a pixel of it as column and row, and after how many layers it is held, or -1."""

    layer: int
    pixels: int
    column: int
    row: int
    held_after: int


class Hollow(NamedTuple):
    """A hollow that the film closes: its voxels, first and last layer, and whether nothing ever opens it."""

    voxels: int
    first: int
    last: int
    sealed: bool


def look_at(image: Image, level: int) -> LookedAt:
    """Label a layer: cured pixels by edge and corner, empty ones by edge."""
    # memory that is 0 because nobody wrote to it: most of an image is never touched
    kinds, spans = np.zeros(image.shape, np.uint8), np.zeros((len(image), 2), np.int32)
    cured, empty = np.zeros(image.shape, np.int32), np.zeros(image.shape, np.int32)
    _layers.sort_pixels(image, level, kinds, spans)
    pixels = _layers.label_pixels(kinds, _layers.CURED, spans, True, cured)
    empty_pixels = _layers.label_pixels(kinds, _layers.SHUT_IN, spans, False, empty)
    is_open = np.zeros(len(empty_pixels), np.uint8)
    is_open[0] = 1
    _layers.open_labels(kinds, spans, empty, is_open)
    return LookedAt(kinds, spans, cured, empty, pixels, empty_pixels, is_open)


def over(look: LookedAt, before: LookedAt) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """(p, 2) and (q, 2): cured, and empty regions of a layer and of the layer before that share a pixel; empty 0 is outside."""
    cured = np.zeros((len(look.pixels), len(before.pixels)), np.uint8)
    empty = np.zeros((len(look.empty_pixels), len(before.empty_pixels)), np.uint8)
    one, other = ((entry.kinds, entry.spans, entry.cured, entry.empty) for entry in (look, before))
    _layers.shared_labels(one, other, cured, empty)
    return np.argwhere(cured), np.argwhere(empty)


class Stack:
    """The layers' regions and how they lie over one another, gathered from the platform up."""

    def __init__(self, *, least_pixels: int, within: int) -> None:
        self.least_pixels, self.within = least_pixels, within
        self.flecks = 0
        self._layer = -1
        self._before: LookedAt | None = None
        self._numbers = np.zeros(0, np.int64)
        """Number of each cured region of the layer before; -1 for flecks."""
        self._layer_of: list[int] = []
        self._edges: list[tuple[int, int]] = []
        self._starts: list[tuple[Start, int]] = []
        self._regions: list[tuple[int, int]] = []
        """Of each layer how many, and pixels of the largest."""
        self._empty_numbers = np.zeros(0, np.int64)
        self._hollows: list[tuple[int, int]] = [(-1, 0)]
        """Layer and pixels of each enclosed empty region; the first stands for the outside."""
        self._gates: list[tuple[int, int, int]] = []
        """Empty regions that hang together, and from which layer on."""

    def add(self, look: LookedAt) -> None:
        """Take the next layer. Flecks don't cure, so hollows are looked at without them."""
        self._layer += 1
        none = np.zeros((0, 2), np.int64)
        cured, empty = (none, none) if self._before is None else over(look, self._before)
        self._add_cured(look, cured)
        if (self._numbers[1:] < 0).any():
            look = self._without_flecks(look)
            empty = empty if self._before is None else over(look, self._before)[1]
        self._add_empty(look, empty)
        self._before = look

    def _without_flecks(self, look: LookedAt) -> LookedAt:
        solid = (self._numbers >= 0)[look.cured] & (look.kinds == _layers.CURED)
        again = look_at(solid.view(np.uint8), 1)
        # what is left keeps its order, and so the flecks' numbers only drop out
        self._numbers = np.r_[-1, self._numbers[1:][self._numbers[1:] >= 0]]
        return again

    def _add_cured(self, look: LookedAt, over_before: npt.NDArray[np.int64]) -> None:
        count, first = len(look.pixels) - 1, self._before is None
        held: dict[int, list[int]] = {}
        for label, beneath in over_before.tolist():
            if self._numbers[beneath] >= 0:
                held.setdefault(label, []).append(int(self._numbers[beneath]))
        numbers = np.full(count + 1, -1, np.int64)
        for label in range(1, count + 1):
            bare = not first and label not in held
            if bare and look.pixels[label] < self.least_pixels:
                self.flecks += 1
                continue
            number = len(self._layer_of)
            numbers[label] = number
            self._layer_of.append(self._layer)
            self._edges += [(number, under) for under in held.get(label, ())]
            if bare:
                row, column = np.argwhere(look.cured == label)[0].tolist()
                start = Start(self._layer, int(look.pixels[label]), column, row, -1)
                self._starts.append((start, number))
        self._numbers = numbers
        solid = look.pixels[numbers >= 0]
        self._regions.append((len(solid), int(solid.max(initial=0))))

    def _add_empty(self, look: LookedAt, over_before: npt.NDArray[np.int64]) -> None:
        numbers = np.zeros(len(look.is_open), np.int64)
        for label in np.flatnonzero(look.is_open == 0).tolist():
            numbers[label] = len(self._hollows)
            self._hollows.append((self._layer, int(look.empty_pixels[label])))
        if self._before is not None:
            pairs = [numbers[over_before[:, 0]], self._empty_numbers[over_before[:, 1]]]
            ends = np.unique(np.stack(pairs, axis=1), axis=0)
            self._gates += [(a, b, self._layer) for a, b in ends.tolist() if a != b]
        self._empty_numbers = numbers

    def starts(self) -> list[Start]:
        """Bare starts, in the order of layers."""
        layers = np.array(self._layer_of)
        edges = np.array(self._edges, np.int64).reshape(-1, 2)
        on_platform = int(np.searchsorted(layers, 1))
        known: dict[int, npt.NDArray[np.int32]] = {}
        found = []
        for start, number in self._starts:
            held_after = -1
            for top in range(start.layer, min(start.layer + self.within, self._layer) + 1):
                if top not in known:
                    nodes = int(np.searchsorted(layers, top, side="right"))
                    known[top] = _components(edges[edges[:, 0] < nodes], nodes)
                if (known[top][:on_platform] == known[top][number]).any():
                    held_after = top - start.layer
                    break
            found.append(start._replace(held_after=held_after))
        return found

    def totals(self) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        """Per layer: cured regions but for flecks, pixels of the largest, and pixels of hollows that the film closes."""
        regions, largest = np.array(self._regions, np.int64).reshape(-1, 2).T
        layers, voxels = np.array(self._hollows, np.int64).T
        shut = self._opening_layers() > layers
        shut[0] = False
        closed = np.zeros(len(regions), np.int64)
        np.add.at(closed, layers[shut], voxels[shut])
        return regions.copy(), largest.copy(), closed

    def hollows(self) -> list[Hollow]:
        """Hollows that were closed while they were printed, the largest first.

        When a region opens is the least layer up to which one must go to reach the outside from it. It is shut while it
        is printed if that is later than its own layer.
        """
        opens = self._opening_layers()
        layers = np.array([layer for layer, _ in self._hollows])
        voxels = np.array([size for _, size in self._hollows])
        shut = opens > layers
        shut[0] = False
        edges = np.array([(a, b) for a, b, _ in self._gates if shut[a] and shut[b]], np.int64).reshape(-1, 2)
        label = _components(edges, len(layers))
        found = []
        for number in np.unique(label[shut]).tolist():
            mine = (label == number) & shut
            first, last = int(layers[mine].min()), int(layers[mine].max())
            sealed = bool((opens[mine] > self._layer).all()) and last < self._layer
            found.append(Hollow(int(voxels[mine].sum()), first, last, sealed))
        return sorted(found, reverse=True)

    def _opening_layers(self) -> npt.NDArray[np.int64]:
        """Per enclosed region the layer up to which it takes to reach the outside; beyond the last where nothing does."""
        near: list[list[tuple[int, int]]] = [[] for _ in self._hollows]
        for a, b, layer in self._gates:
            near[a].append((b, layer))
            near[b].append((a, layer))
        opens = np.full(len(self._hollows), self._layer + 1, np.int64)
        opens[0] = -1
        queue = [(-1, 0)]
        while queue:
            when, node = heapq.heappop(queue)
            if when > opens[node]:
                continue
            for other, layer in near[node]:
                later = max(when, layer)
                if later < opens[other]:
                    opens[other] = later
                    heapq.heappush(queue, (later, other))
        return opens


def _components(edges: npt.NDArray[np.int64], nodes: int) -> npt.NDArray[np.int32]:
    graph = coo_array((np.ones(len(edges), np.uint8), (edges[:, 0], edges[:, 1])), shape=(nodes, nodes))
    return connected_components(graph, directed=False)[1]
