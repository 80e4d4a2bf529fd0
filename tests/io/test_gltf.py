"""glTF: nodes, strips, sparse arrays, files beside; promises that are not kept."""

import json
import struct

import numpy as np
import pytest
import trimesh

from firstcast.errors import FileError
from firstcast.geometry.mesh import measure_solid
from firstcast.io.meshes import read_meshes, survey
from mesh_files import box_document, glb, shape_of, write
from part_shapes import ball, box


def test_gltf_nodes_move_turn_and_mirror(tmp_path):
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


def test_gltf_scene_matches_the_library(tmp_path):
    scene = trimesh.Scene()
    scene.add_geometry(
        shape_of(box()), transform=trimesh.transformations.rotation_matrix(0.7, [1, 2, 3], [4, 0, 0])
    )
    scene.add_geometry(shape_of(ball()), transform=trimesh.transformations.scale_matrix(2.5, [1, 1, 1]))
    path = tmp_path / "scene.glb"
    scene.export(path)
    reads = read_meshes(path)
    library = trimesh.load_scene(path)
    assert np.allclose(survey(path).extents, library.bounds, atol=1e-5)
    volumes = sorted(measure_solid(read.mesh).volume for read in reads)
    assert volumes == pytest.approx(sorted(g.volume for g in library.dump()), rel=1e-5)


def test_gltf_strips_fans_strides_sparse_and_short_numbers(tmp_path):
    square = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]], dtype="<f4")
    padded = np.zeros((4, 4), "<f4")
    padded[:, :3] = square
    short = np.zeros((4, 4), "<i2")
    short[:, :3] = square * 32767
    changed = struct.pack("<H", 3) + b"\0\0" + np.array([[1, 2, 0]], "<f4").tobytes()
    chunk = padded.tobytes() + short.tobytes() + changed
    document, _ = box_document(
        box(),
        meshes=[
            {
                "primitives": [
                    {"attributes": {"POSITION": 0}, "mode": 5},
                    {"attributes": {"POSITION": 1}, "mode": 6},
                    {"attributes": {"POSITION": 2}, "mode": 5},
                    {"attributes": {"POSITION": 0}, "mode": 1},
                ]
            }
        ],
        accessors=[
            {"bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3"},
            {"bufferView": 1, "componentType": 5122, "normalized": True, "count": 4, "type": "VEC3"},
            {
                "bufferView": 0, "componentType": 5126, "count": 4, "type": "VEC3",
                "sparse": {
                    "count": 1,
                    "indices": {"bufferView": 2, "componentType": 5123},
                    "values": {"bufferView": 2, "byteOffset": 4},
                },
            },
        ],
        bufferViews=[
            {"buffer": 0, "byteLength": 64, "byteStride": 16},
            {"buffer": 0, "byteOffset": 64, "byteLength": 32, "byteStride": 8},
            {"buffer": 0, "byteOffset": 96, "byteLength": len(changed)},
        ],
        buffers=[{"byteLength": len(chunk)}],
    )  # fmt: skip
    # A view's stride does not hold for sparse values; ours are one row.
    (read,) = read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))
    corners = read.mesh.points[read.mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert normals[:, 2] / 2 == pytest.approx([0.5, 0.5, 0.5, -0.5, 0.5, 1.0])


def test_gltf_files_beside_are_read_and_files_elsewhere_are_not(tmp_path):
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


def test_gltf_that_promises_too_much_or_is_compressed(tmp_path):
    for table, number, key, value in (
        ("accessors", 0, "count", 1 << 31),
        ("accessors", 1, "count", 1 << 31),
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
    document, chunk = box_document(box(), nodes=[{"children": [0, 0], "mesh": 0}])
    with pytest.raises(FileError, match="contain themselves"):
        read_meshes(write(tmp_path, "a.glb", glb(document, chunk)))
