"""The narrowest place between ways out of rubber that hangs together: its section, and the ball that passes it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation, distance_transform_edt
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from firstcast.kernels.locked import BODY, deepen
from firstcast.moulding.labels import EVERY_WAY, labelled

Mask = npt.NDArray[np.bool_]

FACE, ASIDE = 64, 8
"""What a face counts halfway between the two places, and by how much more beside one of them: of webs as narrow the middle one is taken."""

PLENTY = 1 << 26
"""More than any web counts."""

MOST_CUT, SECTIONS = 50_000, 12
"""Of more voxels so many sections are tried in place of a minimum cut, which takes the square of their count or so."""

STEP = 0.5
"""Steps in which the radius of a ball is tried, in voxels."""


@dataclass(frozen=True)
class Web:
    """The narrowest section between two places of a mask.

    Attributes
    ----------
    voxels : (a, b, c) bool
        One layer of the mask across it, on the side of the first place.
    faces : float
        Its area, in faces of voxels.
    """

    voxels: Mask
    faces: float


def narrowest_web(mask: Mask, one: Mask, other: Mask) -> Web | None:
    """The fewest faces of voxels that part two places of a mask: a minimum cut (L. Ford, D. Fulkerson 1956).

    None where the places touch, or don't hang together through the mask. In a mask of more than `MOST_CUT` voxels it is the
    narrowest of `SECTIONS` sections, each of all places by whose way to the two places' ways are in one ratio: no less than the
    narrowest of all.
    """
    one = np.asarray(np.logical_and(one, mask), np.bool_)
    other = np.asarray(np.logical_and(other, mask), np.bool_)
    if not one.any() or not other.any() or bool(np.logical_and(one, other).any()):
        return None
    if np.count_nonzero(mask) > MOST_CUT:
        return _narrowest_section(mask, one, other)
    rows = np.argwhere(mask)
    number = np.full(mask.shape, -1, np.int32)
    number[tuple(rows.T)] = np.arange(len(rows), dtype=np.int32)
    along = _along(mask, one, other)
    graph = _graph(number, one, other, np.abs(2.0 * along[mask] - 1.0))
    count = len(rows)
    found = maximum_flow(graph, count, count + 1)
    if not 0 < found.flow_value < PLENTY:
        return None
    left = graph - found.flow
    left.data[left.data < 0] = 0
    left.eliminate_zeros()
    inner = np.zeros(count + 2, np.bool_)
    inner[breadth_first_order(left, count, return_predecessors=False)] = True
    near = np.zeros(mask.shape, np.bool_)
    near[tuple(rows[inner[:count]].T)] = True
    far = mask & ~near
    return Web(np.logical_and(near, binary_dilation(far)), _area(near, far))


def _along(mask: Mask, one: Mask, other: Mask) -> npt.NDArray[np.float32]:
    """How far each voxel of a mask lies from one place towards another, from 0 to 1, by the ways through the mask."""
    ways = []
    for place in (one, other):
        way = np.where(place, np.float32(0.5), np.float32(1e9))
        deepen(mask.astype(np.uint8), way, np.zeros(mask.shape, np.int32))
        ways.append(np.where(way < 1e8, way, np.float32(np.inf)))
    with np.errstate(invalid="ignore"):
        return ways[0] / (ways[0] + ways[1])


def _narrowest_section(mask: Mask, one: Mask, other: Mask) -> Web | None:
    along = _along(mask, one, other)
    both = np.logical_and(mask, np.isfinite(along))
    if not both.any():
        return None
    best: Web | None = None
    for level in np.arange(1, SECTIONS) / SECTIONS:
        near, far = both & (along < level), both & (along >= level)
        area = _area(near, far)
        if area and (best is None or area < best.faces):
            best = Web(near & binary_dilation(far), area)
    return best


def _graph(
    number: npt.NDArray[np.int32], one: Mask, other: Mask, aside: npt.NDArray[np.float32]
) -> csr_array:
    """Voxels that share a face, each way; a source before `one`, a sink behind `other`."""
    count = int(number.max()) + 1
    tails, heads = [], []
    for axis in range(3):
        low, high = np.moveaxis(number, axis, 0)[:-1], np.moveaxis(number, axis, 0)[1:]
        both = (low >= 0) & (high >= 0)
        tails += [low[both], high[both]]
        heads += [high[both], low[both]]
    asides = np.nan_to_num(aside, nan=1.0, posinf=1.0)
    faces = [FACE + np.rint(ASIDE * 0.5 * (asides[t] + asides[h])) for t, h in zip(tails, heads, strict=True)]
    starts, ends = number[one], number[other]
    tail = np.concatenate([*tails, np.full(len(starts), count, np.int32), ends])
    head = np.concatenate([*heads, starts, np.full(len(ends), count + 1, np.int32)])
    room = np.concatenate([*faces, np.full(len(starts) + len(ends), PLENTY)]).astype(np.int32)
    return csr_array((room, (tail, head)), shape=(count + 2, count + 2), dtype=np.int32)


def _area(near: Mask, far: Mask) -> float:
    """Of what parts two masks, in faces: the length of the sum of its normals, and at least its faces over √3.

    The first is the area of a flat web; of one that closes on itself the second is the least that so many faces can stand for.
    """
    normal, faces = np.zeros(3), 0
    for axis in range(3):
        a, b = np.moveaxis(near, axis, 0), np.moveaxis(far, axis, 0)
        ahead, behind = int((a[:-1] & b[1:]).sum()), int((a[1:] & b[:-1]).sum())
        normal[axis] = ahead - behind
        faces += ahead + behind
    return max(float(np.linalg.norm(normal)), faces / np.sqrt(3.0))


def widest_ball(states: npt.NDArray[np.uint8], mask: Mask, one: Mask, other: Mask) -> float:
    """Radius, in voxels, of the largest ball that passes through a mask from one place beside it to another; 0 if none does."""
    body = np.pad(states != BODY, 1, mode="edge")
    radius = np.asarray(distance_transform_edt(body), np.float32)[1:-1, 1:-1, 1:-1] - np.float32(0.5)
    one, other = (np.logical_and(binary_dilation(place, EVERY_WAY), mask) for place in (one, other))
    passes = 0.0
    while True:
        rows, _ = labelled(mask & (radius >= passes + STEP), EVERY_WAY)
        if not np.intersect1d(rows[one & (rows > 0)], rows[other & (rows > 0)]).size:
            return passes
        passes += STEP


def thickened(web: Web, mask: Mask, voxels: float) -> Mask:
    """A web so many voxels thick, within the mask."""
    away = np.asarray(distance_transform_edt(~web.voxels))
    return mask & (away <= max(0.5 * (voxels - 1.0), 0.0) + 1e-6)
