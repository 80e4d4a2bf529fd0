"""The build platform in cells of whole pixels, the turns that it allows, and the shadows of what is to stand on it."""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.printing.propped import Propped
from firstcast.printing.shadows import QUARTERS, Shadow, shadow_of

CELLS_MOST, BANDS_MOST = 160, 48
"""Cells along the widest piece and bands up the tallest. With more of them the maps of pairs cost much time and memory;
beside a piece so large the steps are as small as 0.2 mm are beside one of 32 mm."""

HALVINGS = 2
"""How often cells are halved for a master that they alone refuse: maps of pairs grow to four times each time."""

QUARTER_STEPS = (6, 3, 2)
"""Steps that a quarter is divided in for free turns, of 15, 30 or 45 degrees: the most that `MAPS_MOST` bears."""

MAPS_MOST = 600
"""Maps of pairs that free turns may ask for: at 160 cells along a piece some 0.25 GB, and half a minute."""


class Ground(NamedTuple):
    """A platform in cells.

    Attributes
    ----------
    size : (int, int)
        Columns and rows of cells that may be used.
    step_px, first_px : (int, int)
        Pixels that a cell spans, and the pixel that the first one starts at, along x and y.
    pixel_mm : (float, float)
    build_mm : (float, float, float)
        Width, depth and height.
    """

    size: tuple[int, int]
    step_px: tuple[int, int]
    first_px: tuple[int, int]
    pixel_mm: tuple[float, float]
    build_mm: tuple[float, float, float]

    @property
    def cell_mm(self) -> tuple[float, float]:
        """Along x and y."""
        return self.step_px[0] * self.pixel_mm[0], self.step_px[1] * self.pixel_mm[1]

    @property
    def square(self) -> bool:
        """Whether pixels and cells are as long along x as along y."""
        return self.pixel_mm[0] == self.pixel_mm[1] and self.step_px[0] == self.step_px[1]

    def turns(self, allowed: bool, steps: int = 1) -> tuple[int, ...]:
        """Turns by `steps` of a quarter: all where pixels are square, else halves."""
        if not allowed:
            return (0,)
        return tuple(range(QUARTERS * steps)) if self.square else (0, 2 * steps)

    def has_room(self, shadow: Shadow, turns: Sequence[int]) -> bool:
        """Whether a shadow fits on the platform and below its height."""
        sides = (shadow.at(turn).cells.shape[1:] for turn in turns)
        fits = any(columns <= self.size[0] and rows <= self.size[1] for rows, columns in sides)
        return fits and shadow.height_mm <= self.build_mm[2]


def ground_of(
    build_mm: tuple[float, float, float],
    pixel_mm: tuple[float, float],
    *,
    edge_mm: float,
    cell_mm: float,
) -> Ground:
    """The cells of a platform within its edges, each of whole pixels, their field in the middle.

    Raises
    ------
    InputError
        The edges leave nothing.
    """
    steps, sizes, firsts = [], [], []
    for build, pixel in zip(build_mm[:2], pixel_mm, strict=True):
        step = max(round(cell_mm / pixel), 1)
        edge = math.ceil(edge_mm / pixel - 1e-9)
        room = math.floor(build / pixel + 1e-6) - 2 * edge
        if room < step:
            raise InputError(
                f"edges of {edge_mm:g} mm leave nothing of {build:g} mm",
                where="platform.edge_mm",
                mend="Make the edges narrower.",
            )
        steps.append(step)
        sizes.append(room // step)
        firsts.append(edge + room % step // 2)
    return Ground((sizes[0], sizes[1]), (steps[0], steps[1]), (firsts[0], firsts[1]), pixel_mm, build_mm)


def quarter_steps(masters: int, pixel_mm: tuple[float, float]) -> int:
    """In how many steps a quarter is divided where so many masters may be turned freely; 1 where pixels are not square."""
    if pixel_mm[0] != pixel_mm[1]:
        return 1
    pairs = masters * (masters + 1) // 2
    return next((steps for steps in QUARTER_STEPS if pairs * QUARTERS * steps**2 <= MAPS_MOST), 1)


def shade(
    masters: Mapping[str, Propped],
    build_mm: tuple[float, float, float],
    pixel_mm: tuple[float, float],
    *,
    edge_mm: float,
    cell_mm: float,
    band_mm: float,
    turned: bool,
    steps: int,
) -> tuple[Ground, dict[str, Shadow]]:
    """The platform's cells, and the shadow of every master that has room on it.

    Shadows are rounded outward to cells and the room inward: where that alone leaves no room for a master, cells are halved, as far
    as memory bears.

    Parameters
    ----------
    cell_mm, band_mm : float
        At least; larger beside large masters.
    turned : bool
        Whether they may be turned about z.
    steps : int
        In which a quarter turn is divided.

    Raises
    ------
    InputError
        The edges leave nothing of the platform.
    """
    wide = {name: _wide_mm(propped) for name, propped in masters.items()}
    cell = max(cell_mm, max(float(each.max()) for each in wide.values()) / CELLS_MOST)
    band = max(band_mm, max(propped.height_mm for propped in masters.values()) / BANDS_MOST)
    for last in (False,) * HALVINGS + (True,):
        ground = ground_of(build_mm, pixel_mm, edge_mm=edge_mm, cell_mm=cell)
        turns = ground.turns(turned, steps)
        shadows = {
            name: shadow_of([each.piece, each.props], cell_mm=ground.cell_mm, band_mm=band, steps=steps)
            for name, each in masters.items()
        }
        held = {name: shadow for name, shadow in shadows.items() if ground.has_room(shadow, turns)}
        room = np.array(build_mm[:2]) - 2.0 * edge_mm
        refused = [
            name
            for name, propped in masters.items()
            if name not in held
            and propped.height_mm <= build_mm[2]
            and _goes_in(wide[name], room, turned and ground.square)
        ]
        if not refused or last:
            break
        cell *= 0.5
    return ground, held


def _wide_mm(propped: Propped) -> npt.NDArray[np.float64]:
    """(2,) width and depth of a piece with its props."""
    bounds = [mesh.bounds[:, :2] for mesh in (propped.piece, propped.props) if len(mesh.triangles)]
    return np.max(bounds, axis=0)[1] - np.min(bounds, axis=0)[0]


def _goes_in(wide: npt.NDArray[np.float64], room: npt.NDArray[np.float64], quarter: bool) -> bool:
    """Whether a rectangle goes into another, as it is or by a quarter turn."""
    return bool((wide <= room).all() or (quarter and (wide[::-1] <= room).all()))
