"""Filling a strip or a platform: ours on cells, beside spyrrow on polygons, and beside the best lengths known.

"strips" are instances of ESICUP (the working group on cutting and packing of EURO), read from the folder that
$FIRSTCAST_NESTING names: least length of a strip of fixed height. "best known" densities are those of SHAPES0 in the records of
arXiv 2509.13329, the others from memory. "gap" is in points of density. Ours draws polygons on cells ("rows" of them across
the strip), each cell that a polygon touches whole, and moves them by some cells at a time (`LEVELS`): it places in order first,
then shortens the strip while overlaps can be lessened to nothing, by large shares and steps first. The library is given
the seconds said, and two threads; its result depends on them and on the machine.

"platforms" is what the station does: a figure leaned back by 15 degrees and lifted by 5 mm on three posts, at 1.5 mm clearance on a platform
of 134 × 75 mm less 2 mm of edges: how many fit by bands of height, by the same in turns of 15 degrees, by the plan alone, and by
the library, which knows the plan alone, by searching on the count until a strip is too long. Figures are public meshes ($FIRSTCAST_DATA).

"memory" is the peak with the maps of 20 different masters, of figures as above.

Run `python benchmarks/nesting.py`, or with names of instances, or with `memory`. `rows` leaves out what has no folder.
"""

import json
import os
import resource
import sys
import time
from pathlib import Path
from typing import NamedTuple

import manifold3d
import numpy as np
import spyrrow
import trimesh

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.turns import leaned
from firstcast.kernels.nesting import Plate
from firstcast.printing.nesting import most_sets
from firstcast.printing.nesting_search import Effort, Spot, place_all, plate_of
from firstcast.printing.shadows import Shadow, outline_of, shadow_of

BEST = {
    "shapes0": 70.00, "shapes1": 76.73, "swim": 75.94, "shirts": 88.96, "trousers": 91.00, "albano": 89.58,
    "fu": 92.41, "dagli": 89.51, "mao": 85.44, "marques": 90.59, "blaz": 84.84,
}  # fmt: skip
"""Densities in per cent; all but SHAPES0 from memory."""

ROWS = 1200
"""Cells across the strip, or a little more: where lengths are small whole numbers, a whole number of cells a unit."""


class Level(NamedTuple):
    """Pieces are moved by so many cells at a time, the strip is shortened by these shares, each try takes so many sweeps."""

    cells: int
    shares: tuple[float, ...]
    sweeps: int


LEVELS = (
    Level(8, (0.02, 0.01, 0.005), 2000),
    Level(4, (0.005, 0.0025), 800),
    Level(2, (0.00125,), 200),
)

SECONDS = 20
FIRST = Effort(tries=32, sweeps=0)

FIGURES = (("penguin_hr.obj", 32.0), ("koala.obj", 32.0), ("skull.obj", 25.0))
CLEARANCE_MM, EDGE_MM, CELL_MM = 1.5, 2.0, 0.21
BUILD_MM = (134.0, 75.0)
FREE_STEPS = 6
"""A quarter in steps of 15 degrees."""


def instance(name: str) -> dict:
    return json.loads((Path(os.environ["FIRSTCAST_NESTING"]) / f"{name}.json").read_text())


def drawn(polygon: list[list[float]], cell: float) -> Shadow:
    """A polygon as cells of one band."""
    prism = manifold3d.CrossSection([np.array(polygon)], manifold3d.FillRule.NonZero).extrude(1.0).to_mesh()
    mesh = Mesh(np.array(prism.vert_properties[:, :3], np.float64), np.array(prism.tri_verts, np.int32))
    return shadow_of([mesh], cell_mm=(cell, cell), band_mm=1.0)


def ours(told: dict, rows: int, levels: tuple[Level, ...] = LEVELS) -> float:
    """The length of strip that the packing on cells needs, in the instance's own units."""
    cell = told["strip_height"] / rows
    shadows = [drawn(piece["polygon"], cell) for piece in told["pieces"]]
    items = [n for n, piece in enumerate(told["pieces"]) for _ in range(piece["quantity"])]
    angles = tuple(sorted({int(angle) // 90 for piece in told["pieces"] for angle in piece["angles"]}))
    spots: list[Spot] = []
    step = 0
    for level in levels:
        size = (int(2.5 * told["total_area"] / cell**2 / rows) // level.cells, rows // level.cells)
        plate = plate_of(shadows, size, clearance_mm=0.0, turns=angles, fine=level.cells)
        if spots:
            wider = step // level.cells
            spots = [spot._replace(column=spot.column * wider, row=spot.row * wider) for spot in spots]
        else:
            spots = place_all(plate, items, FIRST) or []
            assert spots
        spots = _shortened(plate, items, spots, level)
        step = level.cells
    _check(told, spots, cell * step)
    return _length(plate, spots) * cell * step


def _shortened(plate: Plate, items: list[int], spots: list[Spot], level: Level) -> list[Spot]:
    """Spots on a strip that is shortened by smaller and smaller shares, as long as overlaps can be lessened to nothing."""
    length = _length(plate, spots)
    for share in level.shares:
        while True:
            shorter = min(int(length * (1 - share)), length - 1)
            narrow = plate._replace(size=np.array([shorter, plate.size[1]]))
            effort = Effort(tries=1, sweeps=level.sweeps)
            found = place_all(narrow, items, effort, known=_within(plate, spots, shorter))
            if found is None:
                break
            spots = found
            length = _length(plate, spots)
    return spots


def _check(told: dict, spots: list[Spot], cell: float) -> None:
    """That polygons overlap nowhere: together they cover as much as each for itself."""
    placed = [
        manifold3d.CrossSection(
            [np.array(told["pieces"][spot.shadow]["polygon"])], manifold3d.FillRule.NonZero
        )
        .rotate(90.0 * spot.turn)
        .translate((spot.column * cell, spot.row * cell))
        for spot in spots
    ]
    together = manifold3d.CrossSection.batch_boolean(placed, manifold3d.OpType.Add).area()
    assert abs(together / sum(one.area() for one in placed) - 1) < 1e-6
    assert len(placed) == told["total_pieces"]


def _end(plate: Plate, spot: Spot) -> int:
    first, _, columns, _ = plate.windows[plate.around * spot.shadow + spot.turn].tolist()
    return spot.column + first + columns


def _length(plate: Plate, spots: list[Spot]) -> int:
    return max(_end(plate, spot) for spot in spots)


def _within(plate: Plate, spots: list[Spot], length: int) -> list[Spot]:
    """The same spots with what reaches beyond the strip's end pushed back into it."""
    return [spot._replace(column=spot.column - max(_end(plate, spot) - length, 0)) for spot in spots]


def library(told: dict, seconds: int) -> float:
    items = [
        spyrrow.Item(piece["id"], [tuple(at) for at in piece["polygon"]], piece["quantity"], piece["angles"])
        for piece in told["pieces"]
    ]
    strip = spyrrow.StripPackingInstance("strip", told["strip_height"], items)
    how = spyrrow.StripPackingConfig(
        total_computation_time=seconds, num_workers=2, seed=1, early_termination=False
    )
    return strip.solve(how).width


def _rows(height: float) -> int:
    """A multiple of the widest step, and of the strip's height where that is a small whole number."""
    unit = int(height) if height == int(height) and height < ROWS / LEVELS[0].cells else 1
    most = LEVELS[0].cells * unit
    return most * -(-ROWS // most)


def strip_row(name: str, seconds: int = SECONDS) -> dict:
    told = instance(name)
    rows = _rows(told["strip_height"])
    full = told["total_area"] / told["strip_height"]
    start, cpu = time.perf_counter(), time.process_time()
    length = ours(told, rows)
    took, spent = time.perf_counter() - start, time.process_time() - cpu
    theirs = library(told, seconds)
    mine, other = 100 * full / length, 100 * full / theirs
    return {
        "case": f"strip {name}", "pieces": told["total_pieces"], "best known %": BEST[name],
        "rows": rows, "ours length": f"{length:.4g}", "ours %": f"{mine:.2f}", "ours gap": f"{BEST[name] - mine:.2f}",
        "ours s": f"{took:.0f} (processor {spent:.0f})", "library length": f"{theirs:.4g}",
        "library %": f"{other:.2f}", "library gap": f"{BEST[name] - other:.2f}", "library s": seconds,
    }  # fmt: skip


def figure(name: str, height_mm: float) -> list[Mesh]:
    """A public mesh with y up, closed, on three posts."""
    body = trimesh.load(Path(os.environ["FIRSTCAST_DATA"]) / name, force="mesh", process=True)
    points = np.asarray(body.vertices)[:, [0, 2, 1]] * [1, -1, 1]
    points = points * height_mm / np.ptp(points[:, 2]) @ leaned((0, 1, 0), 15.0).T
    low, high = points.min(axis=0), points.max(axis=0)
    points -= [*(low + high)[:2] / 2, low[2] - 5.0]
    posts = [
        trimesh.creation.cylinder(
            0.5, 10.0, transform=trimesh.transformations.translation_matrix([x, y, 5.0])
        )
        for x, y in ((-3, -2), (3, -2), (0, 3))
    ]
    held = trimesh.util.concatenate(posts)
    return [
        Mesh(points, np.asarray(body.faces, np.int32)),
        Mesh(np.asarray(held.vertices), np.asarray(held.faces, np.int32)),
    ]


def platform_row(name: str, height_mm: float) -> dict:
    meshes = figure(name, height_mm)
    shadow = shadow_of(meshes, cell_mm=(CELL_MM, CELL_MM), band_mm=1.5)
    free = shadow_of(meshes, cell_mm=(CELL_MM, CELL_MM), band_mm=1.5, steps=FREE_STEPS)
    flat = Shadow(shadow.plan[None], shadow.corner, shadow.cell_mm, 1000.0, shadow.height_mm)
    room = tuple(length - 2 * EDGE_MM for length in BUILD_MM)
    size = (int(room[0] / CELL_MM), int(room[1] / CELL_MM))
    row = {"case": f"platform {name} {height_mm:g} mm"}
    for title, one in (("by bands", shadow), ("in free turns", free), ("by plan", flat)):
        start = time.process_time()
        turns = tuple(range(4 * (1 + len(one.between))))
        found = most_sets([one], [1], size, clearance_mm=CLEARANCE_MM, turns=turns, effort=Effort())
        row |= {title: len(found), f"{title}, processor s": f"{time.process_time() - start:.0f}"}
    start = time.perf_counter()
    theirs = _library_count(meshes, room, row["by plan"])
    return row | {"library by plan": theirs, "library s": f"{time.perf_counter() - start:.0f}"}


def _library_count(meshes: list[Mesh], room: tuple[float, ...], first: int) -> int:
    """Copies whose strip is no longer than the platform, searched up or down from a first guess."""
    fits = _library_fits(meshes, room, first)
    count = first
    while fits and _library_fits(meshes, room, count + 1):
        count += 1
    while not fits:
        count -= 1
        fits = _library_fits(meshes, room, count)
    return count


def _library_fits(meshes: list[Mesh], room: tuple[float, ...], count: int) -> bool:
    # the library widens every piece by half its separation, and so keeps that from the borders too: they are moved out
    loop = max(outline_of(meshes), key=len)
    shape = [(float(x), float(y)) for x, y in loop]
    item = spyrrow.Item("figure", shape, count, [0.0, 90.0, 180.0, 270.0])
    strip = spyrrow.StripPackingInstance("platform", room[1] + CLEARANCE_MM, [item])
    how = spyrrow.StripPackingConfig(
        total_computation_time=5, num_workers=2, seed=1, min_items_separation=CLEARANCE_MM
    )
    return strip.solve(how).width <= room[0] + CLEARANCE_MM


def memory_row(masters: int = 20) -> dict:
    """Maps of so many different masters: to be run in a process of its own, whose peak is told."""
    shadows = []
    for n in range(masters):
        name, height_mm = FIGURES[n % len(FIGURES)]
        meshes = figure(name, 0.8 * height_mm + 0.6 * n)
        shadows.append(shadow_of(meshes, cell_mm=(CELL_MM, CELL_MM), band_mm=1.5))
    size = (int((BUILD_MM[0] - 2 * EDGE_MM) / CELL_MM), int((BUILD_MM[1] - 2 * EDGE_MM) / CELL_MM))
    start = time.perf_counter()
    plate = plate_of(shadows, size, clearance_mm=CLEARANCE_MM, turns=(0, 1, 2, 3))
    return {
        "case": f"maps of {masters} masters", "widest, cells": max(max(s.cells.shape[1:]) for s in shadows),
        "maps GB": f"{plate.depths.nbytes / 1e9:.2f}",
        "peak GB": f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f}",
        "s": f"{time.perf_counter() - start:.0f}",
    }  # fmt: skip


def rows() -> list[dict]:
    strips = [strip_row(name) for name in BEST] if os.environ.get("FIRSTCAST_NESTING") else []
    return strips + ([platform_row(*case) for case in FIGURES] if os.environ.get("FIRSTCAST_DATA") else [])


if __name__ == "__main__":
    for name in sys.argv[1:] or list(BEST):
        print(memory_row() if name == "memory" else strip_row(name), flush=True)
    if len(sys.argv) == 1:
        for case in FIGURES:
            print(platform_row(*case), flush=True)
