"""Feathers laid in rows over the clay, following the form."""

import numpy as np
from surfaces import carried_frames, spline, unit


def cast_in(clay, centres, directions, reach=4.0, rounds=40):
    """Where rays from outside toward `centres` first meet the clay, with normals; misses are masked out."""
    points = centres + reach * directions
    for _ in range(rounds):
        points = points - 0.8 * clay.distance(points)[:, None] * directions
    points, normals = clay.settle(points, 4)
    return points, normals, np.abs(clay.distance(points)) < 0.03


def rows_round(clay, axis_points, sizes, rng, *, flow, arc=(0.0, 2 * np.pi), overlap=0.5, keep=None, lift=0.11,
               point=0.3, slim=0.72, barbs=7.0, closeness=0.85):
    """Rows of feathers around a curve: `sizes` runs along it, `flow(point, normal, tangent)` gives the lie.

    `overlap` is the share of a feather left uncovered by the next row; `keep(point)` masks places out.
    """
    path = spline(axis_points, 240)
    frames = carried_frames(path)
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    place, row = 0.0, 0
    while place < along[-1]:
        k = int(np.searchsorted(along, place))
        size = float(np.interp(place / along[-1], np.linspace(0, 1, len(sizes)), sizes))
        radius = 1.0
        turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
        rays = np.cos(turn)[:, None] * frames[0][k] + np.sin(turn)[:, None] * frames[1][k]
        found, _, good = cast_in(clay, path[k], rays)
        if good.any():
            radius = np.linalg.norm(found[good] - path[k], axis=1).mean()
        count = max(int((arc[1] - arc[0]) * radius / (size * slim * closeness)), 3)
        turn = arc[0] + (arc[1] - arc[0]) * (np.arange(count) + 0.5 * (row % 2)) / count
        turn = turn + rng.uniform(-0.12, 0.12, count) * size / radius
        rays = np.cos(turn)[:, None] * frames[0][k] + np.sin(turn)[:, None] * frames[1][k]
        roots, normals, good = cast_in(clay, path[k], rays)
        tangent = unit(path[min(k + 1, 239)] - path[max(k - 1, 0)])
        for root, normal, fine in zip(roots, normals, good, strict=True):
            if not fine or (keep is not None and not keep(root)):
                continue
            own = size * rng.uniform(0.88, 1.14)
            lie = flow(root, normal, tangent) + rng.normal(0, 0.06, 3)
            split = rng.uniform(-0.6, 0.6) if rng.uniform() < 0.18 else 9.0
            clay.feather(
                root, lie, normal, own, own * slim * rng.uniform(0.92, 1.1), lift * (0.6 + 0.5 * size) * rng.uniform(0.85, 1.2),
                point=point, barbs=barbs, split=split, reach=0.4 * size + 0.2, rim=0.05 + 0.03 * size,
            )
        place += size * overlap
        row += 1
    return clay
