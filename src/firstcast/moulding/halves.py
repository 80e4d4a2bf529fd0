"""Which half every voxel of the mould belongs to: the least cut between what leaves along the pull and what leaves against it.

Mould material once above stays above until the body comes between. What a half can't take along is locked, and costs its volume;
the surface between the halves costs its area, the seam on the body its length, the more where it shows; surface that looks
back into the half that it is not in costs its area across the pull. Voxels are cut coarse first, then finer near the cut.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.ndimage import label

from firstcast.errors import InputError
from firstcast.fields.blocks import run_blocks
from firstcast.geometry.mesh import Mesh
from firstcast.kernels.locked import BODY, DOWN, LOCKED, UP
from firstcast.kernels.mincut import cut
from firstcast.kernels.parting import LOWER, NONE, OPEN, UPPER, link, narrow, settle
from firstcast.moulding.pull import frame_of
from firstcast.moulding.skin import Skin, voxels_outside
from firstcast.moulding.voxels import mark_voxels

FACE, EDGE = 0.1, 0.225
"""What a pair of voxels in different halves adds to the area, in faces, if they share a face or an edge: with these a plane is
told at 0.95 to 1.15 of its area, whichever way it lies."""

SEAM_FACE, SEAM_EDGE = 0.414, 0.293
"""The same for the length of a seam: right along the voxels and across their corners (2 - 1/√2 and so on)."""

LOCKED_PER_MM3 = 20.0
"""What locked material costs, in mm² of parting surface: a voxel of 0.2 mm as much as four of its faces. Chosen, no source."""

WRONG_PER_MM2 = 4.0
"""What surface costs that looks into the other half, across the pull. Chosen, no source."""

SEAM_PER_MM, DETAIL_PER_MM, SEEN_PER_MM, PRECIOUS_PER_MM = 0.5, 3.0, 3.0, 60.0
"""What a seam costs by its length: anywhere, more in relief, more where it is seen, and in a precious zone. Chosen, no source."""

UNIT = 1024
"""Costs are whole numbers, so that the cut is exact: so many to a voxel's face."""

SLACK_VOXELS = 2
"""So deep under the surface material that can leave one way only may be given to the other half: less is the voxels' roughness."""

BAND_VOXELS = 1
"""How far beyond the coarse cut finer voxels are undecided, in coarse voxels."""

COARSEST_VOXELS = 100_000
"""Voxels are halved in size until there are no more than this."""

BYTES_PER_VOXEL = 30
"""State, known and labels, numbers of voxels, fields along the body; the network is of the undecided ones only."""


@dataclass(frozen=True)
class Halves:
    """The mould's voxels in a frame whose third axis is the pull, each in its half.

    Attributes
    ----------
    frame : (3, 3) float64
        From figure space: place = frame @ figure's place.
    origin_mm : (3,) float64
        Of the first voxel, in the frame.
    pitch_mm : float
    states : (nx, ny, nz) uint8
        `firstcast.kernels.locked`.
    labels : (nx, ny, nz) uint8
        `firstcast.kernels.parting`: UPPER leaves along the pull, LOWER against it, NONE is the body or shut in on all sides.
    cost : float
        Of the cut among the undecided, in mm² of parting surface.
    undecided : int
        Voxels of the last cut.
    """

    frame: npt.NDArray[np.float64]
    origin_mm: npt.NDArray[np.float64]
    pitch_mm: float
    states: npt.NDArray[np.uint8]
    labels: npt.NDArray[np.uint8]
    cost: float
    undecided: int

    def places_mm(self, voxels: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """(n, 3) float64: voxels (n, 3) of the grid as places of the figure."""
        return (self.origin_mm + np.asarray(voxels, np.float64) * self.pitch_mm) @ self.frame

    @property
    def cell_mm3(self) -> float:
        """Volume of a voxel."""
        return self.pitch_mm**3

    @property
    def locked(self) -> npt.NDArray[np.bool_]:
        """(nx, ny, nz) bool: material that the half it belongs to can't take along."""
        upper, lower = self.labels == UPPER, self.labels == LOWER
        return (upper & ((self.states & UP) == 0)) | (lower & ((self.states & DOWN) == 0))


def halve(mesh: Mesh, skin: Skin, pull: npt.ArrayLike, pitch_mm: float, *, margin_mm: float = 3.0) -> Halves:
    """Cut the mould of a closed outward mesh in two along a pull.

    Parameters
    ----------
    mesh : Mesh
        Millimetres in figure space.
    skin : Skin
        The same surface, read (`read_skin`).
    pull : (3,) float64
        The upper half leaves along it.
    pitch_mm : float
        Of the finest voxels.
    margin_mm : float
        How far the block reaches beyond the body; farther out the parting goes on as it comes.

    Raises
    ------
    InputError
        The mesh is empty or isn't closed, or the pull has no direction.
    SizeError
        The voxels would not fit this machine.
    """
    way = np.asarray(pull, np.float64)
    if way.shape != (3,) or not np.isfinite(way).all() or not np.linalg.norm(way) > 0.0:
        raise InputError(f"pull {pull}", where="parting", mend="Give three numbers that are not all zero.")
    frame = frame_of(way)
    box = np.ptp(np.asarray(mesh.points, np.float64) @ frame.T, axis=0) + 2.0 * margin_mm
    levels = 0
    while np.prod(box / (pitch_mm * 2.0**levels)) > COARSEST_VOXELS:
        levels += 1
    halves = None
    for level in range(levels, -1, -1):
        halves = _cut_level(mesh, skin, frame, pitch_mm * 2.0**level, margin_mm, halves)
    assert halves is not None
    return halves


def _cut_level(mesh: Mesh, skin: Skin, frame, pitch: float, margin: float, coarse: Halves | None) -> Halves:
    voxels = mark_voxels(mesh, frame, pitch, margin, bytes_per_voxel=BYTES_PER_VOXEL)
    states = voxels.states
    known = known_before(states, voxels.origin_mm, pitch, coarse)
    places = np.argwhere(known == OPEN).astype(np.int32)
    contacts = contacts_of(skin, frame, voxels.origin_mm, pitch, states)
    labels, cost = cut_halves(states, known, places, contacts, LOCKED_PER_MM3 * pitch)
    return Halves(frame, voxels.origin_mm, pitch, states, labels, cost * pitch * pitch, len(places))


def known_before(states, origin_mm, pitch: float, coarse: Halves | None) -> npt.NDArray[np.uint8]:
    """(nx, ny, nz) uint8: what is settled before the cut: by the pull, and by coarser halves where there are any."""
    known = np.full(states.shape, OPEN, np.uint8)
    known[_shut_in(states)] = NONE
    levels = np.flatnonzero((states == BODY).any(axis=(0, 1)))
    if coarse is None:
        band, first, scale = np.empty((0, 0, 0), np.uint8), np.zeros(3), 1.0
    else:
        band = np.empty_like(coarse.labels)
        run_blocks(narrow, len(band), coarse.labels, BAND_VOXELS, band, block=8)
        first, scale = (origin_mm - coarse.origin_mm) / coarse.pitch_mm, pitch / coarse.pitch_mm
    run_blocks(
        settle, states.shape[0], states, band, np.ascontiguousarray(first), float(scale), 0.0,
        int(levels[0]), int(levels[-1]), SLACK_VOXELS, known,
        block=8,
    )  # fmt: skip
    return known


def _shut_in(states) -> npt.NDArray[np.bool_]:
    """What of the locked material has no way out at all: no mould material."""
    if not (states == LOCKED).any():
        return np.zeros(states.shape, np.bool_)
    rows = np.empty(states.shape, np.int32)
    label(states != BODY, output=rows)
    return (rows > 0) & (rows != rows[0, 0, 0])


class Contacts(NamedTuple):
    """The voxels that touch the body, and what they cost; as `firstcast.kernels.parting.link` takes them.

    row : (nx, ny, nz) int32
    wants : (c, 2) float64, in faces over UNIT
    seam : (c, 2) float64, in faces: that an edge may hide, and that it may not
    facing : (c, 3) float64
    """

    row: npt.NDArray[np.int32]
    wants: npt.NDArray[np.float64]
    seam: npt.NDArray[np.float64]
    facing: npt.NDArray[np.float64]


def contacts_of(skin: Skin, frame, origin_mm, pitch: float, states) -> Contacts:
    """What it costs to give each voxel that touches the body to a half, and to lead the seam there."""
    at = voxels_outside(skin.middles @ frame.T, skin.normals @ frame.T, origin_mm, pitch, states)
    there = at >= 0
    cells, row = np.unique(at[there], return_inverse=True)
    area = skin.area_mm2[there] / pitch**2
    normals = (skin.normals @ frame.T)[there] * area[:, None]
    along = normals[:, 2]
    by_length = (SEAM_PER_MM + DETAIL_PER_MM * skin.detail + SEEN_PER_MM * skin.seen)[there]

    def summed(weights):
        return np.bincount(row, weights=weights, minlength=len(cells))

    share = summed(area)
    each = np.column_stack([summed(by_length * area), PRECIOUS_PER_MM * summed(skin.precious[there] * area)])
    looks = np.column_stack([summed(np.maximum(along, 0.0)), summed(np.maximum(-along, 0.0))])
    wants = np.asarray(WRONG_PER_MM2 * UNIT * looks, np.float64)
    # mm² per mm of seam, over a side of a voxel, in faces; a voxel that the body only grazes counts for less
    seam = each / np.maximum(share, 1.0)[:, None] / pitch
    contact = np.full(states.size, -1, np.int32)
    contact[cells] = np.arange(len(cells), dtype=np.int32)
    facing = np.column_stack([summed(normals[:, k]) for k in range(3)])
    facing /= np.maximum(np.linalg.norm(facing, axis=1), 1e-12)[:, None]
    return Contacts(contact.reshape(states.shape), wants, seam, np.ascontiguousarray(facing))


def cut_halves(states, known, places, contacts: Contacts, locked: float):
    """Label every voxel by the least cut between the undecided ones.

    Parameters
    ----------
    states, known : (nx, ny, nz) uint8
        `firstcast.kernels.locked`; OPEN, UPPER, LOWER or NONE.
    places : (n, 3) int32
        The undecided voxels.
    contacts : Contacts
    locked : float
        What a locked voxel costs, in faces.

    Returns
    -------
    (labels (nx, ny, nz) uint8, cost in faces)
    """
    network, ends, paid = linked(states, known, places, contacts, locked)
    near = np.zeros(len(places), np.uint8)
    flow = int(cut(*network, ends, near)) if len(places) else 0
    labels = known.copy()
    labels[tuple(places.T)] = np.where(near == 1, UPPER, LOWER)
    return labels, (flow + paid) / UNIT


def linked(states, known, places, contacts: Contacts, locked: float):
    """The network of `cut_halves`: (neighbours, capacity), ends as `firstcast.kernels.mincut.cut` takes them, what is paid anyhow."""
    number = np.full(states.shape, -1, np.int32)
    number[tuple(places.T)] = np.arange(len(places), dtype=np.int32)
    neighbours, capacity = np.empty((len(places), 18), np.int32), np.empty((len(places), 18), np.int32)
    source, sink = np.empty(len(places), np.int64), np.empty(len(places), np.int64)
    weighs = UNIT * np.array([FACE, EDGE, SEAM_FACE, SEAM_EDGE])
    run_blocks(
        link, len(places), places, number, states, known, *contacts, weighs, UNIT * locked,
        neighbours, capacity, source, sink,
        block=1 << 14,
    )  # fmt: skip
    paid = int(np.minimum(source, sink).sum())
    return (neighbours, capacity), (source - sink).astype(np.int32), paid
