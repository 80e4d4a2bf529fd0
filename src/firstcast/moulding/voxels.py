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
