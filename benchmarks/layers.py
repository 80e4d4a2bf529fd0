"""A full platform of layer images: how long to write and to prove, how much memory, and the encoder beside others.

3840 × 2400 pixels of 0.035 mm, layers of 0.03 mm, 20 pieces of 33 mm in four quarter turns, of 300,000 triangles each.
"rounded" is a bumpy ball drawn out to 20 × 20 × 33 mm on 40 posts, which covers over a third of the platform; "draped"
is a wavy wall of 1 mm around it on as many posts, so that outlines are long. "seconds" are of the wall, from meshes to
the renamed zip; peak memory is of a process that does nothing else. "proof" reads that zip, an STL and a 3MF back, and holds
every pixel against the meshes; "sliced proof" does so with slices in the 3MF. Before a proof the process has written the files:
what its memory came to then is told beside the peak.

Encoders get the same 12 images, spread over the height, as they lie in memory; processor milliseconds per image. All
but Pillow get a filter byte 0 before each row, and chunks around them are left out. "runs" is zlib's strategy for runs
alone. Libraries that aren't installed are left out.

Run `python benchmarks/layers.py`; prints two tables.
"""

import argparse
import importlib
import io
import json
import resource
import subprocess
import sys
import tempfile
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import trimesh
from manifold3d import Manifold, OpType
from manifold3d import Mesh as SolidMesh
from PIL import Image

from firstcast.geometry.mesh import Mesh
from firstcast.io.layer_images import png_of, write_layers
from firstcast.io.run_files import write_run_3mf, write_run_stl
from firstcast.printing.layer_measures import layer_table, measure_cut, measure_run
from firstcast.printing.layer_plan import LayerPlan, Screen, plan_layers
from firstcast.printing.layering import map_layers
from firstcast.printing.propped import Propped, Tips
from firstcast.printing.run import Placement, Run
from firstcast.proof.check_run import prove_run
from firstcast.proof.expected_run import ExpectedRun, Standing

SCREEN = Screen(3840, 2400, 0.035, 0.035)
LAYER_MM = 0.03
ACROSS, UP = 5, 4
COMPARED = 12
BODIES = ("rounded", "draped")


def ball_with_relief(triangles: int) -> tuple[np.ndarray, np.ndarray]:
    """A bumpy ball of 20 × 20 × 33 mm about the origin."""
    rows = round(np.sqrt(triangles / 8))
    solid = trimesh.creation.uv_sphere(count=[rows, 2 * rows])
    x, y, z = solid.vertices.T
    relief = 0.05 * np.sin(7 * x + 1) * np.cos(6 * y) + 0.02 * np.sin(31 * z) * np.cos(29 * x)
    points = solid.vertices * (0.9 + relief)[:, None]
    return points * np.array([20.0, 20.0, 33.0]) / np.ptp(points, axis=0), solid.faces


def body(kind: str, triangles: int = 300_000) -> Manifold:
    """A piece of 28 mm on z = 5 mm."""
    points, faces = ball_with_relief(triangles if kind == "rounded" else triangles // 2)
    angle = np.arctan2(points[:, 1], points[:, 0])
    if kind == "draped":
        points[:, :2] *= (0.8 + 0.12 * np.sin(24 * angle + 0.3 * points[:, 2]))[:, None]
    points *= 28.0 / np.ptp(points[:, 2])
    points[:, 2] += 5.0 - points[:, 2].min()
    solid = Manifold(SolidMesh(points.astype(np.float32), faces.astype(np.uint32)))
    if kind == "rounded":
        return solid
    inner = points * np.array([0.9, 0.9, 1.0]) + np.array([0.0, 0.0, 1.0])
    return solid - Manifold(SolidMesh(inner.astype(np.float32), faces.astype(np.uint32)))


def propped(kind: str) -> Propped:
    """The piece on posts."""
    piece = body(kind).to_mesh()
    points = np.ascontiguousarray(np.asarray(piece.vert_properties)[:, :3], np.float32)
    triangles = np.ascontiguousarray(piece.tri_verts, np.int32)
    rng = np.random.default_rng(1)
    low = points[points[:, 2] < 9.0]
    tips = low[rng.choice(len(low), 40, replace=False)].astype(np.float64)
    parts = []
    for x, y, z in tips.tolist():
        parts += [
            Manifold.cylinder(z - 1.0, 0.4, 0.4, 16).translate((x, y, 0.0)),
            Manifold.cylinder(1.05, 0.4, 0.15, 16).translate((x, y, z - 1.0)),
            Manifold.cylinder(0.8, 1.2, 0.8, 16).translate((x, y, 0.0)),
        ]
    posts = Manifold.batch_boolean(parts, OpType.Add).to_mesh()
    props = Mesh(
        np.ascontiguousarray(np.asarray(posts.vert_properties)[:, :3], np.float32),
        np.ascontiguousarray(posts.tri_verts, np.int32),
    )
    few = np.zeros(len(tips))
    return Propped(
        Mesh(points, triangles), props, np.eye(3), few[:3], Tips(tips, few + 0.3, few, few + 1, few > 0)
    )


def full_run() -> Run:
    """Twenty copies on whole pixels."""
    step = np.array([SCREEN.nx // ACROSS, SCREEN.ny // UP])
    places = [(i, j) for j in range(UP) for i in range(ACROSS)]
    return Run(
        "full",
        tuple(
            Placement("piece", *((np.array(at) * step + step // 2) * 0.035).tolist(), 90.0 * (n % 4))
            for n, at in enumerate(places)
        ),
    )


def planned(kind: str, held: Propped | None = None) -> LayerPlan:
    return plan_layers(full_run(), {"piece": held or propped(kind)}, SCREEN, layer_mm=LAYER_MM)


def timed(function: Callable):
    """Result, seconds of the wall, seconds of the processor."""
    wall, processor = time.perf_counter(), time.process_time()
    result = function()
    return result, time.perf_counter() - wall, time.process_time() - processor


def warm(folder: Path) -> tuple[LayerPlan, Propped]:
    """Compile what is used, on a small cube."""
    cube = Manifold.cube((1.0, 1.0, 1.0), True).translate((0, 0, 0.5)).to_mesh()
    mesh = Mesh(np.array(cube.vert_properties, np.float32), np.array(cube.tri_verts, np.int32))
    few = np.zeros(0)
    small = Propped(mesh, mesh, np.eye(3), np.zeros(3), Tips(few.reshape(0, 3), few, few, few, few > 0))
    plan = plan_layers(
        Run("warm", (Placement("a", 2, 2),)), {"a": small}, Screen(100, 100, 0.05, 0.05), layer_mm=0.1
    )
    write_layers(folder / "warm.zip", plan, {})
    measure_cut(plan.cuts[0])
    return plan, small


def warm_proof(folder: Path) -> None:
    """Compile what the proof uses, on the same."""
    plan, small = warm(folder)
    write_run_stl(folder / "warm.stl", plan.run, {"a": small})
    write_run_3mf(folder / "warm.3mf", plan.run, {"a": small}, slices=plan.layers)
    expected = ExpectedRun(
        "warm", (100, 100), (0.05, 0.05), 0.1, plan.layers.count, (Standing("a", 2, 2),), slices=True
    )
    prove_run(folder / "warm.zip", folder / "warm.stl", folder / "warm.3mf", expected)


def write(kind: str) -> dict:
    """A full platform, in this process."""
    held = propped(kind)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        warm(folder)
        before = peak_mb()
        plan, sort, _ = timed(lambda: planned(kind, held))
        manifest, wall, processor = timed(lambda: write_layers(folder / "run.zip", plan, {}))
        peak = peak_mb()
        _, measure, _ = timed(lambda: [measure_cut(cut) for cut in plan.cuts])
        size = (folder / "run.zip").stat().st_size
    return {
        "piece": kind,
        "triangles": len(held.piece.triangles),
        "layers": manifest["layer_count"],
        "sort, s": round(sort, 1),
        "write, s": round(wall, 1),
        "write, processor s": round(processor, 1),
        "peak, MB": round(peak),
        "before, MB": round(before),
        "zip, MB": round(size / 1e6, 1),
        "measure, s": round(measure, 1),
    }


def prove(kind: str, *, slices: bool = False) -> dict:
    """The proof of a full platform, in this process."""
    held = propped(kind)
    plan = planned(kind, held)
    found = measure_run(plan)
    loads = found.area_mm2 * np.zeros((3, 1))
    table = layer_table(found.area_mm2, found.regions, found.largest_mm2, found.closed_mm2, loads, LAYER_MM)
    facts = {"resin_mm3": float(found.area_mm2.sum()) * LAYER_MM}
    expected = ExpectedRun(
        "full", (SCREEN.nx, SCREEN.ny), (0.035, 0.035), LAYER_MM, plan.layers.count,
        tuple(Standing(p.master, p.x_mm, p.y_mm, p.turn_deg) for p in plan.run.placements),
        (("piece", held.tips.places_mm),), slices=slices,
    )  # fmt: skip
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        warm_proof(folder)
        _, wrote, _ = timed(lambda: write_layers(folder / "run.zip", plan, facts, table))
        write_run_stl(folder / "run.stl", plan.run, {"piece": held})
        write_run_3mf(folder / "run.3mf", plan.run, {"piece": held}, slices=plan.layers if slices else None)
        files = (folder / "run.zip", folder / "run.stl", folder / "run.3mf")
        before = peak_mb()
        rows, wall, processor = timed(lambda: prove_run(*files, expected))
    known = {row.check: row for row in rows}
    kind = "sliced proof" if slices else "proof"
    return {
        f"{kind}, s": round(wall, 1),
        f"{kind}, processor s": round(processor, 1),
        f"{kind} / images written": round(wall / wrote, 1),
        f"{kind}'s peak, MB": round(peak_mb()),
        "before the proof, MB": round(before),
        "farthest pixel, levels": round(known["every pixel of every layer"].measured or 0.0, 4),
        "pixels": known["every pixel of every layer"].verdict.value,
    }


def prove_sliced(kind: str) -> dict:
    """The same with slices in the 3MF, which are proved too."""
    return prove(kind, slices=True)


def encoders() -> dict[str, Callable[[bytes], bytes]]:
    """Deflaters of the same bytes, by name."""

    def runs(raw: bytes) -> bytes:
        packer = zlib.compressobj(1, zlib.DEFLATED, 15, 9, zlib.Z_RLE)
        return packer.compress(raw) + packer.flush()

    found: dict[str, Callable[[bytes], bytes]] = {
        "zlib 1": lambda raw: zlib.compress(raw, 1),
        "zlib runs": runs,
    }
    for module, call in (
        ("isal.isal_zlib", lambda m: lambda raw: m.compress(raw, 1)),
        ("zlib_ng.zlib_ng", lambda m: lambda raw: m.compress(raw, 1)),
        ("deflate", lambda m: lambda raw: m.zlib_compress(raw, 1)),
    ):
        try:
            found[f"{module.split('.')[0]} 1"] = call(importlib.import_module(module))
        except ImportError:
            continue
    return found


def encode(kind: str) -> dict:
    """All encoders on some images of a platform."""
    plan = planned(kind)
    chosen = set(np.linspace(0, plan.layers.count - 1, COMPARED + 2).astype(int)[1:-1].tolist())
    spent: dict[str, list[tuple[float, int]]] = {}

    def note(name: str, function: Callable[[], bytes]) -> None:
        # of this thread alone: others draw the next layers meanwhile
        start = time.thread_time()
        data = function()
        spent.setdefault(name, []).append((time.thread_time() - start, len(data)))

    def saved(image: np.ndarray) -> bytes:
        held = io.BytesIO()
        Image.fromarray(image).save(held, "PNG", compress_level=1)
        return held.getvalue()

    import numba

    numba.set_num_threads(1)
    others = encoders()

    def look(layer: int, canvas) -> None:
        if layer not in chosen:
            return
        note("ours", lambda: png_of(canvas))
        image = np.ascontiguousarray(canvas.image)
        note("Pillow 1", lambda: saved(image))
        raw = np.hstack([np.zeros((len(image), 1), np.uint8), image]).tobytes()
        for name, function in others.items():
            note(name, lambda function=function: function(raw))

    for _ in map_layers(plan, look):
        pass
    row: dict = {"piece": kind}
    for name, entries in spent.items():
        seconds, sizes = zip(*entries, strict=True)
        # the first call of each may compile or load
        row[f"{name}, ms"] = round(1e3 * float(np.median(seconds)), 1)
        row[f"{name}, kB"] = round(float(np.mean(sizes)) / 1e3)
    row["Pillow / ours"] = round(row["Pillow 1, ms"] / row["ours, ms"], 1)
    row["zlib 1 / ours"] = round(row["zlib 1, ms"] / row["ours, ms"], 1)
    return row


def apart(part: str, kind: str) -> dict:
    """A part in a process of its own."""
    command = [sys.executable, __file__, "--part", part, kind]
    return json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def rows() -> list[dict]:
    """One row per piece."""
    found = []
    for kind in BODIES:
        row: dict = {}
        for part in ("write", "prove", "slices", "encode"):
            row |= apart(part, kind)
        found.append(row)
    return found


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parts = {"write": write, "prove": prove, "slices": prove_sliced, "encode": encode}
    parser.add_argument("--part", choices=tuple(parts))
    parser.add_argument("kind", nargs="?", choices=BODIES)
    chosen = parser.parse_args()
    if chosen.part:
        print(json.dumps(parts[chosen.part](chosen.kind)))
    else:
        from run_all import table

        print(table(rows()))
