"""One scenario of the forecast: the print, and a ball of 0.06 mm that closes it, as paint does.

A bumpy ball as tall as wide, layers of 0.03 mm. By "mesh" every step moves the vertices of a mesh with edges of at most 1.4
pixels; by "field" layers are streamed, and surfaces drawn and closed on a lattice. "print" and "film" are seconds by the
wall, and of all cores. Peak memory is of the process. No general library computes the like; the growth with height and
pixel is what to read, and the two forms beside each other.

Run `python benchmarks/forecast.py`; prints one table.
"""

import json
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace

from firstcast.fields.cure import cure
from firstcast.fields.films import closed_by_ball as closed_field
from firstcast.forecast.ball import closed_by_ball as closed_mesh
from firstcast.forecast.chain_on_mesh import normals_of
from firstcast.forecast.light import light_of
from firstcast.forecast.printed import print_moves, shares_for
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.refine import split_long_edges
from firstcast.process.chain import ChainScenario, null_chain
from firstcast.process.light import overdose_ratio
from firstcast.process.spread import GaussianSpread
from sections import bumpy_ball

CASES = tuple(
    (form, *case)
    for case in ((8.0, 0.035), (16.0, 0.035), (32.0, 0.035), (32.0, 0.07))
    for form in ("mesh", "field")
)
"""Form, height in mm, pixel in mm."""

LAYER_MM, TRIANGLES, PAINT_MM = 0.03, 300_000, 0.06


def likely(pixel_mm: float) -> ChainScenario:
    """Light of usual figures on square pixels."""
    return replace(
        null_chain((pixel_mm, pixel_mm), LAYER_MM),
        spread=GaussianSpread(0.02),
        depth_mm=0.1,
        overdose=overdose_ratio(0.1, 0.1),
    )


def by_mesh(points, triangles, chain: ChainScenario) -> Iterator[int]:
    """Print, then film; how many triangles each works on."""
    mesh = split_long_edges(Mesh(points, triangles), 1.4 * chain.pixel_mm[0])[0]
    normals = normals_of(mesh.points, mesh.triangles)
    moved = print_moves(mesh.points, normals, shares_for(mesh.points, mesh.triangles, chain), chain)
    yield len(mesh.triangles)
    closed_mesh(mesh.points + moved[:, None] * normals, mesh.triangles, PAINT_MM, reach_mm=PAINT_MM)
    yield len(mesh.triangles)


def by_field(points, triangles, chain: ChainScenario) -> Iterator[int]:
    """The same on a lattice."""
    drawn = cure(points, triangles, light_of(chain), margin_mm=0.3)
    yield len(drawn.surface.triangles)
    closed_field(drawn, PAINT_MM)
    yield len(drawn.surface.triangles)


def one(form: str, height_mm: float, pixel_mm: float) -> dict:
    """One case, in a process of its own."""
    run = {"mesh": by_mesh, "field": by_field}[form]
    chain = likely(pixel_mm)
    for _ in run(*bumpy_ball(1.0, 10_000), chain):  # compiles
        pass
    row: dict = {"form": form, "height, mm": height_mm, "pixel, mm": pixel_mm}
    steps = run(*bumpy_ball(height_mm, TRIANGLES), chain)
    for name in ("print", "film"):
        wall, all_cores = time.perf_counter(), time.process_time()
        row["triangles"] = next(steps)
        row |= {
            f"{name}, s": time.perf_counter() - wall,
            f"{name}, CPU s": time.process_time() - all_cores,
        }
    row["peak, GB"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    return {name: round(value, 2) if isinstance(value, float) else value for name, value in row.items()}


def rows() -> list[dict]:
    """One row per case."""
    found = []
    for case in CASES:
        command = [sys.executable, __file__, *map(str, case)]
        found.append(json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout))
    return found


if __name__ == "__main__":
    if len(sys.argv) == 4:
        print(json.dumps(one(sys.argv[1], float(sys.argv[2]), float(sys.argv[3]))))
    else:
        from run_all import table

        print(table(rows()))
