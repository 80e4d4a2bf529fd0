"""OBJ: objects, polygons, relative numbers, and what programs add to lines."""

import igl
import numpy as np
import pytest

from firstcast.errors import FileError
from firstcast.geometry.mesh import measure_solid
from firstcast.io.meshes import read_meshes
from mesh_files import exported, shape_of, write
from part_shapes import ball, box


def two_boxes(first: str, second: str) -> str:
    left, right = box(), box(centre=(20, 0, 0))
    text, base = "# two objects\n", 0
    for name, mesh in ((first, left), (second, right)):
        text += f"o {name}\n" + "".join(f"v {x} {y} {z}\n" for x, y, z in mesh.points)
        for number, row in enumerate(mesh.triangles + base + 1):
            text += f"g half {number}\nusemtl paint\n" if number in (0, 6) else ""
            text += "f {} {} {}\n".format(*row)
        base += len(mesh.points)
    return text


def test_objects_are_meshes_and_groups_are_not(tmp_path):
    first, second = read_meshes(write(tmp_path, "two.obj", two_boxes("left", "right")))
    assert (first.name, second.name) == ("left", "right")
    assert measure_solid(first.mesh).centroid == pytest.approx([0, 0, 0])
    assert measure_solid(second.mesh).centroid == pytest.approx([20, 0, 0])
    assert len(first.mesh.points) == 8


def test_objects_of_one_name_stay_two(tmp_path):
    reads = read_meshes(write(tmp_path, "two.obj", two_boxes("arm", "arm")))
    assert [read.name for read in reads] == ["arm", "arm 2"]


def test_objects_that_share_points_are_one_mesh(tmp_path):
    points = "".join(f"v {x} {y} {z}\n" for x, y, z in box().points)
    rows = ["f {} {} {}\n".format(*row) for row in box().triangles + 1]
    text = points + "o upper\n" + "".join(rows[:6]) + "o lower\n" + "".join(rows[6:])
    (read,) = read_meshes(write(tmp_path, "skin.obj", text))
    assert read.name == "skin"
    assert measure_solid(read.mesh).volume == pytest.approx(480.0)


def test_polygons_relative_numbers_and_continued_lines(tmp_path):
    text = "v 0 0 0\nv 4 0 0 0.5 0.5 0.5\nv 4 4 0\nv 1 1 0\nv 0 4 0\nvt 0 0\nvn 0 0 1\n"
    text += "f -5/1/1 -4//1 \\\n -3/1 -2 -1\n"
    (read,) = read_meshes(write(tmp_path, "l.obj", text))
    # A square of 16 without the notch (4, 4), (1, 1), (0, 4) of 6: the fill covers it and nothing else.
    assert len(read.mesh.triangles) == 3
    assert shape_of(read.mesh).area == pytest.approx(10.0)


def test_points_with_more_numbers_comments_and_leading_blanks(tmp_path):
    text = "  v 0 0 0 1 # weight\nv 4 0 0 0.5 0.5 0.5\n\tv 0 4 0 0.1 0.2\no arm#2\nf 1 2 3 # face\n"
    (read,) = read_meshes(write(tmp_path, "a.obj", text))
    assert read.name == "arm_2"
    assert read.mesh.points.tolist() == [[0, 0, 0], [4, 0, 0], [0, 4, 0]]
    with pytest.raises(FileError, match="fewer than three"):
        read_meshes(write(tmp_path, "b.obj", "v 0 0\nv 4 0 0 1\nv 0 4 0\nf 1 2 3\n"))


def test_relative_numbers_count_from_where_they_stand(tmp_path):
    text = "v 0 0 0\nv 1 0 0\nv 0 1 0\nf -3 -2 -1\nv 0 0 5\nv 1 0 5\nv 0 1 5\nf -3 -2 -1\n"
    (read,) = read_meshes(write(tmp_path, "two.obj", text))
    assert read.mesh.points[read.mesh.triangles][:, :, 2].tolist() == [[0, 0, 0], [5, 5, 5]]


def test_seams_of_texture_split_no_point(tmp_path):
    text = "v 0 0 0\nv 1 0 0\nv 0 1 0\nv 1 1 0\nvt 0 0\nvt 1 0\nvt 0 1\nvn 0 0 1\nvn 1 0 0\n"
    text += "f 1/1/1 2/2/1 3/3/1\nf 3/1/2 2/3/2 4/2/2\n"
    (read,) = read_meshes(write(tmp_path, "seam.obj", text))
    assert read.mesh.triangles.tolist() == [[0, 1, 2], [2, 1, 3]]


def test_a_ball_is_what_another_library_reads(tmp_path):
    path = exported(tmp_path, ball(3.0), ".obj")
    (read,) = read_meshes(path)
    places, faces = igl.read_triangle_mesh(str(path))
    assert np.array_equal(read.mesh.points, places)
    assert np.array_equal(read.mesh.triangles, faces)
