"""The search tree beside libigl: building, closest points of places near the surface, winding numbers.

Run `python benchmarks/tree.py [--queries N] [--subdivisions N]`; prints one table.
"""

import argparse
import time

import igl
import numpy as np
import trimesh

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.tree import build_dipoles, build_tree, closest_points, winding_number

SEED = 90217


def relief_ball(subdivisions: int) -> Mesh:
    """A ball of 40 mm with relief: 20 · 4^subdivisions triangles."""
    solid = trimesh.creation.icosphere(subdivisions=subdivisions)
    x, y, z = solid.vertices.T
    radius = 20.0 * (1.0 + 0.1 * np.sin(9 * x) * np.cos(7 * y + 1.0) + 0.01 * np.sin(83 * z))
    return Mesh(solid.vertices * radius[:, None], np.asarray(solid.faces, dtype=np.int32))


def places_near(mesh: Mesh, count: int, spread_mm: float) -> np.ndarray:
    """Places scattered about the surface, in no order."""
    rng = np.random.default_rng(SEED)
    share = rng.dirichlet((1, 1, 1), size=count)
    corners = mesh.corners[rng.integers(len(mesh.triangles), size=count)]
    return np.einsum("ij,ijk->ik", share, corners) + rng.normal(scale=spread_mm, size=(count, 3))


def timed(function):
    """Result, wall seconds and processor seconds."""
    wall, processor = time.perf_counter(), time.process_time()
    result = function()
    return result, time.perf_counter() - wall, time.process_time() - processor


def rows(*, subdivisions: int = 8, queries: int = 1_000_000) -> list[dict]:
    """One row per task and library: triangles, queries, seconds of wall and of processor."""
    warm = relief_ball(2)
    warm_tree = build_tree(warm)
    closest_points(warm_tree, warm.points)
    winding_number(warm_tree, build_dipoles(warm_tree), warm.points)
    mesh = relief_ball(subdivisions)
    places = places_near(mesh, queries, 0.05)
    triangles = mesh.triangles.astype(np.int64)
    few = places[: queries // 10]
    tree, *build = timed(lambda: build_tree(mesh))
    found, *near = timed(lambda: closest_points(tree, places))
    (squared, _, _), *near_igl = timed(
        lambda: igl.point_mesh_squared_distance(places, mesh.points, triangles)
    )
    turns, *wind = timed(lambda: winding_number(tree, build_dipoles(tree), few))
    turns_igl, *wind_igl = timed(lambda: igl.fast_winding_number(mesh.points, triangles, few))
    apart = float(np.abs(np.sqrt(squared) - found.distance_mm).max())
    unlike = float(((turns > 0.5) != (turns_igl > 0.5)).mean())
    facts = [
        ("build", "firstcast", 0, build, ""),
        ("closest points", "firstcast", queries, near, f"at most {apart:.1e} mm from libigl"),
        ("closest points, building included", "libigl", queries, near_igl, ""),
        ("winding numbers", "firstcast", len(few), wind, f"{unlike:.1e} of the signs unlike libigl"),
        ("winding numbers, building included", "libigl", len(few), wind_igl, ""),
    ]
    return [
        {
            "task": task,
            "library": library,
            "triangles": len(triangles),
            "queries": count,
            "wall_s": round(seconds[0], 2),
            "processor_s": round(seconds[1], 2),
            "note": note,
        }
        for task, library, count, seconds, note in facts
    ]


def table(found: list[dict]) -> str:
    """The rows as a markdown table."""
    heads = list(found[0])
    lines = ["| " + " | ".join(heads) + " |", "|" + " --- |" * len(heads)]
    lines += ["| " + " | ".join(f"{row[head]}" for head in heads) + " |" for row in found]
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--subdivisions", type=int, default=8)
    parser.add_argument("--queries", type=int, default=1_000_000)
    chosen = parser.parse_args()
    print(table(rows(subdivisions=chosen.subdivisions, queries=chosen.queries)))
