"""A layer's cured pixels, and the gaps between them, as numbered regions of runs."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.kernels.runs import FAR, gaps_of, label_runs, runs_of, shared_runs, weigh_runs

CURED_LEVEL = 128
"""Of 255: a pixel counts as cured from half its share on."""


@dataclass(frozen=True)
class Regions:
    """Regions of one layer.

    Attributes
    ----------
    starts : (rows + 1,) int64
        Where each row of the grid begins in `runs`.
    runs : (r, 2) int32
        First column, and the one behind the last.
    labels : (r,) int32
        Region of each run, 0 up.
    pixels : (n,) int64
        Of each region.
    longest : (n,) int32
        Each region's longest run.
    """

    starts: npt.NDArray[np.int64]
    runs: npt.NDArray[np.int32]
    labels: npt.NDArray[np.int32]
    pixels: npt.NDArray[np.int64]
    longest: npt.NDArray[np.int32]

    @property
    def count(self) -> int:
        """How many regions."""
        return len(self.pixels)

    def middle(self, label: int) -> tuple[float, float]:
        """Column and row of a place in a region, in pixels from the grid's corner: the middle of its longest run."""
        run = int(self.longest[label])
        row = int(np.searchsorted(self.starts, run, side="right")) - 1
        return float(self.runs[run].mean()), row + 0.5

    def without(self, dropped: npt.NDArray[np.bool_]) -> "Regions":
        """The same, less the regions that are marked; the others keep their order."""
        kept = ~dropped[self.labels]
        starts = np.r_[0, np.cumsum(kept)][self.starts].astype(np.int64)
        number = np.cumsum(~dropped).astype(np.int32) - np.int32(1)
        return _regions(starts, np.ascontiguousarray(self.runs[kept]), number[self.labels[kept]])


def cured_regions(
    image: npt.NDArray[np.uint8], corner: tuple[int, int], rows: int, *, least: int = CURED_LEVEL
) -> Regions:
    """The regions of pixels of `least` or more, which touch by edge or corner.

    Parameters
    ----------
    image : (h, w) uint8
    corner : row and column of the grid at which the image stands
    rows : int
        Of the grid.
    """
    starts = np.zeros(rows + 1, np.int64)
    runs = runs_of(image, corner[0], corner[1], rows, least, starts)
    return _labelled(starts, runs, 1)


def enclosed_gaps(cured: Regions) -> tuple[Regions, npt.NDArray[np.bool_]]:
    """The regions of pixels that aren't cured, which touch by an edge; and which of them reach out of the grid."""
    starts = np.zeros(len(cured.starts), np.int64)
    gaps = gaps_of(cured.starts, cured.runs, starts)
    gaps = np.ascontiguousarray(gaps[: int(starts[-1])])
    regions = _labelled(starts, gaps, 0)
    outside = np.zeros(regions.count, np.bool_)
    outside[regions.labels[(gaps[:, 0] == -FAR) | (gaps[:, 1] == FAR)]] = True
    outside[regions.labels[: starts[1]]] = True
    outside[regions.labels[starts[-2] :]] = True
    return regions, outside


def shared(first: Regions, second: Regions) -> npt.NDArray[np.int32]:
    """(p, 2) int32: which regions of two layers share a pixel, sorted, each pair once."""
    pairs = shared_runs(first.starts, first.runs, first.labels, second.starts, second.runs, second.labels)
    return np.unique(pairs, axis=0) if len(pairs) else pairs


def _labelled(starts: npt.NDArray[np.int64], runs: npt.NDArray[np.int32], reach: int) -> Regions:
    labels = np.empty(len(runs), np.int32)
    label_runs(starts, runs, reach, labels)
    return _regions(starts, runs, labels)


def _regions(
    starts: npt.NDArray[np.int64], runs: npt.NDArray[np.int32], labels: npt.NDArray[np.int32]
) -> Regions:
    count = int(labels.max(initial=-1)) + 1
    pixels, longest = np.empty(count, np.int64), np.empty(count, np.int32)
    weigh_runs(runs, labels, pixels, longest)
    return Regions(starts, runs, labels, pixels, longest)
