"""Bodies for the tests of how a piece stands."""

import numpy as np
import trimesh
from manifold3d import Manifold
from scipy.spatial.transform import Rotation

from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh


def body_of(*solids, names=None) -> Body:
    """Closed trimesh solids as one body, each a part of its own."""
    points = np.concatenate([solid.vertices for solid in solids])
    starts = np.cumsum([0, *[len(solid.vertices) for solid in solids]])
    triangles = np.concatenate(
        [solid.faces + start for solid, start in zip(solids, starts, strict=False)]
    ).astype(np.int32)
    owner = np.repeat(np.arange(len(solids)), [len(solid.faces) for solid in solids]).astype(np.uint16)
    return Body(Mesh(points, triangles), owner, names or tuple(f"part{n}" for n in range(len(solids))))


def bumpy_ball(seed: int, radius_mm: float = 2.0, rough: float = 0.15, subdivisions: int = 3):
    """A ball whose vertices are moved in and out at random."""
    solid = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius_mm)
    grow = 1.0 + rough * np.random.default_rng(seed).uniform(-1.0, 1.0, len(solid.vertices))
    return trimesh.Trimesh(solid.vertices * grow[:, None], solid.faces, process=False)


def bowl(outer_mm: float = 10.0, inner_mm: float = 8.0):
    """Half a thick spherical shell that opens towards +z."""
    shell = Manifold.sphere(outer_mm, 200) - Manifold.sphere(inner_mm, 200)
    half = shell.trim_by_plane((0.0, 0.0, -1.0), 0.0).to_mesh()
    return trimesh.Trimesh(half.vert_properties[:, :3].astype(np.float64), half.tri_verts, process=False)


def turned(solid, rotation: Rotation):
    return trimesh.Trimesh(rotation.apply(solid.vertices), solid.faces, process=False)
