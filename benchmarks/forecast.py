"""One scenario of the forecast: the cured surface, and a ball of 0.06 mm that closes it, as paint does.

A bumpy ball as tall as wide, layers of 0.03 mm. "print" streams the layers and draws the cured surface, "film" closes it; each in
seconds by the wall, and of all cores. Peak memory is of the process. No general library computes the like; the growth with
height and pixel is what to read.

Run `python benchmarks/forecast.py`; prints one table.
"""

import json
import resource
import subprocess
import sys
import time
from dataclasses import replace

from firstcast.fields.cure import cure
from firstcast.fields.films import closed_by_ball
from firstcast.forecast.light import light_of
from firstcast.process.chain import null_chain
from firstcast.process.light import overdose_ratio
from firstcast.process.spread import GaussianSpread
from sections import bumpy_ball

CASES = ((8.0, 0.035), (16.0, 0.035), (32.0, 0.035), (32.0, 0.07))
"""Height in mm, pixel in mm."""

LAYER_MM, TRIANGLES, PAINT_MM = 0.03, 300_000, 0.06


def one(height_mm: float, pixel_mm: float) -> dict:
    """One case, in a process of its own."""
    points, triangles = bumpy_ball(height_mm, TRIANGLES)
    chain = replace(
        null_chain((pixel_mm, pixel_mm), LAYER_MM),
        spread=GaussianSpread(0.02),
        depth_mm=0.1,
        overdose=overdose_ratio(0.1, 0.1),
    )
    small, rows = bumpy_ball(1.0, 10_000)
    closed_by_ball(cure(small, rows, light_of(chain), margin_mm=0.3), PAINT_MM)  # compiles
    row: dict = {"height, mm": height_mm, "pixel, mm": pixel_mm}
    wall, all_cores = time.perf_counter(), time.process_time()
    drawn = cure(points, triangles, light_of(chain), margin_mm=0.3)
    row |= {"print, s": time.perf_counter() - wall, "print, CPU s": time.process_time() - all_cores}
    row["triangles drawn"] = len(drawn.surface.triangles)
    wall, all_cores = time.perf_counter(), time.process_time()
    closed_by_ball(drawn, PAINT_MM)
    row |= {"film, s": time.perf_counter() - wall, "film, CPU s": time.process_time() - all_cores}
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
    if len(sys.argv) == 3:
        print(json.dumps(one(float(sys.argv[1]), float(sys.argv[2]))))
    else:
        from run_all import table

        print(table(rows()))
