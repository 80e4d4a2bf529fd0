"""The solid of a fill: from filled voxels to a smooth closed mesh that reaches a little into the body.

What separates filled voxels from the rubber that stays is the only new surface; it lies halfway between them and is smoothed, and a
fillet takes the crease between it and the body. Inside the body the solid ends wherever it likes: it is united with the body afterwards.
"""

from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.ndimage import distance_transform_edt, gaussian_filter, map_coordinates

from firstcast.fields.contour import Contour, contour_dense
from firstcast.fields.voids import components_of
from firstcast.geometry.mesh import Mesh
from firstcast.kernels.locked import BODY
from firstcast.moulding.fill_rim import RADIUS_VOXELS, Rim, Skin, rim_of
from firstcast.moulding.fill_window import Mask
from firstcast.moulding.held import Held
from firstcast.moulding.labels import labelled

MARGIN = 5
"""Voxels round a fill that its solid is drawn in."""

REACH = 1.75
"""How many voxels the solid reaches into the body: past the voxels' own half, and short of the far side of a wall that they see."""

SMOOTH = 0.8
"""Deviation, in voxels, of the smoothing that takes the stairs off the new surface."""

LOST = 0.25
"""What is filled stays filled: the smoothed surface passes each filled voxel's middle by so many voxels at least, and one that the smoothing
would lose, as in the tip of a wedge, is kept whole."""

FINER = 2
"""Steps of the solid's lattice per voxel."""

LEAST_VOXELS = 0.5
"""A lump of the solid smaller than so many voxels is chance."""


class Solid(NamedTuple):
    """A fill as lumps, and what it takes.

    Attributes
    ----------
    lumps : list of Mesh
        In figure space; points (n, 3) float32; closed, outward, free of self-crossings.
    added_mm3, fillet_mm3, fillet_rise_mm : float
        Rubber that becomes body, how much of it the fillet takes, and how far the fillet lies from the body at most.
    """

    lumps: list[Mesh]
    added_mm3: float
    fillet_mm3: float
    fillet_rise_mm: float


class Round(NamedTuple):
    """The body whose crease with the fill is rounded, and the voxels (nx, ny, nz) bool that the fillet may take."""

    skin: Skin
    may: Mask


def solid_of(
    held: Held, fill: Mask, round_: Round | None = None, *, outward: float = 0.0, draft: float = 0.0
) -> Solid:
    """The solids of a fill, each one lump.

    Parameters
    ----------
    held : Held
    fill : (nx, ny, nz) bool
        Voxels of `held` that are to be body.
    round_ : Round, optional
        Left out, the crease stays.
    outward : float
        Voxels by which the new surface is moved into the rubber: for a hard tool, in which nothing may stay locked.
    draft : float
        Tangent of the angle by which the new surface leans from the pull, wider against the pull; negative: along it.
    """
    if not fill.any():
        return Solid([], 0.0, 0.0, 0.0)
    # what lies so far apart has nothing to do with one another, and a box round all of it may be most of the figure
    near, count = labelled(np.asarray(distance_transform_edt(~fill)) <= MARGIN)
    each = [_solid_of_one(held, fill & (near == n), round_, outward, draft) for n in range(1, count + 1)]
    return Solid(
        [lump for solid in each for lump in solid.lumps],
        sum(solid.added_mm3 for solid in each),
        sum(solid.fillet_mm3 for solid in each),
        max(solid.fillet_rise_mm for solid in each),
    )


def _solid_of_one(held: Held, fill: Mask, round_: Round | None, outward: float, draft: float) -> Solid:
    """The solid of what of a fill lies together."""
    spots = np.argwhere(fill)
    shape = np.array(fill.shape)
    low = np.maximum(spots.min(axis=0) - MARGIN, 0)
    high = np.minimum(spots.max(axis=0) + MARGIN + 1, shape)
    box = tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    filled, states = fill[box], held.states[box]
    front = _front(filled, (states != BODY) & ~filled, outward, draft)
    reach = np.asarray(distance_transform_edt(~filled), np.float32) - np.float32(REACH)
    lattice = _Lattice.round(held, low, high)
    open_ = (states != BODY).astype(np.float32)
    values, rubber = np.empty(lattice.count, np.float32), np.empty(lattice.count, np.float32)
    for i in range(lattice.count[0]):
        at = lattice.in_voxels(lattice.places_mm(lattice.layer(i)))
        parted = map_coordinates(front, at.T, order=1, mode="constant", cval=1.0)
        ended = map_coordinates(reach, at.T, order=1, mode="constant", cval=1.0)
        values[i] = np.maximum(parted, ended).reshape(lattice.count[1:])
        rubber[i] = map_coordinates(open_, at.T, order=1, mode="constant").reshape(lattice.count[1:])
    took, rise = 0.0, 0.0
    if round_ is not None:
        rim = rim_of(states, filled, round_.may[box], outward=outward, smooth=SMOOTH)
        took, rise = _rounded(values, lattice, rim, round_.skin)
    found = contour_dense(values * held.pitch_mm, lattice.first * lattice.pitch_mm, lattice.pitch_mm)
    added = _added_mm3(values, rubber, lattice, None if round_ is None else round_.skin)
    return Solid(_lumps(found, held.pitch_mm), added, took, rise)


@dataclass(frozen=True)
class _Lattice:
    """The lattice of a solid, in the figure's axes: its first place in steps, how many, and the corner of its box in `held`."""

    held: Held
    corner: npt.NDArray[np.int64]
    first: npt.NDArray[np.float64]
    count: tuple[int, int, int]
    pitch_mm: float

    @classmethod
    def round(cls, held: Held, low: npt.NDArray[np.int64], high: npt.NDArray[np.int64]) -> "_Lattice":
        """Round a box of voxels, from low to before high."""
        pitch = held.pitch_mm / FINER
        ends = held.places_mm(np.array(list(product(*zip(low, high, strict=True)))))
        first = np.floor(ends.min(axis=0) / pitch)
        nx, ny, nz = (int(n) + 1 for n in np.ceil(ends.max(axis=0) / pitch) - first)
        return cls(held, low, first, (nx, ny, nz), pitch)

    def layer(self, i: int) -> npt.NDArray[np.int64]:
        """(n, 3): the lattice's places across its first axis."""
        across = np.indices(self.count[1:]).reshape(2, -1).T
        return np.column_stack([np.full(len(across), i), across])

    def places_mm(self, rows: npt.NDArray[np.integer]) -> npt.NDArray[np.float64]:
        """(n, 3): places of the lattice (n, 3) in figure space."""
        return (self.first + rows) * self.pitch_mm

    def in_voxels(self, places_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """(n, 3): places in voxels of the box."""
        return (places_mm @ self.held.frame.T - self.held.origin_mm) / self.held.pitch_mm - self.corner


def _rounded(values: npt.NDArray[np.float32], lattice: _Lattice, rim: Rim, skin: Skin) -> tuple[float, float]:
    """Write the fillet into the solid's values, in voxels; gives the rubber that it takes and how far from the body, in mm."""
    rows = np.argwhere((values > -0.5 / FINER) & (values < RADIUS_VOXELS + 1.0))
    at, places = tuple(rows.T), lattice.places_mm(rows)
    value, outside = rim.field(lattice.in_voxels(places), places, skin, lattice.held.pitch_mm)
    plain = values[at].copy()
    values[at] = np.minimum(plain, value)
    new = (value < 0.0) & (plain > 0.0) & (outside > 0.0)
    if not new.any():
        return 0.0, 0.0
    took = (_share_within(values[at]) - _share_within(plain)) * _share_within(-outside)
    return float(took.sum()) * lattice.pitch_mm**3, float(outside[new].max()) * lattice.held.pitch_mm


def _added_mm3(values, rubber, lattice: _Lattice, skin: Skin | None) -> float:
    """Rubber within the solid; where the body's voxels end, told by its surface."""
    share = _share_within(values)
    rows = np.argwhere((share > 0.0) & (rubber > 0.0) & (rubber < 1.0))
    if skin is not None and len(rows):
        voxel = lattice.held.pitch_mm
        outside = skin.outside_mm(lattice.places_mm(rows), voxel) / voxel
        # farther than a voxel from the surface the voxels know
        known = np.isfinite(outside)
        rubber[tuple(rows[known].T)] = _share_within(-outside[known])
    return float((share * rubber).sum(dtype=np.float64)) * lattice.pitch_mm**3


def _share_within(value: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    """How much of a cell of the lattice lies within, by the value in its middle, in voxels."""
    return np.clip(0.5 - FINER * value, 0.0, 1.0)


def _front(filled: Mask, stays: Mask, outward: float, draft: float) -> npt.NDArray[np.float32]:
    """Half the way to what is filled less half the way to rubber that stays: below nought nearer to the fill."""
    to_fill, nearest = distance_transform_edt(~filled, return_indices=True)  # type: ignore[misc]
    to_rubber = distance_transform_edt(~stays) if stays.any() else np.full(filled.shape, 1e3)
    value = 0.5 * (np.asarray(to_fill) - np.asarray(to_rubber)) - outward
    if draft:
        i, j, _ = np.asarray(nearest)
        levels = np.arange(filled.shape[2])
        if draft > 0.0:
            end = np.where(filled, levels, -1).max(axis=2)
            behind = end[i, j] - levels
        else:
            end = np.where(filled, levels, 1 << 30).min(axis=2)
            behind = levels - end[i, j]
        value = value - abs(draft) * np.clip(behind, 0, None)
    smooth = np.asarray(gaussian_filter(value.astype(np.float32), SMOOTH), np.float32)
    held = np.where(smooth > 0.0, np.float32(-1.0), np.minimum(smooth, np.float32(-LOST)))
    return np.where(filled, held, smooth)


def _lumps(found: Contour, pitch_mm: float) -> list[Mesh]:
    """Each outward lump of a contour with its hollows left out, the largest first."""
    parts = components_of(found)
    lumps = []
    for number in np.argsort(-parts.volume_mm3, kind="stable"):
        if parts.volume_mm3[number] < LEAST_VOXELS * pitch_mm**3:
            continue
        mine = parts.label_of_point[found.triangles[:, 0]] == number
        used = np.unique(found.triangles[mine])
        renamed = np.full(len(found.points), -1, np.int32)
        renamed[used] = np.arange(len(used), dtype=np.int32)
        lumps.append(Mesh(found.points[used], np.ascontiguousarray(renamed[found.triangles[mine]])))
    return lumps
