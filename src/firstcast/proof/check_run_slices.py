"""Rows on the slices of a run's 3MF: each against the section of its own object, pixel by pixel."""

from concurrent.futures import ThreadPoolExecutor
from queue import SimpleQueue
from typing import NamedTuple

import numba
import numpy as np
import numpy.typing as npt

from firstcast.proof.expected_run import ExpectedRun
from firstcast.proof.layer_pixels import Cuts, Frame, about_plane
from firstcast.proof.layer_slices import Slices
from firstcast.proof.rows import ProofRow, counted, many, measured, place
from firstcast.proof.run_package import RunPackage

HEIGHT_MM = 1e-5
"""Heights of slices are written with nine digits."""

SHARE = 5e-4
"""Of a pixel. Places of slices are float32, which moves each by 2.7e-6 mm at most within 64 mm of the middle: by 2.4e-4 of a
pixel of 0.022 mm with an outline on either side. An outline that lies a thousandth of a pixel off is told."""

MARGIN_PX = 2


class Unlike(NamedTuple):
    """The pixel in which a slice and a section differ most: share of the pixel, layer, and its middle in the object's own mm."""

    share: float
    layer: int
    x_mm: float
    y_mm: float


def slice_rows(package: RunPackage, cuts: dict[str, Cuts], expected: ExpectedRun) -> list[ProofRow]:
    """Nothing where the 3MF has no slices and should have none; else whether each is there, at its height, and its section."""
    sliced = {name: entry.slices for name, entry in package.objects.items() if entry.slices is not None}
    if not sliced and not expected.slices:
        return []
    lacking = sorted(package.objects.keys() - sliced.keys())
    uneven = {name: _uneven(slices, expected) for name, slices in sliced.items()}
    heights = sum(uneven.values())
    text = f"slices of {many(len(sliced), 'object')}, {many(sum(len(s.tops_mm) for s in sliced.values()), 'slice')}"
    worst, where, unlike = Unlike(0.0, 0, 0.0, 0.0), "", 0
    for name, slices in sliced.items():
        for found in _unlike(cuts[name], slices, expected):
            unlike += found.share > SHARE
            if found.share > worst.share or not where:
                worst, where = found, name
    at = (
        f"'{where}', layer {worst.layer}, {place((worst.x_mm, worst.y_mm))} mm from its middle"
        if where
        else "none"
    )
    loops = sum(slices.open_loops for slices in sliced.values())
    return [
        counted(
            "slices of every object",
            f"{text}; without: {', '.join(lacking) or 'none'}; {many(loops, 'open loop')}",
            len(lacking) + loops,
        ),
        counted(
            "heights of the slices",
            f"{many(heights, 'slice')} at another height than its layer's, or beyond the last layer",
            heights,
        ),
        measured(
            "slices are the sections of their meshes",
            f"{many(unlike, 'slice')} unlike; a pixel differs by {worst.share:.5f} of it at most, in {at}",
            worst.share,
            SHARE,
            "of a pixel",
        ),
    ]


def _uneven(slices: Slices, expected: ExpectedRun) -> int:
    """Slices that don't end where their layer does, and the whole stack if it doesn't begin on the platform."""
    wanted = (np.arange(len(slices.tops_mm)) + 1) * expected.layer_mm
    wrong = int((np.abs(slices.tops_mm - wanted) > HEIGHT_MM).sum())
    return wrong + max(0, len(slices.tops_mm) - expected.layer_count) + (abs(slices.bottom_mm) > HEIGHT_MM)


def _unlike(cuts: Cuts, slices: Slices, expected: ExpectedRun) -> list[Unlike]:
    """Layer by layer, the pixel in which the slice differs most from the section."""
    pixel = np.array(expected.pixel_mm, np.float64)
    flat = cuts.points[:, :2] / pixel
    low = np.floor(flat.min(axis=0)) - MARGIN_PX
    columns, rows = (np.ceil(flat.max(axis=0)) - low + MARGIN_PX).astype(int).tolist()
    move, straight = -low * pixel, np.eye(2)
    threads = max(1, numba.get_num_threads())
    frames: SimpleQueue[Frame] = SimpleQueue()
    for _ in range(threads):
        frames.put(Frame((columns, rows), expected.pixel_mm))

    def draw(frame: Frame, layer: int, above_mm: float) -> None:
        frame.add_section(cuts, layer, (layer + 0.5) * expected.layer_mm + above_mm, straight, move)

    def look(layer: int) -> Unlike:
        if not len(cuts.rows_of(layer)) and len(slices.loops_of(layer)) < 2:
            return Unlike(0.0, layer, 0.0, 0.0)
        frame = frames.get()
        try:
            outside = frame.add_loops(slices.corners_mm, slices.loops_of(layer), move)
            shares = frame.shares()
            draw(frame, layer, 0.0)
            # where shells of one object overlap it is covered once
            away = np.abs(np.minimum(frame.shares(), 1.0) - shares)
            if away.max() > SHARE:
                least, most = about_plane(frame, lambda above: draw(frame, layer, above))
                away = np.abs(np.clip(shares, least, most) - shares)
        finally:
            frames.put(frame)
        # what lies beyond the mesh is as unlike as can be
        away[0, 0] = max(away[0, 0], float(outside > 0))
        return _worst(away, layer, low, pixel)

    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(look, range(expected.layer_count)))


def _worst(
    away: npt.NDArray[np.float32], layer: int, low: npt.NDArray[np.float64], pixel: npt.NDArray[np.float64]
) -> Unlike:
    row, column = np.unravel_index(int(away.argmax()), away.shape)
    x, y = ((np.array([column, row]) + low + 0.5) * pixel).tolist()
    return Unlike(float(away[row, column]), layer, x, y)
