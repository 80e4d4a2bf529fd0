"""How much of a sharp edge fuse's lattice cuts away, in steps of the lattice.

Wedges of four angles, 60 of each: 30 turned at random, 30 laid almost along the lattice (turned by some 0.03 radians
about each axis), all shifted at random; the seed is fixed. "lost" is the greatest distance from the true edge to the
fused body. "aim" is what is aimed at. Nothing is timed.

Run `python benchmarks/edges.py`; prints one table.
"""

import igl
import numpy as np
import numpy.typing as npt
import trimesh

from firstcast.fields.contour import contour_union
from firstcast.fields.creases import with_creases
from firstcast.fields.union import Shells, lattice_around, occupy, read_columns

PITCH_MM = 0.05
DEEP_MM, LONG_MM = 0.8, 1.2
EACH = 30
AIMS = {90: 0.6, 60: 1.0, 25: 2.5, 15: 3.5}


def lost_pitches(degrees: float, turn: npt.NDArray[np.float64], shift_mm: npt.NDArray[np.float64]) -> float:
    """Greatest distance from a wedge's edge to its fused body, in pitches; `turn` (3, 3), `shift_mm` (3,)."""
    half = DEEP_MM * np.tan(np.radians(degrees / 2))
    outline = [(0.0, 0.0), (-DEEP_MM, half), (-DEEP_MM, -half)]
    corners = np.array([(x, y, z) for z in (0.0, LONG_MM) for x, y in outline])
    solid = trimesh.convex.convex_hull(corners @ turn.T + shift_mm)
    points = np.asarray(solid.vertices, np.float64)
    triangles = np.ascontiguousarray(solid.faces, np.int32)
    shells = Shells(points, triangles, np.zeros(len(triangles), np.uint16))
    lattice = lattice_around(points, np.full(3, PITCH_MM), PITCH_MM)
    columns = read_columns(shells, lattice)
    occupancy = occupy(columns, lattice, PITCH_MM)
    body = with_creases(*contour_union(occupancy, columns, shells.part), occupancy, columns, shells)
    along = np.linspace(0.25, 0.75, 150) * LONG_MM  # away from the wedge's ends
    edge = np.outer(along, turn[:, 2]) + shift_mm
    squared = igl.point_mesh_squared_distance(edge, body.points.astype(np.float64), body.triangles)[0]
    return float(np.sqrt(squared.max()) / PITCH_MM)


def rows() -> list[dict]:
    """One row per angle."""
    found = []
    for degrees, aim in AIMS.items():
        rng = np.random.default_rng(5 + degrees)
        row: dict = {"wedge, degrees": degrees, "aim": aim}
        for name in ("random", "along the lattice"):
            lost = []
            for _ in range(EACH):
                if name == "random":
                    turn = trimesh.transformations.random_rotation_matrix(rng.random(3))
                else:
                    turn = trimesh.transformations.euler_matrix(*rng.normal(0.0, 0.03, 3))
                lost.append(lost_pitches(degrees, turn[:3, :3], rng.random(3) * PITCH_MM))
            row |= {f"{name}: median lost": f"{np.median(lost):.2f}", f"{name}: most": f"{max(lost):.2f}"}
        found.append(row)
    return found


if __name__ == "__main__":
    from run_all import table

    print(table(rows()))
