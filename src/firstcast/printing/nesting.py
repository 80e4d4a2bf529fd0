"""Filling platforms with shadows: the fewest runs, then the least time.

Pieces may stand over one another's foot as long as they keep their clearance at every height; a polygon packer knows
their plans only. Which method does how well: docs/decisions/0013-filling-the-platform.md.
"""

from collections import Counter
from collections.abc import Sequence

import numpy as np

from firstcast.errors import InputError
from firstcast.kernels.nesting import Plate
from firstcast.printing.nesting_maps import no_fit
from firstcast.printing.nesting_search import Effort, Spot, fits_alone, place_all, place_in_turn, plate_of
from firstcast.printing.shadows import Shadow

Filling = list[list[Spot]]
"""Runs of spots."""

MOST_AT_ONCE = 400
"""Items that are placed on one platform at a time: more small pieces than a platform of 10 by 10 mm each takes."""


def fill_runs(
    shadows: Sequence[Shadow],
    copies: Sequence[int],
    size: tuple[int, int],
    *,
    clearance_mm: float,
    turns: Sequence[int] = (0, 1, 2, 3),
    effort: Effort | None = None,
) -> Filling:
    """Runs that hold so many copies of every shadow: few runs, and tall pieces together.

    Parameters
    ----------
    shadows : sequence of Shadow
        Of the same cells and bands.
    copies : sequence of int
    size : (int, int)
        Columns and rows of the platform.
    clearance_mm : float
    turns : sequence of int
        Turns allowed, by the shadows' steps and closed under addition: of quarters (0,), (0, 2) or (0, 1, 2, 3).

    Raises
    ------
    InputError
        A shadow has no place on the empty platform.

    Notes
    -----
    Runs are filled with the tallest first, and with the largest first; the filling with fewer runs counts, then the one whose
    runs add up to less height. Where that leaves more runs than the area of some band asks for, pieces are moved together
    to make room for one more at a time.
    """
    effort = effort or Effort()
    plate = plate_of(shadows, size, clearance_mm=clearance_mm, turns=turns)
    for number, wanted in enumerate(copies):
        if wanted and not fits_alone(plate, number):
            rows, columns = shadows[number].plan.shape
            raise InputError(
                f"shadow {number} of {columns} × {rows} cells has no place on {size[0]} × {size[1]}",
                where="nesting",
                mend="Print it alone on a larger platform, or turned otherwise.",
            )
    orders = _orders(shadows)
    quick = effort._replace(sweeps=0)
    fillings = [_fill(plate, shadows, copies, order, quick) for order in orders]
    best = min(fillings, key=lambda filling: _cost(filling, shadows))
    if effort.sweeps and len(best) > fewest_runs(shadows, copies, size):
        fillings += [_fill(plate, shadows, copies, order, effort) for order in orders]
    return min(fillings, key=lambda filling: _cost(filling, shadows))


def most_sets(
    shadows: Sequence[Shadow],
    mix: Sequence[int],
    size: tuple[int, int],
    *,
    clearance_mm: float,
    turns: Sequence[int] = (0, 1, 2, 3),
    effort: Effort | None = None,
) -> list[Spot]:
    """As many whole sets as one platform takes, `mix` copies of each shadow to a set; empty if not one has room."""
    effort = effort or Effort()
    plate = plate_of(shadows, size, clearance_mm=clearance_mm, turns=turns)
    if not all(fits_alone(plate, number) for number, wanted in enumerate(mix) if wanted):
        return []
    one = [number for number, wanted in enumerate(mix) for _ in range(wanted)]
    best = _sets_in_turn(plate, one) if one else []
    while one and len(best) + len(one) <= MOST_AT_ONCE:
        spots = place_all(plate, [spot.shadow for spot in best] + one, effort, known=best)
        if spots is None:
            break
        best = spots
    return best


def _sets_in_turn(plate: Plate, one: Sequence[int]) -> list[Spot]:
    """Whole sets of items that find room one after the other."""
    spots = [
        spot for spot in place_in_turn(plate, list(one) * (MOST_AT_ONCE // len(one))) if spot is not None
    ]
    placed, wanted = Counter(spot.shadow for spot in spots), Counter(one)
    left = {kind: min(placed[k] // wanted[k] for k in wanted) * wanted[kind] for kind in wanted}
    kept = []
    for spot in spots:
        if left[spot.shadow] > 0:
            left[spot.shadow] -= 1
            kept.append(spot)
    return kept


def fewest_runs(shadows: Sequence[Shadow], copies: Sequence[int], size: tuple[int, int]) -> int:
    """Runs that no filling goes below: cells of one band never overlap, so their number bounds it."""
    bands = max(len(shadow.cells) for shadow in shadows)
    filled = np.zeros(bands, np.int64)
    for shadow, wanted in zip(shadows, copies, strict=True):
        fewest = _fewest_cells(shadow)
        filled[: len(fewest)] += wanted * fewest
    return max(int(-(-filled.max() // (size[0] * size[1]))), int(any(copies)))


def _fewest_cells(shadow: Shadow) -> np.ndarray:
    """Cells of each band, in the turn that covers fewest of it."""
    counts = [one.cells.sum(axis=(1, 2), dtype=np.int64) for one in (shadow, *shadow.between)]
    bands = min(len(count) for count in counts)
    return np.min([count[:bands] for count in counts], axis=0)


def overlaps(
    shadows: Sequence[Shadow], spots: Sequence[Spot], size: tuple[int, int], clearance_mm: float
) -> list[int]:
    """Spots that reach off the platform, or into another's clearance: painted cell by cell, as a last check."""
    turned = [shadows[spot.shadow].at(spot.turn) for spot in spots]
    spread: dict[tuple[int, int], Shadow] = {}
    for spot, shadow in zip(spots, turned, strict=True):
        if spot[:2] not in spread:
            spread[spot[:2]] = shadow.spread(clearance_mm)
    bands = max((len(wide.cells) for wide in spread.values()), default=0)
    near = np.zeros((bands, size[1], size[0]), np.uint16)
    for spot in spots:
        _paint(near, spread[spot[:2]], spot)
    bad = []
    for number, (spot, shadow) in enumerate(zip(spots, turned, strict=True)):
        window = _window(shadow, spot)
        inside = min(window[0], window[2]) >= 0 and window[1] <= size[1] and window[3] <= size[0]
        if not inside:
            bad.append(number)
            continue
        there = near[: len(shadow.cells), window[0] : window[1], window[2] : window[3]]
        # its own spread counts once
        if (there[shadow.cells > 0] > 1).any():
            bad.append(number)
    return bad


def beside(first: Shadow, second: Shadow, clearance_mm: float) -> tuple[Shadow, tuple[int, int]]:
    """Two shadows side by side along x as one, and by how many cells the second's middle lies off the first's.

    The first keeps its middle.
    """
    maps = no_fit(first.spread(clearance_mm), second)
    row = -maps.corner[1]
    free = maps.depth[row] == 0.0 if 0 <= row < len(maps.depth) else np.ones(1, bool)
    blocked = np.flatnonzero(~free)
    step = maps.corner[0] + int(blocked[-1]) + 1 if len(blocked) else 0
    low = np.minimum(first.corner, (second.corner[0] + step, second.corner[1]))
    ends = np.maximum(_end(first, 0), _end(second, step))
    bands = max(len(first.cells), len(second.cells))
    both = np.zeros((bands, ends[1] - low[1], ends[0] - low[0]), np.uint8)
    for shadow, dx in (first, 0), (second, step):
        x, y = shadow.corner[0] + dx - low[0], shadow.corner[1] - low[1]
        rows, columns = shadow.cells.shape[1:]
        both[: len(shadow.cells), y : y + rows, x : x + columns] |= shadow.cells
    height = max(first.height_mm, second.height_mm)
    corner = (int(low[0]), int(low[1]))
    return Shadow(both, corner, first.cell_mm, first.band_mm, height), (step, 0)


def _end(shadow: Shadow, dx: int) -> tuple[int, int]:
    return shadow.corner[0] + dx + shadow.cells.shape[2], shadow.corner[1] + shadow.cells.shape[1]


def _window(shadow: Shadow, spot: Spot) -> tuple[int, int, int, int]:
    """Rows y0:y1 and columns x0:x1 of a shadow that is already turned."""
    x, y = spot.column + shadow.corner[0], spot.row + shadow.corner[1]
    return y, y + shadow.cells.shape[1], x, x + shadow.cells.shape[2]


def _paint(near: np.ndarray, shadow: Shadow, spot: Spot) -> None:
    """Count a shadow's cells where it stands; what lies off the platform is left out."""
    y0, y1, x0, x1 = _window(shadow, spot)
    a, b, c, d = max(y0, 0), min(y1, near.shape[1]), max(x0, 0), min(x1, near.shape[2])
    if a < b and c < d:
        near[: len(shadow.cells), a:b, c:d] += shadow.cells[:, a - y0 : b - y0, c - x0 : d - x0]


def _orders(shadows: Sequence[Shadow]) -> list[list[int]]:
    """Kinds tallest first, and largest first; once if that is the same."""
    kinds = range(len(shadows))
    tall = sorted(kinds, key=lambda n: (-shadows[n].height_mm, -shadows[n].area_mm2, n))
    large = sorted(kinds, key=lambda n: (-shadows[n].area_mm2, -shadows[n].height_mm, n))
    return [tall] if tall == large else [tall, large]


def _cost(filling: Filling, shadows: Sequence[Shadow]) -> tuple[int, float]:
    """Runs, then the sum of their heights: layers take the time, however full they are."""
    return len(filling), sum(max(shadows[spot.shadow].height_mm for spot in run) for run in filling)


def _fill(
    plate: Plate, shadows: Sequence[Shadow], copies: Sequence[int], order: Sequence[int], effort: Effort
) -> Filling:
    left = Counter({kind: copies[kind] for kind in order if copies[kind]})
    runs: Filling = []
    known: list[tuple[Counter[int], list[Spot]]] = []
    while left:
        spots = _known_run(left, known)
        if spots is None:
            spots = _fill_one(plate, _next_items(plate, shadows, left, order), effort)
            known.append((left.copy(), spots))
        runs.append(spots)
        left -= Counter(spot.shadow for spot in spots)
    return runs


def _known_run(left: Counter[int], known: list[tuple[Counter[int], list[Spot]]]) -> list[Spot] | None:
    """An earlier run that would come out again: how many are left of a kind that had no more room doesn't matter."""
    for had, spots in known:
        placed = Counter(spot.shadow for spot in spots)
        if all(
            left[kind] == had[kind] if placed[kind] == had[kind] else left[kind] > placed[kind]
            for kind in had
        ):
            return spots
    return None


def _next_items(plate: Plate, shadows: Sequence[Shadow], left: Counter, order: Sequence[int]) -> list[int]:
    """Copies to try for the next run, in order: of no kind more than the platform's area could hold."""
    cells = int(plate.size[0]) * int(plate.size[1])
    items: list[int] = []
    for kind in order:
        fullest = int(_fewest_cells(shadows[kind]).max())
        items += [kind] * min(left[kind], max(cells // fullest, 1), MOST_AT_ONCE)
    return items


def _fill_one(plate: Plate, items: list[int], effort: Effort) -> list[Spot]:
    """One run: what finds room in order, then one more of each kind as long as all can be moved to make room."""
    spots = [spot for spot in place_in_turn(plate, items) if spot is not None]
    if len(spots) < len(items):
        all_of_them = place_all(plate, items, effort._replace(sweeps=0))
        if all_of_them is not None:
            return all_of_them
    if not effort.sweeps:
        return spots
    missing = Counter(items) - Counter(spot.shadow for spot in spots)
    for kind in dict.fromkeys(items):
        for _ in range(missing[kind]):
            more = place_all(plate, [spot.shadow for spot in spots] + [kind], effort, known=spots)
            if more is None:
                break
            spots = more
    return spots
