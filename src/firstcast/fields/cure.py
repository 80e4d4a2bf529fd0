"""What a printer cures of a master: layer images, spread light, light from later layers, the critical dose.

The layers are streamed from the last down, eight at a time, and only bricks that the cured surface passes are
kept, so memory grows with the surface and not with the height.

The grid's and the layers' place on the piece isn't known. A point is taken at the middle of a pixel and of its layer, which
is what half of all places of the layers do no better than; later layers count by what they cover over their
thickness. So faces that look up stay where they are, and undersides grow by what shines through on average.
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
    cross_dose,
    gather_bricks,
    lit_window,
    place_vertices,
    sign_cured,
    stack_later,
)
from firstcast.process.chain import ChainScenario
from firstcast.process.light import kept_per_layer, print_through_mm
from firstcast.process.spread import GaussianSpread, Spread
from firstcast.process.spread_patterns import gaussians_like, line_kernel
from firstcast.tolerances import TOLERANCES

SLICES = 5
"""Planes in a layer over which what it covers is averaged: undersides lie within a tenth of a layer by it."""

REACH_SIGMAS = 4.0
"""Gaussian light is followed so far: 6e-5 of it falls beyond on either side."""

DIMMEST = 1e-4
"""Light of later layers below this share of one layer's is dropped."""


class Light(NamedTuple):
    """How light leaves a pixel: (weight, weights along x, weights along y) per Gaussian, and what passes a layer."""

    spreads: tuple[tuple[float, npt.NDArray[np.float32], npt.NDArray[np.float32]], ...]
    kept: float
    own: float
    later: float
    deep: float


def cure(points: Points, triangles: Triangles, chain: ChainScenario, *, margin_mm: float = 0.0) -> Drawn:
    """The surface that light cures of a closed, outward mesh without crossings.

    Parameters
    ----------
    points : (n, 3) float64 or float32
        Millimetres at master size in the printer's axes, z away from the build platform.
    triangles : (m, 3) int32
    chain : ChainScenario
        For pixel, layer, spread, depth and exposure.
    margin_mm : float
        Room to leave round the cured body for what is done to it afterwards.

    Raises
    ------
    InputError
        The mesh isn't closed.
    SizeError
        More than 8192 pixels or layers along an axis.
    """
    pitch = np.array([*chain.pixel_mm, chain.layer_mm])
    lattice = lattice_around(np.asarray(points, np.float64), pitch, growth_mm(chain) + margin_mm)
    index, places, pool = _expose(points, triangles, chain, lattice)
    bits = np.empty((len(places), SIDE), np.int64)
    run_blocks(sign_cured, len(places), pool, bits, block=BLOCK)
    traced = trace(lattice.origin_mm, lattice.pitch_mm, index, places, bits)
    shells = Shells(np.asarray(points, np.float64), triangles, np.zeros(0, np.uint16))
    columns = read_lines(shells, lattice, 2)
    shares = np.empty(int(traced.vertex_starts[-1]))
    light = light_of(chain)
    run_blocks(
        cross_dose, len(places), places, index, pool, traced.flags, traced.vertex_starts, light.deep,
        _runs_as_edge(chain), chain.depth_mm > 0, columns.size, columns.starts, columns.kept, columns.positions,
        columns.hits, shares, block=BLOCK,
    )  # fmt: skip
    corners = np.empty((len(shares), 3), np.float32)
    run_blocks(
        place_vertices, len(places), places, traced.flags, traced.vertex_starts, shares,
        TOLERANCES.zero_push_pitches, lattice_floats(*lattice), corners, block=BLOCK,
    )  # fmt: skip
    surface = surface_of(traced, index, places, bits, corners, np.zeros(len(corners), np.uint16))
    return Drawn(surface, Occupancy(lattice, index, places, bits, 0), traced)


def growth_mm(chain: ChainScenario) -> float:
    """How far beyond the master something may be cured."""
    through = 0.0
    if chain.depth_mm > 0:
        through = print_through_mm(chain.overdose, layer_mm=chain.layer_mm, depth_mm=chain.depth_mm)
    return max(chain.edge_growth_mm, through, 0.0) + chain.layer_mm


def light_of(chain: ChainScenario) -> Light:
    """Weights of spread light on the pixel grid, and of layers on each other."""
    wide, high = chain.pixel_mm
    spreads = tuple(
        (share, _weights(part, wide), _weights(part, high)) for share, part in _gaussians(chain.spread)
    )
    if chain.depth_mm == 0:
        return Light(spreads, 0.0, chain.overdose, 0.0, chain.overdose)
    kept = kept_per_layer(chain.layer_mm, chain.depth_mm)
    half = chain.layer_mm / (2 * chain.depth_mm)
    own, later = chain.overdose * np.exp(-half), float(np.sinh(half) / half)
    return Light(spreads, kept, float(own), later, float(own * (1 + later * kept / (1 - kept))))


def _gaussians(spread: Spread) -> list[tuple[float, GaussianSpread]]:
    """The spread as a sum of Gaussians, with their shares: only they come apart into rows and columns."""
    if isinstance(spread, GaussianSpread):
        return [(1.0, spread)]
    fitted = gaussians_like(spread)
    return [
        (float(w), GaussianSpread(float(s))) for w, s in zip(fitted.weights, fitted.sigma_mm, strict=True)
    ]


def _weights(spread: GaussianSpread, pixel_mm: float) -> npt.NDArray[np.float32]:
    weights = line_kernel(spread, pixel_mm, REACH_SIGMAS * spread.sigma_mm).weights
    return (weights / weights.sum()).astype(np.float32)


def _runs_as_edge(chain: ChainScenario) -> bool:
    """Whether an edge's dose looks more like a normal distribution than like a ramp one pixel wide."""
    return chain.spread.width_mm > max(chain.pixel_mm) / 3


def _expose(points, triangles, chain: ChainScenario, lattice: Lattice):
    """The table, the places and the doses of all bricks that the cured surface passes."""
    slices = SLICES if chain.depth_mm > 0 else 1
    columns, rows, height = (int(n) for n in lattice.size)
    corner = lattice.origin_mm - lattice.pitch_mm / 2
    grid = PixelGrid((corner[0], corner[1]), *chain.pixel_mm, columns, rows)
    layers = Layers(corner[2], chain.layer_mm / slices, height * slices)
    sections = section_layers(points, triangles, grid, layers)
    light = light_of(chain)
    index = np.full(lattice.bricks, OUTSIDE, np.int32)
    later, kept = np.zeros((rows, columns), np.float32), _Kept(index)
    slab, above = np.zeros((SIDE, rows, columns), np.float32), np.zeros((rows, columns), np.float32)
    for bz in range(lattice.bricks[2] - 1, -2, -1):
        below = _expose_slab(sections, chain, light, bz, slices, later) if bz >= 0 else np.zeros_like(slab)
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


def _expose_slab(sections: Sections, chain: ChainScenario, light: Light, bz: int, slices: int, later):
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
    covered = covered if chain.grey_edges else thresholded(covered)
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
