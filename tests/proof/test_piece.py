"""Whole proofs of written masters: sound ones pass, every known fault is caught by its own row."""

import dataclasses

import numpy as np
import pytest
import trimesh

from firstcast.errors import FileError, InputError
from firstcast.geometry.mesh import Mesh
from firstcast.io.write import write_3mf, write_stl
from firstcast.proof import Ball, Box, Expected, PartShape, prove_piece
from firstcast.vocabulary import Verdict

from . import solids

SAMPLES = 20_000
MATRIX = np.array([[1.004, 0.001, 0.0], [0.0, 1.006, 0.0], [0.0, 0.002, 1.009]])


def rounded(points):
    return np.asarray(points, dtype=np.float32)


@pytest.fixture(scope="module")
def lump():
    """A master: a bumpy ball with a peg through it, one exact union, mapped and rounded to float32.

    Its parts overlap, so that much of their surface is buried.
    """
    import manifold3d

    points, triangles = solids.ball(5.0, 4)
    wide = points.astype(np.float64)
    wide *= 1.0 + 0.02 * np.sin(2.0 * wide[:, :1]) * np.cos(1.5 * wide[:, 1:2])
    peg = trimesh.creation.cylinder(radius=1.5, height=14.0, sections=64)
    parts = [(wide, triangles), (peg.vertices + np.array([0.3, 0.2, 0.1]), np.asarray(peg.faces))]
    union = manifold3d.Manifold.batch_boolean(
        [
            manifold3d.Manifold(manifold3d.Mesh64(np.ascontiguousarray(p), t.astype(np.uint64)))
            for p, t in parts
        ],
        manifold3d.OpType.Add,
    ).to_mesh64()
    figure = np.asarray(union.vert_properties)[:, :3]
    master = Mesh(rounded(figure @ MATRIX.T), np.asarray(union.tri_verts).astype(np.int32))
    shapes = tuple(
        PartShape(name, np.asarray(p, np.float64)[t])
        for name, (p, t) in zip(("ball", "peg"), parts, strict=True)
    )
    expected = Expected(
        name="lump",
        extents_mm=tuple(np.ptp(figure @ MATRIX.T, axis=0)),
        matrix=MATRIX,
        tolerance_mm=0.008,
        pitch_mm=0.03,
        parts=shapes,
        volume_mm3=float(manifold_volume(figure @ MATRIX.T, master.triangles)),
    )
    return master, expected


def manifold_volume(points, triangles):
    return trimesh.Trimesh(points, triangles, process=False).volume


def prove(folder, master, expected, *, other=None):
    write_stl(folder / "m.stl", master)
    write_3mf(folder / "m.3mf", {expected.name: other or master})
    return prove_piece(folder / "m.stl", folder / "m.3mf", expected, samples=SAMPLES)


def stops(proof):
    return {row.check for row in proof.rows if row.verdict is Verdict.STOP}


def test_a_sound_master_is_sound_in_every_row(tmp_path, lump):
    master, expected = lump
    proof = prove(tmp_path, master, expected)
    assert [row for row in proof.rows if row.verdict is not Verdict.SOUND] == []
    assert proof.row("surface proved within the limit").measured == pytest.approx(100.0)
    assert proof.row("master to parts: greatest, smooth").measured < 0.01  # µm: only float32 rounding
    assert proof.row("parts to master: greatest, smooth").measured < 0.01
    again = prove(tmp_path, master, expected)
    assert proof == again


def test_one_triangle_turned_is_caught(tmp_path, lump):
    master, expected = lump
    triangles = master.triangles.copy()
    triangles[50] = triangles[50, ::-1]
    proof = prove(tmp_path, Mesh(master.points, triangles), expected)
    assert "edges run along twice the same way" in stops(proof)


def test_one_triangle_gone_is_caught(tmp_path, lump):
    master, expected = lump
    proof = prove(tmp_path, Mesh(master.points, np.delete(master.triangles, 77, axis=0)), expected)
    assert proof.row("edges with one triangle").measured == 3


def test_one_triangle_doubled_is_caught(tmp_path, lump):
    master, expected = lump
    proof = prove(
        tmp_path, Mesh(master.points, np.vstack([master.triangles, master.triangles[5:6]])), expected
    )
    assert {"edges with more than two triangles", "self-crossings"} <= stops(proof)


def test_a_thin_wall_pushed_through_by_a_tenth_of_a_micron_is_caught(tmp_path):
    points, triangles = solids.box((10, 10, 1.0), subdivisions=4)
    expected = Expected("plate", (10, 10, 1.0), np.eye(3), 5.0, 0.03)
    upper = np.flatnonzero((np.abs(points[:, :2]) < 2).all(axis=1) & (points[:, 2] > 0))[0]
    assert prove(tmp_path, Mesh(points, triangles), expected).verdict is Verdict.SOUND
    points[upper, 2] = np.float32(-0.5001)
    assert stops(prove(tmp_path, Mesh(points, triangles), expected)) == {"self-crossings"}


def test_a_void_a_nested_body_and_a_second_body_are_caught(tmp_path, lump):
    master, expected = lump
    small, faces = solids.ball(0.8, 1)
    whole = (master.points, master.triangles)
    void = prove(tmp_path, Mesh(*solids.together(whole, (small, faces[:, ::-1].copy()))), expected)
    assert {"separate bodies", "inside the body"} <= stops(void)
    assert "1 wound inward" in void.row("inside the body").result
    nested = prove(tmp_path, Mesh(*solids.together(whole, (small, faces))), expected)
    assert {"separate bodies", "inside the body"} <= stops(nested)
    apart = Mesh(*solids.together(whole, (small + np.float32([0, 0, 9.5]), faces)))
    apart = prove(tmp_path, apart, expected)
    assert "separate bodies" in stops(apart)
    assert "inside the body" not in stops(apart)
    allowed = prove(
        tmp_path, Mesh(*solids.together(whole, (small, faces))), dataclasses.replace(expected, bodies=2)
    )
    assert "separate bodies" not in stops(allowed)
    assert "inside the body" in stops(allowed)


def test_turned_inside_out_is_caught(tmp_path, lump):
    master, expected = lump
    proof = prove(tmp_path, Mesh(master.points, master.triangles[:, ::-1].copy()), expected)
    assert "inside the body" in stops(proof)


def test_a_tenth_of_a_percent_too_large_is_caught(tmp_path):
    points, triangles = solids.ball(25.0, 4)
    expected = Expected(
        "ball",
        tuple(np.ptp(points, axis=0)),
        np.eye(3),
        0.010,
        0.03,
        (PartShape("ball", points[triangles].astype(np.float64)),),
    )
    assert prove(tmp_path, Mesh(points, triangles), expected).verdict is Verdict.SOUND
    found = stops(prove(tmp_path, Mesh(rounded(points * 1.001), triangles), expected))
    assert {"extent x", "extent y", "extent z", "surface proved within the limit"} <= found
    assert {"master to parts: greatest, smooth", "parts to master: greatest, smooth"} <= found


def test_one_corner_moved_by_twenty_microns_is_caught(tmp_path):
    """Three times smaller than a pixel, on smooth surface: seen by bound and by the corner's own distance."""
    points, triangles = solids.ball(8.0, 5)
    part = PartShape("ball", points[triangles].astype(np.float64))
    expected = Expected("ball", tuple(np.ptp(points, axis=0)), np.eye(3), 0.008, 0.03, (part,))
    assert prove(tmp_path, Mesh(points, triangles), expected).verdict is Verdict.SOUND
    moved = points.copy()
    moved[1234] *= np.float32(1.0 - 0.020 / 8.0)
    proof = prove(tmp_path, Mesh(moved, triangles), expected)
    assert "surface proved within the limit" in stops(proof)
    assert proof.row("master to parts: greatest, smooth").measured == pytest.approx(20.0, abs=0.5)
    assert proof.row("master to parts: greatest, smooth").verdict is Verdict.STOP


def test_a_missing_part_is_caught_though_the_master_lies_on_the_rest(tmp_path, lump):
    _, expected = lump
    ball = expected.parts[0].corners
    points = rounded(ball.reshape(-1, 3) @ MATRIX.T)
    from firstcast.proof.surface import weld

    places, faces = weld(points.reshape(-1, 3, 3))
    proof = prove(tmp_path, Mesh(places, faces), expected)
    assert "parts to master: greatest, smooth" in stops(proof)
    assert proof.row("master to parts: greatest, smooth").verdict is Verdict.SOUND
    assert " near peg" in proof.row("parts to master: greatest, smooth").result


def test_cut_edges_are_held_against_the_limit_for_creases_only(tmp_path):
    """A box whose edges are bevelled by 20 µm: cut at creases, true on its faces."""
    sharp = trimesh.creation.box((6, 6, 6))
    corner_points = np.array(
        [
            np.array([x, y, z]) * np.where(np.arange(3) == axis, 3.0, 3.0 - 0.02)
            for x in (-1, 1) for y in (-1, 1) for z in (-1, 1) for axis in range(3)
        ]
    )  # fmt: skip
    bevelled = trimesh.convex.convex_hull(rounded(corner_points))
    master = Mesh(rounded(bevelled.vertices), np.asarray(bevelled.faces, np.int32))
    part = PartShape("box", np.asarray(sharp.triangles, np.float64))
    strict = Expected("box", (6, 6, 6), np.eye(3), 0.004, 0.03, (part,))
    found = stops(prove(tmp_path, master, strict))
    assert "parts to master: greatest, creases" in found
    lenient = dataclasses.replace(strict, crease_mm=0.025)
    proof = prove(tmp_path, master, lenient)
    assert stops(proof) == set()
    # the cut corner's plane x + y + z = 9 - 0.04 lies 0.04 / √3 below the tip
    assert proof.row("parts to master: greatest, creases").measured == pytest.approx(23.09, abs=0.05)
    # the cut corner's middle lies 0.04 / 3 below each face, the bevel's middle 0.01
    assert 9.9 < proof.row("master to parts: greatest, creases").measured < 13.4


def hollow_ball(hollow_radius=0.5):
    """A ball with a sealed hollow as part, and the master of it with the hollow filled."""
    points, triangles = solids.ball(5.0, 4)
    inner, faces = solids.ball(hollow_radius, 2, (1.0, 0.0, 0.0))
    corners = np.concatenate([points[triangles], inner[faces][:, ::-1]]).astype(np.float64)
    part = PartShape("ball", corners)
    return Mesh(points, triangles), Expected("ball", (10, 10, 10), np.eye(3), 0.008, 0.03, (part,))


@pytest.mark.parametrize(
    "region",
    [Ball((1.0, 0.0, 0.0), 0.6, "a hollow was filled"), Box((0, -1, -1), (2, 1, 1), "a hollow was filled")],
    ids=["ball", "box"],
)
def test_what_was_filled_is_left_out_counted_and_said(tmp_path, region):
    master, expected = hollow_ball()
    assert "parts to master: greatest, smooth" in stops(prove(tmp_path, master, expected))
    proof = prove(tmp_path, master, dataclasses.replace(expected, exempt=(region,)))
    assert not {check for check in stops(proof) if "greatest" in check or "proved" in check}
    row = proof.row("exempt places")
    # the hollow's share of all that shows, 0.5² of 5² + 0.5²; geodesic balls keep the ratio to 3 %
    assert row.measured == pytest.approx(100 * 0.25 / 25.25, rel=0.05)
    assert "a hollow was filled" in row.result
    assert row.verdict is Verdict.SOUND


def test_more_than_a_twentieth_left_out_is_to_be_looked_at_and_what_is_there_is_not_left_out(tmp_path):
    master, expected = hollow_ball(2.0)
    everywhere = Ball((1.0, 0.0, 0.0), 20.0, "a hollow was filled")
    row = prove(tmp_path, master, dataclasses.replace(expected, exempt=(everywhere,))).row("exempt places")
    assert row.verdict is Verdict.WATCH
    assert row.measured == pytest.approx(100 * 4 / 29, rel=0.05)


def test_nothing_of_the_master_is_exempt(tmp_path, lump):
    master, expected = lump
    points = master.points.copy()
    top = int(np.argmax(points[:, 0]))
    points[top] -= np.float32([0.3, 0, 0])
    centre = tuple(np.linalg.solve(MATRIX, master.points[top].astype(np.float64)))
    exempt = dataclasses.replace(expected, exempt=(Ball(centre, 1.0, "a hollow was filled"),))
    found = stops(prove(tmp_path, Mesh(points, master.triangles), exempt))
    assert {"master to parts: greatest, smooth", "surface proved within the limit"} <= found


def test_a_sheet_is_measured_from_half_its_thickness(tmp_path):
    """A disc of sheet, 0.4 mm thick with a round rim: the master is its offset surface."""
    flat = np.array([[[-3, -3, 0], [3, -3, 0], [3, 3, 0]], [[-3, -3, 0], [3, 3, 0], [-3, 3, 0]]], np.float64)
    grown = rounded_plate(3.0, 0.2)
    part = PartShape("veil", flat, thickness_mm=0.4, closed=False)
    expected = Expected("veil", tuple(np.ptp(grown.points, axis=0)), np.eye(3), 0.003, 0.03, (part,))
    proof = prove(tmp_path, grown, expected)
    assert stops(proof) == set()
    assert proof.row("master to parts: greatest, smooth").measured < 3.0
    thin = dataclasses.replace(expected, parts=(dataclasses.replace(part, thickness_mm=0.38),))
    assert "master to parts: greatest, smooth" in stops(prove(tmp_path, grown, thin))


def rounded_plate(half, radius):
    """The offset surface of a square sheet: hull of balls at its corners."""
    ball = trimesh.creation.icosphere(subdivisions=5, radius=radius)
    cloud = np.concatenate(
        [ball.vertices + np.array([x, y, 0]) for x in (-half, half) for y in (-half, half)]
    ).astype(np.float32)
    hull = trimesh.convex.convex_hull(cloud)
    return Mesh(rounded(hull.vertices), np.asarray(hull.faces, np.int32))


def test_a_mirroring_map_keeps_the_parts_outward(tmp_path, lump):
    master, expected = lump
    mirror = np.diag([-1.0, 1.0, 1.0])
    points = rounded(master.points * np.float32([-1, 1, 1]))
    mirrored = Mesh(points, master.triangles[:, ::-1].copy())
    proof = prove(tmp_path, mirrored, dataclasses.replace(expected, matrix=mirror @ MATRIX))
    assert proof.verdict is Verdict.SOUND


def test_stl_and_3mf_that_differ_are_caught(tmp_path, lump):
    master, expected = lump
    points = master.points.copy()
    points[7, 0] = np.nextafter(points[7, 0], np.float32(np.inf))
    proof = prove(tmp_path, master, expected, other=Mesh(points, master.triangles))
    assert stops(proof) == {"STL and 3MF alike"}
    order = np.random.default_rng(31809).permutation(len(master.triangles))
    shuffled = Mesh(master.points, np.roll(master.triangles[order], 1, axis=1).copy())
    assert prove(tmp_path, master, expected, other=shuffled).verdict is Verdict.SOUND
    write_3mf(tmp_path / "m.3mf", {"another name": master})
    proof = prove_piece(tmp_path / "m.stl", tmp_path / "m.3mf", expected, samples=SAMPLES)
    assert "STL and 3MF alike" in stops(proof)


def test_a_3mf_in_another_unit_is_caught(tmp_path, lump):
    import zipfile

    master, expected = lump
    write_stl(tmp_path / "m.stl", master)
    write_3mf(tmp_path / "a.3mf", {"lump": master})
    with zipfile.ZipFile(tmp_path / "a.3mf") as old, zipfile.ZipFile(tmp_path / "m.3mf", "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b'unit="millimeter"', b'unit="inch"'))
    proof = prove_piece(tmp_path / "m.stl", tmp_path / "m.3mf", expected, samples=SAMPLES)
    assert stops(proof) == {"unit of the 3MF"}


def test_damaged_files_say_what_is_wrong(tmp_path, lump):
    master, expected = lump
    write_stl(tmp_path / "m.stl", master)
    write_3mf(tmp_path / "m.3mf", {"lump": master})
    whole = (tmp_path / "m.stl").read_bytes()
    (tmp_path / "m.stl").write_bytes(whole[:-1])
    with pytest.raises(FileError, match="don't fit a binary STL"):
        prove_piece(tmp_path / "m.stl", tmp_path / "m.3mf", expected)
    (tmp_path / "m.stl").write_bytes(whole)
    (tmp_path / "m.3mf").write_bytes(b"PK nothing")
    with pytest.raises(FileError, match="not a sound 3MF"):
        prove_piece(tmp_path / "m.stl", tmp_path / "m.3mf", expected)
    with pytest.raises(FileError, match="can't be read"):
        prove_piece(tmp_path / "absent.stl", tmp_path / "m.3mf", expected)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"matrix": np.diag([1.0, 0.0, 1.0])}, "can't be undone"),
        ({"matrix": np.eye(4)}, "can't be undone"),
        ({"tolerance_mm": 0.0}, "must be above 0"),
        ({"pitch_mm": float("nan")}, "must be above 0"),
        ({"parts": (PartShape("flat", np.zeros((4, 3))),)}, "not \\(m, 3, 3\\)"),
        ({"parts": (PartShape("lost", np.full((1, 3, 3), np.nan)),)}, "finite"),
    ],
)
def test_an_expectation_that_makes_no_sense_is_refused(lump, change, says):
    with pytest.raises(InputError, match=says):
        dataclasses.replace(lump[1], **change)


def test_an_empty_master_stops(tmp_path, lump):
    (tmp_path / "m.stl").write_bytes(b" " * 80 + bytes(4))
    write_3mf(tmp_path / "m.3mf", {"lump": lump[0]})
    proof = prove_piece(tmp_path / "m.stl", tmp_path / "m.3mf", lump[1])
    assert stops(proof) == {"triangles"}
