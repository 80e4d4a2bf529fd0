"""Places of a union that are thinner than the lattice can carry, read off its columns."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.fields.blocks import run_blocks
from firstcast.fields.union import Columns, Lattice, Shells
from firstcast.kernels.thin import measure_thickness
from firstcast.tolerances import TOLERANCES

LINE_BLOCK = 1 << 15

FACING = 0.5
"""Faces whose normals are at least 120 degrees apart bound a thickness; a blunter wedge is an edge."""

PLACE_GRID_MM = 1.0
"""Crossings in neighbouring cells of this grid are one place."""

LEAST_CELLS = 4.0
"""A place no larger than this many lattice cells is a line that grazed an edge."""


class ThinPlaces(NamedTuple):
    """Places thinner than asked, the thinnest first: place_mm (n, 3), thickness_mm (n,), part (n,), area_mm2 (n,).

    The area is the sum over the lattice lines that met the place, of all three directions: each stands for its
    cell times the square of its slope towards the face, and the three squares add up to one.
    """

    place_mm: npt.NDArray[np.float64]
    thickness_mm: npt.NDArray[np.float64]
    part: npt.NDArray[np.int64]
    area_mm2: npt.NDArray[np.float64]


def thin_places(
    shells: Shells, columns: Columns, lattice: Lattice, most_mm: float | None = None
) -> ThinPlaces:
    """Places of the union thinner than `most_mm` (by default `TOLERANCES.thin_pitches` pitches).

    Every lattice line that enters and leaves the body within that length between faces that look away
    from each other counts.
    """
    most = TOLERANCES.thin_pitches * float(lattice.pitch_mm.min()) if most_mm is None else most_mm
    thickness = np.full(len(columns.positions), np.inf, np.float32)
    facing = np.empty(len(columns.positions), np.float32)
    ends = np.append(columns.bases, len(columns.kept))
    found = []
    for axis in range(3):
        across = int(ends[axis + 1] - ends[axis])
        run_blocks(
            measure_thickness, across, axis, columns.bases[axis], lattice.pitch_mm[axis], most, FACING,
            *columns[2:6], shells.points, shells.triangles, thickness, facing, block=LINE_BLOCK,
        )  # fmt: skip
        u, v = (axis + 1) % 3, (axis + 2) % 3
        rows = np.flatnonzero(
            thickness[columns.starts[ends[axis]] : columns.starts[ends[axis + 1]]] < most
        ) + int(columns.starts[ends[axis]])
        line = np.searchsorted(columns.starts, rows, side="right") - 1 - columns.bases[axis]
        at = np.empty((len(rows), 3))
        at[:, u], at[:, v] = line // columns.size[v], line % columns.size[v]
        at[:, axis] = columns.positions[rows]
        cell_mm2 = lattice.pitch_mm[u] * lattice.pitch_mm[v]
        found.append((at, thickness[rows], shells.part[columns.hits[rows]], cell_mm2 * facing[rows]))
    at, thick, part, area = (np.concatenate(column) for column in zip(*found, strict=True))
    gathered = _gathered(lattice.origin_mm + at * lattice.pitch_mm, thick, part, area)
    large = gathered.area_mm2 > LEAST_CELLS * float(np.sort(lattice.pitch_mm)[:2].prod())
    return ThinPlaces(
        gathered.place_mm[large], gathered.thickness_mm[large], gathered.part[large], gathered.area_mm2[large]
    )


def _gathered(place_mm, thickness_mm, part, area_mm2) -> ThinPlaces:
    """One row per place and part: the thinnest spot and the summed area of what hangs together."""
    from scipy import ndimage  # slow to import: a run that makes nothing again does without it

    rows = []
    for number in np.unique(part):
        mine = np.flatnonzero(part == number)
        cell = np.floor(place_mm[mine] / PLACE_GRID_MM).astype(int)
        cell -= cell.min(axis=0)
        grid = np.zeros(cell.max(axis=0) + 1, bool)
        grid[tuple(cell.T)] = True
        labels = np.empty(grid.shape, np.int32)
        ndimage.label(grid, structure=np.ones((3, 3, 3)), output=labels)
        label = labels[tuple(cell.T)]
        for n in range(1, int(labels.max()) + 1):
            here = mine[label == n]
            thinnest = here[np.argmin(thickness_mm[here])]
            rows.append(
                (
                    *place_mm[thinnest],
                    float(thickness_mm[thinnest]),
                    int(number),
                    float(area_mm2[here].sum()),
                )
            )
    rows.sort(key=lambda row: row[3:])
    table = np.array(rows, dtype=np.float64).reshape(-1, 6)
    return ThinPlaces(table[:, :3], table[:, 3], table[:, 4].astype(np.int64), table[:, 5])
