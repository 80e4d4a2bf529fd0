"""How well a body stands in every build direction: what would be marked, start bare, suck, peel hard or show its layers.

All readings are indicators, made to tell directions apart: props, exact starts and loads come when the piece is propped.
A direction is the printer's z in the figure's axes, away from the build platform.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.arrays import check_points
from firstcast.errors import InputError
from firstcast.fields.blocks import run_blocks
from firstcast.kernels import standing as kernels
from firstcast.printing.standing_ground import Ground

NEEDS_DEG, BEARS_DEG = 20.0, 45.0
"""A surface that faces the platform needs props all over within the first angle of the layers, none beyond the second, and in
between the fewer the steeper. That 30 to 45° bears itself is common practice, no source."""

FLAT_DEG = 2.0
"""How near to the layers, or to square to them, a plane shows their steps far apart: at 2° a 0.05 mm layer makes terraces
1.4 mm wide. Chosen, no source."""

START_LAYERS = 2.0
"""A start counts as bare if it grows by more than this before it joins what is there already."""

CUP_MM = 1.0
"""Depth from which a hollow counts. Chosen, no source."""

PLANES = 160
"""Heights at which sections are measured: 0.4 mm apart on a figure of 60 mm."""

TAB_HOLDS_DEG, TAB_LETS_GO_DEG = 25.0, 75.0
"""Up to what angle to the platform the tab takes all of the load, and from what angle none. Chosen, no source."""

CRITERIA = (
    "marks_mm2",
    "precious_mm2",
    "starts",
    "cups_mm2",
    "section_mm2",
    "terraces_mm2",
    "flats_mm2",
    "height_mm",
    "load_n",
)
"""Columns of the readings: less is better in each.

marks_mm2: surface that needs props, weighted as `standing_ground` says; precious_mm2: what of it lies in precious zones;
starts: lows of the surface that last for `START_LAYERS`, the lowest place of all among them; cups_mm2:
mouths of the hollows that open away from the platform, `CUP_MM` above their bottoms; section_mm2: the largest section;
terraces_mm2: smooth broad surface within the angle at which layers show, by how it is seen; flats_mm2: planes along the
layers or square to them, by how they are seen;
height_mm; load_n: peel of the largest section that the tab does not bear, so that props on the figure have to.

The sections of all layers together are the volume over the layer's height, the same in every direction.
"""

DIRECTION_BLOCK = 16


@dataclass(frozen=True)
class Conditions:
    """What readings depend on beside the body. `tab_towards` (3,) is where the tab's end lies, in the figure's axes."""

    layer_mm: float
    terrace_deg: float
    separation_kpa: float
    tab_towards: tuple[float, float, float] = (0.0, 0.0, -1.0)


def spread_directions(count: int) -> npt.NDArray[np.float64]:
    """(n, 3) float64: unit vectors spread evenly over the sphere, along a Fibonacci spiral (R. Swinbank, J. Purser 2006)."""
    n = np.arange(count)
    z = 1.0 - (2.0 * n + 1.0) / count
    angle = n * np.pi * (3.0 - np.sqrt(5.0))
    level = np.sqrt(np.maximum(0.0, 1.0 - z * z))
    return np.column_stack([level * np.cos(angle), level * np.sin(angle), z])


def read_directions(
    ground: Ground, directions: npt.ArrayLike, conditions: Conditions
) -> npt.NDArray[np.float64]:
    """Read every build direction.

    Parameters
    ----------
    ground : Ground
        Of `firstcast.printing.standing_ground.stand_ground`.
    directions : (n, 3) float64
        Of length 1: the printer's z, away from the platform, in the figure's axes.
    conditions : Conditions

    Returns
    -------
    (n, 9) float64
        One column for each of `CRITERIA`; mm², counts, mm and newtons of the figure's own size.

    Raises
    ------
    InputError
        A direction is not of length 1.
    """
    ways = np.ascontiguousarray(check_points(directions, where="directions"), np.float64)
    if len(ways) and not np.abs(np.linalg.norm(ways, axis=1) - 1.0).max() < 1e-6:
        raise InputError(
            "a direction is not of length 1", where="directions", mend="Divide it by its length."
        )
    found = np.empty((len(ways), 8))
    run_blocks(
        kernels.read_directions,
        len(ways),
        ways,
        ground.mesh,
        ground.weights,
        _limits(conditions),
        PLANES,
        found,
        block=DIRECTION_BLOCK,
    )
    load = conditions.separation_kpa * 1e-3 * found[:, kernels.SECTION] * off_tab(ways, conditions)
    return np.column_stack([found, load])


def off_tab(directions: npt.NDArray[np.float64], conditions: Conditions) -> npt.NDArray[np.float64]:
    """(n,) 0 to 1: the share of the load that the tab doesn't bear in each direction (n, 3)."""
    holds, lets_go = np.cos(np.radians([TAB_HOLDS_DEG, TAB_LETS_GO_DEG]))
    towards_platform = -directions @ np.asarray(conditions.tab_towards)
    return np.clip((holds - towards_platform) / (holds - lets_go), 0.0, 1.0)


@dataclass(frozen=True)
class Lows:
    """Where layers start bare, and hollows that open away from the platform.

    Attributes
    ----------
    starts_mm, cups_mm : (n, 3) float64
        Places in the figure's axes: of cups their lowest.
    mouths_mm2 : (n,) float64
        The area across each cup, `CUP_MM` above its lowest place.
    """

    starts_mm: npt.NDArray[np.float64]
    cups_mm: npt.NDArray[np.float64]
    mouths_mm2: npt.NDArray[np.float64]


def find_lows(ground: Ground, direction: npt.ArrayLike, conditions: Conditions) -> Lows:
    """The lows of one direction (3,), one by one; as many as `read_directions` counts."""
    way = np.ascontiguousarray(direction, np.float64)
    heights = np.empty(len(ground.points))
    kernels.heights_along(way, ground.points, heights)
    work = np.empty(len(heights), np.int32), np.empty(len(heights), np.int32)
    places, mouths = np.empty(len(heights), np.int32), np.empty(len(heights))
    starts, cups, _ = kernels.read_lows(way, heights, ground.mesh, _limits(conditions), work, places, mouths)
    rows, mouths = places[: starts + cups], mouths[: starts + cups]
    up = ground.vertex_vectors[rows] @ way > 0.0
    where = ground.points[rows] + ground.middle_mm
    return Lows(where[~up], where[up], mouths[up])


def sections_along(ground: Ground, direction: npt.ArrayLike, planes: int = PLANES) -> npt.NDArray[np.float64]:
    """(planes,) float64: areas of the section, mm², at (k + 1/2) / planes of the height along a direction (3,)."""
    way = np.ascontiguousarray(direction, np.float64)
    heights = np.empty(len(ground.points))
    kernels.heights_along(way, ground.points, heights)
    sections = np.empty(planes)
    lifts = np.empty(len(ground.triangles))
    kernels.lifts_along(way, ground.vectors, lifts)
    room = np.empty(len(heights)), np.empty(len(heights), np.int32)
    kernels.read_sections(heights, lifts, ground.triangles, room, sections)
    return sections


def _limits(conditions: Conditions) -> npt.NDArray[np.float64]:
    needs, bears, terrace, flat = np.cos(np.radians([NEEDS_DEG, BEARS_DEG, conditions.terrace_deg, FLAT_DEG]))
    square = np.sin(np.radians(FLAT_DEG))
    return np.array([needs, bears, terrace, flat, square, START_LAYERS * conditions.layer_mm, CUP_MM])
