"""What a printer cures of a master: layer images, spread light, light from later layers, the critical dose.

The layers are streamed from the last down, eight at a time, and only bricks that the cured surface passes are
kept, so memory grows with the surface and not with the height.

The grid's and the layers' place on the piece isn't known. So every point is taken at the middle of a pixel and of its layer,
and later layers count by what they cover over their thickness: faces that look up stay where they are, and undersides grow
by what shines through on average.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.fields.blocks import run_blocks
from firstcast.fields.contour import BLOCK, lattice_floats, surface_of, trace
from firstcast.fields.coverage import Layers, PixelGrid, Sections, coverage_of, section_layers, thresholded
from firstcast.fields.drawn import Drawn
from firstcast.fields.near import INSIDE, OUTSIDE, SIDE
from firstcast.fields.union import Lattice, Occupancy, Shells, lattice_around, read_lines
from firstcast.kernels.cure import (
    blur_layers,
    classify_slab,
    gather_bricks,
    lit_window,
    place_vertices,
    sign_cured,
    stack_later,
)
from firstcast.tolerances import TOLERANCES

SLICES = 5
"""Planes in a layer over which what it covers is averaged: undersides lie within a tenth of a layer by it."""

DIMMEST = 1e-4
"""Light of later layers below this share of one layer's is dropped."""


class Light(NamedTuple):
    """How a printer draws, and how its light leaves a pixel: as plain numbers.

    Attributes
    ----------
    pixel_mm : (float, float)
    layer_mm : float
    grey_edges : bool
        Whether a pixel shines by the share that is covered, or fully from half its area on.
    spreads : tuple of (share, weights along x, weights along y)
        The spread on the pixel grid as a sum of what comes apart into rows and columns; weights are odd in number.
    kept : float
        The share of its dose that a layer lets through to the one before; 0: none, each layer cures to its own depth.
    own, later : float
        Dose at the middle of a layer by its own image, over the critical one; what the layers after it leave counts
        `later` times as much as if each shone from its middle.
    deep : float
        Dose deep inside a body, over the critical one.
    as_edge : bool
        Whether an edge's dose looks more like a normal distribution than like a ramp one pixel wide.
    growth_mm : float
        How far beyond the master something may be cured.
    """

    pixel_mm: tuple[float, float]
    layer_mm: float
    grey_edges: bool
    spreads: tuple[tuple[float, npt.NDArray[np.float32], npt.NDArray[np.float32]], ...]
    kept: float
    own: float
    later: float
    deep: float
    as_edge: bool
    growth_mm: float


def cure(points: Points, triangles: Triangles, light: Light, *, margin_mm: float = 0.0) -> Drawn:
    """The surface that light cures of a closed, outward mesh without crossings.

    Parameters
    ----------
    points : (n, 3) float64 or float32
        Millimetres at master size in the printer's axes, z away from the build platform.
    triangles : (m, 3) int32
    light : Light
    margin_mm : float
        Room to leave round the cured body for what is done to it afterwards.

    Raises
    ------
    InputError
        The mesh isn't closed.
    SizeError
        More than 8192 pixels or layers along an axis.
    """
    pitch = np.array([*light.pixel_mm, light.layer_mm])
    lattice = lattice_around(np.asarray(points, np.float64), pitch, light.growth_mm + margin_mm)
    index, places, pool = _expose(points, triangles, light, lattice)
    bits = np.empty((len(places), SIDE), np.int64)
    run_blocks(sign_cured, len(places), pool, bits, block=BLOCK)
    traced = trace(lattice.origin_mm, lattice.pitch_mm, index, places, bits)
    shells = Shells(np.asarray(points, np.float64), triangles, np.zeros(0, np.uint16))
    columns = read_lines(shells, lattice, 2)
    corners = np.empty((int(traced.vertex_starts[-1]), 3), np.float32)
    run_blocks(
        place_vertices, len(places), places, index, pool, traced.flags, traced.vertex_starts, light.deep,
        light.as_edge, light.kept > 0, columns.size, columns.starts, columns.kept, columns.positions,
        columns.hits, TOLERANCES.zero_push_pitches, lattice_floats(*lattice), corners, block=BLOCK,
    )  # fmt: skip
    surface = surface_of(traced, index, places, bits, corners, np.zeros(len(corners), np.uint16))
    return Drawn(surface, Occupancy(lattice, index, places, bits, 0), traced)


def _expose(points, triangles, light: Light, lattice: Lattice):
    """The table, the places and the doses of all bricks that the cured surface passes."""
    slices = SLICES if light.kept > 0 else 1
    columns, rows, height = (int(n) for n in lattice.size)
    corner = lattice.origin_mm - lattice.pitch_mm / 2
    grid = PixelGrid((corner[0], corner[1]), *light.pixel_mm, columns, rows)
    layers = Layers(corner[2], light.layer_mm / slices, height * slices)
    sections = section_layers(points, triangles, grid, layers)
    index = np.full(lattice.bricks, OUTSIDE, np.int32)
    later, kept = np.zeros((rows, columns), np.float32), _Kept(index)
    slab, above = np.zeros((SIDE, rows, columns), np.float32), np.zeros((rows, columns), np.float32)
    for bz in range(lattice.bricks[2] - 1, -2, -1):
        below = _expose_slab(sections, light, bz, slices, later) if bz >= 0 else np.zeros_like(slab)
        if bz < lattice.bricks[2] - 1:
            kept.take(slab, below[SIDE - 1], above, bz + 1)
        above, slab = slab[0], below
    places, pool = kept.joined()
    index[tuple(places.T)] = np.arange(len(places), dtype=np.int32)
    return index, places, pool


class _Kept:
    """The bricks of the slabs that have gone by."""

    def __init__(self, index: npt.NDArray[np.int32]) -> None:
        self.index = index
        self.places = [np.empty((0, 3), np.int32)]
        self.pools = [np.empty((0, SIDE, SIDE, SIDE), np.float32)]

    def take(self, slab, below, above, bz: int) -> None:
        """Keep the bricks of slab `bz` that the cured surface passes, and mark those inside it."""
        kinds = np.empty(self.index.shape[:2], np.int8)
        run_blocks(classify_slab, len(kinds), slab, below, above, kinds, block=4)
        if not kinds.any():
            return
        self.index[:, :, bz][kinds == 1] = INSIDE
        held = np.argwhere(kinds == 2)
        places = np.column_stack([held, np.full(len(held), bz)]).astype(np.int32)
        pool = np.empty((len(places), SIDE, SIDE, SIDE), np.float32)
        run_blocks(gather_bricks, len(places), slab, places, pool, block=64)
        self.places.append(places)
        self.pools.append(pool)

    def joined(self) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.float32]]:
        """All bricks in one run, the order of their slabs."""
        return np.concatenate(self.places), np.concatenate(self.pools)


def _expose_slab(sections: Sections, light: Light, bz: int, slices: int, later):
    """(8, ny, nx) float32: the dose in the layers of a slab over the critical one; `later` goes on below."""
    shape = (SIDE, *later.shape)
    dose = np.zeros(shape, np.float32)
    first = bz * SIDE * slices
    used = sections.windows[first : first + SIDE * slices]
    lit = np.empty(4, np.int64)
    lit_window(later, DIMMEST, lit)
    if not used[:, 1].any() and lit[1] == 0:
        later[:] = 0.0
        return dose
    whole = dose if slices == 1 else np.zeros(shape, np.float32)
    covered = coverage_of(sections, first, first + SIDE * slices)
    covered = covered if light.grey_edges else thresholded(covered)
    for layer in covered.layers:
        y0, y1, x0, x1 = covered.window(layer)
        n, part = divmod(layer - first, slices)
        image = covered.image(layer)
        if part == slices // 2:
            dose[n, y0:y1, x0:x1] = image
        if slices > 1:
            whole[n, y0:y1, x0:x1] += image / slices
    if slices > 1:
        run_blocks(stack_later, shape[1], dose, whole, later, light.kept, light.later, block=64)
    _spread(dose, light, _window(used, lit))
    return dose


def _window(used, lit) -> npt.NDArray[np.int64]:
    """(4,) int64: rows and columns that a slab's own layers or the later ones light."""
    boxes = [row for row in (*used, lit) if row[1] > row[0]]
    boxes = np.array(boxes, np.int64)
    return np.array([boxes[:, 0].min(), boxes[:, 1].max(), boxes[:, 2].min(), boxes[:, 3].max()])


def _spread(dose, light: Light, window) -> None:
    """Spread the light of eight layers in place, and turn it into doses."""
    drawn = dose.copy() if len(light.spreads) > 1 else None
    total = np.zeros_like(dose) if drawn is not None else dose
    scratch = np.empty_like(dose)
    for weight, along_x, along_y in light.spreads:
        reach_y, reach_x = len(along_y) // 2, len(along_x) // 2
        wide = np.array(
            [
                max(window[0] - reach_y, 0), min(window[1] + reach_y, dose.shape[1]),
                max(window[2] - reach_x, 0), min(window[3] + reach_x, dose.shape[2]),
            ]
        )  # fmt: skip
        image = dose if drawn is None else drawn.copy()
        if len(along_x) > 1 or len(along_y) > 1:
            run_blocks(blur_layers, SIDE, image, along_x, along_y, np.tile(wide, (SIDE, 1)), scratch, block=1)
        if drawn is not None:
            total += np.float32(weight) * image
    if drawn is not None:
        dose[:] = total
    dose *= np.float32(light.own)
