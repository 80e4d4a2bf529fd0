"""Hollows of a body that are wider than the neck they open by, and tongues of mould material: whichever way it opens.

Both are read off the distance of the mould's voxels to the body, in the figure's axes. What lies farthest from
the body is reached from outside through its narrowest place, and by the widest way there is.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import distance_transform_edt

from firstcast.geometry.mesh import Mesh
from firstcast.kernels.hollows import flood_widths
from firstcast.kernels.locked import BODY, deepen
from firstcast.moulding.voxels import mark_voxels

WIDER = 1.25
"""A hollow counts from so much wider than its neck: less is within the roughness of voxels and of rubber. Chosen, no source."""

MORE_PITCHES = 0.75
"""A hollow counts from so much greater radius than its neck's, whatever the ratio: two widths in voxels are not told apart."""

LEVELS = 64
"""Steps of a width that are told apart, per voxel."""

BYTES_PER_VOXEL = 40
"""Distances, their order, basins and what the distance transform takes."""


@dataclass(frozen=True)
class Room:
    """The mould's room in the figure's axes.

    Attributes
    ----------
    origin_mm : (3,) float64
    pitch_mm : float
    width_mm : (nx, ny, nz) float32
        Radius of the ball about each voxel that meets no body; 0 in the body.
    """

    origin_mm: npt.NDArray[np.float64]
    pitch_mm: float
    width_mm: npt.NDArray[np.float32]

    def voxels_at(self, places_mm: npt.NDArray[np.floating]) -> npt.NDArray[np.int64]:
        """(n, 3) int64: the voxel nearest to each place, held within the grid."""
        at = np.rint((np.asarray(places_mm, np.float64) - self.origin_mm) / self.pitch_mm).astype(np.int64)
        return np.clip(at, 0, np.array(self.width_mm.shape) - 1)


def room_round(mesh: Mesh, pitch_mm: float, margin_mm: float) -> Room:
    """The room of a closed outward mesh, with so much margin.

    Raises
    ------
    InputError
        The mesh is empty or isn't closed.
    SizeError
        The voxels would not fit this machine.
    """
    voxels = mark_voxels(mesh, np.eye(3), pitch_mm, margin_mm, bytes_per_voxel=BYTES_PER_VOXEL)
    states = voxels.states
    # The nearest voxel of the body has its surface half a pitch nearer.
    away = np.asarray(distance_transform_edt(states != BODY), np.float32)
    width = np.maximum(away - np.float32(0.5), np.float32(0.0)) * np.float32(pitch_mm)
    width[states != BODY] = np.maximum(width[states != BODY], np.float32(0.25 * pitch_mm))
    return Room(voxels.origin_mm, pitch_mm, width)


@dataclass(frozen=True)
class Hollow:
    """A hollow that is wider than its neck.

    Attributes
    ----------
    number : int
        In `Hollows.number_of_voxel`.
    neck_mm, width_mm : float
        Diameters of the largest balls that pass its neck, and that lie in it.
    neck_mm2, section_mm2 : float
        Area of the neck, and the largest section of the hollow: across the straight way out or across the ways through it,
        the lesser of both, so that neither a ball nor a bent sheet is taken for more than it is.
    depth_mm : float
        From the neck to the deepest place, through the hollow.
    volume_mm3 : float
    neck_place_mm : (float, float, float)
    """

    number: int
    neck_mm: float
    width_mm: float
    neck_mm2: float
    section_mm2: float
    depth_mm: float
    volume_mm3: float
    neck_place_mm: tuple[float, float, float]


@dataclass(frozen=True)
class Hollows:
    """All hollows of a body, the largest first, and which one each voxel of the room lies in (0: none)."""

    hollows: tuple[Hollow, ...]
    number_of_voxel: npt.NDArray[np.int32]


def find_hollows(room: Room, least_mm3: float) -> Hollows:
    """Hollows of at least so much volume that are `WIDER` than their neck, however they twist."""
    shape = room.width_mm.shape
    basins, parent, neck, into, count = _flooded(room)
    names = _chains(parent, neck, into, count)
    flat = np.where(basins >= 0, names[np.maximum(basins, 0)], 0).reshape(shape)
    sizes = np.bincount(flat.ravel())
    found, kept = [], np.zeros(len(sizes), np.int32)
    for name in np.argsort(-sizes, kind="stable"):
        if name == 0 or sizes[name] * room.pitch_mm**3 < least_mm3:
            continue
        kept[name] = len(found) + 1
        found.append(_hollow(room, flat == name, len(found) + 1, float(neck[name])))
    return Hollows(tuple(found), kept[flat].astype(np.int32))


def _flooded(room: Room):
    """Basins of the room's voxels, and the tree in which they meet."""
    shape = room.width_mm.shape
    width = room.width_mm.copy()
    # All of the grid's border is outside, and wider than anything.
    for axis in range(3):
        for side in (0, -1):
            np.moveaxis(width, axis, 0)[side] = 1e6
    level = np.minimum(width / np.float32(room.pitch_mm) * LEVELS, 65535.0).astype(np.uint16)
    flat = level.ravel()
    open_voxels = np.flatnonzero(flat)
    order = open_voxels[np.argsort(np.uint16(65535) - flat[open_voxels], kind="stable")]
    basin = np.full(flat.size, -1, np.int32)
    most = len(order)
    parent, peak, neck, into = (
        np.zeros(most, np.int32), np.zeros(most, np.float32), np.zeros(most, np.float32), np.zeros(most, np.int32),
    )  # fmt: skip
    count = flood_widths(
        order, np.ascontiguousarray(width.ravel()), np.array(shape, np.int64), np.float32(WIDER),
        np.float32(MORE_PITCHES * room.pitch_mm), basin, parent, peak, neck, into,
    )  # fmt: skip
    return basin, parent, neck, into, count


def _chains(parent, neck, into, count: int) -> npt.NDArray[np.int64]:
    """For every basin the hollow that it is of: 0 the outside, else the row of the basin next to the outside.

    A hollow behind a hollow is told with the nearer one's number where the nearer neck is the narrower, else by itself.
    """
    roots = parent[:count].astype(np.int64)
    while (roots != roots[roots]).any():
        roots = roots[roots]
    outside = int(roots[0])
    names = np.zeros(count, np.int64)
    for n in np.unique(roots):
        at, chosen = int(n), 0
        while at != outside and into[at] >= 0:
            if chosen == 0 or neck[at] < neck[chosen]:
                chosen = at
            at = int(roots[into[at]])
        # what never meets the outside is shut in: no mould material
        names[n] = chosen if at == outside else 0
    return names[roots]


def _hollow(room: Room, inside: npt.NDArray[np.bool_], number: int, neck_radius_mm: float) -> Hollow:
    """Measure a hollow by the faces between it and the rest of the room."""
    h = room.pitch_mm
    normal, places = np.zeros(3), []
    room_there = room.width_mm > 0.0
    window = tuple(slice(max(w.min() - 1, 0), w.max() + 2) for w in np.nonzero(inside))
    mine, open_there = inside[window], room_there[window]
    for axis in range(3):
        ahead, behind = [slice(None)] * 3, [slice(None)] * 3
        ahead[axis], behind[axis] = slice(1, None), slice(None, -1)
        for one, two, sign in ((ahead, behind, -1.0), (behind, ahead, 1.0)):
            rows = np.argwhere(mine[tuple(one)] & ~mine[tuple(two)] & open_there[tuple(two)])
            normal[axis] += sign * len(rows)
            step = np.zeros(3)
            step[axis] = 0.5
            places.append(rows + step)
    corner = np.array([s.start for s in window])
    faces = np.concatenate(places)
    neck = (faces.mean(axis=0) if len(faces) else np.zeros(3)) + corner
    length = float(np.linalg.norm(normal))
    way = normal / length if length else np.array([0.0, 0.0, 1.0])
    voxels = np.argwhere(mine) + corner
    flat = np.bincount(np.maximum(np.floor((neck - voxels) @ way + 0.5), 0.0).astype(np.int64))
    depths = _depths(mine, open_there & ~mine)[mine]
    bent = np.bincount(depths.astype(np.int64))
    x, y, z = (float(c) for c in room.origin_mm + neck * h)
    widest = float(room.width_mm[window][mine].max())
    return Hollow(
        number, 2.0 * neck_radius_mm, 2.0 * widest, length * h * h, float(min(flat.max(), bent.max())) * h * h,
        (float(depths.max()) + 0.5) * h, len(voxels) * h**3, (x, y, z),
    )  # fmt: skip


def _depths(mine, outside) -> npt.NDArray[np.float32]:
    """How far each voxel is from what lies outside, through the hollow, in voxels."""
    depth = np.where(outside, np.float32(-0.5), np.float32(1e9))
    deepen(np.ascontiguousarray(mine, np.uint8), depth, np.zeros(mine.shape, np.int32))
    return np.minimum(depth, np.float32(1e5))
