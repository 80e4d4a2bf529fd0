"""From masters and their counts to runs: what is placed as one, lot by lot, and first one of each as a trial."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from firstcast.printing.ground import Ground
from firstcast.printing.nesting import beside, fill_runs, most_sets, overlaps
from firstcast.printing.nesting_search import Effort, Spot
from firstcast.printing.run import Placement, Run
from firstcast.printing.shadows import QUARTERS, Shadow


@dataclass(frozen=True)
class Group:
    """What is placed as one.

    Attributes
    ----------
    members : tuple of (master, column, row)
        Where the middles of the masters in it lie, in cells from its own.
    copies : int
    lot : str
        Groups of one lot share runs.
    """

    shadow: Shadow
    members: tuple[tuple[str, int, int], ...]
    copies: int
    lot: str = ""


@dataclass(frozen=True)
class Laid:
    """A run with its height, and the share of the platform that lies under what stands on it."""

    run: Run
    height_mm: float
    covered_ratio: float


def paired(
    first: Group, second: Group, ground: Ground, turns: Sequence[int], clearance_mm: float
) -> list[Group]:
    """Two masters side by side as one, and what is left of the more numerous; as they are where a pair has no room."""
    both, (column, row) = beside(first.shadow, second.shadow, clearance_mm)
    if not ground.has_room(both, turns):
        return [first, second]
    pairs = min(first.copies, second.copies)
    members = (*first.members, *((name, c + column, r + row) for name, c, r in second.members))
    rest = (Group(g.shadow, g.members, g.copies - pairs, g.lot) for g in (first, second))
    return [Group(both, members, pairs, first.lot), *rest]


def lay_out(
    groups: Sequence[Group],
    ground: Ground,
    *,
    clearance_mm: float,
    turns: Sequence[int],
    effort: Effort,
    fill: bool = False,
    trial: bool = False,
) -> tuple[Laid, ...]:
    """Runs that hold all copies of the groups, lot by lot; or, to `fill`, one of as many sets as it takes per lot.

    With `trial` one of each master is printed first, on runs of their own that count towards the copies.

    Raises
    ------
    InputError
        A group has no place on the empty platform.
    """
    how = {"clearance_mm": clearance_mm, "turns": turns, "effort": effort}
    laid: list[Laid] = []
    first = _one_of_each(groups) if trial else []
    for lot in _lots(first):
        runs = fill_runs([group.shadow for group in lot], [1] * len(lot), ground.size, **how)
        laid += _checked(runs, lot, ground, clearance_mm)
    trials = [_named(one, "trial run", number) for number, one in enumerate(laid)]
    laid = []
    for lot in _lots(_without(groups, first)):
        shadows = [group.shadow for group in lot]
        if fill:
            runs = [most_sets(shadows, [1] * len(lot), ground.size, **how)]
        else:
            runs = fill_runs(shadows, [group.copies for group in lot], ground.size, **how)
        laid += _checked(runs, lot, ground, clearance_mm)
    return (*trials, *(replace(one, run=replace(one.run, name=f"run {n}")) for n, one in enumerate(laid, 1)))


def _named(laid: Laid, name: str, number: int) -> Laid:
    """By the name, from the second on with its number."""
    return replace(laid, run=replace(laid.run, name=f"{name} {number + 1}" if number else name))


def _one_of_each(groups: Sequence[Group]) -> list[Group]:
    """Groups that hold every master that is printed, each once as far as pairs allow."""
    chosen: list[Group] = []
    for group in groups:
        known = {name for other in chosen for name, _, _ in other.members}
        if group.copies > 0 and not known.issuperset(name for name, _, _ in group.members):
            chosen.append(group)
    return chosen


def _without(groups: Sequence[Group], printed: Sequence[Group]) -> list[Group]:
    """The groups with one copy fewer of each that is printed."""
    return [
        replace(group, copies=group.copies - sum(other is group for other in printed)) for group in groups
    ]


def _lots(groups: Sequence[Group]) -> list[list[Group]]:
    lots: dict[str, list[Group]] = {}
    for group in groups:
        if group.copies > 0:
            lots.setdefault(group.lot, []).append(group)
    return list(lots.values())


def _checked(
    runs: Sequence[Sequence[Spot]], lot: Sequence[Group], ground: Ground, clearance_mm: float
) -> list[Laid]:
    """The runs of a lot, looked at once more cell by cell, in the middle of the platform."""
    shadows = [group.shadow for group in lot]
    found = []
    for spots in filter(None, runs):
        if overlaps(shadows, spots, ground.size, clearance_mm):
            raise AssertionError("pieces were placed within their clearance: a fault of the program")
        found.append(_laid("", lot, _centred(shadows, spots, ground.size), ground))
    return found


def _centred(shadows: Sequence[Shadow], run: Sequence[Spot], size: tuple[int, int]) -> list[Spot]:
    """All spots moved together until the rectangle about them has its middle in the platform's."""
    low, high = np.array(size), np.zeros(2, np.int64)
    for spot in run:
        turned = shadows[spot.shadow].at(spot.turn)
        start = np.array([spot.column, spot.row]) + turned.corner
        low = np.minimum(low, start)
        high = np.maximum(high, start + turned.plan.shape[::-1])
    dx, dy = ((np.array(size) - high - low) // 2).tolist()
    return [spot._replace(column=spot.column + dx, row=spot.row + dy) for spot in run]


def _laid(name: str, lot: Sequence[Group], spots: Sequence[Spot], ground: Ground) -> Laid:
    covered = np.zeros((ground.size[1], ground.size[0]), np.bool_)
    placements: list[Placement] = []
    for spot in spots:
        group = lot[spot.shadow]
        turned = group.shadow.at(spot.turn)
        x, y = spot.column + turned.corner[0], spot.row + turned.corner[1]
        rows, columns = turned.plan.shape
        covered[y : y + rows, x : x + columns] |= turned.plan > 0
        placements += _placements(group, spot, ground)
    area = float(covered.sum()) * ground.cell_mm[0] * ground.cell_mm[1]
    height = max(lot[spot.shadow].shadow.height_mm for spot in spots)
    return Laid(Run(name, tuple(placements)), height, area / (ground.build_mm[0] * ground.build_mm[1]))


def _placements(group: Group, spot: Spot, ground: Ground) -> list[Placement]:
    """The masters of a group in its spot, on whole pixels; several are turned by quarters only."""
    found = []
    turn_deg = spot.turn * group.shadow.step_deg
    for name, dx, dy in group.members:
        for _ in range(int(turn_deg // 90.0) % QUARTERS):
            dx, dy = -dy, dx
        x, y = (
            (ground.first_px[axis] + cells * ground.step_px[axis]) * ground.pixel_mm[axis]
            for axis, cells in enumerate((spot.column + dx, spot.row + dy))
        )
        found.append(Placement(name, x, y, turn_deg))
    return found
