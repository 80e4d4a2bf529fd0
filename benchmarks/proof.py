"""The proof of a master against its parts, and the writing of masters.

Bodies: overlapping displaced balls as parts, their exact union (manifold3d) lightened by fast-simplification
as the master. Each size runs in a process of its own: first with nothing compiled yet, then once more warm.
The distance search is set beside libigl's, the writing of 3MF beside lib3mf's.

    python benchmarks/proof.py [S M L]
"""

import ctypes
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

SEED = 60271
SIZES = {"S": (3, 5, 40_000), "M": (6, 6, 150_000), "L": (6, 7, 600_000)}
"""Parts, subdivisions of each part (20 · 4^n triangles), triangles of the master."""
MATRIX = np.diag([1.006, 1.006, 1.0085])
TOLERANCE_MM = 0.010


def parts_of(count: int, subdivisions: int) -> list[np.ndarray]:
    """Corners (m, 3, 3) of overlapping balls with relief, about 45 mm tall together."""
    import trimesh

    rng = np.random.default_rng(SEED)
    ball = trimesh.creation.icosphere(subdivisions=subdivisions)
    directions = np.asarray(ball.vertices)
    parts = []
    for _ in range(count):
        radius = np.ones(len(directions))
        for _ in range(12):
            wave = rng.normal(size=3) * rng.uniform(2, 14)
            height = 0.06 / np.sqrt(1 + np.abs(wave).sum())
            radius += height * np.sin(directions @ wave + rng.uniform(0, 6))
        shape = directions * radius[:, None] * rng.uniform(5, 8) * [1, 1, 1.6]
        parts.append((shape + rng.uniform(-6, 6, 3) * [1, 1, 2.2])[ball.faces])
    return parts


def master_of(parts: list[np.ndarray], triangles: int):
    """The parts' exact union at master size, lightened, in float32."""
    import fast_simplification
    import manifold3d

    from firstcast.geometry.mesh import Mesh

    solids = []
    for corners in parts:
        points, rows = np.unique(corners.reshape(-1, 3) @ MATRIX.T, axis=0, return_inverse=True)
        solids.append(manifold3d.Manifold(manifold3d.Mesh64(points, rows.reshape(-1, 3).astype(np.uint64))))
    union = manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add).to_mesh64()
    points = np.asarray(union.vert_properties)[:, :3].astype(np.float32)
    rows = np.asarray(union.tri_verts).astype(np.int32)
    if triangles < len(rows):
        points, rows = fast_simplification.simplify(points, rows, target_count=triangles)
    return Mesh(points.astype(np.float32), rows.astype(np.int32))


def timed(function):
    """Result, wall seconds and processor seconds."""
    wall, processor = time.perf_counter(), time.process_time()
    result = function()
    return result, time.perf_counter() - wall, time.process_time() - processor


def write_by_library(path: Path, mesh) -> None:
    """The same mesh as 3MF by lib3mf, its buffers filled at once."""
    import lib3mf
    from lib3mf import Lib3MF

    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    item = model.AddMeshObject()
    points, rows = mesh.points.copy(), mesh.triangles.astype(np.uint32)
    vertices = (Lib3MF.Position * len(points)).from_buffer(points)
    indices = (Lib3MF.Triangle * len(rows)).from_buffer(rows)
    sizes = ctypes.c_uint64(len(points)), ctypes.c_uint64(len(rows))
    call = wrapper.lib.lib3mf_meshobject_setgeometry
    wrapper.checkError(item, call(item._handle, sizes[0], vertices, sizes[1], indices))
    model.AddBuildItem(item, wrapper.GetIdentityTransform())
    model.QueryWriter("3mf").WriteToFile(str(path))


def one_size(name: str) -> list[dict]:
    """All rows of one size; run in a fresh process with an empty cache of machine code."""
    count, subdivisions, triangles = SIZES[name]
    parts = parts_of(count, subdivisions)
    master = master_of(parts, triangles)
    from firstcast.io.write import write_3mf, write_stl
    from firstcast.proof import Expected, PartShape, prove_piece

    rows = []
    total = sum(len(corners) for corners in parts)

    def row(task: str, library: str, seconds, note: str = "") -> None:
        # in kB on Linux, in bytes on macOS
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)
        rows.append(
            {
                "size": name,
                "task": task,
                "library": library,
                "master_triangles": len(master.triangles),
                "part_triangles": total,
                "wall_s": round(seconds[0], 2),
                "processor_s": round(seconds[1], 2),
                "peak_MB": round(peak),
                "note": note,
            }
        )

    with tempfile.TemporaryDirectory() as folder:
        stl, package = Path(folder) / "m.stl", Path(folder) / "m.3mf"
        row("write STL", "firstcast", timed(lambda: write_stl(stl, master))[1:])
        row("write 3MF", "firstcast", timed(lambda: write_3mf(package, {"body": master}))[1:])
        other = timed(lambda: write_by_library(Path(folder) / "other.3mf", master))[1:]
        row("write 3MF", "lib3mf", other, "identifiers change each time")
        extents = np.ptp(np.asarray(master.points, np.float64), axis=0)
        shapes = tuple(PartShape(f"part {k}", corners) for k, corners in enumerate(parts))
        expected = Expected("body", tuple(extents), MATRIX, TOLERANCE_MM, 0.03, shapes)
        _, *cold = timed(lambda: prove_piece(stl, package, expected))
        row("prove, nothing compiled", "firstcast", cold)
        proof, *warm = timed(lambda: prove_piece(stl, package, expected))
        share = proof.row("surface proved within the limit").measured
        stops = [entry.result for entry in proof.rows if entry.verdict.value == "stop"]
        note = "; ".join([f"{proof.verdict.value}, {share:.3f} % proved by bound", *stops])
        row("prove, compiled", "firstcast", warm, note)
    rows += _search_rows(name, parts, master)
    return rows


def _search_rows(name: str, parts: list[np.ndarray], master) -> list[dict]:
    """Distances of places on the master to all parts, beside libigl."""
    import igl

    from firstcast.proof.distances import nearest, spread_points
    from firstcast.proof.tree import build_tree

    corners = np.concatenate(parts) @ MATRIX.T
    places, _ = spread_points(build_tree(master.corners).corners, 1_000_000 if name == "L" else 100_000)
    (_, found), *ours = timed(lambda: ((tree := build_tree(corners)), nearest(tree, places)))
    loose = corners.reshape(-1, 3)
    rows = np.arange(len(loose), dtype=np.int64).reshape(-1, 3)
    (squared, _, _), *theirs = timed(lambda: igl.point_mesh_squared_distance(places, loose, rows))
    apart = float(np.abs(np.sqrt(squared) - found.distance).max())
    return [
        {
            "size": name,
            "task": f"{len(places):,} distances, tree included",
            "library": library,
            "part_triangles": len(corners),
            "wall_s": round(seconds[0], 2),
            "processor_s": round(seconds[1], 2),
            "note": note,
        }
        for library, seconds, note in (
            ("firstcast", ours, f"at most {apart:.1e} mm from libigl"),
            ("libigl", theirs, ""),
        )
    ]


def rows(sizes: tuple[str, ...] = ("S", "M", "L")) -> list[dict]:
    """One row per size, task and library: triangles, seconds of wall and of processor, peak memory."""
    found = []
    for name in sizes:
        with tempfile.TemporaryDirectory() as cache:
            done = subprocess.run(
                [sys.executable, __file__, "--one", name],
                env={**os.environ, "FIRSTCAST_CACHE": cache},
                capture_output=True,
                text=True,
                check=True,
            )
        found += json.loads(done.stdout.splitlines()[-1])
    return found


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(one_size(sys.argv[2])))
    else:
        for entry in rows(tuple(sys.argv[1:]) or ("S", "M", "L")):
            print(" | ".join(str(value) for value in entry.values()))
