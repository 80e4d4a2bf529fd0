"""Pieces with props that the layers are tested with."""

import manifold3d
import numpy as np
import trimesh
from manifold3d import Manifold

from firstcast.geometry.mesh import Mesh
from firstcast.printing.propped import Propped, Tips

NO_PROPS = Mesh(np.zeros((0, 3), np.float32), np.zeros((0, 3), np.int32))


def as_mesh(body) -> Mesh:
    """A trimesh or manifold3d body, its points exact in float32."""
    if isinstance(body, Manifold):
        mesh = body.to_mesh()
        points, triangles = np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)
    else:
        points, triangles = body.vertices, body.faces
    return Mesh(np.ascontiguousarray(points, np.float32), np.ascontiguousarray(triangles, np.int32))


def standing(body, props=None, tips=()) -> Propped:
    """A body that is where it should stand, as if nothing had turned it."""
    places = np.array(tips, np.float64).reshape(-1, 3)
    few = np.zeros(len(places))
    rows = Tips(places, few + 0.3, few, few + 1.0, few.astype(bool))
    return Propped(as_mesh(body), NO_PROPS if props is None else as_mesh(props), np.eye(3), np.zeros(3), rows)


def tube(height, radius, low=0.0, x=0.0, y=0.0, top=None, around=64) -> Manifold:
    """A cylinder or cone on the plane z = low."""
    body = Manifold.cylinder(height, radius, radius if top is None else top, around)
    return body.translate((x, y, low))


def ball(radius, middle=(0.0, 0.0, 0.0), around=96) -> Manifold:
    return Manifold.sphere(radius, around).translate(middle)


def figure(lift=2.0):
    """A trunk with an arm held out, on a tab, and props under the arm's hand and the tab: piece, props, tips."""
    trunk = tube(8.0, 1.5, lift) + ball(1.8, (0.0, 0.0, lift + 8.0))
    arm = tube(4.0, 0.5, 0.0, top=0.4).rotate((0.0, 60.0, 0.0)).translate((0.8, 0.0, lift + 4.0))
    hand = ball(0.7, (0.8 + 4.0 * np.sin(np.pi / 3), 0.0, lift + 4.0 + 4.0 * np.cos(np.pi / 3)))
    piece = trunk + arm + hand
    places = [(0.8 + 4.0 * np.sin(np.pi / 3), 0.0, lift + 5.3)]
    places += [(0.9 * np.cos(a), 0.9 * np.sin(a), lift) for a in np.arange(5) * 2 * np.pi / 5]
    props = Manifold()
    for x, y, z in places:
        props += tube(z - 0.6, 0.3, 0.0, x, y, around=16) + tube(0.7, 0.3, z - 0.6, x, y, top=0.15, around=16)
    return piece, props, places


def random_body(seed: int):
    """Balls and boxes united and cut, bumpy: a closed body of a few mm."""
    rng = np.random.default_rng(seed)
    body = Manifold()
    for n in range(6):
        at = rng.uniform(-1.2, 1.2, 3)
        part = (
            ball(rng.uniform(0.4, 1.0), tuple(at), 24)
            if n % 2
            else Manifold.cube(tuple(rng.uniform(0.3, 1.5, 3)), True)
            .rotate(tuple(rng.uniform(0, 360, 3)))
            .translate(tuple(at))
        )
        body = body - part if n == 5 else body + part
    low = body.bounding_box()[2]
    return body.translate((0.0, 0.0, -low + 0.1))


def cross_section(body: Manifold, z_mm: float) -> manifold3d.CrossSection:
    return body.slice(z_mm)


def torus(major=3.0, minor=1.0) -> trimesh.Trimesh:
    body = trimesh.creation.torus(major, minor, major_sections=256, minor_sections=128)
    body.apply_translation((0.0, 0.0, minor))
    return body
