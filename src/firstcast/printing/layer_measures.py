"""What the layers of a cut and of a run come to: areas, regions, bare starts and cups, measured on the very images."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from firstcast.fields.blocks import run_blocks
from firstcast.printing.cups import CupPixels, CupsFollower
from firstcast.printing.layer_plan import Cut, LayerPlan
from firstcast.printing.layer_runs import CURED_LEVEL, Regions, cured_regions
from firstcast.printing.layer_starts import JOINS_WITHIN, LEAST_PIXELS, BareStart, StartsFollower
from firstcast.printing.layering import Tiles, stream_tiles


@dataclass(frozen=True)
class CutMeasures:
    """Layers of one copy of a master.

    Attributes
    ----------
    levels : (count,) int64
        Sum of each layer's pixels, 255 for a whole one.
    regions : (count,) int32
        Of cured pixels that touch by edge or corner.
    largest : (count,) int64
        Pixels of the largest region.
    closed : (count,) int64
        Pixels of hollows that the film closes while the layer is printed.
    starts : tuple of BareStart
    flecks : int
        Regions with nothing beneath that are too small to cure.
    cups : tuple of CupPixels
    """

    levels: npt.NDArray[np.int64]
    regions: npt.NDArray[np.int32]
    largest: npt.NDArray[np.int64]
    closed: npt.NDArray[np.int64]
    starts: tuple[BareStart, ...]
    flecks: int
    cups: tuple[CupPixels, ...]


def measure_cut(
    cut: Cut, *, least_pixels: int = LEAST_PIXELS, within: int = JOINS_WITHIN, level: int = CURED_LEVEL
) -> CutMeasures:
    """Measure all layers of a cut, in one pass from the platform up.

    Parameters
    ----------
    least_pixels, within : int
        See `layer_starts`.
    level : int
        Of 255, from which on a pixel counts as cured.
    """
    count = cut.piece.layers.count
    levels, largest = np.zeros(count, np.int64), np.zeros(count, np.int64)
    numbers = np.zeros(count, np.int32)
    starts, cups = StartsFollower(least_pixels=least_pixels, within=within), CupsFollower()
    for tiles in stream_tiles(cut, range(count)):
        for layer, regions in _regions_of(tiles, cut.piece.grid.ny, level, levels):
            cured = starts.add(regions)
            cups.add(cured)
            numbers[layer] = cured.count
            largest[layer] = cured.pixels.max(initial=0)
    closed = np.array(cups.closed, np.int64)
    return CutMeasures(levels, numbers, largest, closed, starts.finish(), starts.flecks, cups.finish())


@dataclass(frozen=True)
class RunMeasures:
    """Layers of all that stands on the platform.

    Attributes
    ----------
    cuts : tuple of CutMeasures
        One per cut of the plan, each counted as often as it stands there in what follows.
    area_mm2 : (count,) float64
        Cured area: the sum of the pixels' shares.
    regions : (count,) int32
        Of cured pixels that touch by edge or corner.
    largest_mm2, closed_mm2 : (count,) float64
        The largest region; hollows that the film closes while the layer is printed.
    flecks, starts : int
        Regions with nothing beneath: too small to cure, and the others.
    """

    cuts: tuple[CutMeasures, ...]
    area_mm2: npt.NDArray[np.float64]
    regions: npt.NDArray[np.int32]
    largest_mm2: npt.NDArray[np.float64]
    closed_mm2: npt.NDArray[np.float64]
    flecks: int
    starts: int


def measure_run(
    plan: LayerPlan, *, least_pixels: int = LEAST_PIXELS, within: int = JOINS_WITHIN
) -> RunMeasures:
    """Measure all layers of a run: each distinct cut once."""
    cuts = tuple(measure_cut(cut, least_pixels=least_pixels, within=within) for cut in plan.cuts)
    copies = np.array([plan.copies(number) for number in range(len(cuts))])
    pixel = plan.screen.pixel_mm2
    # whole numbers, so that sums are exact in any order
    levels = np.array([cut.levels for cut in cuts]).astype(np.float64)
    largest = np.max([cut.largest for cut in cuts], axis=0).astype(np.float64)
    closed = np.array([cut.closed for cut in cuts]).astype(np.float64)
    return RunMeasures(
        cuts=cuts,
        area_mm2=np.asarray(copies @ levels * (pixel / 255.0), np.float64),
        regions=(copies @ np.array([cut.regions for cut in cuts])).astype(np.int32),
        largest_mm2=np.asarray(largest * pixel, np.float64),
        closed_mm2=np.asarray(copies @ closed * pixel, np.float64),
        flecks=int(copies @ np.array([cut.flecks for cut in cuts])),
        starts=int(copies @ np.array([len(cut.starts) for cut in cuts])),
    )


def layer_table(
    area_mm2: npt.NDArray[np.float64],
    regions: npt.NDArray[np.int32],
    largest_mm2: npt.NDArray[np.float64],
    closed_mm2: npt.NDArray[np.float64],
    peel_n: npt.NDArray[np.float64],
    layer_mm: float,
) -> list[dict[str, Any]]:
    """A row per layer, as the manifest of the images has it: see `docs/layer-images.md`.

    All are (count,) but peel_n, which is (3, count): low, likely, high.
    """
    return [
        {
            "area_mm2": round(float(area_mm2[k]), 4),
            "regions": int(regions[k]),
            "largest_mm2": round(float(largest_mm2[k]), 4),
            "closed_mm2": round(float(closed_mm2[k]), 4),
            "peel_n": [round(float(load), 3) for load in peel_n[:, k]],
            "resin_mm3": round(float(area_mm2[k]) * layer_mm, 4),
        }
        for k in range(len(area_mm2))
    ]


def _regions_of(
    tiles: Tiles, rows: int, level: int, levels: npt.NDArray[np.int64]
) -> list[tuple[int, Regions]]:
    """Each layer's number with its regions; levels get the sums. Layers are looked at side by side."""
    found: list[tuple[int, Regions] | None] = [None] * len(tiles.windows)

    def look(start: int, stop: int) -> None:
        for n in range(start, stop):
            layer = tiles.first + n
            image = tiles.image(layer)
            levels[layer] = image.sum(dtype=np.int64)
            y0, _, x0, _ = tiles.windows[n].tolist()
            found[n] = layer, cured_regions(image, (y0, x0), rows, least=level)

    run_blocks(look, len(found), block=8)
    return [entry for entry in found if entry is not None]
