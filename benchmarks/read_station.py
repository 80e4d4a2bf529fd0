"""The station read as a whole: walls, gaps, regions, ridges, lines and findings, and how time grows with vertices.

The body is a ball of 20 mm in three parts, meshed by libigl's marching cubes: curved sheet of 0.4 mm with wide openings;
walls and gaps of about 0.45 mm beside each other; and a thick network, most of whose places are wide, as on a figure. Where
the parts meet there are steps and sharp edges. "sharp" is the share of vertices beside edges that bend by more than 35
degrees: such a vertex is read once per triangle round it. "widths" is what reading walls and gaps takes of the wall time, the
search tree's building included.

Run `python benchmarks/read_station.py [--vertices N ...]`; prints one table.
"""

import argparse

import igl
import numpy as np

from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.normals import vertex_normals
from firstcast.geometry.walls import BLUNT_DEG, read_widths
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials, choose
from firstcast.ranges import Range
from firstcast.stations.read import APART_MM, BEYOND_MM, Settings, read
from firstcast.vocabulary import ProcessKind
from tree import table, timed

SIZE_MM = 20.0
LIMITS = Limits(
    ProcessKind.TWO_PART_BLOCK,
    (0.05, 0.05),
    0.05,
    (0.05, 0.05, 0.05),
    0.0125,
    Range(0.4, 0.6, 1.0),
    Range(0.2, 0.4, 0.8),
)
MATERIALS = Materials(
    choose("printer", "mono-35"),
    choose("resin", "standard"),
    choose("mould", "addition-silicone-30a"),
    choose("cast", "polyurethane"),
    choose("paint", "brushed"),
)


def _gyroid(places: tuple[np.ndarray, ...], period_mm: float) -> np.ndarray:
    """From -1.5 to 1.5; 0 on a surface that halves space."""
    x, y, z = (2.0 * np.pi / period_mm * axis for axis in places)
    return np.sin(x) * np.cos(y) + np.sin(y) * np.cos(z) + np.sin(z) * np.cos(x)


def body_of(vertices: int) -> Body:
    """A closed body with about so many vertices, its parts named by what they hold."""
    count = int(376 * np.sqrt(vertices / 2_000_000))
    axis = np.linspace(-SIZE_MM / 2, SIZE_MM / 2, count)
    places = np.meshgrid(axis, axis, axis, indexing="ij")
    wide, fine = _gyroid(places, 6.0), _gyroid(places, 2.0)
    x, y, z = places
    ball = (np.sqrt(x**2 + y**2 + z**2) - 0.475 * SIZE_MM) * 2.0 * np.pi / 6.0
    level = np.where(x < -2.0, np.abs(wide) - 0.35, np.where(y < -4.0, np.abs(fine) - 1.1, wide - 0.6))
    grid = np.stack([axis.ravel(order="F") for axis in places], axis=1)
    points, triangles, _ = igl.marching_cubes(
        np.maximum(level, ball).ravel(order="F"), grid, count, count, count, 0.0
    )
    a, b, c = np.moveaxis(points[triangles], 1, 0)
    if np.einsum("ij,ij->", a, np.cross(b, c)) < 0.0:
        triangles = triangles[:, ::-1]
    middle = points[triangles].mean(axis=1)
    part = np.where(middle[:, 0] < -2.0, 0, np.where(middle[:, 1] < -4.0, 1, 2)).astype(np.uint16)
    mesh = Mesh(np.ascontiguousarray(points, np.float32), np.ascontiguousarray(triangles, np.int32))
    return Body(mesh, part, ("sheet", "walls and gaps", "network"))


def sharp_share(mesh: Mesh) -> float:
    """Share of vertices with a triangle whose normal is off theirs by more than `BLUNT_DEG`."""
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    normals = np.cross(b - a, c - a)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    off = np.einsum("tk,tck->tc", normals, vertex_normals(mesh)[mesh.triangles]) < np.cos(
        np.radians(BLUNT_DEG)
    )
    return len(np.unique(mesh.triangles[off])) / len(mesh.points)


def _read(body: Body):
    return read(
        piece="ball", body=body, limits=LIMITS, materials=MATERIALS, height_mm=SIZE_MM, settings=Settings()
    )


def rows(*, vertices: tuple[int, ...] = (500_000, 2_000_000)) -> list[dict]:
    """One row per size: seconds, and what was found."""
    _read(body_of(20_000))
    found = []
    for wanted in vertices:
        body = body_of(wanted)
        result, wall, processor = timed(lambda body=body: _read(body))
        _, widths, _ = timed(
            lambda body=body: read_widths(
                body.mesh,
                most_mm=LIMITS.wall_mm.likely + BEYOND_MM,
                most_gap_mm=LIMITS.gap_mm.likely + BEYOND_MM,
                apart_mm=APART_MM,
            )
        )
        found.append(
            {
                "vertices": len(body.mesh.points),
                "sharp": round(sharp_share(body.mesh), 2),
                "places_with_a_wall": round(float(np.isfinite(result.walls.width_mm).mean()), 2),
                "places_with_a_gap": round(float(np.isfinite(result.gaps.width_mm).mean()), 2),
                "regions": len(result.readings),
                "lines": len(result.lines),
                "wall_s": round(wall, 1),
                "widths_s": round(widths, 1),
                "processor_s": round(processor, 1),
            }
        )
    return found


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--vertices", type=int, nargs="+", default=[500_000, 2_000_000])
    print(table(rows(vertices=tuple(parser.parse_args().vertices))))
