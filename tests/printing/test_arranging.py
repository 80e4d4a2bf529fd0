"""From counts to runs: whole pixels, the platform's edges, pairs side by side, and real meshes measured apart."""

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.printing.arranging import Group, lay_out, paired
from firstcast.printing.ground import ground_of
from firstcast.printing.nesting_search import Effort
from firstcast.printing.shadows import shadow_of
from part_shapes import public_mesh

EFFORT = Effort(tries=2, sweeps=20)


def shadow(ground, *bodies, band=1.5):
    return shadow_of([mesh_of(body) for body in bodies], cell_mm=ground.cell_mm, band_mm=band)


def mesh_of(solid):
    return Mesh(np.asarray(solid.vertices, np.float64), np.asarray(solid.faces, np.int32))


def box(x, y, z):
    return trimesh.creation.box(bounds=[[-x / 2, -y / 2, 0], [x / 2, y / 2, z]])


@given(
    st.floats(20, 200),
    st.floats(20, 200),
    st.sampled_from([(0.035, 0.035), (0.022, 0.022), (0.05, 0.075)]),
    st.floats(0, 5),
    st.floats(0.01, 1.0),
)
def test_cells_lie_within_the_edges(x, y, pixel, edge, cell):
    ground = ground_of((x, y, 100.0), pixel, edge_mm=edge, cell_mm=cell)
    for axis, build in enumerate((x, y)):
        first = ground.first_px[axis] * pixel[axis]
        last = first + ground.size[axis] * ground.cell_mm[axis]
        assert first >= edge - 1e-9
        assert last <= build - edge + 1e-5 * pixel[axis]
        # a cell and two pixels that rounding cuts off, at most
        assert build - 2 * edge - (last - first) < ground.cell_mm[axis] + 3 * pixel[axis]
    assert ground.turns(True) == ((0, 1, 2, 3) if pixel[0] == pixel[1] else (0, 2))
    assert ground.turns(False) == (0,)


def test_edges_that_leave_nothing():
    with pytest.raises(InputError, match="narrower"):
        ground_of((20.0, 20.0, 100.0), (0.05, 0.05), edge_mm=10.0, cell_mm=0.2)


@pytest.mark.parametrize("pixel", [(0.05, 0.05), (0.04, 0.06)])
def test_places_are_whole_pixels_and_in_the_middle(pixel):
    ground = ground_of((60.0, 40.0, 100.0), pixel, edge_mm=2.0, cell_mm=0.2)
    turns = ground.turns(True)
    groups = [
        Group(shadow(ground, box(14, 6, 9)), (("a", 0, 0),), 3),
        Group(shadow(ground, box(5, 5, 4)), (("b", 0, 0),), 4),
    ]
    (laid,) = lay_out(groups, ground, clearance_mm=1.0, turns=turns, effort=EFFORT)
    assert sorted(p.master for p in laid.run.placements) == ["a"] * 3 + ["b"] * 4
    low, high = np.array([60.0, 40.0]), np.zeros(2)
    for placement in laid.run.placements:
        at = np.array([placement.x_mm, placement.y_mm])
        assert at / pixel == pytest.approx(np.round(at / pixel), abs=1e-9)
        half = np.array([7.0, 3.0] if placement.master == "a" else [2.5, 2.5])
        half = half[::-1] if placement.turn_deg % 180.0 else half
        low, high = np.minimum(low, at - half), np.maximum(high, at + half)
    assert low.min() >= 2.0
    assert (high <= [58.0, 38.0]).all()
    # the middle, but for a cell and the cells that only a part of a box covers
    assert (low + high) / 2 == pytest.approx([30.0, 20.0], abs=0.5)
    # boxes don't overlap: three of 84 mm² and four of 25, and up to a cell around each
    assert laid.covered_ratio == pytest.approx((3 * 84 + 4 * 25) / 2400, rel=0.12)
    assert laid.covered_ratio >= (3 * 84 + 4 * 25) / 2400
    assert laid.height_mm == 9.0


def test_lots_have_runs_of_their_own():
    ground = ground_of((60.0, 40.0, 100.0), (0.05, 0.05), edge_mm=2.0, cell_mm=0.2)
    small = shadow(ground, box(5, 5, 4))
    groups = [Group(small, ((name, 0, 0),), 2, lot) for name, lot in (("a", ""), ("b", "b"), ("c", ""))]
    runs = [laid.run for laid in lay_out(groups, ground, clearance_mm=1.0, turns=(0,), effort=EFFORT)]
    assert [run.name for run in runs] == ["run 1", "run 2"]
    assert [sorted(p.master for p in run.placements) for run in runs] == [["a", "a", "c", "c"], ["b", "b"]]


def test_pairs_turn_as_one():
    # a pair is 5 + 1 + 5 mm and stands only across this platform
    ground = ground_of((8.0, 20.0, 30.0), (0.05, 0.05), edge_mm=0.5, cell_mm=0.25)
    small = shadow(ground, box(5, 5, 4))
    plain, carried = (Group(small, ((name, 0, 0),), count) for name, count in (("a", 1), ("a carried", 2)))
    groups = paired(plain, carried, ground, ground.turns(True), 1.0)
    assert [group.copies for group in groups] == [1, 0, 1]
    laid = lay_out(groups, ground, clearance_mm=1.0, turns=ground.turns(True), effort=EFFORT)
    (run,) = [laid.run for laid in laid]
    assert sorted(p.master for p in run.placements) == ["a", "a carried", "a carried"]
    one, other = run.placements[0], run.placements[1]
    if "a" not in (one.master, other.master):
        one, other = run.placements[1], run.placements[2]
    gap = np.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm) - 5
    assert 1.0 <= gap <= 1.0 + 2 * 0.25


def test_a_pair_without_room_stays_two():
    ground = ground_of((8.0, 9.0, 30.0), (0.05, 0.05), edge_mm=0.5, cell_mm=0.25)
    small = shadow(ground, box(5, 5, 4))
    plain, carried = (Group(small, ((name, 0, 0),), 1) for name in ("a", "a carried"))
    assert paired(plain, carried, ground, ground.turns(True), 1.0) == [plain, carried]


def test_too_tall_has_no_room():
    ground = ground_of((60.0, 40.0, 10.0), (0.05, 0.05), edge_mm=2.0, cell_mm=0.2)
    assert ground.has_room(shadow(ground, box(5, 5, 10)), (0,))
    assert not ground.has_room(shadow(ground, box(5, 5, 10.1)), (0,))
    assert not ground.has_room(shadow(ground, box(5, 50, 5)), (0,))
    assert ground.has_room(shadow(ground, box(5, 50, 5)), (0, 1, 2, 3))


def leaning(name, height):
    """A public mesh, scaled, leaned, lifted on a post."""
    body = trimesh.load(public_mesh(name), force="mesh")
    body.apply_transform(trimesh.transformations.rotation_matrix(np.radians(105), [1, 0, 0]))
    body.apply_scale(height / np.ptp(body.vertices[:, 2]))
    low, high = body.bounds
    body.apply_translation([*-(low + high)[:2] / 2, 4 - low[2]])
    post = trimesh.creation.cylinder(0.5, segment=[[0, 0, 0], [0, 0, 8]])
    return body, post


def test_figures_keep_their_clearance():
    """Measured by manifold3d between all pairs of bodies: other code, on the meshes themselves."""
    ground = ground_of((70.0, 50.0, 100.0), (0.05, 0.05), edge_mm=2.0, cell_mm=0.2)
    bodies = {"penguin": leaning("penguin_hr.obj", 24.0), "hand": leaning("hand_closed.obj", 18.0)}
    groups = [Group(shadow(ground, *pair), ((name, 0, 0),), 6) for name, pair in bodies.items()]
    laid = lay_out(groups, ground, clearance_mm=1.0, turns=ground.turns(True), effort=EFFORT)
    assert sum(len(one.run.placements) for one in laid) == 12
    for one in laid:
        placed = [(p, [_moved(body, p) for body in bodies[p.master]]) for p in one.run.placements]
        for n, (_, mine) in enumerate(placed):
            for body in mine:
                assert min(body.bounding_box()[:2]) >= 2.0 - 1e-9
                assert (np.array(body.bounding_box()[3:5]) <= [68.0, 48.0]).all()
            for _, theirs in placed[:n]:
                assert min(a.min_gap(b, 2.0) for a in mine for b in theirs) >= 1.0


def _moved(body, placement):
    mesh = manifold3d.Mesh(np.asarray(body.vertices, np.float32), np.asarray(body.faces, np.uint32))
    solid = manifold3d.Manifold(mesh)
    assert solid.status() == manifold3d.Error.NoError
    return solid.rotate((0, 0, placement.turn_deg)).translate((placement.x_mm, placement.y_mm, 0))
