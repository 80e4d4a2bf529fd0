"""The first run on a machine compiles its kernels; those of the last stations, ahead of time, beside the first ones.

A compiler uses one core. While intake and fuse compile and work, a process of its own forecasts, reduces, proves and draws a
small body, so that the machine code of those steps lies in the cache (`firstcast.compiling`) when they come to
their turn. It is started only where that code is not there yet, and ended with the run.
"""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from firstcast.compiling import cache_root
from firstcast.geometry.mesh import Mesh
from firstcast.sources import dependency_digest

AROUND, UP = 48, 24
"""Points of the small body around and up: enough to collapse edges, take some back, and prove."""


@contextmanager
def compiling_ahead() -> Iterator[None]:
    """Compile the kernels of carry, reduce, proof, print and pictures in another process while the body of this runs."""
    if _stamp().exists():
        yield
        return
    process = subprocess.Popen(
        [sys.executable, "-m", "firstcast.ahead"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        yield
    finally:
        process.terminate()
        process.wait()


def _stamp() -> Path:
    """A file that exists once all was compiled, named by all that the kernels depend on."""
    return cache_root() / f"ahead-{dependency_digest('firstcast.ahead')}"


def small_body() -> Mesh:
    """A ball of 3 mm with bumps, closed: points (n, 3) float32, triangles (m, 3) int32, outward."""
    turn = np.linspace(0.0, 2.0 * np.pi, AROUND, endpoint=False)
    rise = np.linspace(-np.pi / 2.0, np.pi / 2.0, UP + 1)[1:-1]
    z, angle = (grid.ravel() for grid in np.meshgrid(rise, turn, indexing="ij"))
    rings = np.column_stack([np.cos(z) * np.cos(angle), np.cos(z) * np.sin(angle), np.sin(z)])
    points = np.vstack([rings, [[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]]])
    points *= 3.0 + 0.15 * np.sin(7.0 * points[:, :1]) * np.cos(9.0 * points[:, 1:2])
    here = np.arange(len(rings)).reshape(UP - 1, AROUND)
    beside = np.roll(here, -1, axis=1)
    a, b, c, d = here[:-1], beside[:-1], beside[1:], here[1:]
    sides = [np.stack([a, b, c], axis=-1), np.stack([a, c, d], axis=-1)]
    south, north = np.full(AROUND, len(rings)), np.full(AROUND, len(rings) + 1)
    caps = [
        np.stack([beside[0], here[0], south], axis=-1),
        np.stack([here[-1], beside[-1], north], axis=-1),
    ]
    triangles = np.concatenate([part.reshape(-1, 3) for part in [*sides, *caps]])
    return Mesh(points.astype(np.float32), triangles.astype(np.int32))


def compile_carry(mesh: Mesh) -> None:
    """Forecast and carry a small body: whatever kernels that takes are compiled and kept."""
    from firstcast.geometry.body import Body
    from firstcast.geometry.narrow import Places
    from firstcast.stations import carry, carry_settings, plan

    planned = plan.plan(summaries=(), pieces=(), settings=plan.Settings())
    count = len(mesh.points)
    wide = Places(
        np.full(count, np.inf, np.float32), np.zeros(count, np.int32), np.full(count, np.inf, np.float32)
    )
    carry.carry(
        piece="body",
        body=Body(mesh, np.zeros(len(mesh.triangles), np.uint16), ("body",)),
        turn_to_print=np.eye(3),
        matrix=np.eye(3),
        chain=planned.chain,
        limits=planned.limits,
        pitch_mm=np.full(3, 0.1),
        walls=wide,
        gaps=wide,
        wall_spare_mm=np.full(count, np.inf, np.float32),
        gap_spare_mm=np.full(count, np.inf, np.float32),
        # no mould: what it holds is read by mould anyway, with the same kernels
        pull=np.zeros(3),
        mould_pitch_mm=0.0,
        least_mm3=0.0,
        locks=(),
        tongues=(),
        materials=planned.materials,
        zones=(),
        height_mm=6.0,
        printed_with="",
        settings=carry_settings.Settings(),
    )


def compile_print(mesh: Mesh, folder: Path) -> None:
    """Stand, hold up, lay out, write and prove a small body: whatever kernels that takes are compiled and kept."""
    from firstcast.geometry.body import Body
    from firstcast.io.layer_images import write_layers
    from firstcast.io.run_files import write_run_3mf, write_run_stl
    from firstcast.prints import expected_of_plan
    from firstcast.proof.check_run import prove_run
    from firstcast.stations import layer, plan, platform, prop, stand

    planned = plan.plan(summaries=(), pieces=(), settings=plan.Settings())
    body = Body(mesh, np.zeros(len(mesh.triangles), np.uint16), ("body",))
    given = {"limits": planned.limits, "materials": planned.materials}
    stood = stand.stand(
        piece="body", body=body, zones=(), size_steps=(), settings=stand.Settings(directions=20), **given
    )
    held = prop.prop(
        master="body", piece="body", mesh=mesh, turn_to_print=stood.turn_to_print, matrix=np.eye(3), tab=None,
        body=body, zones=(), settings=prop.Settings(), **given,
    )  # fmt: skip
    assert held.propped is not None
    propped = (("body", held.propped),)
    asked = platform.Settings(copies={"body": 2})
    filled = platform.platform(pieces=(("body", "body", held.propped),), wanted=1, settings=asked, **given)
    run, settings = filled.runs[0], layer.Settings()
    layered = layer.layer(run=run, propped=propped, settings=settings, **given)
    drawn = layer.plan_of(run, propped, planned.limits, planned.materials, settings)
    images, threemf, stl = (folder / f"run{suffix}" for suffix in (".zip", ".3mf", ".stl"))
    write_layers(images, drawn, layered.facts(), layered.table())
    write_run_3mf(threemf, run, dict(propped))
    write_run_stl(stl, run, dict(propped))
    prove_run(images, stl, threemf, expected_of_plan(drawn, dict(propped), settings), samples=2)


def compile_last_stations() -> None:
    """Forecast, reduce, prove, print and draw a small body: whatever kernels that takes are compiled and kept."""
    from firstcast.geometry.reduce import reduce_mesh
    from firstcast.io.write import write_3mf, write_stl
    from firstcast.proof.expected import Expected, PartShape
    from firstcast.proof.piece import prove_piece
    from firstcast.sheets.plate import Title, draw_plate

    body = small_body()
    compile_carry(body)
    light = reduce_mesh(body, tolerance_mm=0.02).mesh
    sheet = PartShape("sheet", body.corners[:40], thickness_mm=0.3, closed=False)
    low, high = body.bounds
    expected = Expected(
        name="body",
        extents_mm=tuple(high - low),
        matrix=np.eye(3),
        tolerance_mm=0.002,  # below what reduce took, so that creases and narrow places are looked for
        pitch_mm=0.1,
        parts=(PartShape("ball", body.corners), sheet),
        crease_mm=0.3,
    )
    with tempfile.TemporaryDirectory(prefix="firstcast-") as folder:
        stl, threemf = Path(folder) / "body.stl", Path(folder) / "body.3mf"
        write_stl(stl, light)
        write_3mf(threemf, {"body": light})
        prove_piece(stl, threemf, expected, samples=5_000)
        compile_print(light, Path(folder))
    draw_plate(light.points, light.triangles, title=Title(job="", piece="body", date=""))
    _stamp().touch()


if __name__ == "__main__":
    compile_last_stations()
