"""Tips that are added where those that are there bear too much: they share the load.

Necks under a stiff body are stressed by one plane over x and y (`process.neck_groups`), so what overloads a neck is where it
stands, the area of all, and how wide they stand; once necks are as thick as they may be, only more of them help, and most where the load
lies. They are taken from spare places on the underside of the same body that are printed by then.
"""

import numpy as np
import numpy.typing as npt
from scipy.spatial import KDTree

from firstcast.printing.groups_of_tips import Group, Layer
from firstcast.printing.holding import stages_of
from firstcast.printing.prop_wants import Strength
from firstcast.printing.starts import Found
from firstcast.printing.tips import Contacts

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.int64]

APART_MM = 0.9
"""Added tips keep so far from others: half as much again as a stout one is thick, so that each can be snapped off by itself."""

MOST_TRIED = 400
"""Spare places that are weighed against one another for each tip."""

LEAST_GAIN = 1e-6

EXCHANGES_TRIED = 12
"""So many exchanges, those that promise most, are weighed by all layers."""

THINNER = 0.97
"""A neck that is thinner than so much of what it may be is worth thickening."""


def share_out(
    found: Found,
    contacts: Contacts,
    most_mm: Floats,
    spare: Contacts,
    prices: Floats,
    strength: Strength,
    *,
    layer_mm: float,
    props_n: Floats | None = None,
) -> tuple[Floats, Rows]:
    """Which tips must be as thick as they may be, and which spare places must bear as well, so that no neck bears too much.

    As far as they can help.

    Parameters
    ----------
    contacts : Contacts
        As thick as they may be where they bear too much.
    most_mm : (n,) float64
        How thick each may be.
    spare : Contacts
        Each as thick as it would be.
    prices : (n + s,) float64
        How little it is liked that a tip is thickened, and that a spare place is marked; infinite where it may not be.
    props_n : (n,) float64, optional
        What the prop of each contact may bear along it; left out, more than its neck.

    Returns
    -------
    (n,) float64
        Diameters of the contacts.
    (k,) int64
        Rows of `spare`, in the order in which they help.
    """
    first = len(contacts)
    if not first:
        return contacts.diameters_mm, np.zeros(0, np.int64)
    everyone = contacts.joined(spare)
    stages = stages_of(
        found, everyone, layer_mm=layer_mm, stress_kpa=strength.stress_kpa, density_g_cm3=strength.density_g_cm3
    )  # fmt: skip
    wide = np.concatenate([contacts.diameters_mm, np.zeros(len(spare))])
    most = np.concatenate([np.maximum(most_mm, contacts.diameters_mm), spare.diameters_mm])
    bear = np.full(len(everyone), np.inf)
    if props_n is not None:
        bear[:first] = props_n
    group = Group(stages, everyone, wide, may_mpa=strength.strength_mpa / strength.safety, props_n=bear)
    choice = _Choice(group, first, prices)
    helpless: set[int] = set()
    while layers := group.overloaded(helpless):
        tries = layers[0].tips
        tries = tries[choice.open(tries) & (wide[tries] < THINNER * most[tries])]
        tries = tries[:: max(1, len(tries) // MOST_TRIED)]
        rows = _best(group, layers, tries[:, None], most, prices)
        if not len(rows):
            rows = _best(group, layers, _facing(group, layers[0], tries), most, prices)
        for row in rows.tolist():
            choice.take(row, float(most[row]))
        if not len(rows) and not choice.exchange(layers, most, prices):
            helpless.add(layers[0].stage)
    return wide[:first], np.array(choice.rows, np.int64) - first


class _Choice:
    """Which spare places are taken: none nearer to a tip, or to one another, than APART_MM.

    `rows` in the order in which they help; `near` finds those of all that are too near to one; `crowded` counts for each how many of
    those that are taken are.
    """

    def __init__(self, group: Group, first: int, prices: Floats) -> None:
        self.group, self.first, self.rows = group, first, list[int]()
        self._places = KDTree(group.everyone.places_mm)
        self.may = np.isfinite(prices)
        for row in range(first):
            near = self._near(row)
            self.may[near[near >= first]] = False
        self.crowded = np.zeros(len(prices), np.int64)

    def _near(self, row: int) -> Rows:
        """All that are too near to one, itself among them."""
        place = self.group.everyone.places_mm[row]
        near = np.array(self._places.query_ball_point(place, APART_MM, return_sorted=True), np.int64)
        return near[np.linalg.norm(self.group.everyone.places_mm[near] - place, axis=1) < APART_MM]

    def open(self, rows: Rows) -> npt.NDArray[np.bool_]:
        """Which may be taken, or thickened, beside all that is taken."""
        return self.may[rows] & ((rows < self.first) | (self.crowded[rows] == 0))

    def take(self, row: int, wide_mm: float) -> None:
        """Let a tip, or a spare place, be so thick; 0 gives a place back."""
        self.group.grow(row, wide_mm)
        if row >= self.first:
            self.crowded[self._near(row)] += 1 if wide_mm > 0.0 else -1
            if wide_mm > 0.0:
                self.rows.append(row)
            else:
                self.rows.remove(row)

    def exchange(self, layers: list[Layer], most: Floats, prices: Floats) -> bool:
        """Take a place that those taken are too near to, and give these back, if all layers together are better off.

        What relieves most layers is taken first; a place that is printed a little earlier, or lies a little better, and would help
        the layer that is left, may be barred by it.
        """
        tries = layers[0].tips
        tries = tries[(tries >= self.first) & self.may[tries] & (self.crowded[tries] > 0)]
        taken = set(self.rows)
        bars = {row: [near for near in self._near(row).tolist() if near in taken] for row in tries.tolist()}
        ways = [np.array([row, *gone]) for row, gone in bars.items() if row not in taken]
        gains = np.array([self._gain(layers, way, most) for way in ways])
        worth = gains / np.array([prices[way[0]] for way in ways])
        for number in np.argsort(-worth, kind="stable")[:EXCHANGES_TRIED].tolist():
            if gains[number] <= LEAST_GAIN:
                break
            if self._exchanged(ways[number], most):
                return True
        return False

    def _gain(self, layers: list[Layer], way: Rows, most: Floats) -> float:
        """By how much some layers are relieved where the first of a way is taken, and the others are given back."""
        would = np.where(np.arange(len(way)) == 0, most[way], 0.0)[None]
        was = self.group.wide_mm[way][None]
        return sum(
            float(self.group.excess(layer, way[None], was)[0] - self.group.excess(layer, way[None], would)[0])
            for layer in layers
        )

    def _exchanged(self, way: Rows, most: Floats) -> bool:
        """Do so, or leave all as it is if that is no better in all layers."""
        before, order = self.group.beyond, list(self.rows)
        row, gone = int(way[0]), way[1:].tolist()
        for other in gone:
            self.take(other, 0.0)
        self.take(row, float(most[row]))
        if self.group.beyond < before - LEAST_GAIN and all(self.group.holds(other) for other in gone):
            return True
        self.take(row, 0.0)
        for other in gone:
            self.take(other, float(most[other]))
        self.rows = order
        return False


def _best(group: Group, layers: list[Layer], tries: Rows, most: Floats, prices: Floats) -> Rows:
    """Of some tips and spare places (k, j), taken j at a time, those that relieve most for their price; none where none do."""
    if not len(tries):
        return np.zeros(0, np.int64)
    gain = np.zeros(len(tries))
    for layer in layers:
        before = group.excess(layer, tries[:1], group.wide_mm[tries[:1]])[0]
        gain += before - group.excess(layer, tries, most[tries])
    best = int((gain / prices[tries].sum(axis=1)).argmax())
    return tries[best] if gain[best] > LEAST_GAIN else np.zeros(0, np.int64)


def _facing(group: Group, layer: Layer, tries: Rows) -> Rows:
    """(k, 2) pairs of tips or spare places that face each other across the load.

    One alone beside a tip right under the load takes nothing of it: it would tilt the body.
    """
    if len(tries) < 2:
        return np.zeros((0, 2), np.int64)
    places = group.places[tries]
    away, other = KDTree(places).query(2.0 * layer.total[1:] / layer.total[0] - places)
    apart = np.linalg.norm(places - places[other], axis=1)
    return np.column_stack([tries, tries[other]])[(apart >= APART_MM) & (away < apart)]
