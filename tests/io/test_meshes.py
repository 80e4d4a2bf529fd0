"""Mesh files of every format read back; damaged ones refused in words."""

import subprocess
import sys

import numpy as np
import pytest
import trimesh

from firstcast.errors import FileError
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.io.meshes import MESH_SUFFIXES, clean_name, read_meshes, survey
from mesh_files import binary_stl, box_document, box_file, glb, write
from part_shapes import box, joined, loosened, mesh_of, public_mesh

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


def test_the_library_is_loaded_by_reading_alone():
    """A run that finds all parts in the store reads no file, and should not wait for a reader."""
    code = "import sys, firstcast.cli, firstcast.workshop; print('trimesh' in sys.modules)"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "False"
