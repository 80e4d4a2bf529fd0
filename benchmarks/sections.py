"""Shares of pixels covered by layers, beside polygons of manifold3d drawn by Pillow eight times as fine each way.

A bumpy ball as tall as wide, at 0.03 mm a layer. "general" cuts the same body and draws its polygons, holes over
outlines from the largest down, then averages 8 × 8 dots. Both are timed on the same 12 layers spread over the height;
the ratio is of processor seconds, without what is done once for a mesh ("sort"). "stack" is the whole height,
streamed, in processor seconds of all cores. "apart" is the mean difference of shares over edge pixels: dots are
counted in steps of 1/64, and Pillow fills those on the outline as well. Peak memory is of a process that only makes
the body, sorts and streams; 270 MB of it at most are the shares of a batch.

Run `python benchmarks/sections.py`; prints one table.
"""

import argparse
import json
import resource
import subprocess
import sys
import time

import manifold3d
import numpy as np
import trimesh
from PIL import Image, ImageDraw

from firstcast.fields.coverage import (
    Layers,
    PixelGrid,
    Sections,
    coverage_of,
    section_layers,
    stream_coverage,
)

CASES = (
    (32.0, 0.035, 75_000),
    (32.0, 0.035, 300_000),
    (32.0, 0.035, 2_000_000),
    (32.0, 0.070, 300_000),
    (32.0, 0.0175, 300_000),
    (75.0, 0.022, 2_000_000),
)
"""Height in mm, pixel in mm, triangles wanted."""

LAYER_MM = 0.03
FINER = 8
COMPARED = 12


def bumpy_ball(height_mm: float, triangles: int) -> tuple[np.ndarray, np.ndarray]:
    """Points and triangles of a ball with relief of many sizes, standing on z = 0 in the corner of the axes."""
    rows = round(np.sqrt(triangles / 8))
    solid = trimesh.creation.uv_sphere(count=[rows, 2 * rows])
    x, y, z = solid.vertices.T
    relief = 0.08 * np.sin(7 * x + 1) * np.cos(6 * y) + 0.02 * np.sin(31 * z) * np.cos(29 * x)
    points = solid.vertices * (1.0 + relief + 0.004 * np.sin(140 * y) * np.sin(150 * z))[:, None]
    points *= height_mm / np.ptp(points[:, 2])
    return points - points.min(axis=0), np.ascontiguousarray(solid.faces, np.int32)


def laid_out(points: np.ndarray, pixel_mm: float) -> tuple[PixelGrid, Layers]:
    """Pixels and layers around a body."""
    width, depth, height = np.ptp(points, axis=0)
    nx, ny = int(width / pixel_mm) + 3, int(depth / pixel_mm) + 3
    grid = PixelGrid((-1.3 * pixel_mm, -1.4 * pixel_mm), pixel_mm, pixel_mm, nx, ny)
    return grid, Layers(0.0, LAYER_MM, int(np.ceil(height / LAYER_MM)))


def drawn(body: manifold3d.Manifold, grid: PixelGrid, z_mm: float) -> np.ndarray:
    """Shares (ny, nx) by drawing the section's polygons."""
    picture = Image.new("L", (grid.nx * FINER, grid.ny * FINER))
    pen = ImageDraw.Draw(picture)
    scale = FINER / np.array([grid.pixel_x_mm, grid.pixel_y_mm])
    loops = [(loop - grid.origin_mm) * scale - 0.5 for loop in body.slice(z_mm).to_polygons()]
    areas = [float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) for x, y in (loop.T for loop in loops)]
    for n in np.argsort(-np.abs(areas)):
        pen.polygon([tuple(corner) for corner in loops[n]], fill=255 if areas[n] > 0 else 0)
    return np.asarray(picture.reduce(FINER), np.float32) / 255


def ours(sections: Sections, layers: np.ndarray) -> list[np.ndarray]:
    """Shares of single layers on the whole grid."""
    images = []
    for k in layers.tolist():
        coverage = coverage_of(sections, k, k + 1)
        image = np.zeros((sections.grid.ny, sections.grid.nx), np.float32)
        y0, y1, x0, x1 = coverage.window(k)
        image[y0:y1, x0:x1] = coverage.image(k)
        images.append(image)
    return images


def timed(function):
    """Result, wall seconds and processor seconds."""
    wall, processor = time.perf_counter(), time.process_time()
    result = function()
    return result, time.perf_counter() - wall, time.process_time() - processor


def warm() -> None:
    points, triangles = bumpy_ball(2.0, 400)
    sections = section_layers(points, triangles, *laid_out(points, 0.1))
    coverage_of(sections, 0, sections.layers.count)


def stack(height_mm: float, pixel_mm: float, triangles: int) -> dict:
    """Sort and stream a whole stack in this process: seconds, pixels and peak memory."""
    warm()
    points, rows = bumpy_ball(height_mm, triangles)
    grid, layers = laid_out(points, pixel_mm)
    sections, _, sort = timed(lambda: section_layers(points, rows, grid, layers))
    pixels, wall, processor = timed(lambda: sum(len(batch.shares) for batch in stream_coverage(sections)))
    return {
        "triangles": len(rows),
        "layers": layers.count,
        "pixels in windows, 10⁹": round(pixels / 1e9, 2),
        "sort, s": round(sort, 2),
        "stack, s": round(processor, 2),
        "stack, s of wall": round(wall, 2),
        "peak, MB": round(_peak_mb()),
    }


def beside(height_mm: float, pixel_mm: float, triangles: int) -> dict:
    """Both on the same layers in this process."""
    warm()
    points, rows = bumpy_ball(height_mm, triangles)
    grid, layers = laid_out(points, pixel_mm)
    sections = section_layers(points, rows, grid, layers)
    body = manifold3d.Manifold(manifold3d.Mesh64(points, rows.astype(np.uint64)))
    chosen = np.linspace(0, layers.count - 1, COMPARED + 2).astype(int)[1:-1]
    exact, _, seconds = timed(lambda: ours(sections, chosen))
    rough, _, general = timed(lambda: [drawn(body, grid, layers.middle_mm(k)) for k in chosen])
    edges = [(a > 0) & (a < 1) for a in exact]
    apart = np.mean([np.abs(a - b)[edge].mean() for a, b, edge in zip(exact, rough, edges, strict=True)])
    return {
        "ours, ms per layer": round(1e3 * seconds / COMPARED, 1),
        "general, ms per layer": round(1e3 * general / COMPARED, 1),
        "ratio": round(general / seconds, 1),
        "apart": round(float(apart), 4),
    }


def rows() -> list[dict]:
    """One row per body and pixel: the whole stack by ours, and both on some layers."""
    found = []
    for height, pixel, triangles in CASES:
        row = {"height, mm": height, "pixel, mm": pixel}
        for part in ("stack", "beside"):
            command = [sys.executable, __file__, "--part", part, *map(str, (height, pixel, triangles))]
            done = subprocess.run(command, capture_output=True, text=True, check=True)
            row |= json.loads(done.stdout)
        found.append(row)
    return found


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--part", choices=("stack", "beside"))
    parser.add_argument("case", nargs="*", type=float)
    chosen = parser.parse_args()
    if chosen.part:
        height, pixel, triangles = chosen.case
        run = stack if chosen.part == "stack" else beside
        print(json.dumps(run(height, pixel, int(triangles))))
    else:
        from run_all import table

        print(table(rows()))
