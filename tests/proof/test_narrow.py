"""Walls and gaps narrower than two pitches: bodies whose widths are known, just under the limit and just over."""

import numpy as np
import pytest

from firstcast.geometry.mesh import Mesh
from firstcast.io.write import write_3mf, write_stl
from firstcast.proof import Expected, PartShape, prove_piece
from firstcast.proof.narrow import Solid, narrow_at
from firstcast.proof.readings import read_distances
from firstcast.proof.sculpture import sculpture_of
from firstcast.proof.tree import build_tree
from firstcast.vocabulary import Verdict

from . import solids

PITCH = 0.1
BESIDE = 1e-3
UNDER, OVER = 0.17, 0.23
"""Widths: the limit is 0.2, looked for in steps of 0.01 both ways, so that it may read 0.02 wider."""


def corners_of(*boxes):
    points, triangles = solids.together(*boxes)
    return points[triangles].astype(np.float64)


def narrow(corners, place, normal, side):
    normal = np.array([normal], np.float64)
    point = np.array([place], np.float64) + side * BESIDE * normal
    return bool(narrow_at(Solid(build_tree(corners), ()), point, normal, PITCH)[0])


@pytest.mark.parametrize(("width", "found"), [(UNDER, True), (OVER, False)])
def test_a_wall_is_measured_through(width, found):
    wall = corners_of(solids.box((4, 4, width)))
    assert narrow(wall, (0.3, 0.2, width / 2), (0, 0, 1), -1) is found
    assert narrow(wall, (0.3, 0.2, width / 2), (0, 0, 1), 1) is False


@pytest.mark.parametrize(("width", "found"), [(UNDER, True), (OVER, False)])
def test_a_gap_is_measured_across(width, found):
    gap = corners_of(solids.box((4, 4, 2), (0, 0, -1 - width)), solids.box((4, 4, 2), (0, 0, 1)))
    assert narrow(gap, (0.3, 0.2, -width), (0, 0, 1), 1) is found
    assert narrow(gap, (0.3, 0.2, -width), (0, 0, 1), -1) is False


@pytest.mark.parametrize(("width", "found"), [(UNDER, True), (OVER, False)])
def test_the_end_of_a_pin_and_the_floor_of_a_slot(width, found):
    pin = corners_of(solids.box((width, 1, 4)))
    assert narrow(pin, (0.01, 0.2, 2), (0, 0, 1), -1) is found
    walls = [solids.box((2, 4, 2), (side * (1 + width / 2), 0, 0)) for side in (-1, 1)]
    slot = corners_of(*walls, solids.box((4, 4, 2), (0, 0, -1.5)))
    assert narrow(slot, (0.01, 0.2, -0.5), (0, 0, 1), 1) is found


def proof_of(tmp_path, boxes, master_box):
    points, triangles = master_box
    master = Mesh(points, triangles)
    extents = np.ptp(points, axis=0)
    parts = tuple(
        PartShape(str(n), points[triangles].astype(np.float64)) for n, (points, triangles) in enumerate(boxes)
    )
    expected = Expected("plates", tuple(extents), np.eye(3), 0.02, PITCH, parts, crease_mm=0.35)
    write_stl(tmp_path / "m.stl", master)
    write_3mf(tmp_path / "m.3mf", {"plates": master})
    return prove_piece(tmp_path / "m.stl", tmp_path / "m.3mf", expected, samples=20_000)


@pytest.mark.parametrize(("width", "verdict"), [(UNDER, Verdict.WATCH), (OVER, Verdict.STOP)])
def test_a_closed_gap_is_told_if_narrow_and_stops_if_not(tmp_path, width, verdict):
    boxes = [solids.box((4, 4, 2), (0, 0, side * (1 + width / 2))) for side in (-1, 1)]
    proof = proof_of(tmp_path, boxes, solids.box((4, 4, 4 + width)))
    assert proof.verdict is verdict
    worst = max(row.measured or 0 for row in proof.rows if row.check.startswith("parts to master: greatest"))
    assert worst == pytest.approx(2000, rel=0.06)  # the middle lies 2 mm deep; points lie 0.1 apart


@pytest.mark.parametrize(("width", "verdict"), [(UNDER, Verdict.WATCH), (OVER, Verdict.STOP)])
def test_a_lost_wall_is_told_if_thin_and_stops_if_not(tmp_path, width, verdict):
    block = solids.box((4, 4, 2), (0, 0, 0))
    proof = proof_of(tmp_path, [block, solids.box((3, width, 2), (0, 0, 1.5))], block)
    assert proof.verdict is verdict
    worst = max(row.measured or 0 for row in proof.rows if row.check.startswith("parts to master: greatest"))
    assert worst == pytest.approx(1500, rel=0.06)


def test_a_seam_between_a_sheet_and_a_closed_part_is_a_crease_and_its_surroundings_are_not():
    box = PartShape("box", corners_of(solids.box((4, 4, 4))))
    flat = np.array([[[-6, -6, 0], [6, -6, 0], [6, 6, 0]], [[-6, -6, 0], [6, 6, 0], [-6, 6, 0]]], np.float64)
    veil = PartShape("veil", flat, thickness_mm=0.6, closed=False)
    sculpture = sculpture_of(Expected("both", (12, 12, 4), np.eye(3), 0.02, PITCH, (box, veil)))
    # by the seam of the box's side x = 2 and the veil's upper face z = 0.3, then well away on either
    places = np.array([[2.05, 0.1, 0.33], [2.02, 0.1, 0.4], [3.0, 0.1, 0.33], [2.02, 0.1, 0.9]])
    reading = read_distances(sculpture, places, 0.0)
    assert reading.creased.tolist() == [True, True, False, False]
    assert not reading.narrow.any()
    assert reading.distance_mm == pytest.approx([0.03, 0.02, 0.03, 0.02], abs=1e-9)


def test_an_edge_that_shows_beside_a_flat_crossing_is_a_crease_and_a_hidden_one_is_not():
    """A slab's top leaves a veil's upper face at 15 degrees; the slab ends at x = 2."""
    points, triangles = solids.box((4, 8, 4), (0, 0, -2))
    tilt = np.radians(15.0)
    turn = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    slab = PartShape("slab", corners_of((points @ turn.T + [0, 0, 0.3], triangles)))
    flat = np.array([[[-6, -6, 0], [6, -6, 0], [6, 6, 0]], [[-6, -6, 0], [6, 6, 0], [-6, 6, 0]]], np.float64)
    veil = PartShape("veil", flat, thickness_mm=0.6, closed=False)
    sculpture = sculpture_of(Expected("both", (12, 12, 4), np.eye(3), 0.02, PITCH, (slab, veil)))
    # in the valley: by the slab's end, whose edge shows on the far side of the crossing; far from its end; by
    # its end where all of it lies within the veil
    places = np.array([[1.95, -0.05, 0.32], [0.5, -0.05, 0.32], [1.95, -0.6, 0.32]])
    reading = read_distances(sculpture, places, 0.0)
    assert reading.creased.tolist() == [True, False, False]
    assert not reading.narrow.any()


def wedge(degrees, blunt_mm=0.0):
    """A wedge 4 mm deep along x, its edge along y at x = 0, cut square at `blunt_mm` from the edge."""
    rise = 2 * np.tan(np.radians(degrees) / 2)
    near, far = blunt_mm / 2 * rise, 2 * rise
    outline = [(blunt_mm, -near), (4, -far), (4, far), (blunt_mm, near)]
    if blunt_mm == 0.0:
        outline = [(0, 0), (4, -far), (4, far)]
    return solids.prism(outline, 3.0)


@pytest.mark.parametrize(("degrees", "verdict"), [(10.0, Verdict.WATCH), (16.0, Verdict.STOP)])
def test_a_knifes_lost_edge_is_told_and_a_wedges_stops(tmp_path, degrees, verdict):
    """4.5 pitches of the edge are lost: more than the limit for creases allows down to 15 degrees."""
    proof = proof_of(tmp_path, [wedge(degrees)], wedge(degrees, 4.5 * PITCH))
    assert proof.verdict is verdict
