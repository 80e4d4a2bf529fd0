"""Bodies with lines whose width, depth and opening are known: carved into a block or round a rod, or raised on a block."""

import numpy as np
from manifold3d import triangulate
from numpy.typing import NDArray

from firstcast.geometry.mesh import Mesh


def profile_block(top, length: float = 3.0, thick: float = 1.5, step: float = 0.04) -> Mesh:
    """A block along y whose upper side in section is the run of places top (k, 2), x rising, to be divided to `step`."""
    top = np.asarray(top, np.float64)
    low = top[:, 1].min() - thick
    outline = [(top[0, 0], low), (top[-1, 0], low), *top[::-1].tolist()]
    return _extruded(outline, length, step)


def _extruded(outline, length: float, step: float) -> Mesh:
    """A prism along y over an outline in x and z that runs counter-clockwise, seen from -y; the sides divided to `step`."""
    corners = np.asarray(outline, np.float64)
    runs = [
        here + np.linspace(0.0, 1.0, int(np.ceil(np.linalg.norm(there - here) / step)), endpoint=False)[:, None]
        * (there - here)
        for here, there in zip(corners, np.roll(corners, -1, axis=0), strict=True)
    ]  # fmt: skip
    ring = np.concatenate(runs)
    along = length * (np.linspace(0.0, 1.0, 1 + int(np.ceil(length / step))) - 0.5)
    count, rows = len(ring), len(along)
    points = np.column_stack([np.tile(ring[:, 0], rows), np.repeat(along, count), np.tile(ring[:, 1], rows)])
    here = np.arange(count)
    there = (here + 1) % count
    low = (count * np.arange(rows - 1))[:, None]
    sides = [
        np.stack([low + here, low + there, low + count + there], axis=2).reshape(-1, 3),
        np.stack([low + here, low + count + there, low + count + here], axis=2).reshape(-1, 3),
    ]
    lid = np.asarray(triangulate([ring.tolist()]), np.int64)
    lids = [lid, lid[:, ::-1] + count * (rows - 1)]
    return Mesh(points, np.concatenate([*(side[:, ::-1] for side in sides), *lids]).astype(np.int32))


def v_top(width: float, depth: float, side: float = 1.2) -> list[tuple[float, float]]:
    """Level, down to `depth` and up again over `width`, level; a ridge where `depth` is below 0."""
    return [(-side, 0.0), (-width / 2.0, 0.0), (0.0, -depth), (width / 2.0, 0.0), (side, 0.0)]


def round_v_top(width: float, depth: float, radius: float, side: float = 1.2) -> NDArray[np.float64]:
    """As `v_top`, its flanks carried on to a bottom rounded to `radius`; `depth` is that of the sharp V."""
    half = np.arctan2(width / 2.0, depth)
    middle = -depth + radius / np.sin(half)
    turn = np.linspace(half - np.pi / 2.0, np.pi / 2.0 - half, 25)[1:-1]
    touch = radius * np.cos(half)
    rise = middle - radius * np.sin(half)
    arc = np.column_stack([radius * np.sin(turn), middle - radius * np.cos(turn)])
    ends = np.array([(-touch, rise), (touch, rise)])
    return np.vstack([
        [(-side, 0.0), (-width / 2.0, 0.0)], ends[:1], arc, ends[1:], [(width / 2.0, 0.0), (side, 0.0)]
    ])  # fmt: skip


def square_top(width: float, depth: float, side: float = 1.2) -> list[tuple[float, float]]:
    """A square groove, its walls a thousandth of a millimetre off upright."""
    return [
        (-side, 0.0), (-width / 2.0, 0.0), (-width / 2.0 + 1e-3, -depth),
        (width / 2.0 - 1e-3, -depth), (width / 2.0, 0.0), (side, 0.0),
    ]  # fmt: skip


def grooved_rod(radius: float, width: float, depth: float, step: float = 0.04, long: float = 3.0) -> Mesh:
    """A rod along z with a V groove round it at half its length."""
    heights = np.concatenate([
        np.arange(-long / 2, -width / 2 - step / 2, step), np.linspace(-width / 2, 0, 1 + int(np.ceil(width / step))),
        np.linspace(0, width / 2, 1 + int(np.ceil(width / step)))[1:], -np.arange(-long / 2, -width / 2 - step / 2, step)[::-1],
    ])  # fmt: skip
    radii = radius - depth * np.clip(1.0 - np.abs(heights) / (width / 2.0), 0.0, 1.0)
    return turned_solid(radii, heights, round(2 * np.pi * radius / step))


def turned_solid(radii, heights, around: int) -> Mesh:
    """A solid of revolution about z, closed by a point at either end."""
    angle = 2.0 * np.pi * np.arange(around) / around
    rings = np.stack([
        np.outer(radii, np.cos(angle)), np.outer(radii, np.sin(angle)), np.repeat(heights[:, None], around, axis=1)
    ], axis=2)  # fmt: skip
    points = np.concatenate([rings.reshape(-1, 3), [(0, 0, heights[0]), (0, 0, heights[-1])]])
    here = np.arange(around)
    there = (here + 1) % around
    faces = []
    for row in range(len(heights) - 1):
        a, b = row * around + here, row * around + there
        faces += [np.column_stack([a, b, b + around]), np.column_stack([a, b + around, a + around])]
    low, high = len(points) - 2, len(points) - 1
    last = (len(heights) - 1) * around
    faces += [
        np.column_stack([np.full(around, low), there, here]),
        np.column_stack([np.full(around, high), last + here, last + there]),
    ]
    return Mesh(np.asarray(points, np.float64), np.concatenate(faces).astype(np.int32))
