"""Written files: read back by other libraries, the same bytes twice, whole or not at all."""

import json
import os
import re
import subprocess
import sys
import zipfile

import lib3mf
import numpy as np
import pytest
import trimesh
from lib3mf import Lib3MF
from lxml import etree

from firstcast import __version__
from firstcast.errors import FileError, InputError
from firstcast.geometry.mesh import Mesh
from firstcast.io import write

SEED = 70613


@pytest.fixture
def ball() -> Mesh:
    solid = trimesh.creation.icosphere(subdivisions=3, radius=7.3)
    points = (solid.vertices + np.array([11.1, -3.7, 0.2])).astype(np.float32)
    points[5] *= np.float32(1e-6)  # an exponent must survive the text of the 3MF
    return Mesh(points, np.asarray(solid.faces, dtype=np.int32))


@pytest.fixture
def peg() -> Mesh:
    solid = trimesh.creation.cylinder(radius=1.25, height=4.0, sections=17)
    return Mesh(np.asarray(solid.vertices, np.float32), np.asarray(solid.faces, np.int32))


def test_stl_reads_back_in_another_library_with_the_same_triangles(tmp_path, ball):
    path = tmp_path / "ball.stl"
    write.write_stl(path, ball)
    read = trimesh.load(path, process=False)
    assert np.array_equal(np.asarray(read.triangles, np.float32), ball.points[ball.triangles])
    assert np.allclose(
        np.einsum("ij,ij->i", read.face_normals, trimesh.Trimesh(*_arrays(ball)).face_normals), 1
    )
    assert path.stat().st_size == 84 + 50 * len(ball.triangles)
    assert not path.read_bytes().startswith(b"solid")


def _arrays(mesh):
    return mesh.points, mesh.triangles


def test_3mf_reads_back_in_the_reference_library_with_units_names_and_notes(tmp_path, ball, peg):
    path = tmp_path / "two.3mf"
    notes = {"Title": "lantern & arm", "piece": "arm <left>", "size steps": "print 0.4 %\nmould 0.1 %"}
    write.write_3mf(path, {"arm <left>": ball, 'peg "a"': peg}, notes)
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    assert model.GetUnit() == Lib3MF.ModelUnit.MilliMeter
    objects = model.GetMeshObjects()
    for name, mesh in (("arm <left>", ball), ('peg "a"', peg)):
        assert objects.MoveNext()
        found = objects.GetCurrentMeshObject()
        assert found.GetName() == name
        assert found.IsManifoldAndOriented()
        points = np.array([list(v.Coordinates) for v in found.GetVertices()], dtype=np.float32)
        triangles = np.array([list(t.Indices) for t in found.GetTriangleIndices()])
        assert np.array_equal(points, mesh.points)
        assert np.array_equal(triangles, mesh.triangles)
    assert not objects.MoveNext()
    group = model.GetMetaDataGroup()
    entries = [group.GetMetaData(i) for i in range(group.GetMetaDataCount())]
    kept = {entry.GetName(): entry.GetValue() for entry in entries}
    assert kept == {
        "Application": f"firstcast {__version__}",
        "Title": notes["Title"],
        "piece": notes["piece"],
        "size-steps": notes["size steps"],
    }
    items = model.GetBuildItems()
    assert [items.MoveNext(), items.MoveNext(), items.MoveNext()] == [True, True, False]


def test_3mf_reads_back_in_a_second_library(tmp_path, ball):
    path = tmp_path / "ball.3mf"
    write.write_3mf(path, {"ball": ball})
    scene = trimesh.load(path, process=False)
    (read,) = scene.geometry.values()
    assert scene.units in ("mm", "millimeter", "millimeters")
    assert np.array_equal(np.asarray(read.vertices, np.float32), ball.points)
    assert np.array_equal(read.faces, ball.triangles)


def test_3mf_package_follows_the_core_standard(tmp_path, peg):
    """3MF core 1.4.0: content types and relationship of the model part, every metadata name a QName."""
    path = tmp_path / "peg.3mf"
    write.write_3mf(path, {"peg": peg}, {"9 lives": "x", "Designer": "y\x00z"})
    with zipfile.ZipFile(path) as package:
        assert package.testzip() is None
        names = package.namelist()
        relationships = etree.fromstring(package.read("_rels/.rels"))
        types = etree.fromstring(package.read("[Content_Types].xml"))
        model = etree.fromstring(package.read("3D/3dmodel.model"))
    assert names == ["[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"]
    assert relationships[0].get("Target") == "/3D/3dmodel.model"
    assert {entry.get("Extension") for entry in types} == {"rels", "model"}
    assert model.get("unit") == "millimeter"
    for entry in model.findall("{*}metadata"):
        assert re.fullmatch(r"(firstcast:)?[A-Za-z][\w.-]*", entry.get("name"))
    assert model.findtext("{*}metadata[@name='Designer']") == "yz"


def test_bytes_repeat(tmp_path, ball):
    for name, writer in (
        ("a.stl", write.write_stl),
        ("a.3mf", lambda path, mesh: write.write_3mf(path, {"ball": mesh}, {"piece": "ball"})),
    ):
        writer(tmp_path / name, ball)
        first = (tmp_path / name).read_bytes()
        os.utime(tmp_path / name, (1e9, 1e9))
        writer(tmp_path / name, ball)
        assert (tmp_path / name).read_bytes() == first


def test_random_float32_survive_the_text(tmp_path):
    """Nine significant digits name every float32 (IEEE 754-2008, 5.12.2)."""
    rng = np.random.default_rng(SEED)
    points = (rng.standard_normal((600, 3)) * 10.0 ** rng.integers(-9, 3, (600, 1))).astype(np.float32)
    mesh = Mesh(points, np.arange(600, dtype=np.int32).reshape(-1, 3))
    write.write_3mf(tmp_path / "loose.3mf", {"loose": mesh})
    with zipfile.ZipFile(tmp_path / "loose.3mf") as package:
        model = etree.fromstring(package.read("3D/3dmodel.model"))
    read = [[float(v.get(axis)) for axis in "xyz"] for v in model.iter("{*}vertex")]
    assert np.array_equal(np.array(read).astype(np.float32), points)


def test_points_that_float32_cannot_hold_are_refused(tmp_path, ball):
    moved = Mesh(ball.points.astype(np.float64) + 1e-9, ball.triangles)
    with pytest.raises(InputError, match="not exact in float32"):
        write.write_stl(tmp_path / "x.stl", moved)
    with pytest.raises(InputError, match="not exact in float32"):
        write.write_3mf(tmp_path / "x.3mf", {"x": moved})
    broken = ball.points.copy()
    broken[3, 1] = np.nan
    with pytest.raises(InputError, match="not exact"):
        write.write_stl(tmp_path / "x.stl", Mesh(broken, ball.triangles))
    assert list(tmp_path.iterdir()) == []


def test_wrong_indices_and_empty_meshes_are_refused(tmp_path, ball):
    with pytest.raises(InputError, match="indices run"):
        write.write_stl(tmp_path / "x.stl", Mesh(ball.points[:50], ball.triangles))
    with pytest.raises(InputError, match="no mesh"):
        write.write_3mf(tmp_path / "x.3mf", {})
    with pytest.raises(InputError, match="no triangles"):
        write.write_3mf(tmp_path / "x.3mf", {"x": Mesh(ball.points, ball.triangles[:0])})


@pytest.mark.parametrize("stage", ["fill", "fsync", "rename"])
def test_a_crash_in_the_middle_leaves_the_old_file(tmp_path, ball, peg, monkeypatch, stage):
    path = tmp_path / "master.stl"
    write.write_stl(path, peg)
    old = path.read_bytes()

    def crash(*_):
        raise KeyboardInterrupt

    if stage == "fsync":
        monkeypatch.setattr(write.os, "fsync", crash)
    elif stage == "rename":
        monkeypatch.setattr(write.os, "replace", crash)

    def half(stream):
        stream.write(b"half a file")
        crash()

    with pytest.raises(KeyboardInterrupt):
        write.write_whole(path, half) if stage == "fill" else write.write_stl(path, ball)
    assert path.read_bytes() == old
    assert [entry.name for entry in tmp_path.iterdir()] == ["master.stl"]


def test_a_killed_process_leaves_the_old_file(tmp_path, peg):
    """A process that dies without any chance to clean up: the old file is whole."""
    path = tmp_path / "master.stl"
    write.write_stl(path, peg)
    old = path.read_bytes()
    script = (
        "import os, sys; from firstcast.io.write import write_whole\n"
        "write_whole(sys.argv[1], lambda s: (s.write(b'half'), s.flush(), os._exit(9)))"
    )
    assert subprocess.run([sys.executable, "-c", script, str(path)], check=False).returncode == 9
    assert path.read_bytes() == old


def test_a_folder_that_is_a_file_says_so(tmp_path, peg):
    (tmp_path / "taken").write_text("x")
    with pytest.raises(FileError, match="could not be written"):
        write.write_stl(tmp_path / "taken" / "a.stl", peg)


def test_json_is_plain_and_refuses_what_json_has_no_word_for(tmp_path):
    path = tmp_path / "a.json"
    write.write_json(path, {"größe_mm": [1.5, 2], "name": "é"})
    assert json.loads(path.read_text("utf-8")) == {"größe_mm": [1.5, 2], "name": "é"}
    for wrong in (float("nan"), {1, 2}, float("inf")):
        with pytest.raises(InputError):
            write.write_json(path, {"a": wrong})
    assert json.loads(path.read_text("utf-8"))["name"] == "é"
