"""Feathers laid in rows over the clay: each a closed leaf that follows the form and lifts at its tip."""

from typing import NamedTuple

import numpy as np
from surfaces import carried_frames, leaf, spline, unit

STEPS = 8


class Bed(NamedTuple):
    """Where feathers root: roots, normals and lies (n, 3), sizes (n,)."""

    roots: np.ndarray
    normals: np.ndarray
    lies: np.ndarray
    sizes: np.ndarray


def cast_in(clay, centres, directions, reach=4.0, rounds=40):
    """Where rays from outside toward `centres` first meet the clay, with normals and a mask of hits."""
    points = centres + reach * directions
    for _ in range(rounds):
        points = points - 0.8 * clay.distance(points)[:, None] * directions
    points, normals = clay.settle(points, 4)
    return points, normals, np.abs(clay.distance(points)) < 0.03


def rows_round(
    clay, axis_points, sizes, rng, *, flow, overlap=0.45, slim=0.8, keep=None, jitter=0.08, vary=0.15
):
    """A bed of rows around a curve: `sizes` runs along it, `flow(point, normal, tangent)` gives the lie.

    `overlap` is the share of a feather left bare by the next row; `keep(point)` masks places out;
    `vary` is how far sizes stray.
    """
    path = spline(axis_points, 240)
    frames = carried_frames(path)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    beds, place, row = [], 0.0, 0
    while place < along[-1]:
        k = int(np.searchsorted(along, place))
        size = float(np.interp(place / along[-1], np.linspace(0, 1, len(sizes)), sizes))

        def rays(turn, k=k):
            return np.cos(turn)[:, None] * frames[0][k] + np.sin(turn)[:, None] * frames[1][k]

        found, _, good = cast_in(clay, path[k], rays(np.linspace(0, 2 * np.pi, 16, endpoint=False)))
        radius = np.linalg.norm(found[good] - path[k], axis=1).mean() if good.any() else 1.0
        count = max(int(2 * np.pi * radius / (0.88 * size * slim)), 4)
        turn = 2 * np.pi * (np.arange(count) + 0.5 * (row % 2)) / count
        turn = turn + rng.uniform(-1.2, 1.2, count) * jitter * size / radius
        roots, normals, good = cast_in(clay, path[k], rays(turn))
        tangent = unit(path[min(k + 1, 239)] - path[max(k - 1, 0)])
        lies = np.array([flow(p, n, tangent) for p, n in zip(roots, normals, strict=True)]) + rng.normal(
            0, jitter, (count, 3)
        )
        own = size * rng.uniform(1.01 - vary, 1.01 + vary, count)
        if keep is not None:
            good &= np.array([bool(keep(p)) for p in roots])
        beds.append(Bed(roots[good], normals[good], lies[good], own[good]))
        place += size * overlap
        row += 1
    return Bed(*(np.concatenate(columns) for columns in zip(*beds, strict=True)))


def lay(clay, bed, rng, *, slim=0.8, lift=0.16, thick=0.19, sway=0.0, rows=15, columns=9, **shape):
    """The feathers of a bed as closed leaves: rooted in the clay, following it, tips raised by `lift` × size."""
    places, lies = bed.roots.copy(), unit(bed.lies)
    spines, facing = [], []
    for step in range(STEPS):
        skin, normals = clay.settle(places, 5)
        share = step / (STEPS - 1)
        spines.append(skin + normals * ((lift * share**1.5 - 0.06 * (1 - share)) * bed.sizes)[:, None])
        facing.append(normals)
        lies = unit(
            lies
            - normals * np.sum(lies * normals, axis=1, keepdims=True)
            + sway * rng.normal(0, 1, lies.shape)
            + (0, 0, -0.03)
        )
        places = skin + lies * (bed.sizes / (STEPS - 1))[:, None]
    spines, facing = np.array(spines), np.array(facing)
    strides = np.linalg.norm(np.diff(spines, axis=0), axis=2).max(axis=0)
    meshes = []
    for n in np.flatnonzero(strides < 2.2 * bed.sizes / (STEPS - 1)):  # none that sprang over a crease
        size = bed.sizes[n]
        meshes.append(
            leaf(
                spline(spines[:, n], rows),
                unit(spline(facing[:, n], rows)),
                size * slim * rng.uniform(0.9, 1.1),
                thick=thick * (0.5 + 0.5 * size),
                columns=columns,
                **shape,
            )
        )
    return meshes
