import igl.predicates
import numpy as np
import pytest
import trimesh

from firstcast.errors import InputError, SizeError
from firstcast.fields import memory
from firstcast.geometry.mesh import Mesh, Part, Shell, measure_solid
from firstcast.process.limits import Limits
from firstcast.ranges import Range
from firstcast.stations.fuse import Settings, fuse
from firstcast.vocabulary import ProcessKind, ShellKind, Verdict
from part_shapes import ball, box, hood, joined, mesh_of

WALL = Range.exactly(0.3)


def limits(pitch=0.05):
    return Limits(ProcessKind.PRINT_ONLY, (pitch, pitch), 0.05, (pitch,) * 3, 0.01, WALL, WALL)


def part(name, *meshes, thickness=0.0):
    """A part of one shell per mesh; with a thickness, sheets."""
    whole, stop, shells = joined(*meshes), 0, []
    for mesh in meshes:
        start, stop = stop, stop + len(mesh.triangles)
        shells.append(Shell(ShellKind.SHEET if thickness else ShellKind.CLOSED, start, stop, thickness))
    return Part(name, whole, tuple(shells))


def inward(mesh):
    return Mesh(mesh.points, np.ascontiguousarray(mesh.triangles[:, ::-1]))


def fused(*parts, pitch=0.05, **settings):
    return fuse(piece="figure", parts=parts, limits=limits(pitch), settings=Settings(**settings))


def codes(result):
    return [finding.code for finding in result.findings]


def the(result, code):
    (finding,) = [finding for finding in result.findings if finding.code == code]
    return finding


def assert_sound(mesh):
    solid = trimesh.Trimesh(mesh.points, mesh.triangles, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert solid.volume > 0
    found = igl.predicates.find_self_intersections(
        mesh.points.astype(np.float64), mesh.triangles.astype(np.int64)
    )
    assert not found[0]


def test_overlapping_parts_become_one_body_that_knows_its_parts():
    result = fused(
        part("torso", ball(2.0)), part("head", ball(1.0, (0, 0, 2.2))), part("belt", box((5, 1, 0.4)))
    )
    mesh = result.body.mesh
    assert codes(result) == []
    assert_sound(mesh)
    assert mesh.points.dtype == np.float32
    assert result.body.part_names == ("torso", "head", "belt")
    assert np.allclose(result.extents_mm, [[-2.5, -2, -2], [2.5, 2, 3.2]], atol=0.06)
    middles = mesh.points[mesh.triangles].mean(axis=1)
    assert (result.body.part_of_triangle[middles[:, 2] > 2.3] == 1).all()
    assert (result.body.part_of_triangle[np.abs(middles[:, 0]) > 2.1] == 2).all()
    measures = {measure.name: measure.value for measure in result.measures}
    assert np.isclose(measures["volume"], measure_solid(mesh).volume)


def test_a_sealed_hollow_is_told_and_filled_with_whatever_floats_in_it():
    torso = part("torso", ball(3.0), inward(ball(1.5)), ball(0.7))
    result = fused(torso)
    finding = the(result, "sealed-void")
    hollow = measure_solid(ball(1.5)).volume
    assert finding.verdict is Verdict.WATCH
    assert finding.part == "torso"
    assert np.isclose(finding.measured, hollow, rtol=0.02)
    assert np.linalg.norm(finding.place_mm) < 0.1
    assert "filled" in finding.says
    assert np.isclose(measure_solid(result.body.mesh).volume, measure_solid(ball(3.0)).volume, rtol=0.01)
    assert_sound(result.body.mesh)


def test_a_sealed_hollow_is_kept_where_the_maker_says_so():
    result = fused(part("torso", ball(3.0), inward(ball(1.5))), fill_voids=False)
    assert "left as it is" in the(result, "sealed-void").says
    expected = measure_solid(ball(3.0)).volume - measure_solid(ball(1.5)).volume
    assert np.isclose(measure_solid(result.body.mesh).volume, expected, rtol=0.01)


def test_a_hollow_with_a_way_out_is_no_finding():
    cup = trimesh.boolean.difference(
        [trimesh.creation.icosphere(4, radius=3), trimesh.creation.icosphere(4, radius=2),
         trimesh.creation.cylinder(radius=0.5, segment=[[0, 0, 0], [0, 0, 4]])],
        engine="manifold",
    )  # fmt: skip
    result = fused(part("cup", Mesh(np.array(cup.vertices), np.array(cup.faces, np.int32))))
    assert codes(result) == []
    assert np.isclose(measure_solid(result.body.mesh).volume, cup.volume, rtol=0.01)


def test_a_loose_grain_is_dropped_by_name_and_a_loose_body_is_told():
    grain, satellite = ball(0.2, (4, 0, 0)), ball(0.8, (0, 5, 0))
    result = fused(part("torso", ball(3.0)), part("gem", grain), part("bird", satellite))
    dropped, loose = the(result, "loose-fragment"), the(result, "separate-body")
    assert dropped.part == "gem"
    assert "'gem'" in dropped.says
    assert np.isclose(dropped.measured, 0.4, atol=0.03)
    assert np.allclose(loose.place_mm, (0, 5, 0), atol=0.06)
    assert result.body.mesh.points[:, 0].max() < 3.1
    assert result.body.mesh.points[:, 1].max() > 5.7
    kept = fused(part("torso", ball(3.0)), part("gem", grain), drop_fragments_mm=0.1)
    assert codes(kept) == ["separate-body"]


def test_the_only_body_is_kept_however_small():
    result = fused(part("gem", ball(0.2)), drop_fragments_mm=1.0)
    assert codes(result) == []
    assert len(result.body.mesh.triangles) > 100


def test_a_thin_blade_is_told_with_its_thickness_and_size():
    blade = box((4, 0.06, 2), (4, 0.013, 0))
    result = fused(part("torso", ball(3.0)), part("blade", blade))
    finding = the(result, "thin-place")
    assert finding.part == "blade"
    assert np.isclose(finding.measured, 0.06, atol=1e-3)
    assert finding.limit == pytest.approx(0.1)
    assert finding.place_mm[0] > 2.7
    area = float(finding.says.split("over about ")[1].split(" mm²")[0])
    assert np.isclose(area, (6 - np.sqrt(9 - 0.3)) * 2, rtol=0.1)
    assert "thin-place" not in codes(
        fused(part("torso", ball(3.0)), part("blade", box((4, 0.12, 2), (4, 0, 0))))
    )


def test_edges_and_corners_are_not_thin_places():
    assert codes(fused(part("plinth", box((4, 3, 2))))) == []


def test_a_hood_comes_out_as_a_thin_shell():
    result = fused(part("hood", hood(5.0, 24, 96), thickness=0.8))
    mesh = result.body.mesh
    assert_sound(mesh)
    grown = result.findings[0]
    assert codes(result) == ["grown"]  # 10 mm across its parts, 10.8 with half of 0.8 on each side
    assert (grown.measured, grown.limit) == pytest.approx((10.8, 10.1), abs=0.03)
    inside, outside = 4.6, 5.4
    reach = np.linalg.norm(mesh.points, axis=1)
    assert reach.min() > inside - 0.06
    assert reach.max() < outside + 0.01
    # half a shell, and half a torus around its rim: 2π (R³ - r³) / 3 + π (t / 2)² / 2 · 2π · 5
    expected = 2 * np.pi * (outside**3 - inside**3) / 3 + np.pi**2 * 0.4**2 * 5
    assert np.isclose(measure_solid(mesh).volume, expected, rtol=0.01)


def test_a_sheet_much_thicker_than_the_lattice_is_solid_throughout():
    square = Mesh(
        np.array([[0, 0, 0], [6, 0, 0], [6, 6, 0], [0, 6, 0.0]]), np.array([[0, 1, 2], [0, 2, 3]], np.int32)
    )
    result = fused(part("cape", square, thickness=4.0))
    assert codes(result) == ["grown"]
    # a plate, four half cylinders and one ball: parallel body of a square (Steiner's formula)
    expected = 36 * 4 + 24 * np.pi * 2**2 / 2 + 4 / 3 * np.pi * 2**3
    assert np.isclose(measure_solid(result.body.mesh).volume, expected, rtol=0.005)


def test_a_fillet_fills_the_crease_between_two_parts_and_no_other():
    post = mesh_of(trimesh.creation.cylinder(radius=0.6, height=2.0, sections=128))
    step = mesh_of(
        trimesh.boolean.union(
            [trimesh.creation.box((3, 3, 1)), trimesh.creation.box((3, 1, 2))], engine="manifold"
        )
    )
    plate = box((2.4, 2.4, 0.8))
    radius = 0.24
    sharp, round_ = (
        fused(part("post", post), part("plate", plate), pitch=0.03, fillet_mm=r) for r in (0.0, radius)
    )
    assert codes(round_) == []
    assert_sound(round_.body.mesh)
    added = measure_solid(round_.body.mesh).volume - measure_solid(sharp.body.mesh).volume
    # a square less a quarter circle, turned about the post's axis (Pappus), above and below the plate
    section, middle = radius**2 * (1 - np.pi / 4), 0.6 + radius * (5 / 6 - np.pi / 4) / (1 - np.pi / 4)
    assert np.isclose(added, 2 * 2 * np.pi * middle * section, rtol=0.08)
    alone, kept = (fused(part("step", step), fillet_mm=r).body.mesh for r in (0.0, radius))
    assert np.array_equal(alone.points, kept.points)


def test_a_fillet_finer_than_the_lattice_is_refused():
    with pytest.raises(InputError, match="finer than the lattice can round"):
        fused(part("torso", ball(2.0)), part("head", ball(1.0, (0, 0, 2.2))), fillet_mm=0.15)


def test_a_shell_that_is_not_closed_is_told():
    leaky = box((3, 3, 3))
    leaky = Mesh(leaky.points, leaky.triangles[:-2])
    result = fused(part("crate", leaky))
    finding = the(result, "axes-disagree")
    assert finding.measured > 0
    assert "isn't closed" in finding.says
    assert_sound(result.body.mesh)
    assert np.isclose(measure_solid(result.body.mesh).volume, 27, rtol=0.03)


def test_no_shell_at_all_is_refused():
    with pytest.raises(InputError, match="no surface"):
        fused(Part("ghost", Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32)), ()))


def test_what_no_lattice_point_lies_in_is_refused():
    with pytest.raises(InputError, match="nothing is left"):
        fused(part("grain", box((0.01, 0.01, 0.01), (0.02, 0.02, 0.02))))


def test_too_large_a_lattice_is_refused_with_a_mend(monkeypatch):
    monkeypatch.setattr(memory, "free_bytes", lambda: 30_000_000)
    with pytest.raises(SizeError, match=r"pitch_mm above 0\.02"):
        fused(part("torso", ball(10.0)), pitch_mm=0.02)


def test_a_sheet_too_large_for_the_whole_route_is_refused_before_it_is_thickened(monkeypatch):
    monkeypatch.setattr(memory, "free_bytes", lambda: 30_000_000)
    flat = Mesh(
        np.array([[0, 0, 0], [9.0, 0, 0], [9, 9, 0.1], [0, 9, 0]]), np.array([[0, 1, 2], [0, 2, 3]], np.int32)
    )
    monkeypatch.setattr("firstcast.stations.fuse_shells.thicken", lambda *_: pytest.fail("was thickened"))
    with pytest.raises(SizeError, match=r"figure: .*pitch_mm above 0\.05"):
        fused(part("hem", flat, thickness=0.3))


def test_every_finding_says_what_where_and_how_to_mend():
    result = fused(
        part("torso", ball(3.0), inward(ball(1.5))), part("gem", ball(0.2, (-4, 0, 0))),
        part("blade", box((4, 0.06, 2), (4, 0.013, 0))), part("bird", ball(0.8, (0, 5, 0))),
    )  # fmt: skip
    assert set(codes(result)) == {"sealed-void", "loose-fragment", "thin-place", "separate-body"}
    for finding in result.findings:
        assert finding.station == "fuse"
        assert finding.says.endswith(".")
        assert finding.mend.endswith(".")
        assert finding.place_mm is not None
        assert finding.measured is not None
        assert finding.part


def test_small_hollows_are_told_together_and_placed_for_the_proof():
    hollows = [inward(ball(0.1, (x, 0.0, 0.0))) for x in (-1.5, -0.5, 0.5, 1.5)]
    result = fused(part("torso", ball(3.0), *hollows))
    told = the(result, "small-voids")
    assert told.says.startswith("4 hollows of at most 0.0")
    assert told.verdict is Verdict.SOUND
    assert "sealed-void" not in codes(result)
    middles = result.mended[np.argsort(result.mended[:, 0]), :3]
    np.testing.assert_allclose(middles[:, 0], [-1.5, -0.5, 0.5, 1.5], atol=0.01)
    assert (result.mended[:, 3] >= 0.1 * np.sqrt(3.0) * 0.9).all()
