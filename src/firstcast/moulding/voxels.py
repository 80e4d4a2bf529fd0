"""A body and the mould material round it on voxels, read line by line along the third axis of a frame."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.fields.blocks import run_blocks
from firstcast.fields.far import far_lattice
from firstcast.fields.memory import check_fits
from firstcast.fields.union import Shells, read_lines
from firstcast.geometry.mesh import Mesh
from firstcast.kernels.locked import mark_lines

MOST_OF_WINDOW = 40_000_000
"""Voxels of the lines through a window at most: large triangles reach far beyond it."""


class Voxels(NamedTuple):
    """What each voxel is.

    Attributes
    ----------
    origin_mm : (3,) float64
        Of the first voxel, in the frame.
    states : (nx, ny, nz) uint8
        As `firstcast.kernels.locked` names them.
    locked_pitches : (nx,) float64
        Length of the lines that is locked, in pitches, summed over each slice across the first axis.
    """

    origin_mm: npt.NDArray[np.float64]
    states: npt.NDArray[np.uint8]
    locked_pitches: npt.NDArray[np.float64]


def mark_voxels(
    mesh: Mesh, frame: npt.NDArray[np.float64], pitch_mm: float, margin_mm: float, *, bytes_per_voxel: int
) -> Voxels:
    """The voxels of a closed outward mesh with a margin round it.

    Parameters
    ----------
    mesh : Mesh
        Millimetres in figure space.
    frame : (3, 3) float64
        From figure space to the frame: place = frame @ figure's place.
    bytes_per_voxel : int
        What the caller will hold of each.

    Raises
    ------
    InputError
        The mesh is empty or isn't closed.
    SizeError
        The voxels would not fit this machine.
    """
    if not len(mesh.triangles):
        raise InputError("there are no triangles", where="mould", mend="Leave empty meshes out.")
    points = np.ascontiguousarray(np.asarray(mesh.points, np.float64) @ frame.T)
    lattice = far_lattice(np.array([points.min(axis=0), points.max(axis=0)]), pitch_mm, margin_mm)
    shape = tuple(int(n) for n in lattice.size)
    check_fits(
        bytes_per_voxel * float(np.prod(lattice.size.astype(float))),
        where="mould",
        mend="Take a coarser [mould] pitch_mm.",
    )
    part = np.zeros(len(mesh.triangles), np.uint16)
    lines = read_lines(Shells(points, np.ascontiguousarray(mesh.triangles, np.int32), part), lattice, 2)
    if lines.leaking:
        raise InputError(
            f"the body is not closed: {lines.leaking} lines along the pull enter it and don't leave it",
            where="mould",
            mend="Fuse it first.",
        )
    states, locked = np.empty(shape, np.uint8), np.empty(shape[0])
    run_blocks(
        mark_lines, shape[0], shape[1], lines.starts, lines.kept, lines.positions, lines.hits, states, locked,
        block=8,
    )  # fmt: skip
    return Voxels(lattice.origin_mm, states, locked)


class Marked(NamedTuple):
    """Voxels of a part of a body: of the first one the place in the frame (3,) float64, and states (nx, ny, nz) uint8."""

    origin_mm: npt.NDArray[np.float64]
    states: npt.NDArray[np.uint8]


def mark_window(
    mesh: Mesh,
    points_mm: npt.NDArray[np.float64],
    pitch_mm: float,
    window_mm: tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]],
) -> Marked | None:
    """The voxels between two corners; None where `MOST_OF_WINDOW` would not do.

    Parameters
    ----------
    mesh : Mesh
        Closed and outward.
    points_mm : (n, 3) float64
        Its points in the frame whose third axis is the pull.
    window_mm : two of (3,) float64
        The lowest and the highest corner, in the frame.

    Notes
    -----
    Every line that passes the window is read with all triangles that it can cross, so its voxels are those of the whole. Of the triangles
    that reach beyond it only what lies in the window is used.
    """
    low, high = window_mm
    across = points_mm[mesh.triangles][..., :2]
    some = ((across.max(axis=1) >= low[:2]) & (across.min(axis=1) <= high[:2])).all(axis=1)
    if not some.any():
        return None
    used, triangles = np.unique(mesh.triangles[some], return_inverse=True)
    points = np.ascontiguousarray(points_mm[used])
    lattice = far_lattice(np.array([points.min(axis=0), points.max(axis=0)]), pitch_mm, pitch_mm)
    shape = tuple(int(n) for n in lattice.size)
    if float(np.prod(lattice.size.astype(float))) > MOST_OF_WINDOW:
        return None
    part = np.zeros(int(some.sum()), np.uint16)
    lines = read_lines(Shells(points, triangles.reshape(-1, 3).astype(np.int32), part), lattice, 2)
    states, locked = np.empty(shape, np.uint8), np.empty(shape[0])
    run_blocks(
        mark_lines, shape[0], shape[1], lines.starts, lines.kept, lines.positions, lines.hits, states, locked,
        block=8,
    )  # fmt: skip
    first = np.maximum(np.ceil((low - lattice.origin_mm) / pitch_mm), 0.0).astype(np.int64)
    stop = np.minimum(np.floor((high - lattice.origin_mm) / pitch_mm) + 1, lattice.size).astype(np.int64)
    i, j, k = (slice(int(a), int(b)) for a, b in zip(first, stop, strict=True))
    return Marked(lattice.origin_mm + first * pitch_mm, np.ascontiguousarray(states[i, j, k]))
