"""Readings as PLY and binary glTF: read back by another library and by our own readers, and held to the standard."""

import json
import struct

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.errors import FileError, InputError, SizeError
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.io import coloured
from firstcast.io.meshes import read_meshes
from firstcast.sheets.scales import SurfaceMap
from mesh_files import shape_of
from part_shapes import ball, box


@pytest.fixture
def mesh() -> Mesh:
    """A ball off the origin, so that axes and their signs show."""
    return ball(3.0, (11.1, -3.7, 0.2))


@pytest.fixture
def retention(mesh) -> SurfaceMap:
    values = np.linspace(-0.2, 1.3, len(mesh.points))
    values[::17] = np.nan
    return SurfaceMap("retention", values, "share of depth", 0.0, 1.2)


def document_of(path):
    """The JSON chunk and the binary chunk of a .glb, cut out by hand."""
    data = path.read_bytes()
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size, kind = struct.unpack_from("<I4s", data, 12)
    assert (kind, size % 4) == (b"JSON", 0)
    rest, kind = struct.unpack_from("<I4s", data, 20 + size)
    assert (kind, rest % 4, 28 + size + rest) == (b"BIN\0", 0, length)
    return json.loads(data[20 : 20 + size]), data[28 + size :]


def array_of(document, chunk, number):
    """An accessor's rows by the standard's tables (3.6.2.2)."""
    accessor = document["accessors"][number]
    view = document["bufferViews"][accessor["bufferView"]]
    kind = np.dtype({5126: "<f4", 5123: "<u2", 5125: "<u4"}[accessor["componentType"]])
    wide = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[accessor["type"]]
    assert view["byteOffset"] % kind.itemsize == 0
    assert view["byteLength"] == accessor["count"] * wide * kind.itemsize
    return np.frombuffer(chunk, kind, accessor["count"] * wide, view["byteOffset"]).reshape(-1, wide)


def test_ply_reads_back_in_another_library_with_colours_and_values(tmp_path, mesh, retention):
    path = tmp_path / "retention.ply"
    coloured.write_coloured_ply(path, mesh, retention)
    read = trimesh.load(path, process=False)
    np.testing.assert_array_equal(read.vertices, mesh.points.astype(np.float32))
    np.testing.assert_array_equal(read.faces, mesh.triangles)
    np.testing.assert_array_equal(read.visual.vertex_colors[:, :3], np.rint(retention.colours()))
    raw = read.metadata["_ply_raw"]["vertex"]["data"]
    np.testing.assert_array_equal(raw["retention"].ravel(), retention.values.astype(np.float32))


def test_ply_reads_back_in_our_own_reader(tmp_path, mesh, retention):
    path = tmp_path / "retention.ply"
    coloured.write_coloured_ply(path, mesh, retention)
    (read,) = read_meshes(path)
    np.testing.assert_array_equal(read.mesh.points, mesh.points.astype(np.float32))
    np.testing.assert_array_equal(read.mesh.triangles, mesh.triangles)


def test_ply_says_what_it_holds(tmp_path, mesh):
    path = tmp_path / "wall.ply"
    wall = SurfaceMap("Wall, thickness", np.ones(len(mesh.points)), "µm\nélan", 0.4, 2.0)
    coloured.write_coloured_ply(path, mesh, wall, unit_mm=25.4)
    header = path.read_bytes().partition(b"end_header\n")[0].decode("ascii").splitlines()
    assert "comment value wall_thickness: Wall, thickness" in header
    assert "comment unit um elan" in header
    assert "comment lengths in units of 25.4 mm" in header
    assert "comment colours from 0.4 to 2; grey and nan: not read" in header
    assert header[-6:-2] == [f"property uchar {c}" for c in ("red", "green", "blue")] + [
        "property float wall_thickness"
    ]


@settings(max_examples=60, deadline=None)
@given(name=st.text(max_size=20))
def test_a_property_s_name_is_one_word_that_is_free(name):
    word = coloured.property_name(name)
    assert word.isascii()
    assert word.replace("_", "a").isalnum()
    assert word not in coloured.PLY_TAKEN


def test_glb_reads_back_in_another_library_in_metres_and_y_up(tmp_path, mesh, retention):
    path = tmp_path / "retention.glb"
    coloured.write_coloured_glb(path, mesh, retention)
    (read,) = trimesh.load(path, process=False).geometry.values()
    x, y, z = mesh.points.T / 1000.0
    # float32 rounds by 6e-8 of the coordinate, which is at most 0.015 m.
    np.testing.assert_allclose(read.vertices, np.stack([x, z, -y], axis=1), atol=1e-9)
    np.testing.assert_array_equal(read.faces, mesh.triangles)
    assert read.volume == pytest.approx(measure_solid(mesh).volume * 1e-9, rel=1e-6)
    outward = read.vertices - read.vertices.mean(axis=0)
    assert (np.einsum("ij,ij->i", outward, read.vertex_normals) > 0.0).all()
    np.testing.assert_array_equal(read.visual.vertex_attributes["color"].shape, (len(mesh.points), 4))


def test_glb_reads_back_in_our_own_reader(tmp_path, mesh, retention):
    path = tmp_path / "retention.glb"
    coloured.write_coloured_glb(path, mesh, retention)
    (read,) = read_meshes(path)
    assert (read.name, read.unit_mm, read.up) == ("retention", 1000.0, "y")
    x, y, z = mesh.points.T
    np.testing.assert_allclose(read.mesh.points * 1000.0, np.stack([x, z, -y], axis=1), atol=1e-6)
    np.testing.assert_array_equal(read.mesh.triangles, mesh.triangles)


def test_glb_of_a_mesh_that_is_y_up_is_not_turned(tmp_path):
    shape = box((10.0, 20.0, 30.0))
    wall = SurfaceMap("wall", np.ones(len(shape.points)), "mm", 0.0, 2.0)
    coloured.write_coloured_glb(tmp_path / "a.glb", shape, wall, unit_mm=1000.0, up="y")
    (read,) = read_meshes(tmp_path / "a.glb")
    np.testing.assert_array_equal(read.mesh.points, shape.points)


def test_glb_holds_to_the_standard(tmp_path, mesh, retention):
    """Khronos glTF 2.0: rules that its validator reports as errors, checked on the bytes."""
    path = tmp_path / "retention.glb"
    coloured.write_coloured_glb(path, mesh, retention)
    document, chunk = document_of(path)
    (primitive,) = document["meshes"][0]["primitives"]
    attributes = primitive["attributes"]
    points, normals, colours = (
        array_of(document, chunk, attributes[k]) for k in ("POSITION", "NORMAL", "COLOR_0")
    )
    corners = array_of(document, chunk, primitive["indices"])
    bounds = document["accessors"][attributes["POSITION"]]
    np.testing.assert_array_equal(np.float32([bounds["min"], bounds["max"]]), [points.min(0), points.max(0)])
    np.testing.assert_allclose(np.linalg.norm(normals.astype(float), axis=1), 1.0, atol=1e-6)
    assert colours.shape[1] * colours.itemsize % 4 == 0
    assert document["accessors"][attributes["COLOR_0"]]["normalized"] is True
    assert (colours[:, 3] == 65535).all()
    assert corners.max() < len(points)
    targets = [view["target"] for view in document["bufferViews"]]
    assert targets == [34962, 34962, 34962, 34963]
    assert document["buffers"] == [{"byteLength": len(chunk)}]
    assert "byteStride" not in document["bufferViews"][3]
    says = document["meshes"][0]["extras"]
    assert (says["value"], says["unit"], says["scale"]) == ("retention", "share of depth", [0.0, 1.2])
    assert says["not read"].startswith(f"{int(np.isnan(retention.values).sum())} of ")


def test_glb_colours_are_linear_and_come_back_to_the_same_bytes(tmp_path, mesh, retention):
    path = tmp_path / "retention.glb"
    coloured.write_coloured_glb(path, mesh, retention)
    document, chunk = document_of(path)
    linear = array_of(document, chunk, 2)[:, :3] / 65535.0
    back = 255.0 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    # A step of a short is at most 0.05 of a step of a byte where sRGB is steepest (12.92 · 255 / 65535).
    np.testing.assert_allclose(back, retention.colours(), atol=0.03)
    # IEC 61966-2-1: sRGB 188 is linear 0.5029.
    grey = coloured._linear_shorts(np.full((1, 3), 188.0))
    np.testing.assert_allclose(grey[0, :3] / 65535.0, 0.5029, atol=1e-4)


def test_points_without_area_get_a_normal_all_the_same(tmp_path):
    points = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [5, 5, 5], [2, 0, 0]], dtype=float)
    flat = Mesh(points, np.array([[0, 1, 2], [0, 1, 4]], dtype=np.int32))
    reading = SurfaceMap("gap", np.full(5, np.nan), "mm", 0.0, 1.0)
    coloured.write_coloured_glb(tmp_path / "a.glb", flat, reading)
    normals = array_of(*document_of(tmp_path / "a.glb"), 1)
    np.testing.assert_allclose(np.linalg.norm(normals, axis=1), 1.0, atol=1e-6)
    np.testing.assert_allclose(normals[0], (0, 1, 0))  # z was up


WRITERS = (coloured.write_coloured_ply, coloured.write_coloured_glb)


@pytest.mark.parametrize("writer", WRITERS)
def test_bytes_repeat_and_arguments_stay(tmp_path, mesh, retention, writer):
    before = mesh.points.copy(), retention.values.copy()
    writer(tmp_path / "a", mesh, retention)
    writer(tmp_path / "b", mesh, retention)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()
    np.testing.assert_array_equal(mesh.points, before[0])
    np.testing.assert_array_equal(retention.values, before[1])


@pytest.mark.parametrize("writer", WRITERS)
def test_what_can_not_be_written_is_refused_and_leaves_nothing(tmp_path, mesh, retention, writer):
    path = tmp_path / "a"
    with pytest.raises(InputError, match="no triangles"):
        writer(path, Mesh(mesh.points, mesh.triangles[:0]), retention)
    with pytest.raises(InputError, match="values of shape"):
        writer(path, mesh, SurfaceMap("retention", np.ones(3), "share", 0.0, 1.0))
    endless = SurfaceMap("retention", np.full(len(mesh.points), np.inf), "share", 0.0, 1.0)
    with pytest.raises(InputError, match="infinite"):
        writer(path, mesh, endless)
    broken = mesh.points.copy()
    broken[4, 1] = np.nan
    with pytest.raises(InputError, match="not finite"):
        writer(path, Mesh(broken, mesh.triangles), retention)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("writer", WRITERS)
def test_a_full_disk_leaves_the_old_file(tmp_path, mesh, retention, writer, monkeypatch):
    path = tmp_path / "a"
    writer(path, mesh, retention)
    old = path.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("firstcast.store.os.fsync", full)
    with pytest.raises(FileError, match="No space left"):
        writer(path, Mesh(mesh.points * 2.0, mesh.triangles), retention)
    assert path.read_bytes() == old
    assert [entry.name for entry in tmp_path.iterdir()] == ["a"]


def test_more_than_binary_gltf_holds_is_refused(tmp_path, mesh, retention, monkeypatch):
    monkeypatch.setattr(coloured, "MOST_GLB_BYTES", 1000)
    with pytest.raises(SizeError, match="more than binary glTF holds"):
        coloured.write_coloured_glb(tmp_path / "a.glb", mesh, retention)
    assert list(tmp_path.iterdir()) == []


def test_the_file_s_shape_is_the_mesh_s(tmp_path, mesh, retention):
    """Volume and closedness by the library, on the file."""
    coloured.write_coloured_ply(tmp_path / "a.ply", mesh, retention)
    read = trimesh.load(tmp_path / "a.ply", process=False)
    assert read.is_watertight
    assert read.volume == pytest.approx(shape_of(mesh).volume, rel=1e-6)
