"""Mesh files made by hand and by libraries, for the tests of reading."""

import base64
import json
import struct

import lib3mf
import numpy as np
import trimesh

from firstcast.geometry.mesh import Mesh
from part_shapes import box


def shape_of(mesh: Mesh) -> trimesh.Trimesh:
    return trimesh.Trimesh(mesh.points, mesh.triangles, process=False)


def write(tmp_path, name: str, content: bytes | str):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def exported(tmp_path, mesh: Mesh, suffix: str, **how):
    path = tmp_path / f"torso{suffix}"
    shape_of(mesh).export(path, **how)
    return path


def binary_stl(mesh: Mesh, count: int | None = None, header: bytes = b"") -> bytes:
    records = np.zeros(
        len(mesh.triangles), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("colour", "<u2")]
    )
    records["corners"] = mesh.points[mesh.triangles]
    total = len(mesh.triangles) if count is None else count
    return header.ljust(80, b" ") + struct.pack("<I", total) + records.tobytes()


def glb(document: dict, chunk: bytes) -> bytes:
    text = json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    chunk += b"\0" * (-len(chunk) % 4)
    body = struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(chunk), b"BIN\0") + chunk
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


def box_document(mesh: Mesh, **changes) -> tuple[dict, bytes]:
    """A glTF document of one mesh, indices as uint16 behind the points."""
    points, rows = mesh.points.astype("<f4").tobytes(), mesh.triangles.astype("<u2").tobytes()
    document = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, "name": "box"}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": len(mesh.points), "type": "VEC3"},
            {"bufferView": 1, "componentType": 5123, "count": mesh.triangles.size, "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteLength": len(points)},
            {"buffer": 0, "byteOffset": len(points), "byteLength": len(rows)},
        ],
        "buffers": [{"byteLength": len(points) + len(rows)}],
    }
    document.update(changes)
    return document, points + rows


def model_of(*meshes: Mesh):
    """A lib3mf model with the meshes as objects that are not built yet."""
    model = lib3mf.get_wrapper().CreateModel()
    objects = []
    for number, mesh in enumerate(meshes):
        shown = model.AddMeshObject()
        shown.SetName(f"part {number}")
        shown.SetGeometry(
            [lib3mf.Position((*map(float, p),)) for p in mesh.points],
            [lib3mf.Triangle((*map(int, t),)) for t in mesh.triangles],
        )
        objects.append(shown)
    return model, objects


def placing(matrix=((1.0, 0, 0), (0, 1, 0), (0, 0, 1)), shift=(0.0, 0, 0)):
    """A lib3mf transform from a matrix for column vectors: the file writes rows for row vectors."""
    transform = lib3mf.Transform()
    for row in range(3):
        for column in range(3):
            transform.Fields[row][column] = float(matrix[column][row])
    for column in range(3):
        transform.Fields[3][column] = float(shift[column])
    return transform


def threemf(tmp_path, model, name="figure.3mf"):
    path = tmp_path / name
    model.QueryWriter("3mf").WriteToFile(str(path))
    return path


def box_file(tmp_path, suffix: str):
    """A box of 480 mm³ in any format."""
    if suffix == ".3mf":
        model, (shown,) = model_of(box())
        model.AddBuildItem(shown, placing())
        return threemf(tmp_path, model, "torso.3mf")
    if suffix == ".gltf":
        document, chunk = box_document(box())
        document["buffers"][0]["uri"] = (
            "data:application/octet-stream;base64," + base64.b64encode(chunk).decode()
        )
        return write(tmp_path, "torso.gltf", json.dumps(document))
    return exported(tmp_path, box(), suffix)
