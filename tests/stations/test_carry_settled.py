"""Lengths that carry asks for are held back where the mould would hold more by them, and only there."""

import numpy as np
import pytest

from firstcast.forecast.chain_on_mesh import normals_of
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.refine import split_long_edges
from firstcast.moulding.parts import Parts
from firstcast.moulding.reread import AsRead, reread
from firstcast.process.materials import choose
from firstcast.stations.carry_ground import Ground
from firstcast.stations.carry_settled import USED, KeptFree
from mesh_bodies import NULL
from mould_bodies import ASIDE_MM, mesh_of, mushroom

UP, PITCH_MM = np.array([0.0, 0.0, 1.0]), 0.2
RUBBER = choose("mould", "addition-silicone-30a")
STEM_MM, CAP_MM, HEIGHT_MM = 3.0, 5.0, 4.0
"""Under the cap π (5² - 3²) 4 = 201 mm³ are held."""


def grounded() -> Ground:
    mesh, _ = split_long_edges(mesh_of(mushroom(STEM_MM, CAP_MM, HEIGHT_MM)), 0.5)
    body = Body(mesh, np.zeros(len(mesh.triangles), np.uint16), ("mushroom",))
    normals = normals_of(np.asarray(mesh.points, np.float64), mesh.triangles)
    rows = np.arange(len(mesh.triangles), dtype=np.int32)
    return Ground(body, mesh, rows, normals, np.eye(3), np.eye(3), (NULL,) * 3)


GROUND = grounded()
X, Y, Z = (GROUND.points - ASIDE_MM).T
STEM = (np.hypot(X, Y) < STEM_MM + 0.01) & (Z > 0.5) & (Z < HEIGHT_MM - 0.5)
TOP = HEIGHT_MM + 1.0 < Z


def held_mm3(length: np.ndarray, as_read: AsRead) -> float:
    moved = Mesh(GROUND.points + length[:, None] * GROUND.ways, GROUND.mesh.triangles)
    return reread(moved, as_read, Parts(GROUND.body), RUBBER).along.way.locked_mm3


@pytest.fixture(scope="module")
def as_read() -> AsRead:
    nothing = AsRead(UP, PITCH_MM, 0.5, ())
    locks = reread(GROUND.mesh, nothing, Parts(GROUND.body), RUBBER).along.locks
    return nothing._replace(locks=locks)


def test_what_would_be_held_more_is_held_back_to_what_is_let_pass(as_read):
    """A stem drawn in by 0.7 mm would hold 1.2 times as much; half of a tenth and 40 voxels is used.

    The share is told from one straight line between two volumes, and the volume goes with the square of the stem: that, and
    what is drawn back beside the stem so that it makes no step, may cost some of it, so it is held to a tenth of the gain.
    """
    asked = np.where(STEM, -0.7, np.where(TOP, 0.05, 0.0))
    before, wanted = held_mm3(0.0 * asked, as_read), held_mm3(asked, as_read)
    most = before + USED * (0.1 * before + as_read.slack_mm3)
    assert before == pytest.approx(np.pi * (CAP_MM**2 - STEM_MM**2) * HEIGHT_MM, rel=0.03)
    assert wanted > most + 5.0
    free = KeptFree(GROUND, as_read, RUBBER)
    kept = free(asked)
    assert free.places == 1
    assert held_mm3(kept, as_read) <= most + 0.1 * (wanted - before)
    # what is let pass is used
    assert held_mm3(kept, as_read) > before + 0.5 * (most - before)
    # far from the lock nothing is taken
    assert np.array_equal(kept[TOP & (np.hypot(X, Y) < 3.0)], asked[TOP & (np.hypot(X, Y) < 3.0)])
    # asked once more, it is as much at most
    assert (np.abs(free(asked)) <= np.abs(kept) + 1e-12).all()


def test_what_holds_no_more_keeps_its_lengths(as_read):
    asked = np.where(STEM, 0.08, np.where(TOP, 0.05, 0.0))
    free = KeptFree(GROUND, as_read, RUBBER)
    assert np.array_equal(free(asked), asked)
    assert free.places == 0
