"""Single regions of sampled layers against polygons of the meshes, cut by a general library."""

from typing import NamedTuple

import manifold3d
import numpy as np
import numpy.typing as npt

from firstcast.proof import _layers
from firstcast.proof.check_run_meshes import Shape
from firstcast.proof.expected_run import ExpectedRun
from firstcast.proof.rows import ProofRow, counted, many, measured

WHITE = 255


class Sampled(NamedTuple):
    """A drawn region: its layer, pixels drawn and wanted, what rounding explains, what tips may add; `drawn` -1: none."""

    layer: int
    drawn: float
    wanted: float
    limit: float
    shared: float


def sample_layer(
    layer: int,
    image: npt.NDArray[np.uint8],
    shapes: dict[str, Shape],
    expected: ExpectedRun,
) -> list[Sampled]:
    """Every region of a layer, drawn or wanted."""
    labels = np.zeros(image.shape, np.int32)
    kinds = (image > 0).astype(np.uint8)
    spans = np.tile(np.array([0, image.shape[1]], np.int32), (len(image), 1))
    pixels = _layers.label_pixels(kinds, 1, spans, True, labels)
    sums = np.zeros(len(pixels), np.int64)
    _layers.sum_labels(labels, image, sums)
    wanted, outline, shared = (np.zeros(len(pixels)) for _ in range(3))
    found = []
    for standing in expected.standing:
        for area, length, both, corners in _polygons(shapes[standing.master], layer, expected):
            label = _label_at(labels, Shape.placed(corners, standing), expected)
            if label == 0:
                # less than a pixel's smallest step is drawn as nothing
                found.append(Sampled(layer, -1.0, area, max(length, 1.0) / WHITE, both))
                continue
            wanted[label] += area
            outline[label] += length
            shared[label] += both
    for label in range(1, len(pixels)):
        limit = max(outline[label], 1.0) / WHITE
        found.append(Sampled(layer, sums[label] / WHITE, wanted[label], limit, shared[label]))
    return found


def region_rows(sampled: list[Sampled], layers: set[int]) -> list[ProofRow]:
    """Two rows: regions of the mesh that are not drawn, and how far the areas of those drawn are off."""
    absent = [entry for entry in sampled if entry.drawn < 0 and entry.wanted > entry.limit]
    drawn = [entry for entry in sampled if entry.drawn >= 0]
    where = f"in {many(len(layers), 'sampled layer')}"
    rows = [
        counted(
            "regions of the mesh that are not drawn",
            f"{len(absent)} of {many(len(sampled), 'region')} {where}",
            len(absent),
        )
    ]
    if drawn:
        ratios = [_excess(entry) / entry.limit for entry in drawn]
        worst = int(np.argmax(ratios))
        entry = drawn[worst]
        text = (
            f"{many(len(drawn), 'region')} {where}; the worst, in layer {entry.layer}, {entry.drawn:.2f} pixels drawn "
            f"and {entry.wanted:.2f} in the mesh, where rounding explains {entry.limit:.2f}"
        )
        rows.append(
            measured("area of single regions", text, ratios[worst], 1.0, "times what rounding explains")
        )
    return rows


def _excess(entry: Sampled) -> float:
    return abs(entry.drawn - float(np.clip(entry.drawn, entry.wanted, entry.wanted + entry.shared)))


def _polygons(
    shape: Shape, layer: int, expected: ExpectedRun
) -> list[tuple[float, float, float, npt.NDArray[np.float64]]]:
    """Per region of a master's section: area, outline and what piece and props share, in pixels; corners in mm."""
    height = (layer + 0.5) * expected.layer_mm
    cuts = [part.solid.slice(height) for part in shape.parts]
    whole = manifold3d.CrossSection.batch_boolean(cuts, manifold3d.OpType.Add)
    both = cuts[0] ^ cuts[1] if len(cuts) == 2 else manifold3d.CrossSection()
    found = []
    for region in whole.decompose():
        loops = [np.asarray(loop, np.float64) for loop in region.to_polygons()]
        if not loops:
            continue
        length = sum(float(np.hypot(*(np.roll(loop, -1, axis=0) - loop).T).sum()) for loop in loops)
        shared = (region ^ both).area() if not both.is_empty() else 0.0
        found.append(
            (
                region.area() / expected.pixel_mm2,
                length / min(expected.pixel_mm),
                shared / expected.pixel_mm2,
                np.concatenate(loops),
            )
        )
    return found


def _label_at(labels: npt.NDArray[np.int32], corners: npt.NDArray[np.float64], expected: ExpectedRun) -> int:
    """The label that most of a polygon's corners lie on; 0 where none lies on any."""
    spots = np.floor(corners / np.array(expected.pixel_mm)).astype(int)
    inside = ((spots >= 0) & (spots < np.array(labels.shape[::-1]))).all(axis=1)
    here = labels[spots[inside, 1], spots[inside, 0]]
    here = here[here > 0]
    return int(np.bincount(here).argmax()) if len(here) else 0
