"""Hollows that the film closes off while a layer is printed: they suck when it is lifted, or are sealed for good.

The film lies under the newest layer, so in layer k an empty region counts as outside if it reaches the image's edge,
there or through the empty pixels of layers 0 .. k. What doesn't is a cup: the piece and the film hold it shut. The
platform closes what stands on it. A cup that goes on in no later layer is sealed: what it holds stays in the piece.
"""

from dataclasses import dataclass

from firstcast.printing.layer_runs import Regions, enclosed_gaps, shared


@dataclass(frozen=True)
class CupPixels:
    """A cup in pixels and layers.

    Attributes
    ----------
    voxels : int
        Of its hollow, up to when it was sealed or opened.
    mouth : int
        Pixels of its greatest section against the film.
    layer : int
        Where that is.
    first, last : int
        The layers between which the film closes it.
    middle : (float, float)
        Column and row of a place in its mouth.
    sealed : bool
        Closed for good above layer `last`; else it opened sideways, or stands open at the top.
    """

    voxels: int
    mouth: int
    layer: int
    first: int
    last: int
    middle: tuple[float, float]
    sealed: bool


@dataclass
class _Hollow:
    """One hollow while it is followed."""

    first: int
    voxels: int = 0
    mouth: int = 0
    layer: int = 0
    middle: tuple[float, float] = (0.0, 0.0)

    def take(self, other: "_Hollow") -> None:
        self.first = min(self.first, other.first)
        self.voxels += other.voxels
        if (other.mouth, -other.layer) > (self.mouth, -self.layer):
            self.mouth, self.layer, self.middle = other.mouth, other.layer, other.middle


class CupsFollower:
    """Takes layers from the platform up, and finds the cups."""

    def __init__(self) -> None:
        self.found: list[CupPixels] = []
        self.closed: list[int] = []
        """Per layer the pixels of it that the film closes."""
        self._layer = -1
        self._before: Regions | None = None
        self._hollows: list[_Hollow | None] = []
        """Of the layer before, per region; None for what is outside."""

    def add(self, cured: Regions) -> None:
        """Take the cured regions of the next layer."""
        self._layer += 1
        gaps, outside = enclosed_gaps(cured)
        pairs = shared(gaps, self._before).tolist() if self._before is not None else []
        hollows: list[_Hollow | None] = [None if out else _Hollow(self._layer) for out in outside.tolist()]
        self._close(pairs, hollows)
        groups = _groups(len(hollows), self._hollows, pairs)
        for mine, theirs in groups:
            self._grow(gaps, hollows, mine, theirs)
        self.closed.append(
            sum(int(n) for n, hollow in zip(gaps.pixels, hollows, strict=True) if hollow is not None)
        )
        self._before, self._hollows = gaps, hollows

    def finish(self) -> tuple[CupPixels, ...]:
        """All cups, in the order of layers; to be called once, after the last layer."""
        for hollow in _distinct(self._hollows):
            self._note(hollow, self._layer, sealed=False)
        return tuple(sorted(self.found, key=lambda cup: (cup.layer, cup.middle[1], cup.middle[0])))

    def _close(self, pairs: list[list[int]], hollows: list[_Hollow | None]) -> None:
        """Note the hollows that go on in this layer nowhere: they are sealed."""
        goes_on = {id(self._hollows[below]) for _, below in pairs}
        for hollow in _distinct(self._hollows):
            if id(hollow) not in goes_on:
                self._note(hollow, self._layer - 1, sealed=True)

    def _grow(self, gaps: Regions, hollows: list[_Hollow | None], mine: list[int], theirs: list[int]) -> None:
        """Join regions that hang together through these two layers, and the hollows beneath them."""
        beneath = _distinct([self._hollows[below] for below in theirs])
        is_outside = any(hollows[label] is None for label in mine) or any(
            self._hollows[below] is None for below in theirs
        )
        if is_outside:
            for label in mine:
                hollows[label] = None
            for hollow in beneath:
                self._note(hollow, self._layer - 1, sealed=False)
            return
        own = _Hollow(self._layer)
        own.voxels = own.mouth = sum(int(gaps.pixels[label]) for label in mine)
        own.layer, own.middle = self._layer, gaps.middle(max(mine, key=lambda label: int(gaps.pixels[label])))
        for hollow in beneath:
            own.take(hollow)
        for label in mine:
            hollows[label] = own

    def _note(self, hollow: _Hollow, last: int, *, sealed: bool) -> None:
        self.found.append(
            CupPixels(hollow.voxels, hollow.mouth, hollow.layer, hollow.first, last, hollow.middle, sealed)
        )


def _distinct(hollows: list[_Hollow | None]) -> list[_Hollow]:
    """Each hollow once, in order."""
    return list({id(hollow): hollow for hollow in hollows if hollow is not None}.values())


def _groups(
    count: int, beneath: list[_Hollow | None], pairs: list[list[int]]
) -> list[tuple[list[int], list[int]]]:
    """Regions of a layer, and of the layer before, that hang together through pairs or as one hollow beneath."""
    parent = list(range(count + len(beneath)))

    def root(number: int) -> int:
        while parent[number] != number:
            parent[number] = parent[parent[number]]
            number = parent[number]
        return number

    def join(one: int, two: int) -> None:
        one, two = root(one), root(two)
        parent[max(one, two)] = min(one, two)

    first_of: dict[int, int] = {}
    for below, hollow in enumerate(beneath):
        if hollow is not None:
            join(count + below, count + first_of.setdefault(id(hollow), below))
    for label, below in pairs:
        join(label, count + below)
    groups: dict[int, tuple[list[int], list[int]]] = {}
    for label in range(count):
        groups.setdefault(root(label), ([], []))[0].append(label)
    for below in range(len(beneath)):
        if root(count + below) in groups:
            groups[root(count + below)][1].append(below)
    return list(groups.values())
