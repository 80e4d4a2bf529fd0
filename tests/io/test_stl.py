"""STL, binary and text, read back and held against another library's reader."""

import igl
import numpy as np
import pytest
import trimesh

from firstcast.errors import FileError
from firstcast.io.meshes import read_meshes, survey
from mesh_files import binary_stl, exported, shape_of, write
from part_shapes import ball, box


@pytest.mark.parametrize("how", [{"file_type": "stl"}, {"file_type": "stl_ascii"}])
def test_a_ball_is_what_another_library_reads(tmp_path, how):
    path = exported(tmp_path, ball(5.0), ".stl", **how)
    (read,) = read_meshes(path)
    places, faces = igl.read_triangle_mesh(str(path))
    assert read.name == "torso"
    assert np.array_equal(read.mesh.points[read.mesh.triangles], places[faces])
    assert len(read.mesh.points) == 642  # an icosphere's: 10 · 4³ + 2
    assert shape_of(read.mesh).is_watertight


def test_binary_that_begins_like_text(tmp_path):
    (read,) = read_meshes(write(tmp_path, "a.stl", binary_stl(box(), header=b"solid made by hand")))
    assert len(read.mesh.triangles) == 12


def test_text_gives_a_mesh_per_solid(tmp_path):
    one = trimesh.exchange.stl.export_stl_ascii(shape_of(box())).replace("solid ", "solid left/arm", 1)
    two = one.replace("left/arm", "../right arm").upper().replace("SOLID", "solid").replace("\n", "\r\n")
    first, second = read_meshes(write(tmp_path, "a.stl", one + "\n" + two.lower()))
    assert (first.name, second.name) == ("left_arm", "right arm")
    assert len(second.mesh.triangles) == 12
    assert np.array_equal(first.mesh.points, second.mesh.points)


def test_words_of_the_format_within_names_and_in_capitals(tmp_path):
    facet = (
        "facet normal 0 0 1\nouter loop\nvertex 0 0 {z}\nvertex 1 0 {z}\nvertex 0 1 {z}\nendloop\nendfacet\n"
    )
    text = ""
    for z, name in enumerate(("left solid", "my vertex 7 8 9", "grösse endsolid x")):
        text += f"solid {name}\n{facet.format(z=z)}endsolid {name}\n"
    text += "SOLID\n" + facet.format(z="3E0").upper() + "ENDSOLID\n"
    reads = read_meshes(write(tmp_path, "hat.stl", text.encode("latin-1")))
    assert [read.name for read in reads[:2]] == ["left solid", "my vertex 7 8 9"]
    assert reads[3].name == "hat"
    for z, read in enumerate(reads):
        assert read.mesh.points.tolist() == [[0, 0, z], [1, 0, z], [0, 1, z]]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("endsolid", "", "no end"),
        ("endfacet", "", "3 vertices are not three for each of 0 facets"),
        ("vertex 0 1 0", "vertex 0 1", r"not readable|have 8 numbers"),
        ("vertex 0 1 0", "vertex 0 1 x", "not readable"),
        ("vertex 0 1 0", "vertex 0 1 0 5 5 5", r"not readable|have 12 numbers"),
        ("vertex 0 1 0", "vertex 0 1 nan", "not finite"),
    ],
)
def test_text_that_is_not_whole(tmp_path, old, new, words):
    text = "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n"
    with pytest.raises(FileError, match=words):
        read_meshes(write(tmp_path, "a.stl", (text + "endsolid\n").replace(old, new)))


@pytest.mark.parametrize("count", [0xFFFFFFFF, 13, 11])
def test_a_count_that_is_not_kept(tmp_path, count):
    path = write(tmp_path, "a.stl", binary_stl(box(), count))
    for reading in (read_meshes, survey):
        with pytest.raises(FileError, match=f"promises {count} triangles"):
            reading(path)
