"""Mesh files of every format read back; damaged ones refused in words."""

import struct

import numpy as np
import pytest
import trimesh

from firstcast.errors import FileError
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.io.meshes import MESH_SUFFIXES, clean_name, read_meshes, survey
from mesh_files import binary_stl, box_document, box_file, exported, glb, shape_of, write
from part_shapes import ball, box, joined, loosened, mesh_of, public_mesh

BOX_EXTENTS = np.array([[-5.0, -4, -3], [5, 4, 3]])


@pytest.mark.parametrize("suffix", MESH_SUFFIXES)
def test_a_box_of_every_format(tmp_path, suffix):
    path = box_file(tmp_path, suffix)
    (read,) = read_meshes(path)
    assert read.mesh.points.dtype == np.float64
    assert read.mesh.triangles.dtype == np.int32
    assert read.mesh.points.shape == (8, 3)
    assert measure_solid(read.mesh).volume == pytest.approx(480.0)
    assert read.unit_mm == {".3mf": 1.0, ".glb": 1000.0, ".gltf": 1000.0}.get(suffix)
    assert read.up == {".3mf": "z", ".glb": "y", ".gltf": "y"}.get(suffix)
    seen = survey(path)
    assert np.allclose(seen.extents, BOX_EXTENTS)
    assert (seen.triangle_count, seen.unit_mm) == (12, read.unit_mm)


@pytest.mark.parametrize("how", [{"file_type": "stl"}, {"file_type": "stl_ascii"}])
def test_stl_is_welded(tmp_path, how):
    path = exported(tmp_path, ball(5.0), ".stl", **how)
    (read,) = read_meshes(path)
    assert len(read.mesh.points) == 642
    assert read.name == "torso"
    assert shape_of(read.mesh).is_watertight
    library = trimesh.load_mesh(path)
    assert measure_solid(read.mesh).volume == pytest.approx(library.volume, rel=1e-6)


def test_binary_stl_that_begins_like_text(tmp_path):
    (read,) = read_meshes(write(tmp_path, "a.stl", binary_stl(box(), header=b"solid made by hand")))
    assert len(read.mesh.triangles) == 12


def test_text_stl_gives_a_mesh_per_solid(tmp_path):
    one = trimesh.exchange.stl.export_stl_ascii(shape_of(box())).replace("solid ", "solid left/arm", 1)
    two = one.replace("left/arm", "../right arm").upper().replace("SOLID", "solid").replace("\n", "\r\n")
    first, second = read_meshes(write(tmp_path, "a.stl", one + "\n" + two.lower()))
    assert (first.name, second.name) == ("left_arm", "right arm")
    assert len(second.mesh.triangles) == 12


def test_obj_objects_are_meshes_and_groups_are_not(tmp_path):
    left, right = box(), box(centre=(20, 0, 0))
    text = "# two objects\n"
    base = 0
    for name, mesh in (("left", left), ("right", right)):
        text += f"o {name}\n" + "".join(f"v {x} {y} {z}\n" for x, y, z in mesh.points)
        for number, row in enumerate(mesh.triangles + base + 1):
            text += (f"g half {number}\nusemtl paint\n" if number in (0, 6) else "") + "f {} {} {}\n".format(
                *row
            )
        base += len(mesh.points)
    first, second = read_meshes(write(tmp_path, "two.obj", text))
    assert (first.name, second.name) == ("left", "right")
    assert measure_solid(second.mesh).centroid == pytest.approx([20, 0, 0])
    assert len(first.mesh.points) == 8


def test_obj_objects_that_share_points_are_one_mesh(tmp_path):
    points = "".join(f"v {x} {y} {z}\n" for x, y, z in box().points)
    rows = ["f {} {} {}\n".format(*row) for row in box().triangles + 1]
    text = points + "o upper\n" + "".join(rows[:6]) + "o lower\n" + "".join(rows[6:])
    (read,) = read_meshes(write(tmp_path, "skin.obj", text))
    assert read.name == "skin"
    assert measure_solid(read.mesh).volume == pytest.approx(480.0)


def test_obj_of_polygons_negative_numbers_and_continued_lines(tmp_path):
    text = "v 0 0 0\nv 4 0 0 0.5 0.5 0.5\nv 4 4 0\nv 1 1 0\nv 0 4 0\nvt 0 0\nvn 0 0 1\n"
    text += "f -5/1/1 -4//1 \\\n -3/1 -2 -1\n"
    (read,) = read_meshes(write(tmp_path, "l.obj", text))
    # A concave polygon: the fill covers it, nothing else. Shoelace: 4·4/2 + 1·4/2·... = 10.
    corners = np.array([[0, 0], [4, 0], [4, 4], [1, 1], [0, 4]], dtype=float)
    after = np.roll(corners, -1, axis=0)
    area = np.sum(corners[:, 0] * after[:, 1] - corners[:, 1] * after[:, 0]) / 2
    assert len(read.mesh.triangles) == 3
    assert shape_of(read.mesh).area == pytest.approx(area)


def test_obj_points_with_more_numbers_comments_and_leading_blanks(tmp_path):
    text = "  v 0 0 0 1 # weight\nv 4 0 0 0.5 0.5 0.5\n\tv 0 4 0 0.1 0.2\no arm#2\nf 1 2 3 # face\n"
    (read,) = read_meshes(write(tmp_path, "a.obj", text))
    assert read.name == "arm_2"
    assert read.mesh.points.tolist() == [[0, 0, 0], [4, 0, 0], [0, 4, 0]]
    with pytest.raises(FileError, match="fewer than three"):
        read_meshes(write(tmp_path, "b.obj", "v 0 0\nv 4 0 0 1\nv 0 4 0\nf 1 2 3\n"))


def test_obj_matches_the_library(tmp_path):
    path = exported(tmp_path, ball(3.0), ".obj")
    (read,) = read_meshes(path)
    library = trimesh.load_mesh(path)
    assert np.allclose(np.sort(read.mesh.points, axis=0), np.sort(library.vertices, axis=0))
    assert len(read.mesh.triangles) == len(library.faces)


@pytest.mark.parametrize("encoding", ["binary", "ascii"])
def test_ply_matches_the_library(tmp_path, encoding):
    mesh = ball(3.0)
    shape = shape_of(mesh)
    shape.visual.vertex_colors = np.full((len(mesh.points), 4), 200, np.uint8)
    path = tmp_path / "torso.ply"
    path.write_bytes(trimesh.exchange.ply.export_ply(shape, encoding=encoding))
    (read,) = read_meshes(path)
    assert np.allclose(read.mesh.points, mesh.points, atol=1e-6)
    assert np.array_equal(read.mesh.triangles, mesh.triangles)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("mixed", [False, True])
def test_binary_ply_in_both_byte_orders_with_quads(tmp_path, order, mixed):
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    places = [(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)]
    faces = [*quads[1:], (0, 2, 3), (0, 3, 1)] if mixed else quads
    header = (
        f"ply\nformat binary_{'little' if order == '<' else 'big'}_endian 1.0\ncomment by hand\n"
        "element vertex 8\nproperty double x\nproperty uchar mark\nproperty double y\nproperty double z\n"
        f"element face {len(faces)}\nproperty short flag\nproperty list uchar uint vertex_index\nend_header\n"
    )
    body = b"".join(struct.pack(order + "dBdd", x, 7, y, z) for x, y, z in places)
    body += b"".join(struct.pack(f"{order}hB{len(face)}I", 3, len(face), *face) for face in faces)
    (read,) = read_meshes(write(tmp_path, "cube.ply", header.encode() + body))
    assert abs(measure_solid(read.mesh).volume) == pytest.approx(1.0)
    assert shape_of(read.mesh).is_watertight


def test_text_ply_with_mixed_faces_and_more_tables(tmp_path):
    text = (
        "ply\nformat ascii 1.0\nelement vertex 5\nproperty float x\nproperty float y\nproperty float z\n"
        "element face 2\nproperty list uchar int vertex_indices\nelement edge 1\nproperty int a\nproperty int b\n"
        "end_header\n0 0 0\n1 0 0\n1 1 0\n0 1 0\n2 2 0\n4 0 1 2 3\n3 1 4 2\n0 1\n"
    )
    (read,) = read_meshes(write(tmp_path, "a.ply", text))
    assert len(read.mesh.triangles) == 3
    assert shape_of(read.mesh).area == pytest.approx(1.5)


@pytest.mark.parametrize("count", [0xFFFFFFFF, 13, 11])
def test_stl_that_promises_what_it_has_not(tmp_path, count):
    path = write(tmp_path, "a.stl", binary_stl(box(), count))
    for reading in (read_meshes, survey):
        with pytest.raises(FileError, match=f"promises {count} triangles"):
            reading(path)


def test_ply_that_promises_what_it_has_not(tmp_path):
    good = exported(tmp_path, box(), ".ply").read_bytes()
    for old, new in (
        (b"element vertex 8", b"element vertex 4000000000"),
        (b"element face 12", b"element face 4000000000"),
        (b"element face 12", b"element face -3"),
    ):
        with pytest.raises(FileError, match="promises"):
            read_meshes(write(tmp_path, "a.ply", good.replace(old, new)))


@pytest.mark.parametrize(
    ("value", "words"), [(np.nan, "not finite"), (np.inf, "not finite"), (3e7, "coordinates reach 3e\\+07")]
)
def test_numbers_that_make_no_sense(tmp_path, value, words):
    mesh = box()
    mesh.points[5, 1] = value
    path = write(tmp_path, "a.stl", binary_stl(mesh))
    for reading in (read_meshes, survey):
        with pytest.raises(FileError, match=words):
            reading(path)
    text = "".join(f"v {x} {y} {z}\n" for x, y, z in mesh.points)
    text += "".join("f {} {} {}\n".format(*row) for row in mesh.triangles + 1)
    with pytest.raises(FileError, match=words):
        read_meshes(write(tmp_path, "a.obj", text))


def test_points_that_no_triangle_uses_do_not_count(tmp_path):
    text = "v nan 0 0\nv 0 0 0\nv 1e30 5 5\nv 1 0 0\nv 0 1 0\nf 2 4 5\n"
    path = write(tmp_path, "a.obj", text)
    (read,) = read_meshes(path)
    assert len(read.mesh.points) == 3
    assert np.allclose(survey(path).extents, [[0, 0, 0], [1, 1, 0]])


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("a.stl", b"", "empty"),
        ("a.stl", b"short", "too short"),
        ("a.stl", binary_stl(Mesh(np.empty((0, 3)), np.empty((0, 3), np.int32))), "no triangles"),
        ("a.stl", b"solid x\nendsolid x\n", "no triangles"),
        ("a.stl", binary_stl(Mesh(np.ones((3, 3)), np.array([[0, 1, 2]], np.int32))), "same place"),
        ("a.obj", b"v 0 0 0\n", "no triangles"),
        ("a.obj", b"v 0 0 0\nv 1 0 0\nf 1 2 3\n", "points 1 to 3 of 2"),
        ("a.obj", b"v 0 0\nv 1 0 0\nv 1 0 0\nf 1 2 3\n", "fewer than three"),
        ("a.obj", b"v 0 0 0\nv 1 0 0\nv 1 1 0\nf 1 2 x\n", "not readable"),
        ("a.ply", b"ply\nformat ascii 1.0\nend_header\n", "no faces"),
        ("a.ply", b"not a ply", "no PLY header"),
        ("a.ply", b"ply\nformat ascii 1.0\nwhat is this\nend_header\n", "a line that PLY does not know"),
        ("a.glb", b"glTF\x01\0\0\0\x0c\0\0\0", "version 1"),
        ("a.gltf", b"{}", "no meshes"),
        ("a.3mf", b"PK\x05\x06", "no whole zip"),
        ("a.fbx", b"anything", "can be read"),
    ],
)
def test_damage_is_named(tmp_path, name, content, words):
    path = write(tmp_path, name, content)
    with pytest.raises(FileError, match=words) as caught:
        read_meshes(path)
    assert caught.value.where == name
    assert caught.value.mend
    with pytest.raises(FileError):
        survey(path)


def test_a_missing_file_and_a_folder(tmp_path):
    with pytest.raises(FileError, match="can't be opened"):
        read_meshes(tmp_path / "none.stl")
    folder = tmp_path / "folder.stl"
    folder.mkdir()
    with pytest.raises(FileError, match="not a file"):
        survey(folder)


@pytest.mark.parametrize(
    ("name", "clean"),
    [
        ("../../etc/passwd", "etc_passwd"),
        ("arm\0\x1b[31m\n", "arm_31m_"),
        ("  left   arm.001 ", "left arm.001"),
        ("C:\\parts\\<b>hat</b>", "C_parts_b_hat_b"),
        ("größe 3", "größe 3"),
        ("...", ""),
        ("x" * 300, "x" * 64),
    ],
)
def test_names_are_made_harmless(name, clean):
    assert clean_name(name) == clean.strip(" ._")


def test_meshes_without_a_name_take_the_file_s(tmp_path):
    document, chunk = box_document(box(), nodes=[{"mesh": 0, "name": "///"}])
    assert read_meshes(write(tmp_path, "hat.glb", glb(document, chunk)))[0].name == "hat"


def damaged_copies(content: bytes, rng: np.random.Generator, rounds: int):
    """The file cut at a random byte, and with some bytes changed."""
    for _ in range(rounds):
        yield content[: int(rng.integers(0, len(content)))]
        broken = bytearray(content)
        for _ in range(int(rng.integers(1, 6))):
            broken[int(rng.integers(0, len(broken)))] = int(rng.integers(0, 256))
        yield bytes(broken)


@pytest.mark.parametrize("suffix", [*MESH_SUFFIXES, ".text.stl", ".text.ply"])
def test_damage_at_random_never_gives_another_error(tmp_path, suffix):
    if suffix == ".text.stl":
        content = exported(tmp_path, box(), ".stl", file_type="stl_ascii").read_bytes()
    elif suffix == ".text.ply":
        content = trimesh.exchange.ply.export_ply(shape_of(box()), encoding="ascii")
    else:
        content = box_file(tmp_path, suffix).read_bytes()
    rng = np.random.default_rng(73_309)
    cut = 0
    for copy in damaged_copies(content, rng, 150):
        path = write(tmp_path, f"damaged.{suffix.rsplit('.', 1)[-1]}", copy)
        for reading in (read_meshes, survey):
            try:
                reading(path)
            except FileError as error:
                cut += bool(error.what and error.mend)
    assert cut > 150  # binary coordinates may change unseen; a cut file may not


# Counts below are those of the collection's credits.


@pytest.mark.parametrize(
    ("name", "points", "triangles", "extents"),
    [
        ("spot.obj", 11533, 23062, (0.928, 1.75, 1.78)),
        ("human_neutral.obj", 10475, 20908, (1.64, 1.72, 0.294)),
        ("self_intersectA.obj", 8582, 17160, (1.64, 0.975, 1.99)),
        ("ds_maria.ply", 10333, 20662, (0.61, 1.88, 0.621)),
        ("soup.stl", 300, 100, (0.997, 0.997, 0.993)),
    ],
)
def test_public_single_meshes(name, points, triangles, extents):
    path = public_mesh(name)
    (read,) = read_meshes(path)
    assert (len(read.mesh.points), len(read.mesh.triangles)) == (points, triangles)
    seen = survey(path)
    assert np.ptp(seen.extents, axis=0) == pytest.approx(extents, rel=6e-3)
    assert seen.triangle_count == triangles


@pytest.mark.parametrize(
    ("name", "parts", "triangles", "extents"),
    [
        ("kaykit_knight.glb", 15, 6952, (2.69, 2.47, 2.58)),
        ("kaykit_barbarian.glb", 13, 6543, (2.97, 2.4, 1.85)),
        ("mh_man_casual.glb", 4, 37204, (11.4, 17.7, 4.84)),
    ],
)
def test_public_scenes(name, parts, triangles, extents):
    path = public_mesh(name)
    reads = read_meshes(path)
    assert len(reads) == parts
    assert sum(len(read.mesh.triangles) for read in reads) == triangles
    assert np.ptp(survey(path).extents, axis=0) == pytest.approx(extents, rel=6e-3)
    assert len({read.name for read in reads}) == parts


def test_loosened_helper_has_no_shared_points():
    mesh = joined(box(), mesh_of(trimesh.creation.box()))
    assert len(loosened(mesh).points) == 72
