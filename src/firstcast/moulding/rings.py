"""Rings of rubber: what lies right round the body must pass, and where it sits; narrow necks by a finer look.

A neck of one or two voxels is hardly known: it may be twice as thick, or be none at all and the ring open there. So round such a ring the
body is read once more, in voxels a third as wide.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation
from scipy.spatial import ConvexHull, QhullError

from firstcast.geometry.mesh import Mesh
from firstcast.kernels.locked import BODY, LOCKED
from firstcast.moulding.held import Held, Region
from firstcast.moulding.labels import EVERY_WAY, labelled
from firstcast.moulding.voxels import mark_window

FILLED = 0.5
"""So much of a ring's hole is body halfway up: else it lies round nothing."""

SURE_VOXELS = 2.5
"""A neck so wide is known to half of itself: no finer look is taken."""

FINER = 3
"""Voxels of the finer look per voxel."""

ROUND_VOXELS = 4
"""So much is looked at round a ring."""

Ring = tuple[float, float]
"""Diameters, in mm, of what a ring must pass and of where it sits."""

Look = Callable[[Region], Ring | None]


def ring_of(held: Held, region: Region) -> Ring | None:
    """The ring that a region is, if it lies right round the body.

    Seen along the pull it then has a hole, and halfway up there is body in it. Both are measured by the
    perimeter of their convex hull over π: rubber stretched round something spans what is hollow.
    """
    x, y, z = (int(c) for c in region.corner)
    a, b, c = region.mask.shape
    return _ring(held.states[x : x + a, y : y + b, z : z + c], region.mask, held.pitch_mm)


def _ring(states: npt.NDArray[np.uint8], mask: npt.NDArray[np.bool_], pitch_mm: float) -> Ring | None:
    """The ring of a mask with a voxel of room all round, in voxels of the same box."""
    seen = mask.any(axis=2)
    rows, count = labelled(~seen)
    # what lies outside is one and holds the corner
    sizes = np.bincount(rows[~seen], minlength=count + 1)
    sizes[int(rows[0, 0])] = 0
    hole = rows == int(sizes.argmax()) if sizes.max() else None
    if hole is None:
        return None
    level = int(np.rint(np.argwhere(mask)[:, 2].mean()))
    there = states[:, :, level] == BODY
    if there[hole].mean() < FILLED:
        return None
    neck, bulb = _girth(hole & there), _girth(seen | hole)
    return (bulb * pitch_mm, neck * pitch_mm) if bulb > neck > 0.0 else None


def _girth(cells: npt.NDArray[np.bool_]) -> float:
    """Perimeter over π of the hull of some cells, each taken for a disc of its own size."""
    spots = np.argwhere(cells)
    try:
        return float(ConvexHull(spots).area) / np.pi + 1.0  # in the plane `area` is the perimeter
    except QhullError:  # too few, or in one row
        return 2.0 * float(np.linalg.norm(spots.max(axis=0) - spots.min(axis=0))) / np.pi + 1.0


@dataclass(frozen=True)
class FinerLook:
    """Reads rings of a mould again, in finer voxels of the body's own surface."""

    mesh: Mesh
    held: Held

    def __call__(self, region: Region) -> Ring | None:
        """The ring as it is by the finer look, None if it isn't closed; one whose neck is known well, or too large a one, as it was."""
        held, found = self.held, ring_of(self.held, region)
        if found is None or found[1] >= SURE_VOXELS * held.pitch_mm:
            return found
        low = held.origin_mm + (region.voxels.min(axis=0) - ROUND_VOXELS) * held.pitch_mm
        high = held.origin_mm + (region.voxels.max(axis=0) + ROUND_VOXELS) * held.pitch_mm
        finer = mark_window(self.mesh, self._points, held.pitch_mm / FINER, (low, high))
        if finer is None:
            return found
        mask = self._again(region, finer.origin_mm, finer.states)
        return _ring(finer.states, mask, held.pitch_mm / FINER) if mask.any() else None

    @cached_property
    def _points(self) -> npt.NDArray[np.float64]:
        return np.asarray(self.mesh.points, np.float64) @ self.held.frame.T

    def _again(self, region: Region, origin_mm, states: npt.NDArray[np.uint8]) -> npt.NDArray[np.bool_]:
        """What of the finer voxels is the region: the largest that hangs together of what is locked within a voxel of it."""
        held = self.held
        near = np.zeros(held.states.shape, np.bool_)
        near[tuple(region.voxels.T)] = True
        box = tuple(
            slice(max(int(c) - 1, 0), int(c) + n + 1)
            for c, n in zip(region.corner, region.mask.shape, strict=True)
        )
        near[box] = binary_dilation(near[box], EVERY_WAY)
        at = [
            np.clip(
                np.rint((origin_mm[axis] + np.arange(n) * held.pitch_mm / FINER - held.origin_mm[axis]) / held.pitch_mm),
                0, held.states.shape[axis] - 1,
            ).astype(np.int64)
            for axis, n in enumerate(states.shape)
        ]  # fmt: skip
        rows, count = labelled((states == LOCKED) & near[np.ix_(*at)])
        if not count:
            return np.zeros(states.shape, np.bool_)
        return rows == int(np.bincount(rows.ravel())[1:].argmax()) + 1
