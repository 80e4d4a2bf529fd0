"""Rows on the manifest of a run's layer images: against the job, and what it says of each layer against the images."""

from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.proof.expected_run import ExpectedRun
from firstcast.proof.layer_images import LayerFile
from firstcast.proof.rows import ProofRow, counted, many

WHITE = 255

DIGITS = {"area_mm2": 4, "largest_mm2": 4, "closed_mm2": 4, "resin_mm3": 4, "peel_n": 3, "top_mm": 6}
"""To which the table is rounded."""


class Seen(NamedTuple):
    """What the images themselves come to, layer by layer.

    Attributes
    ----------
    levels : (n,) int64
        Sum of all pixels.
    regions, largest, closed : (n,) int64
        Regions of cured pixels but for flecks; pixels of the largest; pixels of hollows that the film closes.
    """

    levels: npt.NDArray[np.int64]
    regions: npt.NDArray[np.int64]
    largest: npt.NDArray[np.int64]
    closed: npt.NDArray[np.int64]


def manifest_rows(images: LayerFile, expected: ExpectedRun) -> list[ProofRow]:
    """What the manifest says of the run against the job, and an image for each layer."""
    found = images.manifest
    build = [round(n * pixel, 6) for n, pixel in zip(expected.pixels, expected.pixel_mm, strict=True)]
    said = {
        "pixels": (found.get("pixels"), list(expected.pixels)),
        "pixel_mm": (found.get("pixel_mm"), list(expected.pixel_mm)),
        "platform_mm": (found.get("platform_mm"), build),
        "layer_mm": (found.get("layer_mm"), expected.layer_mm),
        "layer_count": (found.get("layer_count"), expected.layer_count),
        "height_mm": (found.get("height_mm"), round(expected.layer_count * expected.layer_mm, 6)),
        "mirrored": (found.get("mirrored"), expected.mirrored),
        "run": (found.get("run"), expected.name),
        "first_row": (found.get("first_row"), "y = 0"),
        "first_column": (found.get("first_column"), "greatest x" if expected.mirrored else "x = 0"),
        "layers": (images.numbers, list(range(expected.layer_count))),
        "order of names": (images.names, sorted(images.names)),
        "pieces": (
            [[p.get(key) for key in ("master", "x_mm", "y_mm", "turn_deg")] for p in found.get("pieces", [])],
            [[s.master, s.x_mm, s.y_mm, s.turn_deg] for s in expected.standing],
        ),
    }
    wrong = [key for key, (have, want) in said.items() if have != want]
    text = f"the manifest says {', '.join(wrong)} otherwise than the job" if wrong else "as the job has them"
    short = abs(len(images.names) - expected.layer_count)
    number = f"{len(images.names):,} images for {many(expected.layer_count, 'layer')}, {len(images.stray)} stray files"
    return [
        counted("manifest: pixels, layers and pieces", text, len(wrong)),
        counted("an image per layer", number, short + len(images.stray)),
    ]


def table_rows(images: LayerFile, seen: Seen, expected: ExpectedRun) -> list[ProofRow]:
    """What the manifest's table and its sums say against what the images come to."""
    area = seen.levels * (expected.pixel_mm2 / WHITE)
    wanted: dict[str, npt.NDArray[Any]] = {
        "top_mm": (np.arange(expected.layer_count) + 1) * expected.layer_mm,
        "area_mm2": area,
        "regions": seen.regions,
        "largest_mm2": seen.largest * expected.pixel_mm2,
        "closed_mm2": seen.closed * expected.pixel_mm2,
        "resin_mm3": area * expected.layer_mm,
    }
    if expected.stress_kpa is not None:
        # a kPa over a mm² is a thousandth of a newton
        wanted["peel_n"] = area[:, None] * 1e-3 * np.array(expected.stress_kpa)
    off = {key: _off(images.table, key, values) for key, values in wanted.items()}
    wrong = {key: layers for key, layers in off.items() if len(layers)}
    told = [
        f"{key} in {many(len(layers), 'layer')}, the first {int(layers[0])}" for key, layers in wrong.items()
    ]
    resin = float(area.sum()) * expected.layer_mm
    said = images.manifest.get("resin_mm3")
    is_resin_off = not isinstance(said, (int, float)) or not abs(said - resin) <= 1e-3 + 1e-9 * resin
    if is_resin_off:
        told.append(f"resin of {said} mm³ in all where the images hold {resin:.3f}")
    text = f"{', '.join(wanted)} of {many(expected.layer_count, 'layer')}"
    return [
        counted(
            "the manifest's table is what the images come to",
            f"{text}: {'; '.join(told) + ', not so' if told else 'all so'}",
            sum(len(layers) for layers in wrong.values()) + is_resin_off,
        )
    ]


def _off(table: list[Any], key: str, wanted: npt.NDArray[Any]) -> npt.NDArray[np.int64]:
    """Layers of which the table says something else than is wanted, or nothing."""
    said = np.full(wanted.shape, np.nan)
    for layer, row in enumerate(table):
        value = row.get(key)
        if np.shape(value) == wanted.shape[1:] and value is not None:
            try:
                said[layer] = value
            except (TypeError, ValueError):
                continue
    # rounded to so many digits: by half of the last at most, and a little for sums in another order
    most = 0.5 * 10.0 ** -DIGITS[key] if key in DIGITS else 0.0
    wrong = ~(np.abs(said - wanted) <= most + 1e-9 * np.abs(wanted) + 1e-12)
    return np.flatnonzero(wrong.any(axis=1) if wrong.ndim == 2 else wrong)
