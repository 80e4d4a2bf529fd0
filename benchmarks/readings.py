"""Walls and gaps beside the shape diameter by libigl's rays, and how time grows with vertices.

The body is a ball of 20 mm of curved sheet, 0.4 mm thick with openings of 2.2 mm: every place has a wall, so this is
the dearest case. firstcast reads walls and gaps, widths up to 1.5 mm, the tree's building included: at all vertices, and,
as the station does, at about one in three, where others lie within 0.12 mm. The shape diameter (Shapira, Shamir,
Cohen-Or 2008) is the mean of 30 rays in a cone about the inward normal, walls alone, through libigl's AABB tree, at
2000 vertices drawn at random, its tree's building left out. "unlike" is how far the medians lie apart.

Run `python benchmarks/readings.py [--vertices N ...]`; prints one table.
"""

import argparse

import igl
import numpy as np

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.walls import read_widths
from tree import table, timed

SEED = 40213
RAYS = 30
SAMPLE = 2000
CONE_DEG = 60.0
APART_MM = 0.12


def sheet_body(vertices: int, size_mm: float = 20.0, period_mm: float = 6.0) -> Mesh:
    """A ball of a gyroid's sheet with about so many vertices, by libigl's marching cubes."""
    count = int(160 * np.sqrt(vertices / 379_000))
    axis = np.linspace(-size_mm / 2, size_mm / 2, count)
    x, y, z = np.meshgrid(axis, axis, axis, indexing="ij")
    k = 2 * np.pi / period_mm
    sheet = np.sin(k * x) * np.cos(k * y) + np.sin(k * y) * np.cos(k * z) + np.sin(k * z) * np.cos(k * x)
    body = np.maximum(np.abs(sheet) - 0.35, (np.sqrt(x**2 + y**2 + z**2) - 0.475 * size_mm) * k)
    places = np.stack([g.ravel(order="F") for g in (x, y, z)], axis=1)
    points, triangles, _ = igl.marching_cubes(body.ravel(order="F"), places, count, count, count, 0.0)
    a, b, c = np.moveaxis(points[triangles], 1, 0)
    outward = np.einsum("ij,ij->", a, np.cross(b, c)) > 0
    return Mesh(
        np.ascontiguousarray(points),
        np.ascontiguousarray(triangles if outward else triangles[:, ::-1], dtype=np.int32),
    )


def shape_diameter(mesh: Mesh, rows: np.ndarray):
    """Mean length of rays in a cone about the inward normals of some vertices; with the seconds it took."""
    triangles = mesh.triangles.astype(np.int64)
    normals = np.zeros_like(mesh.points)
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    for corner in range(3):
        np.add.at(normals, mesh.triangles[:, corner], np.cross(b - a, c - a))
    normals = normals[rows] / np.linalg.norm(normals[rows], axis=1)[:, None]
    rng = np.random.default_rng(SEED)
    tilt = np.radians(CONE_DEG) * np.sqrt(rng.random((RAYS, len(rows), 1)))
    across = np.cross(normals, rng.normal(size=(RAYS, len(rows), 3)))
    across /= np.linalg.norm(across, axis=2)[:, :, None]
    ways = (-np.cos(tilt) * normals + np.sin(tilt) * across).reshape(-1, 3)
    starts = np.tile(mesh.points[rows], (RAYS, 1)) + 1e-6 * ways
    tree = igl.AABB()
    tree.init(mesh.points, triangles)
    (_, along, _), *seconds = timed(lambda: tree.intersect_ray_first(mesh.points, triangles, starts, ways))
    lengths = np.where(np.isfinite(along), along, np.nan).reshape(RAYS, -1)
    return np.nanmean(lengths, axis=0), *seconds


def rows(*, vertices: tuple[int, ...] = (300_000, 1_000_000, 2_000_000)) -> list[dict]:
    """Three rows per size: microseconds of processor per vertex, and how the readings compare."""
    read_widths(sheet_body(3000))
    found = []
    for wanted in vertices:
        mesh = sheet_body(wanted)
        widths, wall, processor = timed(lambda mesh=mesh: read_widths(mesh))
        sample = np.random.default_rng(SEED).permutation(len(mesh.points))[:SAMPLE]
        _, thinned_wall, thinned = timed(lambda mesh=mesh: read_widths(mesh, apart_mm=APART_MM))
        diameter, _, rays = shape_diameter(mesh, sample)
        known = np.isfinite(widths.wall_mm[sample])
        apart = float(np.median(diameter[known]) - np.median(widths.wall_mm[sample][known]))
        facts = (
            ("walls and gaps", "firstcast", wall, processor, len(mesh.points)),
            ("the same, 0.12 mm apart", "firstcast", thinned_wall, thinned, len(mesh.points)),
            ("walls", "libigl, 30 rays", None, rays, SAMPLE),
        )
        for task, library, seconds, spent, places in facts:
            found.append(
                {
                    "task": task,
                    "library": library,
                    "vertices": len(mesh.points),
                    "places": places,
                    "wall_s": "" if seconds is None else round(seconds, 1),
                    "processor_s": round(spent, 1),
                    "processor_us_per_place": round(spent / places * 1e6, 1),
                    "unlike_mm": "" if seconds is not None else round(apart, 3),
                }
            )
    return found


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--vertices", type=int, nargs="+", default=[300_000, 1_000_000, 2_000_000])
    print(table(rows(vertices=tuple(parser.parse_args().vertices))))
