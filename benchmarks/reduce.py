"""Reduce beside fast-simplification and manifold3d: triangles and time at the same proved deviation.

The body is the contour of the figure of the fuse benchmark. First one of 50 mm with 2 million triangles, reduced by all
three; then bodies of one pitch, 0.03 mm, whose height grows with the triangles. The tolerance is 8.5 µm. "there" and
"back" are the greatest distances from the dense mesh to the light one and from the light one to the dense one, in µm,
proved by the same certificate for all. The libraries take no such tolerance: fast-simplification's ratio and manifold3d's
tolerance are bisected until the certificate just holds, and "s" is the time of the last call alone. Ours includes
the proof and the search for crossings. "crossings" are pairs of triangles of the light mesh that cross or touch, at
most 1000 are counted. All from a warm cache of machine code, each case in a process of its own; "before GB" is the
memory taken when the dense mesh stood.

    python benchmarks/reduce.py [--small]
"""

import argparse
import json
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from fuse import _shells, figure

TOLERANCE_MM = 0.0085
FIGURE_MM = 30.6
"""The figure's height as the fuse benchmark makes it."""
AREA = 1.15
"""The figure's surface over its squared height, about: a contour has some 2.9 triangles per square pitch."""
PARTS_TRIANGLES = 3_000_000
BISECTIONS = 9
CASES = [(what, 2_000_000, 0.064) for what in ("ours", "fast-simplification", "manifold3d")] + [
    ("ours", count, 0.03) for count in (300_000, 1_000_000, 3_000_000, 10_000_000)
]
SMALL_CASES = [(what, 60_000, 0.03) for what in ("ours", "fast-simplification", "manifold3d")]


def body(count: int, pitch: float):
    """The dense mesh of about `count` triangles, and its height in mm."""
    from firstcast.fields.contour import contour_union
    from firstcast.fields.union import lattice_around, occupy, read_columns
    from firstcast.geometry.mesh import Mesh

    height = (count * pitch**2 / (2.9 * AREA)) ** 0.5
    parts = [(points * (height / FIGURE_MM), triangles) for points, triangles in figure(PARTS_TRIANGLES)]
    shells = _shells(parts)
    lattice = lattice_around(shells.points, pitch, pitch)
    columns = read_columns(shells, lattice)
    found = contour_union(occupy(columns, lattice, pitch), columns, shells.part)[0]
    return Mesh(found.points, found.triangles), height


def _bisect(simplify, low: float, high: float, dense) -> tuple:
    """The strongest setting whose result is proved to lie within the tolerance; `high` need not hold."""
    from firstcast.geometry.certify import certified_distance

    best = None
    for _ in range(BISECTIONS):
        middle = (low + high) / 2.0
        start, used = time.perf_counter(), time.process_time()
        light = simplify(middle)
        seconds, processor = time.perf_counter() - start, time.process_time() - used
        proof = certified_distance(dense, light, TOLERANCE_MM)
        if proof.holds:
            low, best = middle, (light, proof, seconds, processor)
        else:
            high = middle
    assert best is not None, "even the weakest setting leaves the tolerance"
    return best


def _fast_simplification(dense):
    import fast_simplification

    from firstcast.geometry.mesh import Mesh

    def simplify(ratio: float):
        points, triangles = fast_simplification.simplify(dense.points, dense.triangles, ratio)
        return Mesh(np.asarray(points), np.asarray(triangles, dtype=np.int32))

    return _bisect(simplify, 0.0, 1.0, dense)


def _manifold(dense):
    import manifold3d

    from firstcast.geometry.mesh import Mesh

    solid = manifold3d.Manifold(
        manifold3d.Mesh(np.asarray(dense.points, np.float32), dense.triangles.astype(np.uint32))
    )
    assert solid.status() == manifold3d.Error.NoError

    def simplify(tolerance: float):
        mesh = solid.simplify(tolerance).to_mesh()
        return Mesh(np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts).astype(np.int32))

    return _bisect(simplify, 0.0, TOLERANCE_MM, dense)


def _ours(dense):
    from firstcast.geometry.certify import certified_distance
    from firstcast.geometry.reduce import reduce_mesh

    _warm()
    start, used = time.perf_counter(), time.process_time()
    made = reduce_mesh(dense, tolerance_mm=TOLERANCE_MM)
    seconds, processor = time.perf_counter() - start, time.process_time() - used
    proof = certified_distance(dense, made.mesh, TOLERANCE_MM)
    return made.mesh, proof, seconds, processor


def _warm() -> None:
    """Load the machine code by reducing a ball."""
    import trimesh

    from firstcast.geometry.mesh import Mesh
    from firstcast.geometry.reduce import reduce_mesh

    ball = trimesh.creation.icosphere(subdivisions=4, radius=5.0)
    reduce_mesh(
        Mesh(ball.vertices.astype(np.float32), ball.faces.astype(np.int32)), tolerance_mm=TOLERANCE_MM
    )


def _rss() -> float:
    scale = 1e9 if sys.platform == "darwin" else 1e6
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / scale


def case(what: str, count: int, pitch: float) -> dict:
    """One case in this process."""
    from firstcast.geometry.crossings import crossing_pairs

    dense, height = body(count, pitch)
    before = _rss()
    run = {"ours": _ours, "fast-simplification": _fast_simplification, "manifold3d": _manifold}[what]
    light, proof, seconds, processor = run(dense)
    peak = _rss()
    return {
        "what": what,
        "triangles": len(dense.triangles),
        "height mm": round(height, 1),
        "pitch mm": pitch,
        "light triangles": len(light.triangles),
        "there µm": round(proof.there_mm * 1e3, 2),
        "back µm": round(proof.back_mm * 1e3, 2),
        "crossings": len(crossing_pairs(light)),
        "s": round(seconds, 1),
        "processor s": round(processor, 1),
        "before GB": round(before, 2),
        "peak GB": round(peak, 2),
    }


def rows(small: bool = False) -> list[dict]:
    """All cases, each in a fresh process."""
    found = []
    for what, count, pitch in SMALL_CASES if small else CASES:
        command = [sys.executable, str(Path(__file__)), "--case", what, str(count), str(pitch)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        found.append(json.loads(done.stdout.strip().splitlines()[-1]))
    return found


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--case", nargs=3)
    parser.add_argument("--small", action="store_true")
    options = parser.parse_args()
    if options.case:
        what, count, pitch = options.case
        print(json.dumps(case(what, int(count), float(pitch))))
    else:
        from run_all import table

        print(table(rows(options.small)))
