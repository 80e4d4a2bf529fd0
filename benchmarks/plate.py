"""A plate of four views on A4 at 200 dots per inch, from meshes of several sizes: a ball with relief on a base.

"light" makes normals and shadow maps, once per mesh; "plate" draws everything else. Wall time and processor time, warm.

    python benchmarks/plate.py [--small]
"""

import argparse
import io
import time

import numpy as np

from firstcast.findings import Finding
from firstcast.sheets.light import light_mesh
from firstcast.sheets.plate import Title, draw_plate
from firstcast.vocabulary import Verdict
from fuse import lattice_ball

COUNTS = (300_000, 600_000, 2_000_000, 6_000_000)
SMALL_COUNTS = (20_000, 100_000)


def figure(count: int):
    """A tall ball of about `count` triangles, 54 mm high, with relief of 0.15 mm."""
    rings = max(8, round((count / 4) ** 0.5))
    points, triangles = lattice_ball(rings)
    x, y, z = points.T
    relief = 1.0 + 0.006 * np.sin(60 * z + 9 * np.arctan2(y, x)) + 0.02 * np.sin(7 * x) * np.sin(8 * z)
    return points * relief[:, None] * [14.0, 11.0, 27.0], triangles


def rows(counts=COUNTS) -> list[dict]:
    """One row per mesh size."""
    findings = [
        Finding("fuse", "thin-wall", Verdict.WATCH, "arm", "Wall 0.42 mm.", "Thicken it.", (14.0 * np.sin(k), 0.0, 3.0 * k))
        for k in range(-5, 5)
    ]  # fmt: skip
    title = Title("figure", "body", "2026-01-01")
    draw_plate(*figure(2000), title=title, findings=findings)
    made = []
    for count in counts:
        points, triangles = figure(count)
        start, start_cpu = time.perf_counter(), time.process_time()
        lit = light_mesh(points, triangles)
        lit_at, lit_cpu = time.perf_counter(), time.process_time()
        sheet = draw_plate(lit, title=title, findings=findings)
        end, end_cpu = time.perf_counter(), time.process_time()
        file = io.BytesIO()
        sheet.page.image.quantize(256, dither=0).save(file, format="PNG")
        made.append(
            {
                "triangles": len(triangles),
                "light s": round(lit_at - start, 2),
                "light cpu s": round(lit_cpu - start_cpu, 2),
                "plate s": round(end - lit_at, 2),
                "plate cpu s": round(end_cpu - lit_cpu, 2),
                "PNG kB": len(file.getvalue()) // 1000,
            }
        )
    return made


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--small", action="store_true")
    for row in rows(SMALL_COUNTS if parser.parse_args().small else COUNTS):
        print(row)
