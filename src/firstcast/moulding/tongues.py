"""Tongues: thin, deep projections of mould material into the body, whichever way the mould opens.

What a ball can't reach from outside is thinner than the ball; how deep that goes against the ball's diameter is how slender a tongue
of rubber stands there. Balls of several sizes tell tongues of several thicknesses.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import distance_transform_edt, find_objects

from firstcast.geometry.threads import each_beside
from firstcast.kernels.locked import deepen
from firstcast.moulding.hollows import Room
from firstcast.moulding.labels import labelled

Mask = npt.NDArray[np.bool_]

LEAST_BASE_PITCHES = 2.0
"""Thinner tongues are not seen by voxels: their thickness would be a guess."""

GROWS = 1.5
"""Each ball is so much larger than the one before."""

SLACK_PITCHES = 0.87
"""A voxel's half diagonal: what a ball reaches but for that is reached."""


@dataclass(frozen=True)
class Tongue:
    """A thin deep projection of mould material.

    Attributes
    ----------
    base_mm, depth_mm : float
        Thickness at its base, and how deep it reaches from there.
    volume_mm3 : float
    voxels : (n, 3) int64
        In the room's grid.
    place_mm : (float, float, float)
        Of its base.
    """

    base_mm: float
    depth_mm: float
    volume_mm3: float
    voxels: npt.NDArray[np.int64]
    place_mm: tuple[float, float, float]

    @property
    def ratio(self) -> float:
        """Depth over base."""
        return self.depth_mm / self.base_mm


def find_tongues(
    room: Room,
    *,
    least_ratio: float,
    most_base_mm: float,
    least_mm3: float,
    outside: Sequence[Mask] | None = None,
) -> list[Tongue]:
    """Tongues at least so slender, the most slender first; of those that overlap only the most slender.

    `outside`, for a room cut out of a larger one: what balls reach there, as `reached_by` gives it, cut out alike.
    """
    bases = _bases_mm(room, most_base_mm)
    before = [None] * len(bases) if outside is None else outside
    # distances of a whole grid take nearly all of the time, and let other threads run
    each = each_beside(
        lambda one: _thinner_than(room, one[0], least_ratio, least_mm3, one[1]),
        list(zip(bases, before, strict=True)),
    )
    found = [tongue for tongues in each for tongue in tongues]
    taken = np.zeros(room.width_mm.shape, np.bool_)
    kept = []
    for tongue in sorted(found, key=lambda t: (-t.ratio, t.base_mm)):
        at = tuple(tongue.voxels.T)
        if not taken[at].any():
            kept.append(tongue)
            taken[at] = True
    return kept


def reached_by(room: Room, most_base_mm: float) -> list[Mask]:
    """For each ball that tongues are told by where its middle gets to from outside, (nx, ny, nz) bool."""
    return [_reached(room, base) for base in _bases_mm(room, most_base_mm)]


def _bases_mm(room: Room, most_mm: float) -> list[float]:
    bases = [LEAST_BASE_PITCHES * room.pitch_mm]
    while bases[-1] * GROWS <= most_mm:
        bases.append(bases[-1] * GROWS)
    return bases


def _reached(room: Room, base_mm: float) -> Mask:
    passes, _ = labelled(room.width_mm >= base_mm / 2.0)
    # the grid's first voxel is outside, and room.width_mm is wide there
    return passes == passes[0, 0, 0]


def _reached_from(room: Room, base_mm: float, outside: Mask) -> Mask:
    """The same in a room cut out of a larger one: from where the ball came in through the cut."""
    passes, count = labelled(room.width_mm >= base_mm / 2.0)
    comes = np.zeros(count + 1, np.bool_)
    for axis in range(3):
        for end in (0, -1):
            side, before = np.moveaxis(passes, axis, 0)[end], np.moveaxis(outside, axis, 0)[end]
            comes[side[before]] = True
    comes[0] = False
    return comes[passes]


def _thinner_than(
    room: Room, base_mm: float, least_ratio: float, least_mm3: float, outside: Mask | None
) -> list[Tongue]:
    h = room.pitch_mm
    seeds = _reached(room, base_mm) if outside is None else _reached_from(room, base_mm, outside)
    if not seeds.any():
        return []
    away = np.asarray(distance_transform_edt(~seeds), np.float32)
    reached = away <= base_mm / (2.0 * h) + SLACK_PITCHES
    thin = (room.width_mm > 0.0) & ~reached
    rows, count = labelled(thin)
    sizes = np.bincount(rows.ravel(), minlength=count + 1)
    windows = find_objects(rows)
    tongues = []
    for n in range(1, count + 1):
        if sizes[n] * h**3 >= least_mm3:
            tongue = _tongue(room, rows, reached, n, windows[n - 1], base_mm)
            if tongue is not None and tongue.ratio >= least_ratio:
                tongues.append(tongue)
    return tongues


def _tongue(room: Room, rows, reached, number: int, window, base_mm: float) -> Tongue | None:
    wider = tuple(slice(max(s.start - 1, 0), s.stop + 1) for s in window)
    mask = np.ascontiguousarray(rows[wider] == number)
    begins = reached[wider] & (room.width_mm[wider] > 0.0)
    depth = np.where(begins, np.float32(-0.5), np.float32(1e9))
    owner = np.zeros(mask.shape, np.int32)
    deepen(mask.astype(np.uint8), depth, owner)
    depth = np.where(mask, depth, np.float32(-1.0))
    if depth.max() > 1e8:
        return None
    base = np.argwhere(mask & (depth < 1.0))
    if not len(base):
        return None
    corner = np.array([s.start for s in wider])
    h = room.pitch_mm
    deepest = np.unravel_index(int(depth.argmax()), depth.shape)
    nearest = base[int(((base - np.array(deepest)) ** 2).sum(axis=1).argmin())]
    x, y, z = (float(c) for c in room.origin_mm + (nearest + corner) * h)
    reach = float(depth.max()) + 0.5
    thick_mm = max(2.0 * float(room.width_mm[wider][mask].max()), LEAST_BASE_PITCHES * h)
    return Tongue(
        min(base_mm, thick_mm),
        reach * h,
        float(mask.sum()) * h**3,
        (np.argwhere(mask) + corner).astype(np.int64),
        (x, y, z),
    )
