"""The proof of a run: its layer images, STL and 3MF read back and held against each other and the job."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numba
import numpy as np
import numpy.typing as npt

from firstcast.proof import _layers
from firstcast.proof.check_run_meshes import Shape, master_rows, package_rows, shape_of, stl_rows
from firstcast.proof.check_run_regions import Sampled, region_rows, sample_layer
from firstcast.proof.expected_run import ExpectedRun, Standing
from firstcast.proof.layer_images import LayerFile
from firstcast.proof.layer_regions import LookedAt, Stack, look_at
from firstcast.proof.rows import ProofRow, counted, many, measured, place
from firstcast.proof.run_package import read_run_package
from firstcast.vocabulary import Verdict

SAMPLES = 16
"""Layers whose every region is measured against polygons; area, outlines and regions are read in all."""

WHITE = 255

MIDDLE_PX = 0.05
"""How far the middle of a layer's light may lie from that of its section, beside what rounding explains."""


@dataclass
class _Tally:
    """What is gathered over the layers."""

    areas_px: list[float]
    middles_px: list[tuple[float, float]]
    bad_digests: list[int]
    bad_sizes: list[int]
    missing: int = 0
    first_missing: tuple[int, float, float] | None = None
    looked_for: int = 0
    tips_missing: int = 0
    tips: int = 0


def prove_run(
    zip_path: Path | str,
    stl_path: Path | str,
    threemf_path: Path | str,
    expected: ExpectedRun,
    *,
    samples: int = SAMPLES,
) -> tuple[ProofRow, ...]:
    """Measure a run's written files.

    Parameters
    ----------
    zip_path, stl_path, threemf_path : path
        Layer images with their manifest; all that stands on the platform as STL; each master once as 3MF, its props in
        an object of their own named "MASTER props".
    expected : ExpectedRun
    samples : int
        Layers, spread evenly, in which every single region's area is measured.

    Raises
    ------
    FileError
        A file can't be read, or is not what its name says.

    Notes
    -----
    A layer's area may differ from its section's by the outline's length in pixels over 255, as levels are rounded, and
    where props enter a piece by what both share there: a pixel on an edge holds min(1, sum).
    """
    package = read_run_package(threemf_path)
    rows = [*package_rows(package, expected), *master_rows(package, expected), *stl_rows(stl_path, package)]
    images = LayerFile(zip_path)
    try:
        rows += _manifest_rows(images, expected)
        if len(images.names) != expected.layer_count:
            return tuple(rows)
        shapes = {
            name: shape_of(package, name, expected)
            for name in dict.fromkeys(s.master for s in expected.standing)
        }
        rows += _layer_rows(images, shapes, expected, samples)
    finally:
        images.close()
    return tuple(rows)


def _manifest_rows(images: LayerFile, expected: ExpectedRun) -> list[ProofRow]:
    found = images.manifest
    said = {
        "pixels": (found.get("pixels"), list(expected.pixels)),
        "pixel_mm": (found.get("pixel_mm"), list(expected.pixel_mm)),
        "layer_mm": (found.get("layer_mm"), expected.layer_mm),
        "layer_count": (found.get("layer_count"), expected.layer_count),
        "mirrored": (found.get("mirrored"), expected.mirrored),
        "run": (found.get("run"), expected.name),
        "first_row": (found.get("first_row"), "y = 0"),
        "layers": (images.numbers, list(range(expected.layer_count))),
        "order of names": (images.names, sorted(images.names)),
        "pieces": (
            [
                [p.get(key) for key in ("master", "x_mm", "y_mm", "quarter_turns")]
                for p in found.get("pieces", [])
            ],
            [[s.master, s.x_mm, s.y_mm, s.quarter_turns] for s in expected.standing],
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


def _layer_rows(
    images: LayerFile,
    shapes: dict[str, Shape],
    expected: ExpectedRun,
    samples: int,
) -> list[ProofRow]:
    """Rows from one pass over all layers."""
    count = expected.layer_count
    chosen = set(np.linspace(0, count - 1, min(samples, count) + 2).astype(int)[1:-1].tolist())
    tally = _Tally([], [], [], [])
    stack = Stack(least_pixels=expected.least_pixels, within=expected.within)
    sampled: list[Sampled] = []
    for layer, image, look, is_sealed in _looked_at(images, expected):
        if not is_sealed:
            tally.bad_digests.append(layer)
        if image.shape != (expected.pixels[1], expected.pixels[0]):
            tally.bad_sizes.append(layer)
            tally.areas_px.append(float("nan"))
            tally.middles_px.append((float("nan"), float("nan")))
            continue
        columns, rows_px = (image.sum(axis=axis, dtype=np.int64) / WHITE for axis in (0, 1))
        tally.areas_px.append(float(columns.sum()))
        tally.middles_px.append(_middle(columns, rows_px))
        stack.add(look)
        _look_for_outlines(tally, layer, image, shapes, expected)
        _look_for_tips(tally, layer, image, expected)
        if layer in chosen:
            sampled += sample_layer(layer, image, shapes, expected)
    rows = [
        counted(
            "digests of the images",
            f"{many(len(tally.bad_digests), 'image')} of {count:,} not as sealed in the manifest",
            len(tally.bad_digests),
        ),
        counted(
            "size of the images",
            f"{many(len(tally.bad_sizes), 'image')} of another size than {expected.pixels[0]} × {expected.pixels[1]}",
            len(tally.bad_sizes),
        ),
        _area_row(tally, shapes, expected),
        _middle_row(tally, shapes, expected),
        *region_rows(sampled, chosen),
        _outline_row(tally),
        counted(
            "props at every tip",
            f"{tally.tips_missing} of {many(tally.tips, 'tip')} not in the images",
            tally.tips_missing,
        ),
    ]
    if not tally.bad_sizes:
        rows += _start_rows(stack, expected) + _hollow_rows(stack, expected)
    return rows


def _looked_at(
    images: LayerFile, expected: ExpectedRun
) -> Iterator[tuple[int, npt.NDArray[np.uint8], LookedAt, bool]]:
    """Each layer's image with its regions and whether its digest holds, in order, some read ahead."""

    def look(layer: int, data: bytes):
        image = images.image_of(layer, data)
        return layer, image, look_at(image, expected.level), images.is_sealed(layer, data)

    threads = max(1, numba.get_num_threads())
    with ThreadPoolExecutor(threads) as pool:
        for first in range(0, expected.layer_count, threads):
            layers = range(first, min(first + threads, expected.layer_count))
            yield from pool.map(look, layers, [images.read(layer) for layer in layers])


def _spots(
    places_mm: npt.NDArray[np.float64], expected: ExpectedRun
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Columns and rows of places on the platform."""
    spots = np.floor(places_mm[:, :2] / np.array(expected.pixel_mm)).astype(np.int64)
    return np.ascontiguousarray(spots[:, 0]), np.ascontiguousarray(spots[:, 1])


def _look_for_outlines(
    tally: _Tally, layer: int, image: npt.NDArray[np.uint8], shapes: dict[str, Shape], expected: ExpectedRun
) -> None:
    for standing in expected.standing:
        for part in shapes[standing.master].parts:
            here = slice(*part.sections.starts[layer : layer + 2].tolist())
            places = part.sections.places_mm[here]
            if not len(places):
                continue
            on_platform = shapes[standing.master].placed(places, standing)
            columns, rows = _spots(on_platform, expected)
            found = np.empty(len(places), np.int64)
            _layers.brightest_around(image, columns, rows, found)
            tally.looked_for += len(places)
            missing = np.flatnonzero(found == 0)
            # a sliver may round to nothing: one place alone, or less outline than a pixel has, is left to the areas
            length = part.sections.lengths_mm[here][missing].sum()
            if len(missing) > 1 and length > 2 * sum(expected.pixel_mm):
                tally.missing += len(missing)
                if tally.first_missing is None:
                    x, y = on_platform[missing[0]].tolist()
                    tally.first_missing = layer, x, y


def _look_for_tips(tally: _Tally, layer: int, image: npt.NDArray[np.uint8], expected: ExpectedRun) -> None:
    tips = dict(expected.tips)
    for standing in expected.standing:
        places = tips.get(standing.master)
        if places is None or not len(places):
            continue
        last = expected.layer_count - 1
        here = places[np.clip(np.floor(places[:, 2] / expected.layer_mm), 0, last) == layer]
        if len(here):
            columns, rows = _spots(Shape.placed(here[:, :2], standing), expected)
            found = np.empty(len(here), np.int64)
            _layers.brightest_around(image, columns, rows, found)
            tally.tips += len(here)
            tally.tips_missing += int((found < expected.level).sum())


def _area_row(tally: _Tally, shapes: dict[str, Shape], expected: ExpectedRun) -> ProofRow:
    """All layers: area of the image against that of the sections, in pixels, as a share of what rounding explains."""
    wanted, shared, outline = (np.zeros(expected.layer_count) for _ in range(3))
    for standing in expected.standing:
        shape = shapes[standing.master]
        wanted += shape.areas_mm2 / expected.pixel_mm2
        shared += shape.shared_mm2 / expected.pixel_mm2
        outline += shape.outlines_mm / min(expected.pixel_mm)
    areas = np.array(tally.areas_px)
    # a pixel at a tip's edge may hold twice what both share: from none of it to all of it is right
    excess = np.abs(areas - np.clip(areas, wanted, wanted + shared))
    limits = np.maximum(outline, 1.0) / WHITE
    ratio = np.where(np.isnan(excess), np.inf, excess / limits)
    worst = int(ratio.argmax())
    text = (
        f"layer {worst}: {areas[worst] * expected.pixel_mm2:.4f} mm² drawn, {wanted[worst] * expected.pixel_mm2:.4f} mm² "
        f"in the mesh, {excess[worst]:.2f} pixels apart where rounding explains {limits[worst]:.2f}; the worst of "
        f"{many(expected.layer_count, 'layer')}"
    )
    return measured("area of every layer", text, float(ratio[worst]), 1.0, "times what rounding explains")


def _middle(columns: npt.NDArray[np.float64], rows: npt.NDArray[np.float64]) -> tuple[float, float]:
    """Middle of a layer's light, pixels from the corner, by its sums along columns and rows."""
    area = max(float(columns.sum()), 1e-300)
    x, y = (float((each * (np.arange(len(each)) + 0.5)).sum()) / area for each in (columns, rows))
    return x, y


def _middle_row(tally: _Tally, shapes: dict[str, Shape], expected: ExpectedRun) -> ProofRow:
    """All layers: how far the middle of the light lies from that of the sections, over what rounding explains.

    Levels round by half a step, either way alike: over an outline of L pixels, R from the middle at most, that moves the middle
    of A pixels by √(L / 12) R / 255 A by the standard deviation. Six of them, a twentieth of a pixel, and what tips may count twice.
    """
    area, outline, shared = (np.zeros(expected.layer_count) for _ in range(3))
    moments = np.zeros((expected.layer_count, 2))
    for standing in expected.standing:
        shape = shapes[standing.master]
        turns = standing.quarter_turns % 4
        turned = Shape.placed(shape.moments_mm3, Standing(standing.master, 0.0, 0.0, turns))
        moments += turned + shape.areas_mm2[:, None] * np.array([standing.x_mm, standing.y_mm])
        area += shape.areas_mm2
        shared += shape.shared_mm2
        outline += shape.outlines_mm / min(expected.pixel_mm)
    some = area > expected.pixel_mm2
    wanted = moments[some] / area[some, None] / np.array(expected.pixel_mm)
    away = np.hypot(*(np.array(tally.middles_px)[some] - wanted).T)
    wide, pixels = float(np.hypot(*expected.pixels)), area[some] / expected.pixel_mm2
    rounded = 6.0 * np.sqrt(outline[some] / 12.0) / WHITE * wide / pixels
    limits = MIDDLE_PX + rounded + shared[some] / expected.pixel_mm2 * wide / pixels
    ratio = np.where(np.isnan(away), np.inf, away / limits)
    if not len(ratio):
        return measured("place of every layer", "no layer is drawn", 0.0, 1.0, "times what rounding explains")
    worst = int(ratio.argmax())
    text = (
        f"layer {int(np.flatnonzero(some)[worst])}: the middle of its light {away[worst]:.3f} pixels from that of the mesh, where "
        f"rounding explains {limits[worst]:.3f}; the worst of {many(len(ratio), 'layer')}"
    )
    return measured("place of every layer", text, float(ratio[worst]), 1.0, "times what rounding explains")


def _outline_row(tally: _Tally) -> ProofRow:
    bodies = many(tally.looked_for, "place")
    text = f"{bodies} on the outlines of every body in every layer: all drawn"
    if tally.first_missing:
        layer, x, y = tally.first_missing
        text = f"{tally.missing:,} of {bodies} on outlines not drawn, the first in layer {layer} at {place((x, y))} mm"
    return counted("every body in every layer it spans", text, tally.missing)


def _start_rows(stack: Stack, expected: ExpectedRun) -> list[ProofRow]:
    starts = stack.starts()
    failing = [start for start in starts if start.held_after < 0]
    text = (
        f"{many(len(starts), 'region')} of {expected.least_pixels} pixels or more with nothing beneath; "
        f"{stack.flecks} smaller"
    )
    held = f"{len(failing)} of them not held within {many(expected.within, 'layer')}"
    if failing:
        worst = max(failing, key=lambda start: start.pixels)
        x, y = ((n + 0.5) * p for n, p in zip((worst.column, worst.row), expected.pixel_mm, strict=True))
        held += f", the largest of {many(worst.pixels, 'pixel')} in layer {worst.layer} at {place((x, y))} mm"
    return [
        counted("bare starts", text, len(starts), bad=Verdict.WATCH),
        counted("bare starts that nothing holds", held, len(failing)),
    ]


def _hollow_rows(stack: Stack, expected: ExpectedRun) -> list[ProofRow]:
    voxel = expected.pixel_mm2 * expected.layer_mm
    rows = []
    for sealed, check in ((False, "hollows that suck"), (True, "hollows that are sealed")):
        found = [hollow for hollow in stack.hollows() if hollow.sealed == sealed]
        largest = found[0].voxels * voxel if found else 0.0
        text = f"{sum(h.voxels * voxel > expected.cup_mm3 for h in found)} above {expected.cup_mm3:g} mm³"
        if found:
            text += f", the largest of {largest:.3f} mm³ in layers {found[0].first} to {found[0].last}"
        rows.append(measured(check, text, largest, expected.cup_mm3, "mm3", Verdict.WATCH))
    return rows
