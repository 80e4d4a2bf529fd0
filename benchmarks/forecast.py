"""One scenario of the forecast: the print, and a ball of 0.06 mm that closes it, as paint does.

A bumpy ball as tall as wide, layers of 0.03 mm; "figure" is one drawn out to be as slim as figures are, with the area of the
middle one of the public figures (docs/public-figures.md) at its height. By "mesh" it is the fused body, drawn on a lattice of one pixel in a process of
its own, with its long edges halved as carry does, and every step moves its vertices; by "field" layers are streamed, and
surfaces drawn and closed on a lattice. "ready" is the halving and the normals; "print" and "film" follow; all in seconds by
the wall, and of all cores. Peak memory is of the process, "body" of it taken when the body stood; the body is let go once its
edges are halved, for in a job it is a file that is mapped. No general library computes the like; the growth with height
and pixel is what to read, and the two forms beside each other.

Run `python benchmarks/forecast.py`; prints one table. `python benchmarks/forecast.py FORM HEIGHT PIXEL` runs one case.
"""

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from firstcast.fields.contour import contour_union
from firstcast.fields.creases import with_creases
from firstcast.fields.cure import cure
from firstcast.fields.films import closed_by_ball as closed_field
from firstcast.fields.union import Shells, lattice_around, occupy, read_columns
from firstcast.forecast.ball import closed_by_ball as closed_mesh
from firstcast.forecast.chain_on_mesh import normals_of
from firstcast.forecast.light import light_of
from firstcast.forecast.printed import print_moves_of
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.refine import split_long_edges
from firstcast.process.chain import ChainScenario, null_chain
from firstcast.process.light import overdose_ratio
from firstcast.process.spread import GaussianSpread
from firstcast.stations.carry_ground import EDGE_PITCHES
from sections import bumpy_ball

CASES = (
    *(
        (form, *case)
        for case in ((8.0, 0.035), (16.0, 0.035), (32.0, 0.035), (32.0, 0.07))
        for form in ("mesh", "field")
    ),
    ("figure", 32.0, 0.035),
    ("figure", 75.0, 0.022),
)
"""Form, height in mm, pixel in mm."""

SLIM = 0.535
"""Width over height of a figure: 7,900 mm² at 75 mm, the median of fourteen public figures."""

LAYER_MM, TRIANGLES, PAINT_MM = 0.03, 300_000, 0.06


def likely(pixel_mm: float) -> ChainScenario:
    """Light of usual figures on square pixels."""
    return replace(
        null_chain((pixel_mm, pixel_mm), LAYER_MM),
        spread=GaussianSpread(0.02),
        depth_mm=0.1,
        overdose=overdose_ratio(0.1, 0.1),
    )


def fused(points, triangles, pitch_mm: float) -> Mesh:
    """The body as fuse draws it, on a lattice of one pitch."""
    shells = Shells(points, triangles, np.zeros(len(triangles), np.uint16))
    lattice = lattice_around(points, pitch_mm, pitch_mm)
    columns = read_columns(shells, lattice)
    occupancy = occupy(columns, lattice, pitch_mm)
    found = with_creases(*contour_union(occupancy, columns, shells.part), occupancy, columns, shells)
    return Mesh(found.points, found.triangles)


def by_mesh(mesh: Mesh, chain: ChainScenario) -> Iterator[int]:
    """Edges halved, print, film; how many triangles each works on."""
    # the lattice's pitch is the pixel, so edges go by the pitch
    mesh = split_long_edges(mesh, EDGE_PITCHES * chain.pixel_mm[0])[0]
    normals = normals_of(mesh.points, mesh.triangles)
    yield len(mesh.triangles)
    moved = print_moves_of(mesh.points, mesh.triangles, normals, [chain])[0]
    yield len(mesh.triangles)
    closed_mesh(mesh.points + moved[:, None] * normals, mesh.triangles, PAINT_MM, reach_mm=PAINT_MM)
    yield len(mesh.triangles)


def by_field(mesh: Mesh, chain: ChainScenario) -> Iterator[int]:
    """The same on a lattice; nothing is to be made ready."""
    yield len(mesh.triangles)
    drawn = cure(mesh.points, mesh.triangles, light_of(chain), margin_mm=0.3)
    yield len(drawn.surface.triangles)
    closed_field(drawn, PAINT_MM)
    yield len(drawn.surface.triangles)


def body_of(form: str, height_mm: float, pixel_mm: float) -> Mesh:
    """The body of a case, as it is given to its form."""
    slim = SLIM if form == "figure" else 1.0
    if form == "field":
        return Mesh(*bumpy_ball(height_mm, TRIANGLES))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "body.npz"
        subprocess.run(
            [sys.executable, __file__, "body", str(height_mm), str(pixel_mm), str(slim), str(path)],
            check=True,
        )
        arrays = np.load(path)
        return Mesh(arrays["points"], arrays["triangles"])


def one(form: str, height_mm: float, pixel_mm: float) -> dict:
    """One case, in a process of its own."""
    run = {"mesh": by_mesh, "figure": by_mesh, "field": by_field}[form]
    chain = likely(pixel_mm)
    for _ in run(Mesh(*bumpy_ball(1.0, 10_000)), chain):  # compiles
        pass
    row: dict = {"form": form, "height, mm": height_mm, "pixel, mm": pixel_mm}
    body = body_of(form, height_mm, pixel_mm)
    row["body, GB"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    steps = run(body, chain)
    del body
    for name in ("ready", "print", "film"):
        wall, all_cores = time.perf_counter(), time.process_time()
        row["triangles"] = next(steps)
        row |= {
            f"{name}, s": time.perf_counter() - wall,
            f"{name}, CPU s": time.process_time() - all_cores,
        }
        row[f"peak to {name}, GB"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    return {name: round(value, 3) if isinstance(value, float) else value for name, value in row.items()}


def rows() -> list[dict]:
    """One row per case."""
    found = []
    for case in CASES:
        command = [sys.executable, __file__, *map(str, case)]
        found.append(json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout))
    return found


if __name__ == "__main__":
    if len(sys.argv) == 6:
        points, triangles = bumpy_ball(float(sys.argv[2]), TRIANGLES)
        slim = float(sys.argv[4])
        body = fused(points * (slim, slim, 1.0), triangles, float(sys.argv[3]))
        np.savez(sys.argv[5], points=body.points, triangles=body.triangles)
    elif len(sys.argv) == 4:
        print(json.dumps(one(sys.argv[1], float(sys.argv[2]), float(sys.argv[3]))))
    else:
        from run_all import table

        print(table(rows()))
