"""Sections through a mould along its pull: which half is where, as small pictures."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.kernels.parting import LOWER, NONE, UPPER
from firstcast.moulding.halves import Halves
from firstcast.moulding.seam import zero_curves
from firstcast.moulding.skin import evened, sampled

ROUNDS = 4
"""Rounds of means over the labels, so that the line between the halves is even."""

FINER = 2
"""Places of a section to a voxel."""


@dataclass(frozen=True)
class Section:
    """A plane through the mould that holds the pull.

    Attributes
    ----------
    corner_mm : (3,) float64
        In figure space: the place of `upper[0, 0]`.
    across, along : (3,) float64
        Unit vectors from column to column and from row to row; along is the pull.
    step_mm : float
        Between neighbouring places.
    upper : (rows, columns) float32
        Above 0 in the upper half, below it in the lower; NaN in the body.
    outlines : tuple of (n, 2) float64
        The body's own section as closed curves: mm across and along from `corner_mm`.
    """

    corner_mm: npt.NDArray[np.float64]
    across: npt.NDArray[np.float64]
    along: npt.NDArray[np.float64]
    step_mm: float
    upper: npt.NDArray[np.float32]
    outlines: tuple[npt.NDArray[np.float64], ...]


def sections_of(halves: Halves, mesh: Mesh, through: npt.NDArray[np.float64] | None) -> tuple[Section, ...]:
    """A level section and an upright one, or two across each other where the pull is upright, through a place.

    `through` (3,) is in figure space; None takes the body's middle of mass.
    """
    mould = (halves.labels != NONE).astype(np.uint8)
    signed = (halves.labels == UPPER).astype(np.float32) - (halves.labels == LOWER).astype(np.float32)
    field = evened([signed], mould, ROUNDS)
    place = measure_solid(mesh).centroid if through is None else through
    pull = halves.frame[2]
    level = np.cross([0.0, 0.0, 1.0] if abs(pull[2]) < 0.9 else [0.0, 1.0, 0.0], pull)
    level /= np.linalg.norm(level)
    return tuple(
        _section(halves, mesh, field, mould, place, across) for across in (level, np.cross(pull, level))
    )


def _section(halves: Halves, mesh: Mesh, field, mould, place, across) -> Section:
    pull, step = halves.frame[2], halves.pitch_mm / FINER
    points = np.asarray(mesh.points, np.float64)
    margin = halves.states.shape[2] * halves.pitch_mm - np.ptp(points @ pull)
    sides, ends = points @ across, points @ pull
    low = np.array([sides.min(), ends.min()]) - 0.4 * margin
    count = np.ceil((np.array([sides.max(), ends.max()]) + 0.4 * margin - low) / step).astype(int)
    normal = np.cross(across, pull)
    corner = low[0] * across + low[1] * pull + (place @ normal) * normal
    columns, rows = np.meshgrid(np.arange(count[0]) * step, np.arange(count[1]) * step)
    places = corner + columns.ravel()[:, None] * across + rows.ravel()[:, None] * pull
    spots = (places @ halves.frame.T - halves.origin_mm) / halves.pitch_mm
    # beyond the block the parting goes on as it comes
    spots = np.clip(spots, 0.0, np.array(halves.states.shape) - 1.0)
    upper = sampled(field, mould, spots)[:, 0].reshape(columns.shape)
    curves, _ = zero_curves(mesh, points @ normal - place @ normal)
    outlines = tuple(np.column_stack([(c - corner) @ across, (c - corner) @ pull]) for c in curves)
    return Section(corner, across, pull, step, upper, outlines)
