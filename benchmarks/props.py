"""Prop public figures at two sizes, leaned back as is common, and list what came out.

Each mesh goes through intake and fuse, so that it is one closed body, and is then propped at 35 µm pixels and 50 µm layers.
A bare start that remains is told as a failure. The last lines give the median saving against plain columns.

    python benchmarks/props.py MESHES [--heights 32 75] [--only NAME ...] [--kept FOLDER]
"""

import argparse
import statistics
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.turns import leaned
from firstcast.io.meshes import read_meshes
from firstcast.printing.propping import Standing, hold_up
from firstcast.printing.starts import SHARE
from firstcast.printing.ways import FOOT, REST
from firstcast.process.limits import Limits
from firstcast.process.materials import choose
from firstcast.ranges import Range
from firstcast.stations import fuse, intake
from firstcast.stations.prop import Settings, wanted_of
from firstcast.vocabulary import ProcessKind

LEAN_DEG = 15.0
PIXEL_MM, LAYER_MM = 0.035, 0.05
FUSE_PITCH_RATIO = 1 / 250
"""Of the height: fine enough for bodies to be sound, coarse enough to be quick."""

UP_Y = (".obj", ".glb")
FIELDS = (
    "figure, height mm, triangles, tips, of these added to share, feet, on figure, props mm3, plain mm3, saving, "
    "greatest use of a neck, bending, buckling, as a whole, looks, bare starts, s"
)


@dataclass(frozen=True)
class Row:
    """What came out of one figure at one height."""

    name: str
    height_mm: float
    triangles: int
    seconds: float
    standing: Standing

    @property
    def saving(self) -> float:
        return 1.0 - measure_solid(self.standing.props).volume / self.standing.plain_mm3

    @property
    def uses(self) -> tuple[float, float, float, float]:
        """Greatest load over what it may bear: of a neck, of a post that bends, of one that buckles, of a whole tree."""
        standing = self.standing
        return (
            float((standing.loads_n / standing.bears_n).max(initial=0.0)),
            float(standing.strong.bending.max(initial=0.0)),
            float(standing.strong.buckling.max(initial=0.0)),
            max(standing.sways.values(), default=0.0),
        )

    def line(self) -> str:
        standing, kinds = self.standing, np.array(self.standing.ways.kinds)
        tips, added = len(standing.contacts), int((standing.contacts.kinds == SHARE).sum())
        uses = " ".join(f"{use:5.2f}" for use in self.uses)
        return (
            f"{self.name:24s} {self.height_mm:3.0f} {self.triangles:7d} {tips:4d} {added:3d} "
            f"{int((kinds == FOOT).sum()):4d} {int((kinds == REST).sum()):4d} {measure_solid(standing.props).volume:8.1f} "
            f"{standing.plain_mm3:8.1f} {self.saving:6.2f} {uses} {standing.rounds:2d} {standing.left.starts:3d} {self.seconds:6.1f}"
        )


def limits() -> Limits:
    return Limits(
        kind=ProcessKind.SPIN_DISC, pixel_mm=(PIXEL_MM, PIXEL_MM), layer_mm=LAYER_MM, pitch_mm=(0.1, 0.1, 0.1),
        reduce_tolerance_mm=0.01, wall_mm=Range(0.3, 0.5, 0.8), gap_mm=Range(0.1, 0.2, 0.3),
    )  # fmt: skip


def body_of(path: Path, height_mm: float) -> Mesh:
    """One closed body from a file, its longest side so long."""
    parts = []
    read = read_meshes(path)
    turn = np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]]) if path.suffix in UP_Y else np.eye(3)
    points = np.concatenate([np.asarray(one.mesh.points, np.float64) for one in read])
    matrix = height_mm / np.ptp(points, axis=0).max() * turn
    for number, one in enumerate(read):
        taken = intake.intake(name=f"{number}", mesh=one.mesh, matrix_mm=matrix, settings=intake.Settings())
        parts.append(taken.part)
    settings = fuse.Settings(pitch_mm=height_mm * FUSE_PITCH_RATIO)
    return fuse.fuse(piece=path.stem, parts=tuple(parts), limits=limits(), settings=settings).body.mesh


def prop_figure(path: Path, height_mm: float, kept: Path | None) -> Row:
    body = _kept_body(path, height_mm, kept)
    turned = body.mapped(leaned((0.0, 1.0, 0.0), LEAN_DEG))
    start = time.perf_counter()
    standing = hold_up(
        turned, wanted_of(Settings(), limits(), choose("printer", "mono-35"), choose("resin", "standard"))
    )
    return Row(path.name, height_mm, len(body.triangles), time.perf_counter() - start, standing)


def _kept_body(path: Path, height_mm: float, kept: Path | None) -> Mesh:
    """Fused bodies take longer than props: kept in a folder, if one is given."""
    if kept is None:
        return body_of(path, height_mm)
    kept.mkdir(parents=True, exist_ok=True)
    file = kept / f"{path.stem}-{height_mm:g}.npz"
    if not file.exists():
        made = body_of(path, height_mm)
        np.savez(file, points=made.points, triangles=made.triangles)
    with np.load(file) as held:
        return Mesh(held["points"], held["triangles"])


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("meshes", type=Path)
    parser.add_argument("--heights", type=float, nargs="+", default=[32.0, 75.0])
    parser.add_argument("--only", nargs="+", default=[])
    parser.add_argument("--kept", type=Path)
    asked = parser.parse_args()
    print(FIELDS)
    savings, starts, worst = [], 0, 0.0
    for height in asked.heights:
        for path in sorted(asked.meshes.iterdir()):
            if asked.only and not {path.name, path.stem} & set(asked.only):
                continue
            row = prop_figure(path, height, asked.kept)
            print(row.line(), flush=True)
            savings.append(row.saving)
            worst = max(worst, *row.uses)
            starts += row.standing.left.starts
    print(
        f"{len(savings)} figures: median saving {statistics.median(savings):.2f}, {starts} bare starts left, greatest use {worst:.2f}"
    )


if __name__ == "__main__":
    main()
