"""Solids that balls are rolled over in tests."""

import manifold3d
import numpy as np
import trimesh

RADIUS = 0.06
TURN = trimesh.transformations.euler_matrix(0.1, 0.2, 0.3)[:3, :3]


def plate(x, y, height, thick=0.4):
    """A closed plate with vertices above the lines x, y at `height`(x, y), and as many below: top vertices come first."""
    rows, columns = len(x), len(y)
    across, along = np.meshgrid(x, y, indexing="ij")
    top = np.c_[across.ravel(), along.ravel(), height(across, along).ravel()]
    n = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = (part.ravel() for part in (n[:-1, :-1], n[1:, :-1], n[1:, 1:], n[:-1, 1:]))
    even = (np.add.outer(np.arange(rows - 1), np.arange(columns - 1)) % 2 == 0).ravel()[:, None]
    faces = np.r_[
        np.where(even, np.c_[a, b, c], np.c_[a, b, d]), np.where(even, np.c_[a, c, d], np.c_[b, c, d])
    ]
    rim = np.r_[n[:, 0], n[-1, 1:], n[-2::-1, -1], n[0, -2:0:-1]]
    ahead, under = np.roll(rim, -1), len(top)
    sides = np.r_[np.c_[rim, rim + under, ahead + under], np.c_[rim, ahead + under, ahead]]
    points = np.r_[top, top * (1, 1, 0) + (0, 0, top[:, 2].min() - thick)]
    return points, np.r_[faces, faces[:, ::-1] + under, sides].astype(np.int32)


def rolled_in_section(height, x, radius):
    """What a disc leaves of a line height(x), at x: centres and touching by brute force, steps of 0.1 µm over the disc."""
    wide = np.arange(x.min() - 2 * radius, x.max() + 2 * radius, 0.0005)
    offsets = np.linspace(-radius, radius, 1201)
    disc = np.sqrt(np.maximum(radius**2 - offsets**2, 0))
    centre = np.array([(height(s + offsets) + disc).max() for s in wide])
    return np.array([(np.interp(s + offsets, wide, centre) - disc).min() for s in x])


def bumpy_ball(subdivisions, radius, rng, lengths=(0.2, 0.3, 0.6), share=0.07):
    ball = trimesh.creation.icosphere(subdivisions, 1.0)
    height = np.zeros(len(ball.vertices))
    for length in lengths:
        for _ in range(3):
            wave = rng.normal(size=3)
            wave *= 2 * np.pi * radius / length / np.linalg.norm(wave)
            height += share * length * np.cos(ball.vertices @ wave + rng.uniform(0, 2 * np.pi))
    return ball.vertices * (radius + height)[:, None], np.asarray(ball.faces, np.int32)


def subdivided_box(sides, edge):
    box = trimesh.creation.box(sides)
    while box.edges_unique_length.max() > 1.5 * edge:
        box = box.subdivide()
    return np.asarray(box.vertices), np.asarray(box.faces, np.int32)


def block(low, high):
    return manifold3d.Manifold.cube(tuple(np.subtract(high, low))).translate(low)


def fine_mesh(solid, edge):
    mesh = solid.refine_to_length(edge).to_mesh64()
    return np.ascontiguousarray(mesh.vert_properties[:, :3]), mesh.tri_verts.astype(np.int32)


def moves(rolled, points):
    return np.linalg.norm(rolled.points - points, axis=1)
