"""What is left of each part's detail, by the scale of the detail, and how coarse it would have to be to survive."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points
from firstcast.forecast.retention import SCALES_MM, Retention, by_part
from firstcast.ranges import LIKELY

LEAST_MM2 = 0.5
"""Least surface with relief of a scale that counts as detail of a part: chosen, no source."""

CELL_MM = 1.0
"""A place is shown where most is lost within a cube of so much: not at a single crevice."""


@dataclass(frozen=True)
class Detail:
    """The relief of one part at one scale.

    Attributes
    ----------
    part : int
    scale_mm : float
        Diameter of the windows it is read in, on the master.
    area_mm2 : float
        Surface with relief at this scale.
    height_mm : float
        RMS of the relief there.
    before, after : tuple of 3 floats
        Share that low, likely and high leave of it, without and with carry.
    place_mm : (float, float, float)
        Where most is lost without carry.
    """

    part: int
    scale_mm: float
    area_mm2: float
    height_mm: float
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    place_mm: tuple[float, float, float]


def details_of(
    before: Retention,
    after: Retention,
    part_of_vertex: npt.NDArray[np.integer],
    points: Points,
    areas_mm2: npt.NDArray[np.float64],
    scales_mm: Sequence[float] = SCALES_MM,
) -> tuple[Detail, ...]:
    """Every part's detail at every scale that it has, finest first.

    Parameters
    ----------
    before, after : Retention
        Of the same windows, without and with carry.
    part_of_vertex : (n,) int
    points : (n, 3) float64
    areas_mm2 : (n,) float64
    """
    shares = [by_part(found, part_of_vertex, areas_mm2).share for found in (before, after)]
    details = []
    for part in range(int(part_of_vertex.max()) + 1):
        mine = part_of_vertex == part
        for scale, size in enumerate(scales_mm):
            read = np.flatnonzero(mine & ~np.isnan(before.share[LIKELY, scale]))
            area = float(areas_mm2[read].sum())
            if area < LEAST_MM2:
                continue
            square = before.relief_mm[scale, read] ** 2
            lost = square * np.clip(1.0 - before.share[LIKELY, scale, read], 0.0, 1.0)
            x, y, z = points[read[_most(points[read], lost * areas_mm2[read])]]
            details.append(
                Detail(
                    part,
                    float(size),
                    area,
                    float(np.sqrt(np.sum(square * areas_mm2[read]) / area)),
                    _three(shares[0][:, scale, part]),
                    _three(shares[1][:, scale, part]),
                    (float(x), float(y), float(z)),
                )
            )
    return tuple(details)


def _most(places: Points, weights: npt.NDArray[np.float64]) -> int:
    """The row with most weight in the cell of `CELL_MM` that holds most."""
    cells = np.floor((places - places.min(axis=0)) / CELL_MM).astype(np.int64)
    _, cell = np.unique(cells, axis=0, return_inverse=True)
    heaviest = int(np.argmax(np.bincount(cell.ravel(), weights)))
    mine = np.flatnonzero(cell.ravel() == heaviest)
    return int(mine[np.argmax(weights[mine])])


def _three(values: npt.NDArray[np.float64]) -> tuple[float, float, float]:
    low, likely, high = (float(value) for value in values)
    return low, likely, high


def needed_mm(details: Sequence[Detail], wanted: float) -> float:
    """How coarse one part's detail must be for the wanted share of it to be left, likely and with what is carried.

    `details` are those of the part, finest first. Between two scales the share goes with the scale's logarithm; where
    not even the coarsest keeps so much, infinite. An estimate: coarser detail of the part stands for what its
    finest would be if it were larger.
    """
    for finer, coarser in zip([None, *details], details, strict=False):
        share = coarser.after[LIKELY]
        if share < wanted:
            continue
        if finer is None:
            return coarser.scale_mm
        below = finer.after[LIKELY]
        part = (wanted - below) / (share - below)
        return float(finer.scale_mm * (coarser.scale_mm / finer.scale_mm) ** part)
    return float("inf")
