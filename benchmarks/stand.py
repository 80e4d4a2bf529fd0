"""What thinning a body costs in truth when build directions are read, and what it saves.

The body is a ball of 30 mm with waves of three lengths, 1.3 million triangles, or a mesh that is given. Readings of 48 directions
spread over the sphere are held against those of the whole mesh: how well costs keep their order (Spearman), how far they are
off, at the median and at most, and how much more the direction chosen on the thinned body costs on the whole one
than the best of the 48. "time" is the processor's for readings, as a share of the whole mesh's; of one direction's 160 sections through
manifold3d it says beside it how many times ours.

Run `python benchmarks/stand.py [MESH]`; prints one table.
"""

import sys

import numpy as np
import trimesh
from manifold3d import Manifold
from manifold3d import Mesh as Raw
from scipy.stats import spearmanr

from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.printing.standing import (
    CRITERIA,
    Conditions,
    read_directions,
    sections_along,
    spread_directions,
)
from firstcast.printing.standing_choice import cost_of
from firstcast.printing.standing_ground import stand_ground
from tree import timed

DIRECTIONS = 48
COUNTS = (300_000, 160_000, 80_000, 40_000)
CONDITIONS = Conditions(layer_mm=0.05, terrace_deg=9.5, separation_kpa=15.0)


def waved_ball(radius_mm: float = 15.0) -> Body:
    """A ball with waves of 9, 3 and 1 mm, 0.9, 0.3 and 0.1 mm high."""
    ball = trimesh.creation.icosphere(subdivisions=8, radius=1.0)
    waves = sum(
        0.1 * length * np.sin(2.0 * np.pi * radius_mm / length * ball.vertices[:, axis])
        for axis, length in enumerate((9.0, 3.0, 1.0))
    )
    return _body(ball.vertices * (radius_mm + waves)[:, None], ball.faces)


def _body(points, triangles) -> Body:
    mesh = Mesh(np.ascontiguousarray(points, np.float32), np.ascontiguousarray(triangles, np.int32))
    return Body(mesh, np.zeros(len(triangles), np.uint16), ("body",))


def rows(path: str = "") -> list[dict]:
    """One row for the whole mesh and one per number of triangles."""
    if path:
        solid = trimesh.load(path, force="mesh")
        body = _body(solid.vertices, solid.faces)
    else:
        body = waved_ball()
    ways = spread_directions(DIRECTIONS)
    whole_count = len(body.mesh.triangles)
    table_rows: list[dict] = []
    truth, truth_s = np.empty(0), 0.0
    for most in (whole_count, *(count for count in COUNTS if count < whole_count)):
        ground = stand_ground(body, most_triangles=most)
        read_directions(ground, ways[:2], CONDITIONS)
        readings, _, seconds = timed(lambda ground=ground: read_directions(ground, ways, CONDITIONS))
        costs, starts = cost_of(readings), readings[:, CRITERIA.index("starts")].mean()
        if not len(truth):
            truth, truth_s = costs, seconds
        off = np.abs(costs / truth - 1.0)
        row: dict = {
            "triangles": f"{len(ground.triangles):,}",
            "cell, mm": f"{ground.cell_mm:.2f}",
            "order kept": f"{spearmanr(costs, truth)[0]:.3f}",
            "cost off: median": f"{np.median(off):.1%}",
            "most": f"{off.max():.1%}",
            "choice costs more by": f"{truth[np.argmin(costs)] / truth.min() - 1.0:.1%}",
            "bare starts": f"{starts:.0f}",
            "time": f"{seconds / truth_s:.2f}",
        }
        if most == whole_count:
            row["sections by manifold3d"] = f"{_sliced(ground) / _summed(ground):.0f} times ours"
        table_rows.append(row)
    return table_rows


def _summed(ground) -> float:
    return timed(lambda: sections_along(ground, [0.0, 0.0, 1.0]))[2]


def _sliced(ground) -> float:
    """Seconds for 160 sections of one direction through the library, its own reading of the mesh left out."""
    solid = Manifold(Raw(ground.points.astype(np.float32), ground.triangles.astype(np.uint32)))
    low, high = ground.points[:, 2].min(), ground.points[:, 2].max()
    heights = low + (np.arange(160) + 0.5) * (high - low) / 160
    solid.slice(float(heights[0])).area()
    return timed(lambda: [solid.slice(float(height)).area() for height in heights])[2]


if __name__ == "__main__":
    from run_all import table

    print(table(rows(*sys.argv[1:2])))
