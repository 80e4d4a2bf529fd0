"""Binary PLY, binary STL and OBJ files from (points, triangles)."""

from pathlib import Path

import numpy as np


def write_mesh(path: Path, points: np.ndarray, triangles: np.ndarray) -> None:
    """Write points (n, 3) float32 and triangles (m, 3) in the form that the file's suffix names."""
    writers = {".ply": _ply, ".stl": _stl, ".obj": _obj}
    path.write_bytes(
        writers[path.suffix](np.ascontiguousarray(points, np.float32), np.asarray(triangles, np.int32))
    )


def _ply(points, triangles):
    head = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(points)}\nproperty float x\nproperty float y\n"
        f"property float z\nelement face {len(triangles)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = np.empty(len(triangles), [("count", "u1"), ("corners", "<i4", 3)])
    rows["count"], rows["corners"] = 3, triangles
    return head.encode() + points.astype("<f4").tobytes() + rows.tobytes()


def _stl(points, triangles):
    rows = np.zeros(len(triangles), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    rows["corners"] = points[triangles]
    a, b, c = (rows["corners"][:, k].astype(float) for k in range(3))
    normal = np.cross(b - a, c - a)
    rows["normal"] = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-20)
    return b"heron part".ljust(80) + np.uint32(len(triangles)).tobytes() + rows.tobytes()


def _obj(points, triangles):
    lines = [f"v {x:.6g} {y:.6g} {z:.6g}" for x, y, z in points.tolist()]
    lines += [f"f {a} {b} {c}" for a, b, c in (triangles + 1).tolist()]
    return ("\n".join(lines) + "\n").encode()
