"""What a pull holds on voxels: volumes in closed form, what links up and what the parting cuts, hollows, tongues."""

import numpy as np
import pytest
from manifold3d import Manifold

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.moulding.held import hold, regions_of
from firstcast.moulding.hollows import Room, find_hollows, room_round
from firstcast.moulding.locks import LEDGE, PLUG, RING, locks_of
from firstcast.moulding.parts import Parts
from firstcast.moulding.tongues import find_tongues, reached_by
from firstcast.process.materials import choose
from mould_bodies import (
    body_of,
    cylinder,
    dovetail,
    drilled_plate,
    mesh_of,
    mushroom,
    socket,
    torus,
    torus_locks_mm3,
)

UP, SIDE = (0.0, 0.0, 1.0), (1.0, 0.0, 0.0)
PITCH = 0.2
RUBBER = choose("mould", "addition-silicone-30a")


def locks(solid: Manifold, pull, least_mm3: float = 0.5):
    body = body_of(solid)
    held = hold(body.mesh, pull, PITCH)
    room = room_round(body.mesh, PITCH, 3.0)
    return locks_of(held, room, find_hollows(room, least_mm3), Parts(body), RUBBER, least_mm3=least_mm3)


@pytest.mark.parametrize(
    ("solid", "pull", "locked"),
    [
        (mushroom(), UP, np.pi * (25.0 - 4.0) * 4.0),
        (socket(), UP, 4.0 * np.pi / 3.0 * 21.0**1.5),
        (dovetail(), UP, 45.0),
        (torus(8.0, 2.5), SIDE, torus_locks_mm3(8.0, 2.5)),
        (torus(8.0, 2.5), UP, 0.0),
    ],
)
def test_closed_forms(solid, pull, locked):
    held = hold(mesh_of(solid), pull, 0.1)
    # columns are exact along the pull; an outline is known to a fraction of a voxel, of 15 to 100 voxels across
    assert held.locked_mm3 == pytest.approx(locked, rel=0.03, abs=1e-9)
    assert sum(r.volume_mm3 for r in regions_of(held, 0.0)) == pytest.approx(locked, rel=0.03, abs=1e-9)


def test_places_and_voxels_are_each_other_turned_round():
    held = hold(mesh_of(dovetail()), (0.3, -0.5, 0.8), PITCH)
    voxels = np.array([[0, 0, 0], [3, 5, 7], [10, 2, 4]])
    assert np.array_equal(held.voxels_at(held.places_mm(voxels)), voxels)


def test_a_ring_must_pass_its_bulb():
    (lock,), number = locks(mushroom(), UP)
    assert (lock.kind, lock.captive) == (RING, False)
    # each radius is known to a third of a voxel
    assert lock.neck_mm == pytest.approx(4.0, abs=0.15)
    assert lock.wide_mm == pytest.approx(10.0, abs=0.15)
    assert lock.asks.strain.likely == pytest.approx(1.5, rel=0.06)
    assert lock.depth_mm == pytest.approx(3.0, abs=0.3)  # bulb less neck; ways are up to 10 % too long
    assert (number > 0).sum() * PITCH**3 == pytest.approx(lock.volume_mm3)


def test_a_plug_must_squeeze_through_its_neck():
    (lock,), _ = locks(socket(), UP)
    assert (lock.kind, lock.captive) == (PLUG, False)
    assert lock.neck_mm == pytest.approx(4.0, abs=2 * PITCH)
    assert lock.wide_mm == pytest.approx(10.0, abs=2 * PITCH)
    # the neck is found to a voxel along the way: a cap there is a little wider
    assert lock.neck_mm2 == pytest.approx(np.pi * 4.0, rel=0.2)
    assert lock.section_mm2 == pytest.approx(np.pi * 25.0, rel=0.05)
    assert lock.asks.strain.likely == pytest.approx(lock.section_mm2 / lock.neck_mm2 - 1.0)


def test_a_groove_with_sloping_sides_is_a_ledge_on_either_side():
    found, _ = locks(dovetail(), UP)
    assert [lock.kind for lock in found] == [LEDGE, LEDGE]
    assert [lock.volume_mm3 for lock in found] == pytest.approx([22.5, 22.5], rel=0.05)
    assert all(lock.depth_mm == pytest.approx(1.5, abs=0.3) for lock in found)


def test_rubber_through_a_ring_links_up():
    found, _ = locks(torus(8.0, 2.5), SIDE)
    assert len(found) == 2
    assert all(lock.captive for lock in found)
    # it is divided in the middle of the ring, where the hole is narrowest
    assert [lock.web_mm2 for lock in found] == pytest.approx([np.pi * 5.5**2] * 2, rel=0.05)


def test_the_parting_cuts_rubber_in_a_hole_that_leads_from_half_to_half():
    # leaning by more than its width, no line along z passes through the hole
    found, _ = locks(drilled_plate(lean=1.2), UP)
    assert found
    assert not any(lock.captive for lock in found)
    straight = hold(mesh_of(drilled_plate()), UP, PITCH)
    assert not regions_of(straight, 0.0)
    assert straight.holes_mm2 == pytest.approx(np.pi * 1.5**2, rel=0.08)
    # seen from its edge, all of the hole is locked and links one face's rubber with the other's
    assert all(lock.captive for lock in locks(drilled_plate(), SIDE)[0])


def test_a_void_is_no_mould_material():
    hollow = Manifold.cube((10.0,) * 3, True) - Manifold.sphere(3.0, 96)
    held = hold(mesh_of(hollow), UP, PITCH)
    assert held.count == 1
    assert not regions_of(held, 0.0)
    assert not find_hollows(room_round(mesh_of(hollow), PITCH, 3.0), 0.5).hollows


def test_an_open_bowl_is_no_hollow():
    bowl = cylinder(8.0, 0.0, 6.0) - Manifold.sphere(5.0, 96).translate((0.0, 0.0, 6.0))
    assert not find_hollows(room_round(mesh_of(bowl), PITCH, 3.0), 0.5).hollows


def test_a_hollow_behind_a_hollow_counts_by_its_narrowest_neck():
    block = Manifold.cube((10.0, 10.0, 26.0), True).translate((0.0, 0.0, -2.0))
    near, far = (Manifold.sphere(3.0, 96).translate((0.0, 0.0, z)) for z in (4.0, -5.0))
    wide = block - near - far - cylinder(1.6, 4.0, 12.0) - cylinder(0.8, -5.0, 4.0)
    found = find_hollows(room_round(mesh_of(wide), PITCH, 3.0), 0.5).hollows
    assert sorted(h.neck_mm for h in found) == pytest.approx([1.6, 3.2], abs=2 * PITCH)
    narrow = block - near - far - cylinder(0.8, 4.0, 12.0) - cylinder(1.6, -5.0, 4.0)
    assert [h.neck_mm for h in find_hollows(room_round(mesh_of(narrow), PITCH, 3.0), 0.5).hollows] == (
        pytest.approx([1.6], abs=2 * PITCH)
    )


@pytest.mark.parametrize(("wide", "deep"), [(0.8, 5.0), (1.2, 7.0)])
def test_a_slit_makes_a_tongue(wide, deep):
    slit = Manifold.cube((wide, 42.0, 2 * deep), True)
    block = Manifold.cube((8.0, 40.0, 10.0), True).translate((0.0, 0.0, -5.0))
    (tongue,) = find_tongues(
        room_round(mesh_of(block - slit), PITCH, 3.0), least_ratio=3.0, most_base_mm=3.0, least_mm3=0.5
    )
    # a gap between voxels is known to one of them
    assert tongue.base_mm == pytest.approx(wide, abs=PITCH)
    assert tongue.depth_mm == pytest.approx(deep, abs=0.6)


@pytest.mark.parametrize("first", [(0, 0, 0), (20, 30, 20)])
def test_a_tongue_is_the_same_in_a_room_cut_out_round_it(first):
    # the cut room's first voxel is outside, or in the block: where balls come in is known from the whole
    slit = Manifold.cube((0.8, 42.0, 10.0), True)
    block = Manifold.cube((16.0, 20.0, 10.0), True).translate((0.0, 0.0, -5.0))
    room = room_round(mesh_of(block - slit), PITCH, 3.0)
    sizes = {"least_ratio": 3.0, "most_base_mm": 3.0, "least_mm3": 0.5}
    (whole,) = find_tongues(room, **sizes)
    cut = tuple(slice(n, None) for n in first)
    part = Room(room.origin_mm + np.array(first) * PITCH, PITCH, np.ascontiguousarray(room.width_mm[cut]))
    assert (part.width_mm[0, 0, 0] > 0.0) == (first == (0, 0, 0))
    outside = [np.ascontiguousarray(mask[cut]) for mask in reached_by(room, 3.0)]
    (found,) = find_tongues(part, **sizes, outside=outside)
    assert (found.base_mm, found.depth_mm) == (whole.base_mm, whole.depth_mm)
    inside = (whole.voxels >= first).all(axis=1)
    assert {tuple(v) for v in whole.voxels[inside]} == {tuple(v) for v in found.voxels + first}


def test_a_wide_groove_makes_none():
    block = Manifold.cube((12.0, 10.0, 10.0), True).translate((0.0, 0.0, -5.0)) - Manifold.cube(
        (4.0, 12.0, 8.0), True
    )
    assert not find_tongues(
        room_round(mesh_of(block), PITCH, 3.0), least_ratio=1.5, most_base_mm=3.0, least_mm3=0.5
    )


def test_what_is_open_or_empty_is_refused():
    mesh = mesh_of(dovetail())
    for read in (lambda m: hold(m, UP, PITCH), lambda m: room_round(m, PITCH, 3.0)):
        with pytest.raises(InputError, match="not closed"):
            read(Mesh(mesh.points, mesh.triangles[1:]))
        with pytest.raises(InputError, match="no triangles"):
            read(Mesh(mesh.points[:0], mesh.triangles[:0]))
