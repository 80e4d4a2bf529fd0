"""Rings round narrow necks, by a finer look: closed forms that voxels of the mould can't tell."""

import numpy as np
import pytest
from manifold3d import Manifold

from firstcast.moulding.locks import RING, Lock, locks_of
from firstcast.moulding.opening import read_body
from firstcast.moulding.parts import Parts
from firstcast.moulding.rings import FINER
from firstcast.moulding.voxels import mark_voxels, mark_window
from firstcast.process.materials import choose
from mould_bodies import body_of, cylinder, dovetail, mesh_of, mushroom

UP, PITCH = (0.0, 0.0, 1.0), 0.2
RUBBER = choose("mould", "addition-silicone-30a")
CAP, HEIGHT = 2.0, 1.5


def locks(solid: Manifold) -> tuple[Lock, ...]:
    body = body_of(solid)
    return read_body(body.mesh, Parts(body), RUBBER, pitch_mm=PITCH, least_mm3=0.5).along(UP).locks


@pytest.mark.parametrize("stem", [0.13, 0.2])
def test_a_neck_of_two_voxels_is_known_to_a_third_of_one(stem):
    (lock,) = locks(mushroom(stem, CAP, HEIGHT))
    assert lock.kind == RING
    # as in coarser voxels, each radius is known to a third of a voxel: of a finer one
    assert lock.neck_mm == pytest.approx(2.0 * stem, abs=2.0 / 3.0 * PITCH / FINER)
    assert lock.wide_mm == pytest.approx(2.0 * CAP, abs=2.0 / 3.0 * PITCH / FINER)


def test_a_fin_that_voxels_miss_parts_the_ring():
    fin = Manifold.cube((CAP + 1.0, 0.09, HEIGHT + 0.4)).translate((0.0, 0.06, -0.2))
    whole = mushroom(0.2, CAP, HEIGHT)
    assert [lock.kind for lock in locks(whole)] == [RING]
    # parted once it is one place still, but it opens like a clasp
    parted = body_of(whole + fin)
    reading = read_body(parted.mesh, Parts(parted), RUBBER, pitch_mm=PITCH, least_mm3=0.5)
    along = reading.along(UP)
    assert RING not in [lock.kind for lock in along.locks]
    coarse, _ = locks_of(
        along.held, reading.room, reading.hollows, reading.parts, RUBBER, least_mm3=0.5
    )  # fmt: skip
    assert RING in [lock.kind for lock in coarse]


def test_a_window_has_the_voxels_of_the_whole():
    frame = np.eye(3)[[1, 2, 0]]
    # faces as long as the body reach far beyond the window
    for solid in (dovetail(), mushroom() + cylinder(1.0, -6.0, -2.0)):
        mesh = mesh_of(solid)
        whole = mark_voxels(mesh, frame, PITCH, 2.0 * PITCH, bytes_per_voxel=10)
        low, high = np.array([-1.4, -2.0, -1.0]), np.array([2.2, 1.0, 2.0])
        points = np.asarray(mesh.points, np.float64) @ frame.T
        part = mark_window(mesh, points, PITCH, (low, high))
        assert part is not None
        start = np.rint((part.origin_mm - whole.origin_mm) / PITCH).astype(int)
        assert start * PITCH + whole.origin_mm == pytest.approx(part.origin_mm)
        i, j, k = (slice(a, a + n) for a, n in zip(start, part.states.shape, strict=True))
        assert np.array_equal(part.states, whole.states[i, j, k])
        assert min(part.states.shape) > 10
