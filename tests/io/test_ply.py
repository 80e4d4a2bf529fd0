"""PLY, binary and text: rows alike go through the library, uneven faces do not; both give the same mesh."""

import struct

import igl
import numpy as np
import pytest
import trimesh

from firstcast.errors import FileError
from firstcast.geometry.mesh import measure_solid
from firstcast.io.meshes import read_meshes
from mesh_files import exported, shape_of, write
from part_shapes import ball, box

PLACES = [(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)]
QUADS = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
UNEVEN = [*QUADS[1:], (0, 1, 3), (0, 3, 2)]
CONCAVE = [(0, 0, 0), (4, 0, 0), (4, 4, 0), (1, 1, 0), (0, 4, 0)]
"""A square of 16 without the notch (4, 4), (1, 1), (0, 4) of 6: a fan from the first corner would leave it."""


def text_ply(places, faces, before: str = "") -> str:
    lines = ["ply", "format ascii 1.0", f"element vertex {len(places)}"]
    lines += [f"property float {axis}" for axis in "xyz"]
    lines += [f"element face {len(faces)}", "property list uchar int vertex_indices", "end_header"]
    lines += [" ".join(map(str, place)) for place in places]
    lines += [" ".join(map(str, (len(face), *face))) for face in faces]
    return before + "\n".join(lines) + "\n"


def binary_ply(order: str, faces, *, more: bytes = b"", tables: str = "") -> bytes:
    """A cube with a mark at each point, and a flag and texture places before each face's points."""
    header = (
        f"ply\nformat binary_{'little' if order == '<' else 'big'}_endian 1.0\n"
        "comment TextureFile elsewhere.png\nelement vertex 8\nproperty double x\nproperty uchar mark\n"
        f"property double y\nproperty double z\nelement face {len(faces)}\nproperty short flag\n"
        "property list uchar float texcoord\nproperty list ushort uint vertex_index\n"
        f"{tables}end_header\n"
    )
    body = b"".join(struct.pack(order + "dBdd", x, 7, y, z) for x, y, z in PLACES)
    for face in faces:
        body += struct.pack(f"{order}hB2fH{len(face)}I", 3, 2, 0.5, 0.5, len(face), *face)
    return header.encode() + body + more


@pytest.mark.parametrize("encoding", ["binary", "ascii"])
def test_a_ball_is_what_another_library_reads(tmp_path, encoding):
    shape = shape_of(ball(3.0))
    shape.visual.vertex_colors = np.full((len(shape.vertices), 4), 200, np.uint8)
    path = tmp_path / "torso.ply"
    path.write_bytes(trimesh.exchange.ply.export_ply(shape, encoding=encoding))
    (read,) = read_meshes(path)
    places, faces = igl.read_triangle_mesh(str(path))
    assert np.array_equal(
        read.mesh.points.astype(np.float32), places
    )  # the other one rounds a text's numbers
    assert np.array_equal(read.mesh.triangles, faces)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("faces", [QUADS, UNEVEN])
def test_binary_in_both_byte_orders(tmp_path, order, faces):
    edges = struct.pack(order + "2i", 0, 1)
    tables = "element edge 1\nproperty int vertex1\nproperty int vertex2\n"
    for content in (binary_ply(order, faces), binary_ply(order, faces, more=edges, tables=tables)):
        (read,) = read_meshes(write(tmp_path, "cube.ply", content))
        assert read.mesh.points.tolist() == [list(place) for place in PLACES]
        assert measure_solid(read.mesh).volume == pytest.approx(1.0)
        assert shape_of(read.mesh).is_watertight


def test_uneven_faces_whose_size_looks_even(tmp_path):
    """A quad, a triangle and a pentagon take the bytes of three quads."""
    faces = [(0, 1, 3, 2), (4, 6, 7), (0, 4, 5, 1, 3)]
    (read,) = read_meshes(write(tmp_path, "a.ply", binary_ply("<", faces)))
    assert len(read.mesh.triangles) == 2 + 1 + 3
    assert read.mesh.triangles[2].tolist() == [4, 6, 7]


@pytest.mark.parametrize("faces", [[(0, 1, 2, 3, 4)], [(0, 1, 2, 3, 4), (0, 1, 3)]])
def test_text_polygons_are_filled_and_keep_their_order(tmp_path, faces):
    (read,) = read_meshes(write(tmp_path, "a.ply", text_ply(CONCAVE, faces)))
    assert shape_of(read.mesh).area == pytest.approx(10.0 if len(faces) == 1 else 12.0)
    assert len(read.mesh.triangles) == 3 + len(faces) - 1
    if len(faces) == 2:
        assert read.mesh.triangles[-1].tolist() == [0, 1, 3]


def test_text_with_more_tables_blank_lines_and_more_digits_than_float32(tmp_path):
    text = text_ply([(0.123456789012, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)], [(0, 1, 2), (0, 2, 3)])
    text = text.replace("end_header", "element edge 1\nproperty int a\nproperty int b\nend_header") + "0 1\n"
    text = text.replace("\n1 0 0\n", "\r\n\n1 0 0\n  \n").replace(
        "element face", "comment face\nelement face"
    )
    (read,) = read_meshes(write(tmp_path, "a.ply", text))
    assert read.mesh.points[0, 0] == 0.123456789012
    assert read.mesh.triangles.tolist() == [[0, 1, 2], [0, 2, 3]]


def test_tables_that_stand_before_the_points(tmp_path):
    cube = binary_ply("<", QUADS)
    at = cube.index(b"end_header\n") + len(b"end_header\n")
    head = cube[:at].replace(
        b"element vertex", b"element sensor 2\nproperty list uchar short n\nelement vertex"
    )
    for rows in (struct.pack("<BhBh", 1, 5, 1, 6), struct.pack("<BhBhh", 1, 5, 2, 6, 7)):
        path = write(tmp_path, "cube.ply", head + rows + cube[at:])
        if len(rows) == 6:
            assert measure_solid(read_meshes(path)[0].mesh).volume == pytest.approx(1.0)
        else:
            with pytest.raises(FileError, match="rows of 'sensor'"):
                read_meshes(path)


@pytest.mark.parametrize("form", ["binary", "ascii"])
def test_counts_that_are_not_kept(tmp_path, form):
    good = exported(tmp_path, box(), ".ply", encoding=form).read_bytes()
    for old, new in (
        (b"element vertex 8", b"element vertex 4000000000"),
        (b"element face 12", b"element face 4000000000"),
        (b"element face 12", b"element face -3"),
    ):
        with pytest.raises(FileError, match="promises"):
            read_meshes(write(tmp_path, "a.ply", good.replace(old, new)))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("3 0 1 2\n3 0 2 3", "3 0 1 2", "'face' ends at row 6 of 5"),
        ("3 0 2 3", "3 0 2", "not readable"),
        ("3 0 2 3", "3 0 2 9", "triangles name points 0 to 9 of 4"),
        ("3 0 2 3", "3 0 2 1.5", "not readable"),
        ("3 0 2 3", "-3 0 2 1", "not readable"),
        ("3 0 2 3", "3 0 2 x", "not readable"),
        ("1 1 0", "1 x 0", "not readable"),
        ("1 1 0", "1 1", r"not readable|not three numbers each"),
        ("1 1 0", "1 inf 0", "not finite"),
        ("property float z", "property float w", "no x, y and z"),
        ("element vertex", "element face 0\nelement vertex", "without point indices"),
        ("vertex_indices", "indices", "without point indices"),
        ("property float z", "property half z", "not readable"),
        ("format ascii", "format morse", "a line that PLY does not know"),
    ],
)
def test_text_that_is_not_whole(tmp_path, old, new, words):
    text = text_ply([(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)], [(0, 1, 2), (0, 2, 3)])
    assert text.count(old) == 1
    with pytest.raises(FileError, match=words):
        read_meshes(write(tmp_path, "a.ply", text.replace(old, new)))


@pytest.mark.parametrize("faces", [QUADS, UNEVEN])
def test_binary_that_is_cut_short(tmp_path, faces):
    content = binary_ply("<", faces)
    with pytest.raises(FileError, match=r"not readable|promises"):
        read_meshes(write(tmp_path, "a.ply", content[:-1]))
