"""Curves, swept tubes, cloth sheets and the contour: plain meshes as (points, triangles)."""

import itertools

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import map_coordinates
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from firstcast.fields.contour import contour_dense


def unit(vector):
    """`vector` at length one along its last axis."""
    vector = np.asarray(vector, float)
    return vector / np.maximum(np.linalg.norm(vector, axis=-1, keepdims=True), 1e-12)


def spline(points, count):
    """(count, d): a smooth curve through `points`, its knots spaced by chord."""
    points = np.asarray(points, float)
    if len(points) == 2:
        return points[0] + np.linspace(0.0, 1.0, count)[:, None] * (points[1] - points[0])
    chord = (
        np.linalg.norm(np.diff(points, axis=0), axis=1) ** 0.5
        if points.shape[1] > 1
        else np.ones(len(points) - 1)
    )
    knots = np.concatenate([[0.0], np.cumsum(np.maximum(chord, 1e-9))])
    return CubicSpline(knots, points, bc_type="natural")(np.linspace(0.0, knots[-1], count))


def carried_frames(path, hint=(0.0, 0.0, 1.0)):
    """Two unit fields across a curve, carried along it without twisting."""
    tangent = unit(np.gradient(path, axis=0))
    first = np.empty_like(path)
    start = np.asarray(hint, float)
    if np.linalg.norm(np.cross(start, tangent[0])) < 0.1:
        start = np.array([1.0, 0.0, 0.0])
    first[0] = unit(start - tangent[0] * (start @ tangent[0]))
    for k in range(1, len(path)):
        first[k] = unit(first[k - 1] - tangent[k] * (first[k - 1] @ tangent[k]))
    return first, np.cross(tangent, first)


def _grid_triangles(rows, columns, wrap):
    """Triangles over a grid of points numbered row by row; `wrap` joins the last column to the first."""
    across = columns if wrap else columns - 1
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(across), indexing="ij")
    a = (i * columns + j).ravel()
    b = (i * columns + (j + 1) % columns).ravel()
    c, d = a + columns, b + columns
    return np.concatenate([np.stack([a, b, c], 1), np.stack([b, d, c], 1)])


def tube(path, radius, *, sides=14, shape=None, twist=0.0, hint=(0.0, 0.0, 1.0), along_hint=None, loop=False):
    """A closed tube along `path`; `radius` (n,) or one number; `shape` (sides, 2) is its section.

    `twist` turns the section, in radians per unit of length; `along_hint` (n, 3) is what its first axis faces. The
    ends are domed by one ring and a point; a `loop` has none: its path comes round without a repeated point.
    """
    path = np.asarray(path, float)
    radius = np.broadcast_to(np.asarray(radius, float), len(path)).copy()
    if shape is None:
        turn = np.linspace(0.0, 2.0 * np.pi, sides, endpoint=False)
        shape = np.stack([np.cos(turn), np.sin(turn)], 1)
    shape = np.asarray(shape, float)
    sides = len(shape)
    first, second = carried_frames(path, hint)
    if along_hint is not None:
        tangent = unit(np.gradient(path, axis=0))
        first = unit(along_hint - tangent * np.sum(along_hint * tangent, axis=1, keepdims=True))
        second = np.cross(tangent, first)
    if twist:
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
        c, s = np.cos(twist * along)[:, None], np.sin(twist * along)[:, None]
        first, second = c * first + s * second, c * second - s * first
    tangent = unit(np.gradient(path, axis=0))
    if loop:
        rings = path[:, None] + radius[:, None, None] * (
            first[:, None] * shape[None, :, :1] + second[:, None] * shape[None, :, 1:]
        )
        return outward(rings.reshape(-1, 3), _torus_triangles(len(path), sides))
    head, tail = path[0] - 0.5 * radius[0] * tangent[0], path[-1] + 0.5 * radius[-1] * tangent[-1]
    path = np.concatenate([[head], path, [tail]])
    first, second = (np.concatenate([f[:1], f, f[-1:]]) for f in (first, second))
    radius = np.concatenate([[0.55 * radius[0]], radius, [0.55 * radius[-1]]])
    rings = path[:, None] + radius[:, None, None] * (
        first[:, None] * shape[None, :, :1] + second[:, None] * shape[None, :, 1:]
    )
    points = np.concatenate(
        [rings.reshape(-1, 3), [head - 0.2 * radius[1] * tangent[0]], [tail + 0.2 * radius[-2] * tangent[-1]]]
    )
    grid = _grid_triangles(len(path), sides, True)
    k = np.arange(sides)
    south, north = len(points) - 2, len(points) - 1
    last = (len(path) - 1) * sides
    low = np.stack([np.full(sides, south), (k + 1) % sides, k], 1)
    high = np.stack([np.full(sides, north), last + k, last + (k + 1) % sides], 1)
    return points, np.concatenate([grid, low, high]).astype(np.int32)


def round_ends(path, radius, steps=9):
    """The path and radii (n,) of a tube with both ends drawn out to half balls."""
    radius = np.broadcast_to(np.asarray(radius, float), len(path))
    lift = np.linspace(0.0, 0.5 * np.pi, steps + 1)[1:] * 0.97
    head, tail = unit(path[0] - path[1]), unit(path[-1] - path[-2])
    first = path[0] + radius[0] * np.sin(lift)[::-1, None] * head
    last = path[-1] + radius[-1] * np.sin(lift)[:, None] * tail
    grown = np.concatenate([radius[0] * np.cos(lift)[::-1], radius, radius[-1] * np.cos(lift)])
    return np.concatenate([first, path, last]), grown


def _torus_triangles(rows, columns):
    i, j = np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij")
    a = (i * columns + j).ravel()
    b = (i * columns + (j + 1) % columns).ravel()
    c, d = (a + columns) % (rows * columns), (b + columns) % (rows * columns)
    return np.concatenate([np.stack([a, b, c], 1), np.stack([b, d, c], 1)]).astype(np.int32)


ROPE = np.stack(
    [
        (0.8 + 0.2 * np.abs(np.cos(1.5 * np.linspace(0, 2 * np.pi, 24, endpoint=False))))
        * f(np.linspace(0, 2 * np.pi, 24, endpoint=False))
        for f in (np.cos, np.sin)
    ],
    1,
)


def leaf(
    spine, normals, width, *, thick=0.1, point=0.4, barbs=5.0, hollow=0.28, quill=0.55, veins=0.0, columns=15
):
    """A feather or a leaf along `spine`, facing `normals`: closed, with a quill, barbs or veins, and a hollowed back.

    `point` 0 gives a round tip, 1 a lance; `hollow` arches it across.
    """
    rows = len(spine)
    tangent = unit(np.gradient(spine, axis=0))
    n = unit(normals - tangent * np.sum(normals * tangent, axis=1, keepdims=True))[:, None]
    side = np.cross(n[:, 0], tangent)[:, None]
    length = np.linalg.norm(np.diff(spine, axis=0), axis=1).sum()
    t, s = np.meshgrid(np.linspace(0.0, 1.0, rows), np.linspace(-1.0, 1.0, columns), indexing="ij")
    swell = np.where(t > 0.5, np.sqrt(np.clip(1.0 - ((t - 0.5) / 0.5) ** 2, 0.0, 1.0)), 0.45 + 1.1 * t)
    lance = np.where(t > 0.3, 1.0 - (t - 0.3) / 0.7, 0.45 + 1.85 * t)
    half = 0.5 * width * np.clip((1.0 - point) * np.minimum(swell, 1.0) + point * lance, 0.06, 1.0)
    arch = hollow * width * (1.0 - s**2) * np.sqrt(np.clip(half / (0.5 * width), 0, 1))
    ridge = quill * thick * np.clip(1.0 - np.abs(s) / 0.16, 0.0, 1.0) * (1.0 - 0.6 * t)
    wave = np.sin(2 * np.pi * (t * length * barbs - 2.2 * np.abs(s) * half)) if barbs else 0.0
    fine = 0.06 * thick * wave * np.clip(3 * np.abs(s), 0, 1) + veins * thick * np.cos(3.0 * np.pi * s)
    middle = spine[:, None] + (s * half)[..., None] * side
    taper = thick * (1.0 - 0.35 * t) * (0.6 + 0.4 * np.sqrt(np.clip(1.0 - s**2, 0, 1)))
    top = middle + (arch + 0.5 * taper + ridge + fine * (1 - t**6))[..., None] * n
    back = middle + (0.8 * arch - 0.5 * taper)[..., None] * n
    return slab(top, back)


def blade(root, along, outward_hint, length, width, *, bend=0.0, curl=0.0, rows=36, **shape):
    """A leaf that grows from `root`; `bend` curves it in its own plane, `curl` out of it, in units at the tip."""
    w = unit(along)
    n = unit(np.asarray(outward_hint, float) - w * (np.asarray(outward_hint, float) @ w))
    t = np.linspace(0.0, 1.0, rows)[:, None]
    spine = np.asarray(root, float) + t * length * w + bend * t**2 * np.cross(n, w) + curl * t**2 * n
    return leaf(spine, np.broadcast_to(n, spine.shape), width, **shape)


def lathe(profile, centre, *, axis=(0.0, 0.0, 1.0), sides=48, scallop=0.0, count=8):
    """A closed turned solid: `profile` rows (radius, height) from the bottom up, smoothed little; rim scalloped."""
    profile = np.asarray(profile, float)
    fine = []
    for (r0, h0), (r1, h1) in itertools.pairwise(profile):
        t = np.linspace(0.0, 1.0, max(int(np.hypot(r1 - r0, h1 - h0) / 0.05), 2), endpoint=False)
        fine += [(r0 + (r1 - r0) * k, h0 + (h1 - h0) * k) for k in t]
    fine = np.array([*fine, profile[-1]])
    w = unit(axis)
    u = unit(np.cross((0.0, 1.0, 0.0), w))
    v = np.cross(w, u)
    turn = np.linspace(0.0, 2.0 * np.pi, sides, endpoint=False)
    swell = 1.0 + scallop * np.abs(np.sin(0.5 * count * turn))
    around = swell[:, None] * (np.cos(turn)[:, None] * u + np.sin(turn)[:, None] * v)
    rings = np.asarray(centre, float) + fine[:, None, :1] * around[None] + fine[:, None, 1:] * w
    points = np.concatenate([rings.reshape(-1, 3), [centre + fine[0, 1] * w, centre + fine[-1, 1] * w]])
    k, last = np.arange(sides), (len(fine) - 1) * sides
    low = np.stack([np.full(sides, len(points) - 2), (k + 1) % sides, k], 1)
    high = np.stack([np.full(sides, len(points) - 1), last + k, last + (k + 1) % sides], 1)
    return outward(
        points, np.concatenate([_grid_triangles(len(fine), sides, True), low, high]).astype(np.int32)
    )


def bead(centre, radius, *, sides=20):
    """A closed ball."""
    a = np.linspace(-0.5 * np.pi, 0.5 * np.pi, sides // 2 + 1)[1:-1]
    return lathe(np.stack([np.cos(a), np.sin(a)], 1) * radius, np.asarray(centre, float), sides=sides)


def sheet_normals(grid):
    """Unit normals of a grid of points (rows, columns, 3)."""
    return unit(np.cross(np.gradient(grid, axis=1), np.gradient(grid, axis=0)))


def resampled(grid, rows, columns):
    """The sheet at fractional places `rows`, `columns` (same shape) of `grid`, by cubic splines."""
    places = np.stack([rows, columns])
    return np.stack([map_coordinates(grid[..., c], places, order=3, mode="nearest") for c in range(3)], -1)


def open_sheet(grid):
    """A grid of points as an open mesh without thickness."""
    return grid.reshape(-1, 3), _grid_triangles(*grid.shape[:2], False).astype(np.int32)


def slab(outer, inner):
    """A closed mesh between two grids of points; normals of `outer` point away from `inner`."""
    rows, columns = outer.shape[:2]
    count = rows * columns
    points = np.concatenate([outer.reshape(-1, 3), inner.reshape(-1, 3)])
    top = _grid_triangles(rows, columns, False)
    rim = np.concatenate(
        [
            np.arange(columns),
            np.arange(1, rows) * columns + columns - 1,
            (rows - 1) * columns + np.arange(columns - 2, -1, -1),
            np.arange(rows - 2, 0, -1) * columns,
        ]
    )
    after = np.roll(rim, -1)
    wall = np.concatenate(
        [np.stack([rim, rim + count, after], 1), np.stack([after, rim + count, after + count], 1)]
    )
    return outward(points, np.concatenate([top, top[:, ::-1] + count, wall]).astype(np.int32))


def outward(points, triangles):
    """The mesh with its triangles turned if it encloses a negative volume."""
    a, b, c = (points[triangles[:, k]] - points.mean(axis=0) for k in range(3))
    if np.einsum("ij,ij->", a, np.cross(b, c)) < 0.0:
        triangles = np.ascontiguousarray(triangles[:, ::-1])
    return points, triangles


def joined(meshes):
    """Several meshes as one, their shells kept apart."""
    points, triangles, base = [], [], 0
    for p, t in meshes:
        points.append(p)
        triangles.append(t + base)
        base += len(p)
    return np.concatenate(points), np.concatenate(triangles).astype(np.int32)


def contour(field, origin, pitch):
    """The zero surface of a lattice of distances, negative inside."""
    found = contour_dense(field, origin, pitch)
    return found.points, found.triangles


def without_bubbles(points, triangles):
    """The mesh without its inward shells: pockets between shapes that touch, smaller than a tool could reach."""
    ends = np.concatenate([triangles[:, :2], triangles[:, 1:]])
    links = coo_matrix(
        (np.ones(len(ends), np.int8), (ends[:, 0], ends[:, 1])), shape=(len(points), len(points))
    )
    count, label = connected_components(links, directed=False)
    if count == 1:
        return points, triangles
    a, b, c = (points[triangles[:, k]].astype(float) for k in range(3))
    volume = np.bincount(label[triangles[:, 0]], np.einsum("ij,ij->i", a, np.cross(b, c)), count)
    kept = volume[label] > 0.0
    number = np.cumsum(kept) - 1
    return points[kept], number[triangles[kept[triangles[:, 0]]]].astype(np.int32)
