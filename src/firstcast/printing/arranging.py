"""From masters and their counts to runs: the platform in cells of whole pixels, and what is placed on it as one."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from firstcast.errors import InputError
from firstcast.printing.nesting import beside, fill_runs, most_sets, overlaps
from firstcast.printing.nesting_search import Effort, Spot
from firstcast.printing.run import Placement, Run
from firstcast.printing.shadows import Shadow

ALL_TURNS, HALF_TURNS, NO_TURNS = (0, 1, 2, 3), (0, 2), (0,)


class Ground(NamedTuple):
    """A platform in cells.

    Attributes
    ----------
    size : (int, int)
        Columns and rows of cells that may be used.
    step_px, first_px : (int, int)
        Pixels that a cell spans, and the pixel that the first one starts at, along x and y.
    pixel_mm : (float, float)
    build_mm : (float, float, float)
        Width, depth and height.
    """

    size: tuple[int, int]
    step_px: tuple[int, int]
    first_px: tuple[int, int]
    pixel_mm: tuple[float, float]
    build_mm: tuple[float, float, float]

    @property
    def cell_mm(self) -> tuple[float, float]:
        """Along x and y."""
        return self.step_px[0] * self.pixel_mm[0], self.step_px[1] * self.pixel_mm[1]

    def turns(self, allowed: bool) -> tuple[int, ...]:
        """Quarter turns that leave pixels on pixels."""
        square = self.pixel_mm[0] == self.pixel_mm[1] and self.step_px[0] == self.step_px[1]
        return NO_TURNS if not allowed else ALL_TURNS if square else HALF_TURNS

    def has_room(self, shadow: Shadow, turns: Sequence[int]) -> bool:
        """Whether a shadow fits on the platform and below its height."""
        rows, columns = shadow.plan.shape
        ways = [(columns, rows)] + ([(rows, columns)] if 1 in turns else [])
        fits = any(x <= self.size[0] and y <= self.size[1] for x, y in ways)
        return fits and shadow.height_mm <= self.build_mm[2]


def ground_of(
    build_mm: tuple[float, float, float],
    pixel_mm: tuple[float, float],
    *,
    edge_mm: float,
    cell_mm: float,
) -> Ground:
    """The cells of a platform within its edges, each of whole pixels, their field in the middle.

    Raises
    ------
    InputError
        The edges leave nothing.
    """
    steps, sizes, firsts = [], [], []
    for build, pixel in zip(build_mm[:2], pixel_mm, strict=True):
        step = max(round(cell_mm / pixel), 1)
        edge = math.ceil(edge_mm / pixel - 1e-9)
        room = math.floor(build / pixel + 1e-6) - 2 * edge
        if room < step:
            raise InputError(
                f"edges of {edge_mm:g} mm leave nothing of {build:g} mm",
                where="platform.edge_mm",
                mend="Make the edges narrower.",
            )
        steps.append(step)
        sizes.append(room // step)
        firsts.append(edge + room % step // 2)
    return Ground((sizes[0], sizes[1]), (steps[0], steps[1]), (firsts[0], firsts[1]), pixel_mm, build_mm)


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
) -> tuple[Laid, ...]:
    """Runs that hold all copies of the groups, lot by lot; or, to `fill`, one of as many sets as it takes per lot.

    Raises
    ------
    InputError
        A group has no place on the empty platform.
    """
    lots: dict[str, list[Group]] = {}
    for group in groups:
        if group.copies > 0:
            lots.setdefault(group.lot, []).append(group)
    laid: list[Laid] = []
    for lot in lots.values():
        shadows, how = [group.shadow for group in lot], {"clearance_mm": clearance_mm, "turns": turns}
        if fill:
            runs = [most_sets(shadows, [1] * len(lot), ground.size, effort=effort, **how)]
        else:
            runs = fill_runs(shadows, [group.copies for group in lot], ground.size, effort=effort, **how)
        for spots in filter(None, runs):
            if overlaps(shadows, spots, ground.size, clearance_mm):
                raise AssertionError("pieces were placed within their clearance: a fault of the program")
            centred = _centred(shadows, spots, ground.size)
            laid.append(_laid(f"run {len(laid) + 1}", lot, centred, ground))
    return tuple(laid)


def _centred(shadows: Sequence[Shadow], run: Sequence[Spot], size: tuple[int, int]) -> list[Spot]:
    """All spots moved together until the rectangle about them has its middle in the platform's."""
    low, high = np.array(size), np.zeros(2, np.int64)
    for spot in run:
        turned = shadows[spot.shadow].turned(spot.quarter_turns)
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
        turned = group.shadow.turned(spot.quarter_turns)
        x, y = spot.column + turned.corner[0], spot.row + turned.corner[1]
        rows, columns = turned.plan.shape
        covered[y : y + rows, x : x + columns] |= turned.plan > 0
        placements += _placements(group, spot, ground)
    area = float(covered.sum()) * ground.cell_mm[0] * ground.cell_mm[1]
    height = max(lot[spot.shadow].shadow.height_mm for spot in spots)
    return Laid(Run(name, tuple(placements)), height, area / (ground.build_mm[0] * ground.build_mm[1]))


def _placements(group: Group, spot: Spot, ground: Ground) -> list[Placement]:
    """The masters of a group in its spot, on whole pixels."""
    found = []
    for name, dx, dy in group.members:
        for _ in range(spot.quarter_turns):
            dx, dy = -dy, dx
        x, y = (
            (ground.first_px[axis] + cells * ground.step_px[axis]) * ground.pixel_mm[axis]
            for axis, cells in enumerate((spot.column + dx, spot.row + dy))
        )
        found.append(Placement(name, x, y, spot.quarter_turns))
    return found
