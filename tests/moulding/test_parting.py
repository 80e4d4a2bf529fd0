"""Where the halves meet: bodies whose parting is known, what always holds, zones, and when two halves are enough."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import CrossSection, Manifold

from firstcast.errors import InputError
from firstcast.geometry.body import Body
from firstcast.geometry.zones import Box, Zone
from firstcast.kernels.locked import BODY, LOCKED
from firstcast.kernels.parting import LOWER, NONE, OPEN, UPPER
from firstcast.moulding import halves as halving
from firstcast.moulding.halves import halve
from firstcast.moulding.held import hold
from firstcast.moulding.parting import part_mould, parted
from firstcast.moulding.skin import read_skin
from firstcast.vocabulary import ZoneMeaning
from flow_network import greatest_flow
from mould_bodies import ASIDE_MM, body_of, mesh_of

UP, SIDE = (0.0, 0.0, 1.0), (1.0, 0.0, 0.0)
PITCH = 0.3


ROUND = 48


def torus(ring: float, tube: float) -> Manifold:
    return CrossSection.circle(tube, ROUND).translate((ring, 0.0)).revolve(2 * ROUND)


def cylinder(radius: float, low: float, high: float) -> Manifold:
    return Manifold.cylinder(high - low, radius, radius, ROUND).translate((0.0, 0.0, low))


def drilled(lean: float = 0.0) -> Manifold:
    """A plate of 3 mm across z with a hole of 1.5 mm radius, that leans towards x by `lean` mm per mm."""
    matrix = np.array([[1.0, 0.0, lean, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]])
    return Manifold.cube((10.0, 6.0, 3.0), True) - cylinder(1.5, -4.0, 4.0).transform(matrix)


def part(solid: Manifold, pull=UP, pitch: float = PITCH, **more):
    return part_mould(body_of(solid), pull, pitch_mm=pitch, **more)


def heights(parting, curve) -> np.ndarray:
    """Along the pull, from the body's own origin."""
    return (curve - np.array(ASIDE_MM)) @ parting.pull


@pytest.mark.parametrize("pull", [UP, (0.3, 1.0, 0.2)])
def test_a_ball_parts_at_its_great_circle(pull):
    parting = part(Manifold.sphere(5.0, 128), pull)
    (circle,) = parting.seams
    # a great circle, within a voxel along the pull; rubber that is under-cut there is a hundredth of that deep
    assert np.abs(heights(parting, circle)).max() < 0.8 * PITCH
    assert parting.length_mm == pytest.approx(10.0 * np.pi, rel=0.005)
    assert parting.flatness_mm < 0.3 * PITCH
    assert not parting.shut_offs
    assert parting.locked_mm3 == 0.0
    assert 0.45 < parting.half_of_triangle.mean() < 0.55


def test_a_box_parts_along_its_edges():
    parting = part(Manifold.cube((8.0, 6.0, 10.0), True))
    (edges,) = parting.seams
    off = np.abs(np.abs((edges - np.array(ASIDE_MM))[:, 2]) - 5.0)
    # labels are known to half a voxel, and the edge's own lean reaches a voxel down the wall
    assert off.max() < 1.6 * PITCH
    assert parting.length_mm == pytest.approx(28.0, abs=4 * PITCH)
    # all round one end of it
    assert len(set(np.sign(edges[:, 2]))) == 1


def test_a_ring_has_a_seam_outside_and_one_inside_with_a_disc_across_its_hole():
    parting = part(torus(5.0, 1.5))
    outer, inner = parting.seams
    for seam, radius in ((outer, 6.5), (inner, 3.5)):
        # a polygon's flats lie nearer by 0.5 % at most
        assert np.hypot(*(seam - np.array(ASIDE_MM)).T[:2]) == pytest.approx(radius, abs=0.2 * PITCH)
        assert np.abs(heights(parting, seam)).max() < PITCH
    (disc,) = parting.shut_offs
    # a level surface is told at 1.0 of its area, a leaning one at 0.95 to 1.15; its rim is known to half a voxel
    assert disc.area_mm2 == pytest.approx(np.pi * 3.5**2, rel=0.1)
    assert np.linalg.norm(np.array(disc.place_mm) - ASIDE_MM) < 1.0


def test_a_hole_straight_through_is_shut_off_once():
    parting = part(drilled())
    (disc,) = parting.shut_offs
    assert disc.area_mm2 == pytest.approx(np.pi * 1.5**2, rel=0.2)
    assert len(parting.seams) == 2


def test_a_leaning_hole_is_shut_off_too():
    parting = part(drilled(lean=1.2))
    assert len(parting.seams) == 2
    assert len(parting.shut_offs) == 1
    # it stands across the hole, where that is least: its level section times the cosine of its lean
    assert parting.shut_offs[0].area_mm2 == pytest.approx(np.pi * 1.5**2 / np.sqrt(1.0 + 1.2**2), rel=0.15)


MUSHROOM = cylinder(3.0, -1.0, 0.0) + cylinder(1.0, -1.0, 2.5) + cylinder(2.5, 2.0, 3.0)


@pytest.mark.parametrize(("solid", "pull"), [(MUSHROOM, UP), (torus(3.0, 1.0), SIDE), (drilled(), SIDE)])
def test_what_is_locked_is_what_the_pull_holds(solid, pull):
    parting = part(solid, pull)
    held = hold(mesh_of(solid), pull, PITCH)
    assert parting.locked_mm3 == pytest.approx((held.states == LOCKED).sum() * PITCH**3, rel=0.02)
    # counted in voxels here, exact along the pull there: half a voxel at either end of some eight
    assert parting.locked_mm3 == pytest.approx(held.locked_mm3, rel=0.12)


CONVEX = [
    Manifold.sphere(3.0, 48).scale((1.0, 0.6, 1.4)),
    Manifold.cube((4.0, 3.0, 6.0), True).rotate((20.0, 35.0, 10.0)),
    cylinder(2.0, -3.0, 3.0).rotate((60.0, 20.0, 0.0)),
]


@pytest.mark.parametrize("solid", CONVEX)
def test_convex_bodies_need_two_halves_and_one_seam(solid):
    # every convex body is 2-mouldable along every pull (P. Ahn and others 2002, CAD 34(8), for polyhedra)
    parting = part(solid, (1.0, 2.0, -0.5))
    assert len(parting.seams) == 1
    assert parting.locked_mm3 < 1e-3 * solid.volume()
    assert not parting.shut_offs


def test_two_halves_are_enough_where_no_line_leaves_the_body_and_comes_back():
    """The condition of Ahn and others 2002: a body parts along a pull if every line along it meets the body in one run."""
    cone = Manifold.cylinder(6.0, 3.0, 1.0, ROUND)
    assert part(cone).locked_mm3 == 0.0
    assert part(cone, SIDE).locked_mm3 < 0.05
    assert part(cone - cylinder(0.8, 2.0, 9.0), SIDE).locked_mm3 > np.pi * 0.8**2 * 3.0


def test_a_seam_keeps_out_of_a_precious_zone_where_there_is_a_way_round():
    wall = Manifold.cube((8.0, 8.0, 6.0), True)
    # the wall's edges at both ends are precious on the front; its middle is free
    free = part(wall)
    ends = tuple(
        Zone(f"end {n}", ZoneMeaning.PRECIOUS, shape=Box((-9.0, -9.0, low), (9.0, 9.0, low + 2.5)))
        for n, low in enumerate((-4.0, 1.5))
    )
    round_it = part(wall, zones=ends)
    assert round_it.crosses_precious_mm == 0.0
    z = round_it.seams[0][:, 2]
    assert z.min() > -1.5
    assert z.max() < 1.5
    assert np.abs(free.seams[0][:, 2]).min() > 2.5


def test_a_seam_goes_through_where_there_is_none():
    everywhere = (Zone("all", ZoneMeaning.PRECIOUS, shape=Box((-9.0, -9.0, -9.0), (9.0, 9.0, 9.0))),)
    parting = part(Manifold.sphere(4.0, 64), zones=everywhere)
    assert parting.crosses_precious_mm == pytest.approx(parting.length_mm)
    assert any("precious" in words for words in parting.words)


def lumps(seed: int) -> Manifold:
    """Some balls and boxes that overlap."""
    draw = np.random.default_rng(seed)
    solid = Manifold.sphere(2.5, 32)
    for _ in range(4):
        at = tuple(draw.uniform(-3.0, 3.0, 3))
        size = float(draw.uniform(0.8, 2.0))
        lump = (
            Manifold.sphere(size, 24) if draw.random() < 0.6 else Manifold.cube((size, 2 * size, size), True)
        )
        solid = solid + lump.translate(at)
    return solid


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_upper_never_lies_below_lower_and_nothing_is_left_over(seed):
    mesh = mesh_of(lumps(seed))
    pull = np.random.default_rng(seed).normal(size=3)
    halves = halve(mesh, read_skin(mesh, 0.4), pull, 0.4)
    labels = halves.labels
    assert not ((labels[:, :, 1:] == LOWER) & (labels[:, :, :-1] == UPPER)).any()
    assert not (labels == OPEN).any()
    assert np.all(labels[halves.states == BODY] == NONE)
    # what is no body and not shut in is of one half or the other
    shut_in = (labels == NONE) & (halves.states != BODY)
    assert np.all(halves.states[shut_in] == LOCKED)
    # all that is locked by the pull is locked in its half, and little else
    least = ((halves.states == LOCKED) & ~shut_in).sum()
    assert least <= halves.locked.sum() <= least + 0.01 * (labels != NONE).sum()


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_the_cut_costs_what_a_general_library_finds(seed):
    mesh = mesh_of(lumps(seed))
    pitch = 0.9
    skin = read_skin(mesh, pitch)
    frame = halving.frame_of((0.2, -0.3, 1.0))
    voxels = halving.mark_voxels(mesh, frame, pitch, 2.0, bytes_per_voxel=30)
    known = halving.known_before(voxels.states, voxels.origin_mm, pitch, None)
    places = np.argwhere(known == OPEN).astype(np.int32)
    contacts = halving.contacts_of(skin, frame, voxels.origin_mm, pitch, voxels.states)
    (rows, capacity), ends, paid = halving.linked(voxels.states, known, places, contacts, 18.0)
    _, cost = halving.cut_halves(voxels.states, known, places, contacts, 18.0)
    assert cost == (greatest_flow(rows, capacity, ends) + paid) / halving.UNIT


def test_coarse_to_fine_finds_the_cut_of_the_whole(monkeypatch):
    mesh = mesh_of(torus(5.0, 2.0) + Manifold.sphere(2.0, 64).translate((5.0, 0.0, 1.5)))
    skin = read_skin(mesh, 0.3)
    whole = parted(mesh, skin, halve(mesh, skin, UP, 0.3))
    monkeypatch.setattr(halving, "COARSEST_VOXELS", 9_000)
    in_bands = halve(mesh, skin, UP, 0.3)
    found = parted(mesh, skin, in_bands)
    assert in_bands.undecided < 0.5 * (in_bands.labels != NONE).sum()
    assert found.length_mm == pytest.approx(whole.length_mm, rel=0.02)
    assert found.surface_mm2 == pytest.approx(whole.surface_mm2, rel=0.02)
    assert found.locked_mm3 == pytest.approx(whole.locked_mm3, rel=0.02)


def test_the_same_bytes_for_any_number_of_threads():
    import numba

    body = body_of(lumps(5))
    before = numba.get_num_threads()
    found = []
    for threads in (1, before):
        numba.set_num_threads(threads)
        found.append(part_mould(body, (0.1, 0.2, 1.0), pitch_mm=0.3))
    numba.set_num_threads(before)
    for one, other in zip(found[0].seams, found[1].seams, strict=True):
        assert one.tobytes() == other.tobytes()
    assert found[0].half_of_triangle.tobytes() == found[1].half_of_triangle.tobytes()


def test_seams_are_closed_and_part_the_two_tones():
    body = body_of(lumps(11))
    parting = part_mould(body, UP, pitch_mm=0.2)
    for seam in parting.seams:
        gaps = np.linalg.norm(np.roll(seam, -1, axis=0) - seam, axis=1)
        assert gaps.max() < 2.0 * np.median(gaps)
    middles = body.mesh.corners.mean(axis=1)
    normal = np.cross(
        body.mesh.corners[:, 1] - body.mesh.corners[:, 0], body.mesh.corners[:, 2] - body.mesh.corners[:, 0]
    )
    leans = normal[:, 2] / np.linalg.norm(normal, axis=1)
    seam = np.concatenate(parting.seams)
    away = np.array([np.linalg.norm(seam - middle, axis=1).min() for middle in middles])
    top = (away > 1.0) & (leans > 0.3) & (middles[:, 2] > seam[:, 2].max())
    assert parting.half_of_triangle[top].all()


def test_a_pull_without_direction_is_refused():
    with pytest.raises(InputError, match="pull"):
        part(Manifold.sphere(3.0, 32), (0.0, 0.0, 0.0))


def test_an_open_body_is_refused():
    body = body_of(Manifold.cube((4.0, 4.0, 4.0), True))
    gap = Body(
        type(body.mesh)(body.mesh.points, body.mesh.triangles[1:]), body.part_of_triangle[1:], body.part_names
    )
    with pytest.raises(InputError, match="closed"):
        part_mould(gap, UP, pitch_mm=0.3)
