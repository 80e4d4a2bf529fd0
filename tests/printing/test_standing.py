"""Readings of build directions: sections, lows, what faces down, beside closed forms, brute force and a library's slices."""

import os
from dataclasses import replace
from pathlib import Path

import numba
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold
from manifold3d import Mesh as Raw
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from firstcast.errors import InputError
from firstcast.geometry.zones import Ball, Zone
from firstcast.printing.standing import (
    BEARS_DEG,
    CRITERIA,
    CUP_MM,
    NEEDS_DEG,
    START_LAYERS,
    Conditions,
    find_lows,
    off_tab,
    read_directions,
    sections_along,
    spread_directions,
)
from firstcast.printing.standing_ground import SOLE, stand_ground
from firstcast.vocabulary import ZoneMeaning
from standing_bodies import body_of, bowl, bumpy_ball, turned

DATA = os.environ.get("FIRSTCAST_DATA")
CONDITIONS = Conditions(layer_mm=0.05, terrace_deg=9.5, separation_kpa=15.0)
COLUMN = {name: n for n, name in enumerate(CRITERIA)}
AXES = np.concatenate([np.eye(3), -np.eye(3)])

directions = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda axis: np.linalg.norm(axis) > 1e-2)
rotations = st.tuples(*[st.floats(-3, 3)] * 3).map(Rotation.from_rotvec)


def unit(axis):
    return np.asarray(axis) / np.linalg.norm(axis)


def planes_of(ground, direction, count):
    """Heights of the planes and how far they are apart."""
    heights = ground.points @ direction
    apart = np.ptp(heights) / count
    return heights.min() + (np.arange(count) + 0.5) * apart, apart


def evenly(ground):
    """The same ground with all weights 1, so that areas are plain areas."""
    return replace(ground, weights=np.ones_like(ground.weights))


BALL = stand_ground(body_of(trimesh.creation.icosphere(subdivisions=5, radius=8.0)))
TORUS = stand_ground(body_of(trimesh.creation.torus(6.0, 2.0, major_sections=160, minor_sections=80)))
BOX = stand_ground(body_of(trimesh.creation.box((6.0, 8.0, 10.0))))
BUMPY = stand_ground(body_of(bumpy_ball(60121, 5.0, 0.1, 4)))


@given(directions)
@settings(max_examples=20)
def test_sections_of_a_ball_are_circles_whichever_way(axis):
    way = unit(axis)
    heights, _ = planes_of(BALL, way, 80)
    exact = np.pi * np.maximum(64.0 - heights**2, 0.0)
    # The icosphere lies inside the ball by at most its sag, edge² / 8 r with edges of 0.33 mm: 1.7 µm on the radius.
    assert np.abs(sections_along(BALL, way, 80) - exact).max() < 2.0 * np.pi * 8.0 * 0.004


def test_sections_of_a_lying_torus_are_rings():
    heights, _ = planes_of(TORUS, np.array([0.0, 0.0, 1.0]), 60)
    rows = np.abs(heights) < 1.85
    exact = 4.0 * np.pi * 6.0 * np.sqrt(4.0 - heights[rows] ** 2)
    # Polygons of 160 and 80 corners: 0.0003 and 0.0015 mm of sag, which counts 2.4 times at 1.85 mm up.
    assert sections_along(TORUS, [0.0, 0.0, 1.0], 60)[rows] == pytest.approx(exact, rel=0.004)


@given(directions)
@settings(max_examples=10)
def test_sections_are_those_of_a_library(axis):
    way = unit(axis)
    turn = Rotation.align_vectors([[0.0, 0.0, 1.0]], [way])[0].as_matrix()
    for ground in (BOX, TORUS, BUMPY):
        heights, _ = planes_of(ground, way, 24)
        mesh = Raw((ground.points @ turn.T).astype(np.float32), ground.triangles.astype(np.uint32))
        solid = Manifold(mesh)
        sliced = [solid.slice(float(height)).area() for height in heights]
        # The library holds points in float32, and rounds sections to its own precision.
        assert sections_along(ground, way, 24) == pytest.approx(sliced, rel=1e-3, abs=1e-2)


@given(directions)
@settings(max_examples=20)
def test_sections_add_up_to_the_volume_in_every_direction(axis):
    for ground in (BOX, BALL, TORUS):
        _, apart = planes_of(ground, unit(axis), 400)
        a, b, c = np.moveaxis(ground.points[ground.triangles], 1, 0)
        volume = np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0
        # Sums of rows at the middles: what they miss falls with the number of rows, 1/400 where a face lies along them.
        assert sections_along(ground, unit(axis), 400).sum() * apart == pytest.approx(volume, rel=4e-3)


def test_the_largest_section_of_a_box_is_the_face_it_lies_on():
    readings = read_directions(BOX, np.eye(3), CONDITIONS)
    assert readings[:, COLUMN["section_mm2"]] == pytest.approx([80.0, 60.0, 48.0])
    assert readings[:, COLUMN["height_mm"]] == pytest.approx([6.0, 8.0, 10.0])


def test_what_faces_down_and_along_on_a_ball_is_its_caps():
    readings = read_directions(evenly(BALL), spread_directions(7), CONDITIONS)
    needs, bears, along = np.cos(np.radians([NEEDS_DEG, BEARS_DEG, CONDITIONS.terrace_deg]))
    sphere = 2.0 * np.pi * 64.0
    # Full below the first angle; between the two the share falls with the cosine, so half of the zone counts.
    assert readings[:, COLUMN["marks_mm2"]] == pytest.approx(
        sphere * (1.0 - needs + 0.5 * (needs - bears)), rel=0.01
    )
    # Facets of 0.33 mm, 2.4°, at the rim of a cap of 9.5° are in or out: a tenth of it at the worst, evened out all round.
    assert readings[:, COLUMN["terraces_mm2"]] == pytest.approx(2.0 * sphere * (1.0 - along), rel=0.05)


def test_the_faces_of_a_box_are_its_worst_directions():
    ways = spread_directions(500)
    others = ways[np.abs(ways).max(axis=1) < np.cos(np.radians(15.0))]
    at_faces, between = read_directions(BOX, AXES, CONDITIONS), read_directions(BOX, others, CONDITIONS)
    for name in ("terraces_mm2", "flats_mm2"):
        assert at_faces[:, COLUMN[name]].min() > between[:, COLUMN[name]].max()
    assert between[:, COLUMN["terraces_mm2"]].max() == 0.0


def lasting_lows(points, triangles, way, depth, up):
    """Vertices whose low lasts for more than `depth`, by the merge tree of all vertices in order of height."""
    heights = points @ way
    order = np.lexsort((np.arange(len(heights)), heights))
    place = np.empty(len(order), int)
    place[order] = np.arange(len(order))
    near = [set() for _ in order]
    normals = np.zeros_like(points)
    for a, b, c in triangles:
        near[a] |= {b, c}
        near[b] |= {a, c}
        near[c] |= {a, b}
        normals[[a, b, c]] += np.cross(points[b] - points[a], points[c] - points[a])
    low = {}  # root → its lowest vertex
    root = np.full(len(order), -1)
    lasts = dict.fromkeys(range(len(order)), -1.0)

    def find(v):
        while root[v] != v:
            v = root[v]
        return v

    for v in order:
        root[v], low[v] = v, v
        for other in near[v]:
            if place[other] > place[v]:
                continue
            mine, theirs = find(v), find(other)
            if mine == theirs:
                continue
            younger, elder = sorted((mine, theirs), key=lambda r: -place[low[r]])
            lasts[low[younger]] = heights[v] - heights[low[younger]]
            root[younger] = elder
    lasts[order[0]] = np.inf
    facing = normals @ way > 0
    return {v for v in range(len(order)) if lasts[v] > depth and facing[v] == up}


@given(directions, st.integers(0, 2**32))
@settings(max_examples=8)
def test_lows_are_those_of_the_merge_tree(axis, seed):
    solid = bumpy_ball(seed)
    ground = stand_ground(body_of(solid))
    way = unit(axis)
    found = find_lows(ground, way, CONDITIONS)
    tree = cKDTree(ground.points + ground.middle_mm)
    starts = set(tree.query(found.starts_mm)[1].tolist())
    depth = START_LAYERS * CONDITIONS.layer_mm
    assert starts == lasting_lows(ground.points, ground.triangles, way, depth, up=False)
    cups = set(tree.query(found.cups_mm)[1].tolist()) if len(found.cups_mm) else set()
    assert cups == lasting_lows(ground.points, ground.triangles, way, CUP_MM, up=True)
    readings = read_directions(ground, way[None], CONDITIONS)[0]
    assert readings[COLUMN["starts"]] == len(starts)
    assert readings[COLUMN["cups_mm2"]] == pytest.approx(found.mouths_mm2.sum())


def test_a_bowl_is_a_cup_only_with_its_mouth_to_the_film():
    ground = stand_ground(body_of(bowl()))
    up, down, aside = find_all = [
        find_lows(ground, way, CONDITIONS) for way in ([0, 0, 1], [0, 0, -1], [1, 0, 0])
    ]
    assert [len(found.cups_mm) for found in find_all] == [1, 0, 0]
    assert up.cups_mm[0] == pytest.approx([0.0, 0.0, -8.0], abs=0.05)
    # A cap of the inner ball 1 mm deep is π (2 r h - h²) across; vertices 0.35 mm apart decide what lies in it.
    assert up.mouths_mm2[0] == pytest.approx(np.pi * 15.0, rel=0.1)
    readings = read_directions(ground, np.array([[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]]), CONDITIONS)
    assert readings[0, COLUMN["cups_mm2"]] == pytest.approx(up.mouths_mm2.sum())
    assert readings[1, COLUMN["cups_mm2"]] == 0.0
    assert len(up.starts_mm) == 1
    assert len(down.starts_mm) == 1
    assert len(aside.starts_mm) == 1


def test_two_legs_start_twice_and_a_bump_below_two_layers_not_at_all():
    plate = trimesh.creation.box((10.0, 6.0, 2.0))
    legs = [trimesh.creation.box((1.0, 1.0, 3.0)) for _ in range(2)]
    for leg, x in zip(legs, (-3.0, 3.0), strict=True):
        leg.apply_translation((x, 0.0, -2.3))
    table = trimesh.boolean.union([plate, *legs], engine="manifold")
    assert len(find_lows(stand_ground(body_of(table)), [0.0, 0.0, 1.0], CONDITIONS).starts_mm) == 2
    nub = trimesh.creation.box((1.0, 1.0, 1.0))
    for deep, starts in ((0.08, 1), (0.12, 2)):
        # Beside a keel that reaches lower, a nub under the plate lasts as long as it is deep.
        low = nub.copy()
        low.apply_translation((3.0, 0.0, -0.5 - deep))
        keel = trimesh.creation.box((1.0, 1.0, 4.0))
        keel.apply_translation((-3.0, 0.0, -2.0))
        solid = trimesh.boolean.union([plate, low, keel], engine="manifold")
        assert len(find_lows(stand_ground(body_of(solid)), [0.0, 0.0, 1.0], CONDITIONS).starts_mm) == starts


@given(rotations, st.integers(0, 2**32))
@settings(max_examples=10)
def test_readings_turn_with_the_body(rotation, seed):
    solid = bumpy_ball(seed)
    ways = spread_directions(20)
    here = stand_ground(body_of(solid))
    there = stand_ground(body_of(turned(solid, rotation)))
    # Roughness turns too; what is seen does not, as a figure stands one way up.
    there = replace(there, weights=here.weights)
    first = read_directions(here, ways, CONDITIONS)
    second = read_directions(there, rotation.apply(ways), CONDITIONS)
    # Rounding may take a facet to the other side of an angle, or a low to the other side of a depth: not in these.
    assert second[:, :8] == pytest.approx(first[:, :8], rel=1e-6, abs=1e-6)


def test_readings_are_the_same_for_any_number_of_threads():
    before = numba.get_num_threads()
    found = []
    try:
        for threads in (1, before):
            numba.set_num_threads(threads)
            ground = stand_ground(body_of(bumpy_ball(7717, 5.0, 0.1, 4)))
            found.append((ground.weights, read_directions(ground, spread_directions(70), CONDITIONS)))
    finally:
        numba.set_num_threads(before)
    for one, other in zip(*found, strict=True):
        assert one.tobytes() == other.tobytes()


def test_marks_weigh_by_how_they_are_seen():
    # A plate with a deep well: the well's floor is hidden, the top open, the underside is where it stands.
    plate, well = trimesh.creation.box((12.0, 12.0, 8.0)), trimesh.creation.box((2.0, 2.0, 8.0))
    well.apply_translation((0.0, 0.0, 1.0))
    ground = stand_ground(body_of(trimesh.boolean.difference([plate, well], engine="manifold")))
    places = ground.points[ground.triangles].mean(axis=1) + ground.middle_mm
    level = np.abs(ground.vectors[:, 2]) > 0.99 * ground.vectors[:, 3]
    inside = np.abs(places[:, :2]).max(axis=1) < 0.5
    rim = np.abs(places[:, :2]).max(axis=1) > 1.8
    marks = ground.weights[:, 0]
    floor, top = (
        level & inside & (places[:, 2] < -2.9) & (places[:, 2] > -3.1),
        level & rim & (places[:, 2] > 3.9),
    )
    middle = top & (np.abs(places[:, :2]).max(axis=1) < 4.5) & (np.abs(places[:, :2]).max(axis=1) > 3.0)
    assert marks[middle] == pytest.approx(1.0, abs=0.02)
    assert marks[floor].mean() < 0.4 * marks[middle].mean()
    under = level & (places[:, 2] < -3.9) & (np.abs(places[:, :2]).max(axis=1) < 4.5)
    assert marks[under] == pytest.approx(SOLE, rel=0.02)


def test_rough_places_weigh_twice_and_show_no_layers():
    smooth = stand_ground(body_of(trimesh.creation.icosphere(subdivisions=4, radius=5.0)))
    rough = stand_ground(body_of(bumpy_ball(60121, 5.0, 0.1, 4)))
    # Twice by roughness, less what the bumps hide of one another.
    assert rough.weights[:, 0].mean() > 1.25 * smooth.weights[:, 0].mean()
    assert rough.weights[:, 2].mean() < 0.1 * smooth.weights[:, 2].mean()


def test_precious_places_count_only_where_they_face_down():
    zone = Zone("face", ZoneMeaning.PRECIOUS, shape=Ball((0.0, 0.0, 5.0), 1.5))
    ground = stand_ground(body_of(trimesh.creation.box((6.0, 8.0, 10.0))), (zone,))
    ground = replace(ground, weights=(ground.weights > 0).astype(float))
    readings = read_directions(ground, np.array([[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]]), CONDITIONS)
    assert readings[0, COLUMN["precious_mm2"]] == 0.0
    # Facets are in by their middle: half an edge of 0.35 mm about the rim.
    assert readings[1, COLUMN["precious_mm2"]] == pytest.approx(np.pi * 1.5**2, rel=0.1)
    other = Zone("face", ZoneMeaning.NO_CARRY, shape=Ball((0.0, 0.0, 5.0), 1.5))
    assert stand_ground(body_of(trimesh.creation.box((6.0, 8.0, 10.0))), (other,)).weights[:, 1].max() == 0.0


def test_a_fine_body_is_thinned_and_reads_alike():
    body = body_of(trimesh.creation.torus(6.0, 2.0, major_sections=400, minor_sections=200))
    thinned = stand_ground(body, most_triangles=20_000)
    assert 12_000 < len(thinned.triangles) <= 22_000
    assert thinned.cell_mm > 0
    ways = spread_directions(12)
    fine, coarse = (read_directions(ground, ways, CONDITIONS) for ground in (stand_ground(body), thinned))
    for name in ("section_mm2", "height_mm"):
        # Means of cells of 0.27 mm lie inside a curve of 2 mm by some hundredths.
        assert coarse[:, COLUMN[name]] == pytest.approx(fine[:, COLUMN[name]], rel=0.02)


def test_points_that_no_triangle_uses_count_for_nothing():
    body = body_of(trimesh.creation.box((6.0, 8.0, 10.0)))
    stray = np.concatenate([body.mesh.points, [[0.0, 0.0, -90.0]]])
    ground = stand_ground(replace(body, mesh=replace(body.mesh, points=stray)))
    found = read_directions(ground, AXES, CONDITIONS)
    assert found.tobytes() == read_directions(BOX, AXES, CONDITIONS).tobytes()


def test_the_tab_bears_all_upright_and_nothing_head_down():
    ways = np.array([[0.0, 0.0, 1.0], [0.0, -np.sin(0.2), np.cos(0.2)], [0.0, 1.0, 0.0], [0.0, 0.0, -1.0]])
    assert off_tab(ways, CONDITIONS).tolist() == [0.0, 0.0, 1.0, 1.0]
    aside = replace(CONDITIONS, tab_towards=(0.0, -1.0, 0.0))
    assert off_tab(ways, aside).tolist() == [1.0, 1.0, 0.0, 1.0]
    readings = read_directions(BOX, -np.eye(3)[2:], CONDITIONS)
    # 48 mm² at 15 kPa.
    assert readings[0, COLUMN["load_n"]] == pytest.approx(0.72)


def test_directions_are_spread_evenly():
    ways = spread_directions(2000)
    assert np.linalg.norm(ways, axis=1) == pytest.approx(1.0)
    apart = cKDTree(ways).query(ways, k=2)[0][:, 1]
    probes = np.random.default_rng(31).normal(size=(4000, 3))
    hole = cKDTree(ways).query(probes / np.linalg.norm(probes, axis=1, keepdims=True))[0].max()
    # 4 π / 2000 each: a hexagon of that area is 0.085 across; none nearer than 0.7 of it, no hole wider than it.
    assert apart.min() > 0.06
    assert hole < 0.085


def test_a_direction_that_is_not_of_length_one_is_refused():
    with pytest.raises(InputError, match="length 1"):
        read_directions(BOX, np.array([[0.0, 0.0, 2.0]]), CONDITIONS)


@pytest.mark.skipif(not DATA, reason="FIRSTCAST_DATA names no folder of public meshes")
def test_sections_of_a_public_mesh_are_those_of_a_library():
    solid = trimesh.load(Path(str(DATA)) / "spot.obj", force="mesh", process=True)
    solid.merge_vertices(merge_tex=True, merge_norm=True)
    solid.apply_scale(40.0 / np.ptp(solid.vertices, axis=0).max())
    assert solid.is_watertight
    ground = stand_ground(body_of(solid))
    for way in spread_directions(3):
        turn = Rotation.align_vectors([[0.0, 0.0, 1.0]], [way])[0].as_matrix()
        heights, _ = planes_of(ground, way, 20)
        whole = Manifold(Raw((ground.points @ turn.T).astype(np.float32), ground.triangles.astype(np.uint32)))
        sliced = [whole.slice(float(height)).area() for height in heights]
        # float32 in the library.
        assert sections_along(ground, way, 20) == pytest.approx(sliced, rel=1e-3, abs=1e-2)
