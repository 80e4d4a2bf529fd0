"""Faults as a sculptor's files have them, put in on purpose so that the demo meets each once."""

import numpy as np
from surfaces import joined, unit


def flipped_band(mesh, low, high):
    """The mesh with every triangle whose middle lies between two heights wound the wrong way."""
    points, triangles = mesh
    middle = points[triangles].mean(axis=1)[:, 2]
    band = (middle > low) & (middle < high)
    return points, np.where(band[:, None], triangles[:, ::-1], triangles)


def holed(mesh, place, width):
    """The mesh without the triangles that touch a ball of diameter `width` about the surface point next to `place`."""
    points, triangles = mesh
    centre = points[np.argmin(np.linalg.norm(points - place, axis=1))]
    near = np.linalg.norm(points - centre, axis=1) < 0.5 * width
    triangles = triangles[~near[triangles].any(axis=1)]
    used = np.unique(triangles)
    number = np.zeros(len(points), np.int32)
    number[used] = np.arange(len(used))
    return points[used], number[triangles]


def with_core(mesh, centre, radius):
    """The mesh with a ball left over inside it, as from an armature."""
    rings, sides = 24, 48
    turn = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    lift = np.linspace(-0.5 * np.pi, 0.5 * np.pi, rings + 2)[1:-1]
    around = np.stack([np.cos(turn), np.sin(turn), 0 * turn], 1)
    grid = np.cos(lift)[:, None, None] * around + np.sin(lift)[:, None, None] * np.array([0.0, 0.0, 1.0])
    points = np.concatenate([unit(grid).reshape(-1, 3), [[0, 0, -1.0], [0, 0, 1.0]]])
    i, j = np.meshgrid(np.arange(rings - 1), np.arange(sides), indexing="ij")
    a, b = (i * sides + j).ravel(), (i * sides + (j + 1) % sides).ravel()
    k = np.arange(sides)
    last = (rings - 1) * sides
    triangles = np.concatenate(
        [
            np.stack([a, b, a + sides], 1),
            np.stack([b, b + sides, a + sides], 1),
            np.stack([np.full(sides, rings * sides), (k + 1) % sides, k], 1),
            np.stack([np.full(sides, rings * sides + 1), last + k, last + (k + 1) % sides], 1),
        ]
    )
    return joined([mesh, (np.asarray(centre) + radius * points, triangles.astype(np.int32))])
