"""Every mend provoked and counted; closed shells come out closed, outward and of the right volume."""

import numpy as np
import pytest

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.vocabulary import Verdict
from intake_checks import CAPPED, CLOSED, SHEET, check_part, codes, counts, kinds, taken
from part_shapes import ball, box, hood, joined, loosened, turned, without


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
