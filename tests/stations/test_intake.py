"""Every mend provoked and counted; closed shells come out closed, outward and of the right volume."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.shells import count_open_and_shared
from firstcast.io.meshes import read_meshes
from firstcast.stations.intake import Intaken, Settings, intake
from firstcast.vocabulary import ShellKind, Verdict
from part_shapes import ball, box, hood, joined, loosened, mesh_of, public_mesh, turned, without

CLOSED, CAPPED, SHEET = ShellKind.CLOSED, ShellKind.CAPPED, ShellKind.SHEET


def taken(mesh: Mesh, factor_mm: float = 1.0, **choices) -> Intaken:
    return intake(name="torso", mesh=mesh, matrix_mm=factor_mm * np.eye(3), settings=Settings(**choices))


def kinds(result: Intaken) -> list[ShellKind]:
    return [shell.kind for shell in result.part.shells]


def counts(result: Intaken) -> dict[str, int]:
    return {measure.name: int(measure.value) for measure in result.measures if measure.value}


def codes(result: Intaken) -> dict[str, Verdict]:
    return {finding.code: finding.verdict for finding in result.findings}


def check_part(result: Intaken) -> None:
    """The promises to later stations: sorted shells, two-manifold, closed and outward unless a sheet."""
    mesh, shells = result.part.mesh, result.part.shells
    assert [s.start for s in shells] == [0, *(s.stop for s in shells[:-1])]
    assert shells[-1].stop == len(mesh.triangles) == result.summary.triangle_count
    assert mesh.triangles.dtype == np.int32
    assert mesh.triangles.flags.c_contiguous
    assert len(np.unique(mesh.triangles)) == len(mesh.points)
    assert count_open_and_shared(mesh.triangles, len(mesh.points))[1] == 0
    for shell in shells:
        rows = np.ascontiguousarray(mesh.triangles[shell.start : shell.stop])
        directed = rows[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
        assert len(np.unique(directed, axis=0)) == len(directed), "an edge is run twice one way"
        if shell.kind is SHEET:
            assert shell.thickness > 0
        else:
            assert shell.thickness == 0
            assert count_open_and_shared(rows, len(mesh.points)) == (0, 0)
            assert measure_solid(Mesh(mesh.points, rows)).volume > 0


def test_a_sound_part_passes_unchanged_in_millimetres():
    result = taken(box((1.0, 0.8, 0.6)), factor_mm=10.0)
    check_part(result)
    assert kinds(result) == [CLOSED]
    assert result.findings == ()
    assert counts(result) == {}
    assert result.summary.volume_mm3 == pytest.approx(480.0, rel=1e-12)
    assert result.summary.area_mm2 == pytest.approx(2 * (80 + 60 + 48), rel=1e-12)
    assert result.summary.mean_thickness_mm == pytest.approx(2 * 480 / 376, rel=1e-12)
    assert np.allclose(result.summary.extents_mm, [(-5, -4, -3), (5, 4, 3)])
    assert result.summary.size_mm == pytest.approx((10, 8, 6))
    assert result.summary.shell_counts == ((CLOSED, 1), (CAPPED, 0), (SHEET, 0))
    assert not result.summary.is_sheet


def test_the_given_mesh_is_left_as_it_is():
    mesh = turned(loosened(box()))
    points, triangles = mesh.points.copy(), mesh.triangles.copy()
    taken(mesh, factor_mm=2.0)
    assert np.array_equal(mesh.points, points)
    assert np.array_equal(mesh.triangles, triangles)


def test_loose_triangles_are_welded_and_counted():
    mesh = loosened(ball())
    result = taken(mesh)
    check_part(result)
    assert counts(result) == {"welded-points": len(mesh.points) - 642}
    assert codes(result) == {"welded-points": Verdict.SOUND}
    assert kinds(result) == [CLOSED]


def test_points_apart_by_rounding_are_welded():
    mesh = loosened(ball())
    rng = np.random.default_rng(86412)
    noisy = Mesh(mesh.points + rng.uniform(-1, 1, mesh.points.shape) * 2e-7, mesh.triangles)
    assert kinds(taken(noisy)) == [CLOSED]
    assert kinds(taken(noisy, weld_ratio=0.0)) == [SHEET] * len(mesh.triangles)


def test_triangles_without_extent_and_doubled_ones_are_dropped():
    mesh = box()
    extra = np.concatenate([mesh.triangles, mesh.triangles[[3, 3, 7]], [[0, 0, 1], [2, 5, 2]]]).astype(
        np.int32
    )
    result = taken(Mesh(mesh.points, extra))
    check_part(result)
    assert counts(result) == {"degenerate-triangles": 2, "doubled-triangles": 3}
    assert result.summary.volume_mm3 == pytest.approx(480.0)
    assert result.summary.triangle_count == 12


def test_a_shell_given_twice_is_one_shell():
    result = taken(joined(box(), box()))
    check_part(result)
    assert counts(result) == {"welded-points": 8, "doubled-triangles": 12}
    assert result.summary.volume_mm3 == pytest.approx(480.0)


def test_a_seam_triangle_of_no_area_stays():
    # A box whose face meets its neighbour along a split edge, closed by a triangle with its corners in a line.
    mesh = box()
    a, b, c = mesh.triangles[0]
    points = np.concatenate([mesh.points, [(mesh.points[a] + mesh.points[b]) / 2]])
    split = [[a, 8, c], [8, b, c], [a, b, 8]]
    result = taken(Mesh(points, np.concatenate([mesh.triangles[1:], split]).astype(np.int32)))
    check_part(result)
    assert kinds(result) == [CLOSED]
    assert counts(result) == {}
    assert result.summary.volume_mm3 == pytest.approx(480.0)


def test_some_triangles_turned_are_turned_back():
    mesh = ball()
    rows = np.random.default_rng(52177).choice(len(mesh.triangles), 300, replace=False)
    mixed = mesh.triangles.copy()
    mixed[rows] = mixed[rows][:, ::-1]
    result = taken(Mesh(mesh.points, mixed))
    check_part(result)
    assert counts(result) == {"turned-triangles": 300}
    assert result.summary.volume_mm3 == pytest.approx(measure_solid(mesh).volume)


def test_a_shell_inside_out_is_turned():
    result = taken(joined(box(), turned(box(centre=(20, 0, 0)))))
    check_part(result)
    assert counts(result) == {"turned-shells": 1}
    assert codes(result) == {"turned-shells": Verdict.SOUND}
    assert result.summary.volume_mm3 == pytest.approx(960.0)


@pytest.mark.parametrize("inward", [False, True])
def test_an_enclosed_shell_ends_solid_and_is_told(inward):
    inner = ball(1.5)
    result = taken(joined(ball(5.0), turned(inner) if inward else inner))
    check_part(result)
    if inward:
        assert codes(result) == {"sealed-hollows": Verdict.WATCH}
    else:
        assert codes(result) == {"enclosed-shells": Verdict.SOUND}
    assert "enclosed inner shell" in result.findings[0].says


def test_shells_that_reach_out_or_stand_beside_are_not_enclosed():
    result = taken(joined(ball(5.0), ball(2.0, (4.5, 0, 0)), ball(2.0, (9.0, 0, 0))))
    assert result.findings == ()
    assert kinds(result) == [CLOSED] * 3


def test_small_holes_are_closed_and_the_widest_is_named():
    mesh = ball(5.0, subdivisions=4)
    near = np.linalg.norm(mesh.points[mesh.triangles].mean(axis=1) - [0, 0, 5], axis=1) < 0.8
    one = int(np.argmin(mesh.points[mesh.triangles].mean(axis=1)[:, 2]))
    result = taken(without(mesh, np.append(np.flatnonzero(near), one)), close_holes_mm=2.5)
    check_part(result)
    assert kinds(result) == [CAPPED]
    assert counts(result) == {"capped-holes": 2}
    (finding,) = result.findings
    assert finding.verdict is Verdict.WATCH
    assert finding.place_mm is not None
    assert np.linalg.norm(np.array(finding.place_mm) - [0, 0, 5]) < 0.3
    assert finding.measured is not None
    assert 1.0 < finding.measured < 1.6
    lost = measure_solid(mesh).volume - result.summary.volume_mm3
    assert 0 < lost < np.pi * 1.2**2 * (5 - np.sqrt(25 - 1.2**2))  # less than the segment cut off


def test_the_limit_decides_between_a_cap_and_a_sheet():
    mesh = hood(5.0)
    width = (
        4 * (0.5 * 32 * 25 * np.sin(2 * np.pi / 32)) / (64 * 5 * np.sin(np.pi / 32))
    )  # of the 32-cornered rim
    closed = taken(mesh, close_holes_mm=width + 1e-9)
    opened = taken(mesh, close_holes_mm=width - 1e-9)
    check_part(closed)
    check_part(opened)
    assert kinds(closed) == [CAPPED]
    assert kinds(opened) == [SHEET]
    (finding,) = opened.findings
    assert finding.code == "sheets"
    assert finding.measured == pytest.approx(width)
    assert f"close_holes_mm above {width:.2f}" in finding.mend


def test_what_can_t_be_filled_is_not_said_to_be():
    flat = Mesh(np.array([[0, 0, 0], [20, 0, 0], [0, 20, 0.0]]), np.array([[0, 1, 2]], np.int32))
    (finding,) = taken(flat).findings
    assert "close_holes_mm" not in finding.mend
    assert kinds(taken(flat, close_holes_mm=100.0)) == [SHEET]


def test_a_hood_is_a_sheet_with_the_thickness_asked_for():
    result = taken(hood(5.0, 24, 96), sheet_thickness_mm=0.8)
    check_part(result)
    assert kinds(result) == [SHEET]
    assert result.part.shells[0].thickness == 0.8
    assert result.summary.is_sheet
    assert result.summary.mean_thickness_mm == pytest.approx(0.8)
    assert result.summary.area_mm2 == pytest.approx(2 * 2 * np.pi * 25, rel=2e-3)
    assert codes(result) == {"sheets": Verdict.WATCH}


def test_a_narrow_strip_is_a_sheet_not_a_hole():
    strip = Mesh(
        np.array([[0, 0, 0], [30, 0, 0], [30, 0.4, 0], [0, 0.4, 0.0]]),
        np.array([[0, 1, 2], [0, 2, 3]], np.int32),
    )
    assert kinds(taken(strip)) == [SHEET]


def test_a_cape_drawn_from_both_sides_is_one_sheet():
    one = Mesh(
        np.array([[0, 0, 0], [20, 0, 0], [20, 30, 0], [0, 30, 0.0]]),
        np.array([[0, 1, 2], [0, 2, 3]], np.int32),
    )
    result = taken(joined(one, turned(one)))
    check_part(result)
    assert kinds(result) == [SHEET]
    assert result.summary.area_mm2 == pytest.approx(2 * 600)
    assert result.summary.mean_thickness_mm == pytest.approx(0.6)


def test_specks_are_dropped_and_a_part_of_specks_is_refused():
    result = taken(joined(box(), ball(0.02, (8, 8, 8), 1), ball(0.02, (-8, 8, 8), 1)))
    check_part(result)
    assert counts(result) == {"specks": 2}
    assert kinds(result) == [CLOSED]
    assert result.summary.size_mm == pytest.approx((10, 8, 6))
    with pytest.raises(InputError, match="speck_mm"):
        taken(box(), factor_mm=0.001)


def test_boxes_that_share_an_edge_are_parted():
    left, right = box((2, 2, 2), (0, 0, 0)), box((2, 2, 2), (2, 2, 0))
    result = taken(joined(left, right))
    check_part(result)
    assert kinds(result) == [CLOSED, CLOSED]
    assert counts(result)["crowded-edges"] == 1
    assert codes(result)["crowded-edges"] is Verdict.WATCH
    assert result.summary.volume_mm3 == pytest.approx(16.0)


def test_boxes_that_share_a_face_keep_their_volume():
    result = taken(joined(box((2, 2, 2)), box((2, 2, 2), (2, 0, 0))))
    check_part(result)
    assert set(kinds(result)) == {CLOSED}
    assert result.summary.volume_mm3 == pytest.approx(16.0)


def test_boxes_that_share_a_point_are_parted():
    result = taken(joined(box((2, 2, 2)), box((2, 2, 2), (2, 2, 2))))
    check_part(result)
    assert kinds(result) == [CLOSED, CLOSED]
    assert counts(result) == {"welded-points": 1, "touching-points": 1}


def test_a_fin_on_a_body_leaves_the_body_closed():
    body = box((4, 4, 4))
    corner = body.points[(body.points > 0).all(axis=1)][0]
    other = np.array([corner[0], corner[1], -corner[2]])
    fin = Mesh(np.array([corner, other, [6.0, 6, 0]]), np.array([[0, 1, 2]], np.int32))
    result = taken(joined(body, fin))
    check_part(result)
    assert sorted(kinds(result)) == [CLOSED, SHEET]
    assert result.summary.volume_mm3 == pytest.approx(64 + 0.6 * fin_area(fin))


def fin_area(mesh: Mesh) -> float:
    a, b, c = mesh.points[mesh.triangles[0]]
    return float(np.linalg.norm(np.cross(b - a, c - a)) / 2)


def test_a_one_sided_band_is_cut_and_becomes_a_sheet():
    n, width = 40, 2.0
    turn = np.arange(n) * 2 * np.pi / n
    arm = np.stack(
        [np.cos(turn / 2) * np.cos(turn), np.cos(turn / 2) * np.sin(turn), np.sin(turn / 2)], axis=1
    )
    spine = 10 * np.stack([np.cos(turn), np.sin(turn), np.zeros(n)], axis=1)
    points = np.stack([spine - width * arm, spine + width * arm], axis=1).reshape(-1, 3)
    triangles = []
    for k in range(n):
        a, b, c, d = 2 * k, 2 * k + 1, (2 * k + 2) % (2 * n), (2 * k + 3) % (2 * n)
        if k == n - 1:
            c, d = d, c
        triangles += [(a, c, b), (b, c, d)]
    result = taken(Mesh(points, np.array(triangles, np.int32)))
    check_part(result)
    assert kinds(result) == [SHEET]
    assert codes(result)["one-sided"] is Verdict.WATCH


def test_a_pinched_edge_inside_one_shell_stays_closed_and_two_manifold():
    # A bent row of cubes whose ends come together along one edge only: one shell, one edge of four triangles.
    solid = {(0, 0, 0), (1, 0, 0), (1, 1, 0), (1, 1, 1), (0, 1, 1)}
    result = taken(voxels(solid))
    assert counts(result)["crowded-edges"] == 1
    assert kinds(result) == [CLOSED]
    check_part(result)
    assert set(kinds(result)) == {CLOSED}
    assert result.summary.volume_mm3 == pytest.approx(len(solid))


def voxels(solid: set[tuple[int, int, int]]) -> Mesh:
    """The boundary of a set of unit cubes, points shared; crowded edges where cubes meet diagonally."""
    corners, triangles = {}, []
    for cell in sorted(solid):
        for axis in range(3):
            for side in (0, 1):
                beyond = list(cell)
                beyond[axis] += 2 * side - 1
                if tuple(beyond) in solid:
                    continue
                u, v = (axis + 1) % 3, (axis + 2) % 3
                quad = []
                for du, dv in ((0, 0), (1, 0), (1, 1), (0, 1)) if side else ((0, 0), (0, 1), (1, 1), (1, 0)):
                    place = list(cell)
                    place[axis] += side
                    place[u] += du
                    place[v] += dv
                    quad.append(corners.setdefault(tuple(place), len(corners)))
                triangles += [(quad[0], quad[1], quad[2]), (quad[0], quad[2], quad[3])]
    return Mesh(np.array(list(corners), dtype=np.float64), np.array(triangles, dtype=np.int32))


@settings(max_examples=60, deadline=None)
@given(st.sets(st.tuples(*[st.integers(0, 3)] * 3), min_size=1, max_size=40))
def test_any_heap_of_cubes_comes_out_closed_with_its_volume(solid):
    result = taken(voxels(solid))
    check_part(result)
    # Inner walls are turned outward, so a sealed hollow counts as filled twice over: compare without them.
    hollow = counts(result).get("sealed-hollows", 0)
    assert set(kinds(result)) == {CLOSED}
    if not hollow:
        assert result.summary.volume_mm3 == pytest.approx(len(solid))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_rigid_moves_and_order_change_nothing_but_order(seed):
    rng = np.random.default_rng(seed)
    mesh = joined(ball(5.0), turned(box((3, 4, 5), (9, 0, 0))), without(ball(2.0, (0, 12, 0)), [5, 60]))
    plain = taken(mesh)
    turn = Rotation.random(rng=rng)
    shuffled = rng.permutation(mesh.triangles)
    rolled = np.take_along_axis(shuffled, (np.arange(3) + rng.integers(0, 3, (len(shuffled), 1))) % 3, axis=1)
    moved = taken(Mesh(turn.apply(mesh.points) + rng.uniform(-50, 50, 3), rolled.astype(np.int32)))
    check_part(moved)
    assert sorted(kinds(moved)) == sorted(kinds(plain))
    assert counts(moved) == counts(plain)
    assert moved.summary.volume_mm3 == pytest.approx(plain.summary.volume_mm3, rel=1e-9)
    assert moved.summary.area_mm2 == pytest.approx(plain.summary.area_mm2, rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.001, 0.9))
def test_whatever_is_missing_the_promises_hold(seed, share):
    rng = np.random.default_rng(seed)
    mesh = joined(ball(5.0), box((3, 3, 14)))
    result = taken(without(mesh, rng.random(len(mesh.triangles)) < share), close_holes_mm=3.0)
    check_part(result)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_any_tangle_of_triangles_is_taken(seed):
    rng = np.random.default_rng(seed)
    points = rng.integers(0, 3, (rng.integers(4, 14), 3)).astype(np.float64) * 5
    points += rng.uniform(0, 1, points.shape) * rng.integers(0, 2)
    triangles = rng.integers(0, len(points), (rng.integers(2, 60), 3)).astype(np.int32)
    mesh = Mesh(points, triangles)
    try:
        result = taken(mesh, close_holes_mm=float(rng.choice([0.0, 1.0, 50.0])))
    except InputError:
        return
    check_part(result)


def test_the_same_bytes_each_time():
    mesh = without(joined(ball(5.0), turned(box((3, 4, 5), (9, 0, 0)))), [3, 99])
    first, second = taken(mesh), taken(mesh)
    assert first.part.mesh.points.tobytes() == second.part.mesh.points.tobytes()
    assert first.part.mesh.triangles.tobytes() == second.part.mesh.triangles.tobytes()
    assert first.findings == second.findings


def test_empty_and_flat_parts_are_refused():
    with pytest.raises(InputError, match="no extent"):
        taken(Mesh(np.empty((0, 3)), np.empty((0, 3), np.int32)))
    with pytest.raises(InputError, match="no extent"):
        taken(Mesh(np.ones((3, 3)), np.array([[0, 1, 2]], np.int32)))
    with pytest.raises(InputError, match="no triangle"):
        taken(Mesh(np.arange(9.0).reshape(3, 3), np.array([[0, 0, 2]], np.int32)))


def public(name: str, height_mm: float = 54.0) -> list[Intaken]:
    meshes = read_meshes(public_mesh(name))
    factor = height_mm / max(np.ptp(read.mesh.points, axis=0).max() for read in meshes)
    results = [
        intake(name=read.name, mesh=read.mesh, matrix_mm=factor * np.eye(3), settings=Settings())
        for read in meshes
    ]
    for result in results:
        check_part(result)
    return results


# Counts below are those of the collection's credits: components, boundary edges, closedness after merging.


@pytest.mark.parametrize(("name", "triangles"), [("spot.obj", 23062), ("self_intersectA.obj", 17160)])
def test_public_closed_bodies(name, triangles):
    (result,) = public(name)
    assert kinds(result) == [CLOSED]
    assert result.summary.triangle_count == triangles
    assert result.findings == ()


def test_public_body_with_a_small_hole():
    (result,) = public("human_neutral.obj")  # 3 components, 32 boundary edges
    assert sorted(kinds(result)) == sorted([CLOSED, CLOSED, CAPPED])
    assert result.summary.triangle_count == 20908 + 32 - 2
    assert counts(result) == {"capped-holes": 1}


def test_public_clothed_figure_in_many_parts():
    results = {result.part.name: result for result in public("mh_man_casual.glb")}
    assert kinds(results.pop("male_generic")) == [CLOSED]
    assert [len(r.part.shells) for r in results.values()] == [2, 4, 1]  # 8 components in all
    assert all(r.summary.is_sheet for r in results.values())


def test_public_figure_with_coinciding_props():
    results = public("kaykit_knight.glb")
    assert len(results) == 15
    assert sum(len(result.part.shells) for result in results) == 39
    # Welded into one, the props coincide (606 crowded edges in the credits): still nothing is torn.
    whole = joined(*(read.mesh for read in read_meshes(public_mesh("kaykit_knight.glb"))))
    together = taken(whole, factor_mm=20.0)
    check_part(together)
    assert sum(kind is not SHEET for result in results for kind in kinds(result)) == 13
    assert sum(kind is SHEET for kind in kinds(together)) == 26
    assert counts(together)["crowded-edges"] > 0


def test_public_soup_is_a_hundred_sheets():
    (result,) = public("soup.stl")
    assert kinds(result) == [SHEET] * 100


def test_mesh_of_keeps_the_library_shape():
    import trimesh

    assert measure_solid(mesh_of(trimesh.creation.box((1, 2, 3)))).volume == pytest.approx(6.0)
