"""What searching the pull of a two-part mould costs, against sorted columns, and what opens real figures.

A body is a ball of 30 mm with waves of three lengths, 328,000 triangles. "shadows" is what the search does: lines 0.1 mm apart along each
pull, their first and last place on the body and how much of them lies inside. "sorted columns" is the union's reading of the same lines,
every crossing in order, and sorts voxels by them as it does for one pull. Each is timed over some pulls and told for one; the
volumes must agree.

    python benchmarks/pull.py [MESHES]

With a folder of meshes it prints instead what the mould station says of each that is closed, made 60 mm high.
"""

import sys
from pathlib import Path

import numpy as np
import trimesh

from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.moulding.held import hold
from firstcast.moulding.pull import half_sphere, locked_mm3, pull_ground
from firstcast.process.kinds import kind_of
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials, catalogue, choose
from firstcast.ranges import Range
from firstcast.stations.mould import Settings, mould
from firstcast.vocabulary import ProcessKind
from tree import timed

CELL_MM = 0.1
LATTICE_MM = 0.05
"""Of a body as fuse would have made it; fills are drawn on it."""

PULLS, FEW = 600, 6


def waved_ball(radius_mm: float = 15.0) -> Mesh:
    """A ball with waves of 9, 3 and 1 mm, 0.9, 0.3 and 0.1 mm high."""
    ball = trimesh.creation.icosphere(subdivisions=7, radius=1.0)
    waves = sum(
        0.1 * length * np.sin(2.0 * np.pi * radius_mm / length * ball.vertices[:, axis])
        for axis, length in enumerate((9.0, 3.0, 1.0))
    )
    return Mesh(ball.vertices * (radius_mm + waves)[:, None], np.asarray(ball.faces, np.int32))


def rows() -> list[dict]:
    """One row per way of reading pulls."""
    mesh = waved_ball()
    ground = pull_ground(mesh, cell_mm=CELL_MM, most_triangles=len(mesh.triangles))
    pulls = half_sphere(PULLS)
    few = pulls[:: PULLS // FEW]
    locked_mm3(ground, pulls[:2])
    hold(mesh, pulls[0], CELL_MM)
    found, seconds, _ = timed(lambda: locked_mm3(ground, pulls))
    columns, column_seconds, _ = timed(lambda: [hold(mesh, pull, CELL_MM).locked_mm3 for pull in few])
    one = seconds / PULLS
    truth = found[:: PULLS // FEW]
    head = {"triangles": f"{len(mesh.triangles):,}"}
    return [
        {**head, "read by": "shadows", "pulls": PULLS, "time of one": "1.0", "s in all": f"{seconds:.1f}"},
        {
            **head,
            "read by": "sorted columns",
            "pulls": FEW,
            "time of one": f"{column_seconds / FEW / one:.0f}",
            "volume off": f"{_off(columns, truth):.2%}",
        },
    ]


def _off(found, truth) -> float:
    return float(np.abs(np.asarray(found) / np.asarray(truth) - 1.0).max())


def figures(folder: Path, height_mm: float = 60.0) -> list[dict]:
    """One row for each closed mesh of a folder: how it opens in a block of two parts, and what it holds."""
    two_part = kind_of(ProcessKind.TWO_PART_BLOCK)
    materials = Materials(
        mould=choose("mould", two_part.mould),
        **{word: next(iter(catalogue(word).values())) for word in ("printer", "resin", "cast", "paint")},
    )
    limits = Limits(
        ProcessKind.TWO_PART_BLOCK,
        (0.05, 0.05),
        0.05,
        (0.05,) * 3,
        0.01,
        Range.exactly(0.6),
        Range.exactly(0.3),
    )
    table_rows = []
    for path in sorted(folder.iterdir()):
        solid = trimesh.load(path, force="mesh")
        if not (isinstance(solid, trimesh.Trimesh) and solid.is_watertight and solid.volume > 0.0):
            continue
        points = upright(np.asarray(solid.vertices, np.float64))
        points *= height_mm / np.ptp(points[:, 2])
        mesh = Mesh(points, np.asarray(solid.faces, np.int32))
        body = Body(mesh, np.zeros(len(mesh.triangles), np.uint16), (path.stem,))
        told, seconds, _ = timed(
            lambda body=body, name=path.stem: mould(
                piece=name,
                body=body,
                limits=limits,
                materials=materials,
                zones=(),
                mends=(),
                lattice_mm=np.full(3, LATTICE_MM),
                settings=Settings(),
            )
        )
        kinds = [("captive" if lock.captive else lock.kind) for lock in told.locks]
        table_rows.append(
            {
                "figure": path.stem,
                "triangles": f"{len(mesh.triangles):,}",
                "opens": told.ways[0].words.split(":")[0],
                "body, mm3": f"{abs(solid.volume) * (height_mm / np.ptp(upright(solid.vertices)[:, 2])) ** 3:.0f}",
                "locked, mm3": f"{told.ways[0].locked_mm3:.0f}",
                "worst pull": f"{told.locked_mm3.max():.0f}",
                "captive, ring, plug, ledge": ", ".join(
                    str(kinds.count(kind)) for kind in ("captive", "ring", "plug", "ledge")
                ),
                "tongues": len(told.tongues),
                "worst stretch": f"{told.ways[0].worst_share:.2f}",
                "s": f"{seconds:.0f}",
            }
        )
    return table_rows


def upright(points):
    """The longest of y and z up: most of these files have y up."""
    extents = np.ptp(points, axis=0)
    return np.column_stack([points[:, 0], -points[:, 2], points[:, 1]]) if extents[1] > extents[2] else points


if __name__ == "__main__":
    from run_all import table

    print(table(figures(Path(sys.argv[1])) if len(sys.argv) > 1 else rows()))
