"""Filling platforms: clearances at every height by brute force, counts, turns, the same places each time."""

from collections import Counter

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as some

from firstcast.errors import InputError
from firstcast.printing import nesting
from firstcast.printing.nesting import beside, fewest_runs, fill_runs, most_sets, overlaps
from firstcast.printing.nesting_maps import no_fit
from firstcast.printing.nesting_search import Effort, Spot, place_all, plate_of
from firstcast.printing.shadows import Shadow

CELL, BAND = (0.5, 0.5), 1.0
QUICK = Effort(tries=2, sweeps=20)


def solid(*boxes):
    """A shadow of boxes x0, y0, z0, x1, y1, z1 in cells and bands, its middle at 0, 0."""
    low, high = np.min(boxes, axis=0)[:3], np.max(boxes, axis=0)[3:]
    cells = np.zeros((high[2], high[1] - low[1], high[0] - low[0]), np.uint8)
    for x0, y0, z0, x1, y1, z1 in boxes:
        cells[z0:z1, y0 - low[1] : y1 - low[1], x0 - low[0] : x1 - low[0]] = 1
    return Shadow(cells, (int(low[0]), int(low[1])), CELL, BAND, float(high[2]) * BAND)


def block(x, y, z):
    return solid((-(x // 2), -(y // 2), 0, x - x // 2, y - y // 2, z))


MUSHROOM = solid((-1, -1, 0, 1, 1, 20), (-8, -8, 20, 8, 8, 22))
"""A stem of 1 mm under a cap of 8 mm, whose underside is 20 mm up."""


def solids(shadow, spot):
    """Low and high corners of all covered cells where the spot puts them, in mm: (n, 3) each."""
    turned = shadow.at(spot.turn)
    bands, rows, columns = np.nonzero(turned.cells)
    x, y = columns + turned.corner[0] + spot.column, rows + turned.corner[1] + spot.row
    low = np.stack([x, y, bands], axis=1)
    return low * [*CELL, BAND], (low + 1) * [*CELL, BAND]


def least_gap(shadows, spots):
    """The least distance between cells of any two spots."""
    bodies = [solids(shadows[spot.shadow], spot) for spot in spots]
    least = np.inf
    for n, (low, high) in enumerate(bodies):
        for other_low, other_high in bodies[:n]:
            gap = np.maximum(low[:, None] - other_high[None], other_low[None] - high[:, None])
            # cells that share a border are apart by nothing, those that overlap by less
            apart = np.linalg.norm(np.maximum(gap, 0.0), axis=2)
            apart[(gap < 0).all(axis=2)] = -1.0
            least = min(least, float(apart.min()))
    return least


def inside(shadows, spots, size):
    corners = [solids(shadows[spot.shadow], spot) for spot in spots]
    low = min(float(low[:, :2].min()) for low, _ in corners)
    high = np.max([high[:, :2].max(axis=0) for _, high in corners], axis=0)
    return low >= 0 and (high <= np.array(size) * CELL).all()


shapes = st.builds(block, st.integers(1, 9), st.integers(1, 9), st.integers(1, 6))


@settings(max_examples=40)
@given(
    st.lists(st.tuples(shapes, st.integers(0, 5)), min_size=1, max_size=3),
    st.sampled_from([0.0, 0.6, 1.5]),
    st.sampled_from([(0,), (0, 2), (0, 1, 2, 3)]),
    st.integers(0, 12),
)
def test_blocks_of_any_size(lot, clearance, turns, sweeps):
    shadows, copies = [shadow for shadow, _ in lot], [count for _, count in lot]
    size = (21, 14)
    runs = fill_runs(
        shadows, copies, size, clearance_mm=clearance, turns=turns, effort=QUICK._replace(sweeps=sweeps)
    )
    placed = Counter(spot.shadow for run in runs for spot in run)
    assert placed == Counter({n: count for n, count in enumerate(copies) if count})
    assert len(runs) >= fewest_runs(shadows, copies, size)
    for run in runs:
        assert inside(shadows, run, size)
        assert {spot.turn for spot in run} <= set(turns)
        # to rounding of lengths of some mm
        assert least_gap(shadows, run) >= clearance - 1e-12
        assert not overlaps(shadows, run, size, clearance)


cells = some.arrays(np.uint8, st.tuples(*[st.integers(1, 5)] * 3), elements=st.integers(0, 1)).filter(np.any)


@settings(max_examples=20)
@given(cells, cells, st.sampled_from([0.0, 0.8]), st.integers(0, 3))
def test_maps_beside_every_offset(first, second, clearance, quarters):
    a, b = Shadow(first, (-2, 1), CELL, BAND, 5.0), Shadow(second, (0, -3), CELL, BAND, 5.0)
    map_ = no_fit(a.spread(clearance), b)
    for dy in range(-14, 15):
        for dx in range(-14, 15):
            here = least_gap([a, b], [Spot(0, 0, 0, 0), Spot(1, 0, dx, dy)])
            # cells of one piece touch without harm, those of two may do so at no clearance
            row, column = dy - map_.corner[1], dx - map_.corner[0]
            known = 0 <= row < len(map_.depth) and 0 <= column < map_.depth.shape[1]
            free = not known or map_.depth[row, column] == 0
            assert free == (here >= clearance - 1e-9 if clearance else here >= 0)
    both = no_fit(a.turned(quarters).spread(clearance), b.turned(quarters))
    turned = map_.turned(quarters)
    assert both.corner == turned.corner
    assert (both.depth == turned.depth).all()
    other = no_fit(b.spread(clearance), a)
    swapped = map_.swapped()
    free_of_both = _free(other) & _free(swapped)
    assert free_of_both == _free(other) | _free(swapped)


def _free(map_):
    """Offsets that are forbidden."""
    rows, columns = np.nonzero(map_.depth)
    return {(int(x) + map_.corner[0], int(y) + map_.corner[1]) for x, y in zip(columns, rows, strict=True)}


@pytest.mark.parametrize(
    ("height", "clearance", "runs"),
    [
        (10, 1.0, 1),  # well below the cap
        (19, 1.0, 1),  # 1 mm below it, and 1 mm is asked for
        (20, 1.0, 2),  # it would touch the cap
        (19, 1.5, 2),  # nearer than the clearance
        (21, 0.0, 2),  # it would stick into the cap
        (20, 0.0, 1),  # it may touch where nothing is asked for
    ],
)
def test_a_low_box_under_a_mushroom(height, clearance, runs):
    # the platform is as wide as the cap, so the box has room beneath it only
    low = block(3, 3, height)
    found = fill_runs([MUSHROOM, low], [1, 1], (16, 16), clearance_mm=clearance, effort=QUICK)
    assert len(found) == runs
    assert all(least_gap([MUSHROOM, low], run) >= clearance for run in found)


def test_boxes_in_a_row():
    # k blocks of 4 cells with 2 cells between need 6 k - 2
    for count in (1, 2, 3, 5):
        (run,) = fill_runs([block(4, 4, 3)], [count], (6 * count - 2, 4), clearance_mm=1.0, effort=QUICK)
        assert len(run) == count
    assert len(fill_runs([block(4, 4, 3)], [3], (15, 4), clearance_mm=1.0, effort=QUICK)) == 2


def test_a_turn_makes_room():
    long = block(12, 3, 2)
    (run,) = fill_runs([long], [1], (4, 13), clearance_mm=0.0)
    assert run[0].turn in (1, 3)
    with pytest.raises(InputError, match="no place"):
        fill_runs([long], [1], (4, 13), clearance_mm=0.0, turns=(0, 2))


def test_moving_together_makes_room():
    # two L of three cells fill 3 × 2 only if one of them is turned into the other
    hook = solid((0, 0, 0, 2, 1, 1), (0, 0, 0, 1, 2, 1))
    plate = plate_of([hook], (3, 2), clearance_mm=0.0, turns=(0, 1, 2, 3))
    # from both on the same place
    start = [Spot(0, 0, 0, 0), Spot(0, 0, 0, 0)]
    spots = place_all(plate, [0, 0], Effort(tries=2, sweeps=50), known=start)
    assert spots is not None
    assert not overlaps([hook], spots, (3, 2), 0.0)


def test_no_room_is_found_where_there_is_none():
    plate = plate_of([block(2, 2, 1)], (5, 2), clearance_mm=0.0, turns=(0,))
    assert place_all(plate, [0, 0], QUICK) is not None
    assert place_all(plate, [0, 0, 0], QUICK) is None


def test_tall_pieces_share_a_run():
    # two of four have room at a time: the tall together take 20 + 4 bands, mixed they would take 20 + 20
    tall, low = block(4, 4, 20), block(4, 4, 4)
    runs = fill_runs([low, tall], [2, 2], (8, 4), clearance_mm=0.0, effort=QUICK)
    assert [sorted(spot.shadow for spot in run) for run in runs] == [[1, 1], [0, 0]]


def test_few_runs_before_little_height():
    # 6 + 2 fill a row of 8, twice; the tall ones together would leave a third run
    wide, narrow = block(6, 4, 10), block(2, 4, 20)
    runs = fill_runs([wide, narrow], [2, 2], (8, 4), clearance_mm=0.0, effort=QUICK)
    assert len(runs) == 2


@given(st.integers(1, 6), st.integers(1, 6), st.integers(5, 20), st.integers(5, 20))
@settings(max_examples=25)
def test_as_many_as_fit(x, y, width, depth):
    spots = most_sets([block(x, y, 2)], [1], (width, depth), clearance_mm=0.0, turns=(0,), effort=QUICK)
    # blocks that are all alike and not turned fit best in rows
    assert len(spots) == (width // x) * (depth // y)


def test_sets_are_whole():
    shadows = [block(4, 4, 2), block(2, 4, 2)]
    spots = most_sets(shadows, [1, 2], (20, 4), clearance_mm=0.0, effort=QUICK)
    assert Counter(spot.shadow for spot in spots) == {0: 2, 1: 4}


def test_nothing_fits():
    assert most_sets([block(9, 9, 1)], [1], (8, 20), clearance_mm=0.0) == []


def test_the_same_places_for_any_number_of_threads():
    shadows, copies = [MUSHROOM, block(5, 3, 8), solid((0, 0, 0, 7, 2, 4), (0, 2, 0, 2, 6, 4))], [3, 6, 5]
    threads = numba.get_num_threads()
    found = []
    try:
        for count in (1, threads, 1):
            numba.set_num_threads(count)
            found.append(
                fill_runs(shadows, copies, (34, 26), clearance_mm=1.0, effort=Effort(tries=4, sweeps=30))
            )
    finally:
        numba.set_num_threads(threads)
    assert found[0] == found[1] == found[2]


@given(cells, cells, st.sampled_from([0.0, 0.8]))
def test_side_by_side(first, second, clearance):
    a, b = Shadow(first, (-2, 1), CELL, BAND, 3.0), Shadow(second, (0, 1), CELL, BAND, 5.0)
    both, (dx, dy) = beside(a, b, clearance)
    spots = [Spot(0, 0, 0, 0), Spot(1, 0, dx, dy)]
    assert least_gap([a, b], spots) >= clearance - 1e-9 if clearance else least_gap([a, b], spots) >= 0
    alone = np.concatenate([solids(shadow, spot)[0] for shadow, spot in zip([a, b], spots, strict=True)])
    assert {tuple(row) for row in solids(both, Spot(0, 0, 0, 0))[0]} == {tuple(row) for row in alone}
    assert both.height_mm == 5.0


def test_overlaps_are_seen():
    shadows, one = [block(4, 4, 3)], Spot(0, 0, 4, 4)
    assert overlaps(shadows, [one, one._replace(column=8)], (20, 20), 0.0) == []
    assert overlaps(shadows, [one, one._replace(column=8)], (20, 20), 0.5) == [0, 1]
    assert overlaps(shadows, [one, one._replace(column=7)], (20, 20), 0.0) == [0, 1]
    assert overlaps(shadows, [one._replace(column=1)], (20, 20), 0.0) == [0]


@pytest.mark.parametrize("sweeps", [0, 10])
def test_runs_that_come_again_are_those_that_would_be_made(monkeypatch, sweeps):
    shadows, copies = [block(5, 5, 9), block(3, 2, 4)], [23, 40]
    how = {"clearance_mm": 0.5, "effort": Effort(tries=2, sweeps=sweeps)}
    kept = fill_runs(shadows, copies, (19, 13), **how)
    monkeypatch.setattr(nesting, "_known_run", lambda left, known: None)
    assert fill_runs(shadows, copies, (19, 13), **how) == kept
    assert len(kept) > 3
