"""Solids for field tests, and exact references beside ours."""

import igl
import igl.predicates
import manifold3d
import numpy as np
import trimesh

from firstcast.fields.union import Shells


def shells_of(*solids) -> Shells:
    """One part per solid (trimesh), in the order given."""
    points, triangles, numbers, first = [], [], [], 0
    for number, solid in enumerate(solids):
        points.append(solid.vertices)
        triangles.append(solid.faces + first)
        numbers.append(np.full(len(solid.faces), number, np.uint16))
        first += len(solid.vertices)
    return Shells(
        np.concatenate(points).astype(np.float64),
        np.ascontiguousarray(np.concatenate(triangles), np.int32),
        np.concatenate(numbers),
    )


def moved(solid, offset):
    solid = solid.copy()
    solid.apply_translation(offset)
    return solid


def ball(radius=1.0, centre=(0, 0, 0), subdivisions=5):
    return moved(trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius), centre)


def flipped(solid):
    solid = solid.copy()
    solid.invert()
    return solid


def cylinder(radius, height, axis, sections=256):
    solid = trimesh.creation.cylinder(radius=radius, height=height, sections=sections)
    turn = {0: ([0, 1, 0], np.pi / 2), 1: ([1, 0, 0], np.pi / 2), 2: ([0, 0, 1], 0.0)}[axis]
    solid.apply_transform(trimesh.transformations.rotation_matrix(turn[1], turn[0]))
    return solid


def turned(solid, rng):
    solid = solid.copy()
    solid.apply_transform(trimesh.transformations.random_rotation_matrix(rng.random(3)))
    return solid


def relief_ball(rng, size, centre, subdivisions=4):
    """A ball with smooth relief, stretched to `size` (3,) half-axes."""
    solid = trimesh.creation.icosphere(subdivisions=subdivisions)
    points = solid.vertices.copy()
    height = np.zeros(len(points))
    for octave in range(3):
        height += (
            np.sin(points @ rng.normal(size=3) * 2.0 ** (octave + 1) + rng.uniform(0, 6.28))
            * 0.05
            / 2**octave
        )
    return trimesh.Trimesh(
        points * (1 + height[:, None]) * np.array(size) + np.array(centre), solid.faces, process=False
    )


def exact_union(*solids):
    """The exact union as trimesh, by manifold3d; its status is checked."""
    manifolds = [
        manifold3d.Manifold(
            manifold3d.Mesh64(np.asarray(s.vertices, np.float64), np.asarray(s.faces, np.uint64))
        )
        for s in solids
    ]
    assert all(m.status() == manifold3d.Error.NoError for m in manifolds)
    united = manifold3d.Manifold.batch_boolean(manifolds, manifold3d.OpType.Add).to_mesh64()
    return trimesh.Trimesh(united.vert_properties[:, :3], united.tri_verts.astype(np.int64), process=False)


def distances(places, surface):
    """How far places (n, 3) lie from a mesh: trimesh's, or a contour."""
    points, triangles = (
        (surface.vertices, surface.faces)
        if hasattr(surface, "faces")
        else (surface.points, surface.triangles)
    )
    squares = igl.point_mesh_squared_distance(
        np.asarray(places, np.float64), np.asarray(points, np.float64), np.asarray(triangles, np.int64)
    )[0]
    return np.sqrt(squares)


def assert_sound(found):
    """A contour is closed, outward, without a point twice and free of crossings, by the libraries' word."""
    solid = trimesh.Trimesh(found.points, found.triangles, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert solid.volume > 0
    assert len(np.unique(found.points, axis=0)) == len(found.points)
    points, triangles = found.points.astype(np.float64), found.triangles.astype(np.int64)
    assert not igl.predicates.find_self_intersections(points, triangles)[0]
