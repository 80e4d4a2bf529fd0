"""Turns between quarters: the maps of all pairs beside those made one by one, clearances, and bodies measured apart."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as some

from firstcast.geometry.mesh import Mesh
from firstcast.kernels.nesting import depth_at
from firstcast.printing.arranging import Group, lay_out
from firstcast.printing.ground import MAPS_MOST, ground_of, quarter_steps
from firstcast.printing.nesting import fill_runs, overlaps
from firstcast.printing.nesting_maps import STEPS_PER_CELL, _no_fits, no_fit, pair_maps
from firstcast.printing.nesting_search import Effort, plate_of
from firstcast.printing.shadows import Shadow, shadow_of

CELL, BAND = (0.5, 0.5), 1.0
EFFORT = Effort(tries=2, sweeps=20)


def mesh_of(solid):
    return Mesh(np.asarray(solid.vertices, np.float64), np.asarray(solid.faces, np.int32))


def box(x, y, z):
    return trimesh.creation.box(bounds=[[-x / 2, -y / 2, 0], [x / 2, y / 2, z]])


def about_z(solid, turn_deg, at=(0.0, 0.0)):
    turned = solid.copy()
    turned.apply_transform(trimesh.transformations.rotation_matrix(np.radians(turn_deg), [0, 0, 1]))
    return turned.apply_translation([*at, 0.0])


@pytest.mark.parametrize("steps", [1, 2, 3, 6])
def test_every_turn_is_that_of_the_mesh(steps):
    solid = trimesh.util.concatenate([box(7, 3, 2), box(1, 2, 5).apply_translation([2.3, 1.1, 0])])
    shadow = shadow_of([mesh_of(solid)], cell_mm=CELL, band_mm=BAND, steps=steps)
    assert shadow.step_deg == 90.0 / steps
    for turn in range(4 * steps):
        ours = shadow.at(turn)
        theirs = shadow_of([mesh_of(about_z(solid, turn * shadow.step_deg))], cell_mm=CELL, band_mm=BAND)
        (x, y), (a, b) = ours.corner, theirs.corner
        both = np.zeros((2, 5, 40, 40), np.uint8)
        for n, (one, (column, row)) in enumerate(((ours, (x, y)), (theirs, (a, b)))):
            bands, rows, columns = one.cells.shape
            both[n, :bands, row + 20 : row + 20 + rows, column + 20 : column + 20 + columns] = one.cells
        # where a corner comes to the border of a cell, rounding decides
        assert (both[0] != both[1]).sum() <= 2


cells = some.arrays(np.uint8, st.tuples(*[st.integers(1, 4)] * 3), elements=st.integers(0, 1)).filter(np.any)


@settings(max_examples=15)
@given(
    st.lists(st.lists(cells, min_size=2, max_size=2), min_size=1, max_size=3),
    st.sampled_from([(0, 1, 2, 3, 4, 5, 6, 7), (0, 2, 4, 6), (0, 4)]),
    st.sampled_from([0.0, 0.8]),
)
def test_all_pairs_as_one_by_one(kinds, turns, clearance):
    """Maps are shared by turns and by who stands: beside maps that are made for each pair of poses alone."""
    shadows = [
        Shadow(first, (-2, 1), CELL, BAND, 4.0, (Shadow(second, (0, -3), CELL, BAND, 4.0),))
        for first, second in kinds
    ]
    plate = plate_of(shadows, (30, 30), clearance_mm=clearance, turns=turns)
    rng = np.random.default_rng(3)
    for a, standing in enumerate(shadows):
        for b, moving in enumerate(shadows):
            first, second = (int(turn) for turn in rng.choice(turns, 2))
            alone = no_fit(standing.at(first).spread(clearance), moving.at(second))
            column, row = alone.corner
            ours = np.array(
                [
                    [
                        depth_at(plate, 8 * a + first, 8 * b + second, x, y)
                        for x in range(column - 1, column + alone.depth.shape[1] + 1)
                    ]
                    for y in range(row - 1, row + alone.depth.shape[0] + 1)
                ]
            )
            # whole steps: half of one is what rounding costs
            assert np.abs(ours / STEPS_PER_CELL - np.pad(alone.depth, 1)).max() <= 0.5 / STEPS_PER_CELL


@settings(max_examples=25)
@given(cells, cells, st.integers(1, 3), st.tuples(*[st.integers(-4, 4)] * 4))
def test_finer_cells_than_steps(first, second, fine, corners):
    """With several cells to a step: every so-manieth offset of the map by cells."""
    a = Shadow(first, corners[:2], CELL, BAND, 4.0)
    b = Shadow(second, corners[2:], CELL, BAND, 4.0)
    (ours,) = _no_fits(a, [b], fine)
    inside = _offsets(no_fit(a, b))
    assert _offsets(ours) == {(x // fine, y // fine) for x, y in inside if not (x % fine or y % fine)}


def _offsets(map_):
    rows, columns = np.nonzero(map_.depth)
    return {(int(x) + map_.corner[0], int(y) + map_.corner[1]) for x, y in zip(columns, rows, strict=True)}


def test_a_bar_that_fits_only_across():
    # 12 mm long and 1 wide: the diagonal of 10 × 10 is 14.1, so there is room at 45 degrees alone
    bar = mesh_of(box(12, 1, 2))
    straight = shadow_of([bar], cell_mm=(0.25, 0.25), band_mm=1.0)
    ground = ground_of((10.0, 10.0, 20.0), (0.05, 0.05), edge_mm=0.0, cell_mm=0.25)
    assert not ground.has_room(straight, ground.turns(True))
    free = shadow_of([bar], cell_mm=(0.25, 0.25), band_mm=1.0, steps=2)
    assert ground.has_room(free, ground.turns(True, 2))
    ((spot,),) = fill_runs([free], [1], ground.size, clearance_mm=1.0, turns=ground.turns(True, 2))
    assert spot.turn % 2 == 1
    assert not overlaps([free], [spot], ground.size, 1.0)


def test_bodies_in_any_turn_keep_their_clearance():
    """Measured by trimesh's boxes turned and by their corners' distances: other code, on the meshes themselves."""
    ground = ground_of((40.0, 30.0, 60.0), (0.05, 0.05), edge_mm=1.0, cell_mm=0.2)
    solids = {"plate": box(14, 3, 12), "post": box(4, 4, 6)}
    groups = [
        Group(shadow_of([mesh_of(solid)], cell_mm=ground.cell_mm, band_mm=1.5, steps=3), ((name, 0, 0),), 6)
        for name, solid in solids.items()
    ]
    laid = lay_out(groups, ground, clearance_mm=1.0, turns=ground.turns(True, 3), effort=EFFORT)
    placements = [p for one in laid for p in one.run.placements]
    assert len(placements) == 12
    assert {p.turn_deg % 30.0 for p in placements} == {0.0}
    for one in laid:
        corners = [
            about_z(solids[p.master], p.turn_deg, (p.x_mm, p.y_mm)).vertices[:, :2]
            for p in one.run.placements
        ]
        for n, mine in enumerate(corners):
            assert mine.min() >= 1.0 - 1e-9
            assert (mine.max(axis=0) <= [39.0, 29.0]).all()
            for theirs in corners[:n]:
                assert _apart(mine, theirs) >= 1.0


def _apart(first, second):
    """Least distance of two rectangles: of corners of each from the edges of the other; 0 where one holds a corner."""
    return min(_from_edges(first, second), _from_edges(second, first))


def _from_edges(corners, other):
    hull = other[_around(other)]
    least = np.inf
    for start, end in zip(hull, np.roll(hull, -1, axis=0), strict=True):
        along = end - start
        share = np.clip((corners - start) @ along / (along @ along), 0.0, 1.0)
        least = min(least, float(np.linalg.norm(corners - start - share[:, None] * along, axis=1).min()))
    return least


def _around(corners):
    """The four corners of an upright box seen from above, in order."""
    flat, first = np.unique(np.round(corners, 9), axis=0, return_index=True)
    middle = flat.mean(axis=0)
    return first[np.argsort(np.arctan2(*(flat - middle).T[::-1]))]


def test_steps_are_as_fine_as_maps_allow():
    square = (0.05, 0.05)
    assert [quarter_steps(count, square) for count in (1, 2, 3, 5, 8, 20)] == [6, 6, 3, 3, 2, 1]
    assert quarter_steps(1, (0.019, 0.024)) == 1
    for count in (1, 2, 4, 7, 16):
        steps = quarter_steps(count, square)
        assert steps == 1 or count * (count + 1) // 2 * 4 * steps**2 <= MAPS_MOST


@pytest.mark.parametrize(("kinds", "steps"), [(4, 1), (3, 2)])
def test_an_eighth_of_the_maps_is_kept(kinds, steps):
    """Twice, the second time by columns: all pairs of poses would be (4 steps · kinds)² of them."""
    rng = np.random.default_rng(1)
    shadows = [
        Shadow(*one, tuple(Shadow(*one) for _ in range(steps - 1)))
        for one in (
            ((rng.random((2, 9, 9)) < 0.7).astype(np.uint8), (-4, -4), CELL, BAND, 2.0) for _ in range(kinds)
        )
    ]
    maps = pair_maps(shadows, 0.0, tuple(range(4 * steps)))
    one = 17 * 17
    poses = 4 * steps * kinds
    least = poses * (poses + 4) // 8 * one  # pairs of different shadows once, of the same ones by half
    assert len(maps.depths) <= 2 * (least + kinds * 4 * steps * one)
    assert len(maps.depths) < 0.4 * poses**2 * one
