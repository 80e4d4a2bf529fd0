"""glTF: nodes, strips, strides, files beside; what is refused; promises that are not kept."""

import json
import struct

import numpy as np
import pytest
import trimesh

from firstcast.errors import FileError
from firstcast.geometry.mesh import measure_solid
from firstcast.io.meshes import read_meshes
from mesh_files import box_document, glb, shape_of, write
from part_shapes import ball, box


def test_nodes_move_turn_and_mirror(tmp_path):
    turn = [0, 0, np.sin(np.pi / 4), np.cos(np.pi / 4)]  # a quarter about z
    mirror = np.diag([-1.0, 1, 1, 1])
    document, chunk = box_document(
        box(),
        nodes=[
            {"children": [1, 2], "translation": [100, 0, 0]},
            {"mesh": 0, "name": "arm", "rotation": turn, "scale": [2, 1, 1]},
            {"mesh": 0, "name": "arm", "matrix": mirror.T.ravel().tolist()},
            {"mesh": 0, "name": "in no scene"},
        ],
    )
    first, second = read_meshes(write(tmp_path, "figure.glb", glb(document, chunk)))
    assert (first.name, second.name) == ("arm", "arm 2")
    assert np.allclose(first.mesh.bounds, [[96, -10, -3], [104, 10, 3]])
    assert measure_solid(first.mesh).volume == pytest.approx(960)
    assert measure_solid(second.mesh).volume == pytest.approx(480)  # mirrored and still outward


def test_scene_of_another_library_s_writing(tmp_path):
    """Written by a library with the moves given here, so the places and volumes are known."""
    turn = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3], [4, 0, 0])
    scene = trimesh.Scene()
    scene.add_geometry(shape_of(box()), geom_name="box", transform=turn)
    scene.add_geometry(
        shape_of(ball()), geom_name="ball", transform=trimesh.transformations.scale_matrix(2.5, [1, 1, 1])
    )
    path = tmp_path / "scene.glb"
    scene.export(path)
    first, second = sorted(read_meshes(path), key=lambda read: len(read.mesh.points))
    moved = box().points @ turn[:3, :3].T + turn[:3, 3]
    assert np.allclose(first.mesh.points, moved, atol=1e-5)  # float32 in the file
    assert np.array_equal(first.mesh.triangles, box().triangles)
    assert measure_solid(first.mesh).volume == pytest.approx(480.0, rel=1e-5)
    grown = 2.5**3 * measure_solid(ball()).volume
    assert measure_solid(second.mesh).volume == pytest.approx(grown, rel=1e-5)
    assert np.allclose(measure_solid(second.mesh).centroid, -1.5, atol=1e-5)  # 2.5 · 0 + (1 - 2.5) · 1


def square_document(primitives: list[dict], accessors: list[dict], **changes) -> tuple[dict, bytes]:
    """A unit square's corners: in view 0 as floats 16 bytes apart, in view 1 as shorts 8 bytes apart."""
    square = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]], dtype="<f4")
    padded, short = np.zeros((4, 4), "<f4"), np.zeros((4, 4), "<i2")
    padded[:, :3], short[:, :3] = square, square * 32767
    changed = struct.pack("<H", 3) + b"\0\0" + np.array([[1, 2, 0]], "<f4").tobytes()
    chunk = padded.tobytes() + short.tobytes() + changed
    document, _ = box_document(
        box(),
        meshes=[{"primitives": primitives}],
        accessors=accessors,
        bufferViews=[
            {"buffer": 0, "byteLength": 64, "byteStride": 16},
            {"buffer": 0, "byteOffset": 64, "byteLength": 32, "byteStride": 8},
            {"buffer": 0, "byteOffset": 96, "byteLength": len(changed)},
        ],
        buffers=[{"byteLength": len(chunk)}],
        **changes,
    )
    return document, chunk


FLOATS = {"bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3"}
SHORTS = {"bufferView": 1, "componentType": 5122, "normalized": True, "count": 4, "type": "VEC3"}
SPARSE = {
    **FLOATS,
    "sparse": {
        "count": 1,
        "indices": {"bufferView": 2, "componentType": 5123},
        "values": {"bufferView": 2, "byteOffset": 4},
    },
}


def areas_of(mesh) -> np.ndarray:
    """Signed areas of triangles in the plane z = 0."""
    corners = mesh.points[mesh.triangles]
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2] / 2


def test_strips_strides_and_short_numbers(tmp_path):
    document, chunk = square_document(
        [
            {"attributes": {"POSITION": 0}, "mode": 5},
            {"attributes": {"POSITION": 1}, "mode": 5},
            {"attributes": {"POSITION": 0}, "mode": 1},
        ],
        [FLOATS, SHORTS],
    )
    (read,) = read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))
    assert areas_of(read.mesh) == pytest.approx([0.5, 0.5, 0.5, 0.5])
    assert len(read.mesh.points) == 8


def test_primitives_that_share_points_stay_one_skin(tmp_path):
    document, chunk = box_document(box())
    half = document["accessors"][1]["count"] // 2
    document["accessors"][1]["count"] = half
    document["accessors"].append({**document["accessors"][1], "byteOffset": 2 * half})
    shared = {"POSITION": 0}
    document["meshes"] = [
        {"primitives": [{"attributes": shared, "indices": 1}, {"attributes": shared, "indices": 2}]}
    ]
    (read,) = read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))
    assert np.array_equal(read.mesh.triangles, box().triangles)
    assert len(read.mesh.points) == 8


@pytest.mark.parametrize(
    ("primitive", "accessor", "words"),
    [
        ({"attributes": {"POSITION": 0}, "mode": 6}, FLOATS, "made of fans"),
        ({"attributes": {"POSITION": 0}, "mode": 5}, SPARSE, "sparse changes"),
        (
            {"attributes": {"POSITION": 0}, "extensions": {"KHR_draco_mesh_compression": {"bufferView": 0}}},
            {key: value for key, value in FLOATS.items() if key != "bufferView"},
            "compressed",
        ),
        ({"attributes": {"POSITION": 0}, "indices": 0}, FLOATS, "of a kind"),
    ],
)
def test_that_the_library_would_read_otherwise_is_refused(tmp_path, primitive, accessor, words):
    document, chunk = square_document([primitive], [accessor])
    with pytest.raises(FileError, match=words):
        read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))
    # What no node shows does no harm.
    document["meshes"].append({"primitives": [{"attributes": {"POSITION": 1}, "mode": 5}]})
    document["accessors"].append(SHORTS)
    document["nodes"] = [{"mesh": 1}]
    (read,) = read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))
    assert areas_of(read.mesh) == pytest.approx([0.5, 0.5])


def test_without_a_scene_and_below_a_camera(tmp_path):
    document, chunk = box_document(
        box(), nodes=[{"camera": 0, "children": [1], "scale": [2, 2, 2]}, {"mesh": 0}]
    )
    document["cameras"] = [{"type": "perspective", "perspective": {"yfov": 1.0, "znear": 0.1}}]
    del document["scenes"], document["scene"]
    (read,) = read_meshes(write(tmp_path, "hat.glb", glb(document, chunk)))
    assert read.name == "hat"
    assert measure_solid(read.mesh).volume == pytest.approx(8 * 480)


def test_scene_out_of_all_bounds(tmp_path):
    """A chain of 20 000 nodes is read; a mesh shown so often that it fills the memory is not."""
    depth = 20_000
    chain = [{"children": [k + 1], "translation": [1, 0, 0]} for k in range(depth)]
    document, chunk = box_document(box(), nodes=[*chain, {"mesh": 0}])
    (read,) = read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))
    assert np.allclose(read.mesh.points, box().points + np.array([depth, 0, 0]))
    points = ball(subdivisions=5)
    often = 180_000_000 // points.triangles.size + 1
    document, chunk = box_document(
        points, nodes=[{"mesh": 0}] * often, scenes=[{"nodes": list(range(often))}]
    )
    with pytest.raises(FileError, match="corners of triangles are too many"):
        read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))


def test_arrays_over_the_same_bytes(tmp_path):
    document, chunk = box_document(box())
    document["accessors"] += [document["accessors"][0]] * 100
    with pytest.raises(FileError, match="arrays promise"):
        read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))


def test_files_beside_are_read_and_files_elsewhere_are_not(tmp_path):
    document, chunk = box_document(box())
    folder = tmp_path / "job"
    folder.mkdir()
    write(folder, "data one.bin", chunk)
    write(tmp_path, "outside.bin", chunk)
    document["buffers"][0]["uri"] = "data%20one.bin"
    assert len(read_meshes(write(folder, "a.gltf", json.dumps(document)))) == 1
    for uri in ("../outside.bin", "%2e%2e/outside.bin", str(tmp_path / "outside.bin"), "missing.bin"):
        document["buffers"][0]["uri"] = uri
        with pytest.raises(FileError, match=r"folder|missing"):
            read_meshes(write(folder, "a.gltf", json.dumps(document)))


def test_that_promises_too_much_or_is_compressed(tmp_path):
    for table, number, key, value in (
        ("accessors", 0, "count", 1 << 31),
        ("accessors", 1, "count", 1 << 31),
        ("accessors", 1, "count", -3),
        ("bufferViews", 0, "byteLength", 1 << 33),
        ("buffers", 0, "byteLength", 1 << 33),
        ("accessors", 0, "byteOffset", -12),
        ("bufferViews", 1, "byteOffset", 1 << 20),
    ):
        document, chunk = box_document(box())
        document[table][number][key] = value
        with pytest.raises(FileError, match=r"promises|no sense"):
            read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))
    document, chunk = box_document(box(), extensionsRequired=["KHR_draco_mesh_compression"])
    with pytest.raises(FileError, match="KHR_draco_mesh_compression"):
        read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))
    for nodes, roots in (
        ([{"children": [0, 0], "mesh": 0}], [0]),
        ([{"children": [1]}, {"children": [2]}, {"children": [1], "mesh": 0}], [0]),
        ([{"children": [2]}, {"children": [2]}, {"mesh": 0}], [0, 1]),
        ([{"mesh": 0}], [0, 0]),
    ):
        document, chunk = box_document(box(), nodes=nodes, scenes=[{"nodes": roots}])
        with pytest.raises(FileError, match="contain themselves"):
            read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))
