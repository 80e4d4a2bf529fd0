"""glTF 2.0, binary (.glb) and text (.gltf), through trimesh: triangles at their nodes, in metres, y up.

Only what shapes the surface is read: positions, indices, node moves. Meshes that need an extension to be
read, such as compressed ones, are refused by its name.
"""

import io
import json
from pathlib import Path
from typing import Any

import numpy as np

from firstcast.io._gltf_check import Surface, read_surface, scale_of
from firstcast.io._raw import RawMesh, damaged

METRE_MM = 1000.0


def read_gltf(path: Path) -> list[RawMesh]:
    """Each mesh at each node of the scene that shows it, moved as the nodes say."""
    from trimesh.exchange.gltf import load_gltf  # slow to import, so only where a file is read

    surface = read_surface(path)
    if not surface.shown:
        return []
    text = io.BytesIO(json.dumps(surface.document).encode("ascii"))
    resolver: Any = surface.buffers  # anything that gives bytes for a URI
    loaded = load_gltf(text, resolver=resolver, skip_materials=True)
    placings = {loaded["base_frame"]: np.eye(4)}
    for edge in loaded["graph"]:  # a node comes before its children
        placings[edge["frame_to"]] = placings[edge["frame_from"]] @ edge["matrix"]
    meshes = _meshes(path, surface, list(loaded["geometry"].values()))
    raws = []
    for node, mesh, name in surface.shown:
        placing = placings[str(node)]
        points, triangles = meshes[mesh]
        moved = points @ placing[:3, :3].T + placing[:3, 3]
        if np.linalg.det(placing[:3, :3]) < 0:
            triangles = triangles[:, ::-1]
        raws.append(RawMesh(name, moved, triangles, METRE_MM, "y"))
    return raws


def _meshes(path: Path, surface: Surface, loaded: list[dict]) -> list[tuple[np.ndarray, np.ndarray]]:
    """points (n, 3) float64 and triangles (m, 3) int64 of each mesh: the library gives primitives apart.

    Primitives of one skin often share their points: those come once.
    """
    pieces = iter(loaded)
    meshes = []
    for mesh in surface.document["meshes"]:
        points, triangles, starts, total = [np.empty((0, 3))], [np.empty((0, 3), dtype=np.int64)], {}, 0
        for primitive in mesh["primitives"]:
            piece, number = next(pieces), primitive["attributes"]["POSITION"]
            count = len(piece["vertices"])
            if number not in starts:
                starts[number] = total
                points.append(_as_meant(piece["vertices"], surface.document["accessors"][number]))
                total += count
            rows = np.asarray(piece["faces"], dtype=np.int64)
            if len(rows) and rows.max() >= count:
                raise damaged(path, f"triangles name point {rows.max()} of {count} points")
            triangles.append(rows + starts[number])
        meshes.append((np.concatenate(points), np.concatenate(triangles)))
    return meshes


def _as_meant(points: np.ndarray, accessor: dict) -> np.ndarray:
    """(n, 3) float64: the library leaves normalized integers as they are stored."""
    places, scale = np.asarray(points, dtype=np.float64), scale_of(accessor)
    return np.maximum(places / scale, -1.0) if scale > 1 else places
