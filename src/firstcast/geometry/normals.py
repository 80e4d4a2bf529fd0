"""Outward normals at the vertices of a mesh."""

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh


def vertex_normals(mesh: Mesh) -> npt.NDArray[np.float64]:
    """(n, 3) float64: of length 1, outward, each triangle weighted by its area; zero where they cancel."""
    corners = mesh.corners
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    count = len(mesh.points)
    rows = mesh.triangles.ravel()
    out = np.column_stack(
        [np.bincount(rows, weights=np.repeat(normal[:, k], 3), minlength=count) for k in range(3)]
    )
    return out / np.maximum(np.linalg.norm(out, axis=1), 1e-300)[:, None]
