"""Regions followed from layer to layer: what starts bare, and whether it joins what the platform holds soon enough."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.printing.layer_runs import Regions, shared

LEAST_PIXELS = 4
"""A region of fewer pixels with nothing beneath it doesn't cure: it is counted only. Common practice, no source."""

JOINS_WITHIN = 2
"""Layers within which a bare start must join held material. Chosen, no source: it hangs on the film till then."""


@dataclass(frozen=True)
class BareStart:
    """A region that begins with nothing under it.

    Attributes
    ----------
    layer : int
    pixels : int
    middle : (float, float)
        Column and row of a place in it, in pixels from the grid's corner.
    joins : int or None
        Layers after which it hangs together with what the platform holds; None where it doesn't within `within`.
    """

    layer: int
    pixels: int
    middle: tuple[float, float]
    joins: int | None


class StartsFollower:
    """Takes layers from the platform up, and finds the bare starts.

    What is on layer 0 stands on the platform. A fleck (fewer than `least_pixels`, nothing beneath) is taken as not
    there, so what lies on it alone has nothing beneath it either.
    """

    def __init__(self, *, least_pixels: int = LEAST_PIXELS, within: int = JOINS_WITHIN) -> None:
        self.least_pixels, self.within = least_pixels, within
        self.flecks = 0
        self.found: list[BareStart] = []
        self._parent = [0]
        self._before: Regions | None = None
        self._ids: list[int] = []
        self._layer = -1
        self._waiting: list[tuple[BareStart, int]] = []

    def add(self, regions: Regions) -> Regions:
        """Take the next layer's regions; gives them without flecks."""
        self._layer += 1
        if self._before is None:
            ids = [0] * regions.count
        else:
            pairs = shared(regions, self._before)
            held = [False] * regions.count
            for label in pairs[:, 0].tolist():
                held[label] = True
            small = (regions.pixels < self.least_pixels).tolist()
            dropped = [s and not h for s, h in zip(small, held, strict=True)]
            flecks = sum(dropped)
            if flecks:
                self.flecks += flecks
                regions = regions.without(np.array(dropped))
                pairs = shared(regions, self._before)
            ids = self._join(regions, pairs)
        self._before, self._ids = regions, ids
        self._settle(last=False)
        return regions

    def finish(self) -> tuple[BareStart, ...]:
        """All bare starts, in the order of layers; to be called once, after the last layer."""
        self._settle(last=True)
        return tuple(sorted(self.found, key=lambda start: (start.layer, start.middle[1], start.middle[0])))

    def _join(self, regions: Regions, pairs: npt.NDArray[np.int32]) -> list[int]:
        ids = [-1] * regions.count
        for label, below in pairs.tolist():
            root = self._root(self._ids[below])
            if ids[label] >= 0:
                mine = self._root(ids[label])
                low, high = min(root, mine), max(root, mine)
                self._parent[high] = low
                root = low
            ids[label] = root
        for label in range(regions.count):
            if ids[label] < 0:
                ids[label] = len(self._parent)
                self._parent.append(ids[label])
                start = BareStart(self._layer, int(regions.pixels[label]), regions.middle(label), None)
                self._waiting.append((start, ids[label]))
        return ids

    def _settle(self, *, last: bool) -> None:
        """Note which of the bare starts have joined, and which have had their time."""
        still = []
        for start, number in self._waiting:
            passed = self._layer - start.layer
            if self._root(number) == 0:
                self.found.append(BareStart(start.layer, start.pixels, start.middle, passed))
            elif last or passed >= self.within:
                self.found.append(start)
            else:
                still.append((start, number))
        self._waiting = still

    def _root(self, number: int) -> int:
        while self._parent[number] != number:
            self._parent[number] = self._parent[self._parent[number]]
            number = self._parent[number]
        return number
