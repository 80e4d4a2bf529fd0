"""Rows on a run's layer images, from one pass over all of them: digests, pixels, areas, regions, tips."""

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

import numba
import numpy as np
import numpy.typing as npt

from firstcast.proof import _layers
from firstcast.proof.check_run_manifest import Seen, table_rows
from firstcast.proof.check_run_meshes import Shape
from firstcast.proof.check_run_regions import Sampled, region_rows, sample_layer
from firstcast.proof.check_run_starts import hollow_rows, start_rows
from firstcast.proof.expected_run import ExpectedRun
from firstcast.proof.layer_images import LayerFile
from firstcast.proof.layer_pixels import ROUNDED, Compared, Cuts, Reference
from firstcast.proof.layer_regions import LookedAt, Stack, look_at
from firstcast.proof.rows import ProofRow, counted, many, measured, place

WHITE = 255

AHEAD = 2
"""Layers that are looked at ahead, beside one per thread."""


@dataclass(frozen=True)
class Layer:
    """What one image shows; only `is_sealed` counts where it is of another size."""

    is_sealed: bool
    compared: Compared | None
    look: LookedAt | None
    tips: int = 0
    tips_missing: int = 0
    sampled: tuple[Sampled, ...] = ()


def layer_rows(
    images: LayerFile,
    cuts: dict[str, tuple[Cuts, ...]],
    shapes: dict[str, Shape],
    expected: ExpectedRun,
    samples: int,
) -> list[ProofRow]:
    """All rows of the images; those that need every layer only if every one is of the right size."""
    chosen = set(
        np.linspace(0, expected.layer_count - 1, min(samples, expected.layer_count) + 2)
        .astype(int)[1:-1]
        .tolist()
    )
    stack = Stack(least_pixels=expected.least_pixels, within=expected.within)
    layers = []
    for layer in _looked_at(images, cuts, shapes, expected, chosen):
        if layer.look is not None:
            stack.add(layer.look)
        # the labels of an image are as large as itself: one pass, and they are let go
        layers.append(
            Layer(layer.is_sealed, layer.compared, None, layer.tips, layer.tips_missing, layer.sampled)
        )
    rows = [_sealed_row(layers), _size_row(layers, expected)]
    if any(layer.compared is None for layer in layers):
        return rows
    compared = [layer.compared for layer in layers if layer.compared is not None]
    seen = Seen(np.array([each.levels for each in compared]), *stack.totals())
    return [
        *rows,
        *_pixel_rows(compared, expected),
        _area_row(seen.levels / WHITE, shapes, expected),
        *region_rows([entry for layer in layers for entry in layer.sampled], chosen),
        _tip_row(layers),
        *table_rows(images, seen, expected),
        *start_rows(stack, expected),
        *hollow_rows(stack, expected),
    ]


def _looked_at(
    images: LayerFile,
    cuts: dict[str, tuple[Cuts, ...]],
    shapes: dict[str, Shape],
    expected: ExpectedRun,
    chosen: set[int],
) -> Iterator[Layer]:
    """Each layer's image as it is looked at, in order, in as many threads as numba may use."""
    threads = max(1, numba.get_num_threads())
    reference = Reference(
        cuts, expected.standing, expected.pixels, expected.pixel_mm, expected.layer_mm, threads=threads
    )

    def look(number: int, data: bytes) -> Layer:
        image, is_sealed = images.image_of(number, data), images.is_sealed(number, data)
        if image.shape != (expected.pixels[1], expected.pixels[0]):
            return Layer(is_sealed, None, None)
        compared = reference.compare(number, image)
        tips, missing = _tips(number, image, expected)
        sampled = tuple(sample_layer(number, image, shapes, expected)) if number in chosen else ()
        return Layer(is_sealed, compared, look_at(image, expected.level), tips, missing, sampled)

    with ThreadPoolExecutor(threads) as pool:
        waiting: deque[Future[Layer]] = deque()
        for number in range(expected.layer_count):
            waiting.append(pool.submit(look, number, images.read(number)))
            if len(waiting) >= threads + AHEAD:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def _tips(layer: int, image: npt.NDArray[np.uint8], expected: ExpectedRun) -> tuple[int, int]:
    """Tips that touch in a layer, and how many of them have no cured pixel at or beside their place."""
    tips = dict(expected.tips)
    looked = missing = 0
    for standing in expected.standing:
        places = tips.get(standing.master)
        if places is None or not len(places):
            continue
        last = expected.layer_count - 1
        here = places[np.clip(np.floor(places[:, 2] / expected.layer_mm), 0, last) == layer]
        if len(here):
            spots = np.floor(Shape.placed(here[:, :2], standing) / np.array(expected.pixel_mm)).astype(
                np.int64
            )
            columns, rows = np.ascontiguousarray(spots[:, 0]), np.ascontiguousarray(spots[:, 1])
            found = np.empty(len(here), np.int64)
            _layers.brightest_around(image, columns, rows, found)
            looked += len(here)
            missing += int((found < expected.level).sum())
    return looked, missing


def _sealed_row(layers: list[Layer]) -> ProofRow:
    broken = sum(not layer.is_sealed for layer in layers)
    text = f"{many(broken, 'image')} of {len(layers):,} not as sealed in the manifest"
    return counted("digests of the images", text, broken)


def _size_row(layers: list[Layer], expected: ExpectedRun) -> ProofRow:
    other = sum(layer.compared is None for layer in layers)
    text = f"{many(other, 'image')} of another size than {expected.pixels[0]} × {expected.pixels[1]}"
    return counted("size of the images", text, other)


def _pixel_rows(compared: list[Compared], expected: ExpectedRun) -> list[ProofRow]:
    """Whether each pixel is lit by what the meshes cover of it, and whether all of them lies within the images."""
    off = [layer for layer, each in enumerate(compared) if each.off]
    worst = max(range(len(compared)), key=lambda layer: compared[layer].most)
    most = compared[worst]
    x, y = ((n + 0.5) * p for n, p in zip((most.column, most.row), expected.pixel_mm, strict=True))
    text = f"{sum(each.lit for each in compared):,} pixels lit or covered in {many(len(compared), 'layer')}: "
    if off:
        text += f"{sum(each.off for each in compared):,} otherwise than the meshes cover them, the first in layer {off[0]}; "
    text += (
        f"the farthest off in layer {worst} at {place((x, y))} mm, {most.level:g} of {WHITE} levels where the meshes ask "
        f"for {most.wanted:.2f}"
    )
    outside = sum(each.outside for each in compared)
    return [
        measured("every pixel of every layer", text, most.most, ROUNDED, "levels"),
        counted(
            "all of it within the images",
            f"{many(outside, 'piece')} of outlines beyond the edge",
            outside,
        ),
    ]


def _area_row(areas: npt.NDArray[np.float64], shapes: dict[str, Shape], expected: ExpectedRun) -> ProofRow:
    """All layers: area of the image against that of the sections, in pixels, as a share of what rounding explains."""
    wanted, shared, outline = (np.zeros(expected.layer_count) for _ in range(3))
    for standing in expected.standing:
        shape = shapes[standing.master]
        wanted += shape.areas_mm2 / expected.pixel_mm2
        shared += shape.shared_mm2 / expected.pixel_mm2
        outline += shape.outlines_mm / min(expected.pixel_mm)
    # a pixel at a tip's edge may hold twice what both share: from none of it to all of it is right
    excess = np.abs(areas - np.clip(areas, wanted, wanted + shared))
    limits = np.maximum(outline, 1.0) / WHITE
    ratio = excess / limits
    worst = int(ratio.argmax())
    text = (
        f"layer {worst}: {areas[worst] * expected.pixel_mm2:.4f} mm² drawn, {wanted[worst] * expected.pixel_mm2:.4f} mm² "
        f"in the mesh, {excess[worst]:.2f} pixels apart where rounding explains {limits[worst]:.2f}; the worst of "
        f"{many(expected.layer_count, 'layer')}"
    )
    return measured("area of every layer", text, float(ratio[worst]), 1.0, "times what rounding explains")


def _tip_row(layers: list[Layer]) -> ProofRow:
    tips, missing = sum(layer.tips for layer in layers), sum(layer.tips_missing for layer in layers)
    return counted("props at every tip", f"{missing} of {many(tips, 'tip')} not in the images", missing)
