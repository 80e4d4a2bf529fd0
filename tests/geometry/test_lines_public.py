"""Lines on public figures beside sections by trimesh, their profiles measured another way: by a straightedge.

A straightedge as long as the line's mouth is laid over the section, its ends on the surface, wherever it fits over the bottom:
where it lies from mouth to mouth the bottom is as far below it as the line is deep. Anywhere else along flanks that turn
away at the mouth it lies lower, or a little higher where the lips are round.
"""

import os
from pathlib import Path

import numpy as np
import pytest
import trimesh

from firstcast.geometry.lines import read_lines
from firstcast.geometry.mesh import Mesh

DATA = os.environ.get("FIRSTCAST_DATA")
MOST_MM = 0.6
SEED = 6011
STEP_MM = 0.005


def figure(name: str, height_mm: float) -> Mesh:
    """A public mesh, welded, at a figure's height."""
    solid = trimesh.load(Path(str(DATA)) / name, process=False, force="mesh")
    solid.merge_vertices(merge_tex=True, merge_norm=True)
    points = solid.vertices * (height_mm / np.ptp(solid.vertices, axis=0).max())
    return Mesh(np.ascontiguousarray(points), np.ascontiguousarray(solid.faces, dtype=np.int32))


def section(solid: trimesh.Trimesh, place: np.ndarray, way: np.ndarray) -> np.ndarray:
    """The run of the section (k, 3) that passes through a place, at even steps, as far as 0.6 mm along it either way."""
    path = solid.section(plane_origin=place, plane_normal=way)
    best, found = np.inf, np.zeros((0, 3))
    for run in path.discrete:
        run = np.asarray(run)
        length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(run, axis=0), axis=1))])
        fine = np.arange(0.0, length[-1], STEP_MM)
        even = np.column_stack([np.interp(fine, length, run[:, k]) for k in range(3)])
        if np.allclose(run[0], run[-1]):
            even = np.concatenate([even, even, even])
        away = np.linalg.norm(even - place, axis=1)
        third = len(even) // 3 if np.allclose(run[0], run[-1]) else 0
        at = third + int(np.argmin(away[third : len(even) - third]))
        reach = round(MOST_MM / STEP_MM)
        if away[at] < best:
            best, found = float(away[at]), even[max(at - reach, 0) : at + reach + 1]
    assert best < 0.01
    return found


def straightedge(run: np.ndarray, bottom: np.ndarray, width: float) -> float:
    """How far below a straightedge of a length the bottom lies at most, its ends on the section on either side of it."""
    middle = int(np.argmin(np.linalg.norm(run - bottom, axis=1)))
    left, right = run[:middle], run[middle + 1 :]
    apart = np.linalg.norm(left[:, None] - right[None], axis=2)
    most = 0.0
    for i, row in enumerate(apart):
        first = int(np.argmax(row >= width))
        if row[first] < width:
            continue
        along = (right[first] - left[i]) / row[first]
        off = bottom - left[i]
        if 0.0 < off @ along < row[first]:
            most = max(most, float(np.linalg.norm(off - (off @ along) * along)))
    return most


@pytest.mark.skipif(not DATA, reason="FIRSTCAST_DATA names no folder of public meshes")
@pytest.mark.parametrize(("name", "height_mm"), [("koala.obj", 20.0), ("skull.obj", 20.0)])
def test_beside_sections_measured_with_a_straightedge(name, height_mm):
    mesh = figure(name, height_mm)
    found = read_lines(mesh, most_mm=MOST_MM)
    rows = np.random.default_rng(SEED).permutation(len(found.raised))[:60]
    assert len(rows) >= 20
    solid = trimesh.Trimesh(mesh.points, mesh.triangles, process=False)
    ratio = np.array([
        straightedge(
            section(solid, found.place_mm[row], found.way[row]), found.place_mm[row], float(found.width_mm[row])
        ) / found.depth_mm[row]
        for row in rows
    ])  # fmt: skip
    # the chord is level to a tenth at last, and ends between places 0.0125 mm apart
    assert ((ratio > 0.9) & (ratio < 1.2)).all()
    assert np.median(ratio) == pytest.approx(1.0, abs=0.03)
