"""Terraces beside closed forms: a ball's cap, a cone, a tilted plane, a cylinder lying down, a torus."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from firstcast.errors import InputError
from firstcast.geometry.flats import flat_faces
from firstcast.geometry.terraces import (
    LEAST_MM2,
    SEEN_MM,
    showing_mm,
    terrace_deg,
    terrace_width_mm,
    terraces,
)
from standing_bodies import body_of, bumpy_ball, turned

LAYER_MM, APART_MM = 0.05, 0.3
ANGLE = np.arctan(LAYER_MM / APART_MM)
UP = np.array([0.0, 0.0, 1.0])


def mesh_of(solid):
    return body_of(solid).mesh


def found(solid, up=UP, **more):
    return terraces(mesh_of(solid), up, layer_mm=LAYER_MM, apart_mm=APART_MM, **more)


def test_steps_are_as_far_apart_as_the_layer_over_the_slope():
    assert terrace_width_mm(0.05, 45.0) == pytest.approx(0.05)
    assert terrace_width_mm(0.05, [0.0])[0] == np.inf
    assert terrace_width_mm(0.05, terrace_deg(0.05, 0.7)) == pytest.approx(0.7)
    # A step twice as far apart as the paint's ball is thick is bridged no more.
    assert showing_mm(0.2) == pytest.approx(0.4)
    assert showing_mm(0.0) == SEEN_MM


@given(st.tuples(*[st.floats(-3, 3)] * 3))
@settings(max_examples=10)
def test_a_ball_shows_its_two_caps_however_it_is_turned(turn):
    radius = 20.0
    rotation = Rotation.from_rotvec(turn)
    ball = turned(trimesh.creation.icosphere(subdivisions=6, radius=radius), rotation)
    top, under = sorted(found(ball), key=lambda region: -region.place_mm[2])
    cap = 2.0 * np.pi * radius**2 * (1.0 - np.cos(ANGLE))
    for region, end in ((top, 1.0), (under, -1.0)):
        # Facets of 0.4 mm lie in or out as a whole along a rim of 3.3 mm radius: they even out to some per cent.
        assert region.area_mm2 == pytest.approx(cap, rel=0.06)
        assert region.place_mm == pytest.approx([0.0, 0.0, end * radius], abs=0.5)
        assert region.top == (end > 0)
        # Nine tenths of a cap's area lie beyond sqrt(0.1) of its angle, a tenth beyond sqrt(0.9): within a facet's 1.2°.
        assert region.narrow_mm == pytest.approx(LAYER_MM / np.tan(ANGLE * np.sqrt(0.9)), rel=0.15)
        assert region.wide_mm == pytest.approx(LAYER_MM / np.tan(ANGLE * np.sqrt(0.1)), rel=0.5)
        # A disc's radius, less for the jags of its rim.
        assert 0.6 * radius * np.sin(ANGLE) < region.width_mm < 1.05 * radius * np.sin(ANGLE)


@pytest.mark.parametrize(("slope_deg", "shows"), [(3.0, True), (9.0, True), (10.0, False), (30.0, False)])
def test_a_cone_shows_all_of_its_side_or_nothing(slope_deg, shows):
    radius = 12.0
    height = radius * np.tan(np.radians(slope_deg))
    cone = trimesh.creation.cone(radius=radius, height=height, sections=200)
    regions = [region for region in found(cone) if region.top]
    assert len(regions) == shows
    if shows:
        # The side of a pyramid over a regular polygon of 200 corners.
        corner = np.pi / 200
        apothem = radius * np.cos(corner)
        side = 200 * radius * np.sin(corner) * np.hypot(apothem, height)
        assert regions[0].area_mm2 == pytest.approx(side, rel=1e-6)
        width = LAYER_MM / (height / apothem)
        assert regions[0].narrow_mm == pytest.approx(width, rel=1e-4)
        assert regions[0].wide_mm == pytest.approx(width, rel=1e-4)


@given(st.floats(0.2, 20.0), st.sampled_from([0.02, 0.03, 0.05, 0.1]))
@settings(max_examples=30)
def test_a_tilted_plate_shows_as_its_tilt_says(tilt_deg, layer_mm):
    plate = trimesh.creation.box((10.0, 8.0, 1.0))
    up = np.array([0.0, np.sin(np.radians(tilt_deg)), np.cos(np.radians(tilt_deg))])
    regions = terraces(mesh_of(plate), up, layer_mm=layer_mm, apart_mm=APART_MM)
    width = layer_mm / np.tan(np.radians(tilt_deg))
    if abs(width - APART_MM) < 1e-6:
        return
    assert len(regions) == (2 if width > APART_MM else 0)
    for region in regions:
        assert region.area_mm2 == pytest.approx(80.0)
        assert region.width_mm == pytest.approx(2.0 * 80.0 / 36.0)
        assert region.narrow_mm == pytest.approx(min(width, np.sqrt(80.0)), rel=1e-6)


def test_a_cylinder_lying_down_shows_two_strips():
    radius, length, sections = 15.0, 30.0, 720
    lying = trimesh.creation.cylinder(radius=radius, height=length, sections=sections)
    lying.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    regions = found(lying)
    assert len(regions) == 2
    # Whole faces of half a degree: one more or less on 38.
    strip = 2.0 * radius * ANGLE
    for region in regions:
        assert region.area_mm2 == pytest.approx(strip * length, rel=1.5 / 38)
        assert region.width_mm == pytest.approx(strip * length / (strip + length), rel=0.05)


def test_a_ring_lying_down_shows_its_crests():
    ring = trimesh.creation.torus(12.0, 4.0, major_sections=200, minor_sections=400)
    top = next(region for region in found(ring) if region.top)
    # Of a torus the strip within an angle of its crest has 2 π R · 2 a α (Pappus: evenly to both sides).
    assert top.area_mm2 == pytest.approx(2.0 * np.pi * 12.0 * 2.0 * 4.0 * ANGLE, rel=0.06)
    # On one of half the size across the crest is too narrow to show.
    thin = trimesh.creation.torus(12.0, 2.0, major_sections=200, minor_sections=400)
    assert found(thin) == []


def test_small_and_rough_surfaces_show_none():
    radius = np.sqrt(LEAST_MM2 / (2.0 * np.pi * (1.0 - np.cos(ANGLE))))
    assert found(trimesh.creation.icosphere(subdivisions=6, radius=0.9 * radius)) == []
    assert len(found(trimesh.creation.icosphere(subdivisions=6, radius=1.15 * radius))) == 2
    assert found(bumpy_ball(4099, radius_mm=20.0, rough=0.02, subdivisions=6)) == []


def test_flat_faces_that_are_told_can_be_left_out():
    box = mesh_of(trimesh.creation.box((10.0, 8.0, 6.0)))
    faces = flat_faces(box, UP, within_deg=2.0, least_mm2=9.0, least_width_mm=2.0)
    told = np.concatenate([face.triangles for face in faces])
    assert len(terraces(box, UP, layer_mm=LAYER_MM, apart_mm=APART_MM)) == 2
    assert terraces(box, UP, layer_mm=LAYER_MM, apart_mm=APART_MM, left_out=told) == []


def test_layers_without_height_are_refused():
    with pytest.raises(InputError, match="layers of 0 mm"):
        terraces(mesh_of(trimesh.creation.box((1, 1, 1))), UP, layer_mm=0, apart_mm=APART_MM)
