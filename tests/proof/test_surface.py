"""Connections and measures: analytic solids and known faults."""

import math

import numpy as np
import pytest
import trimesh

from firstcast.proof import surface

from . import solids

# Pappus: volume 2 π² R r², area 4 π² R r
TORUS_VOLUME, TORUS_AREA = 2 * math.pi**2 * 10 * 9, 4 * math.pi**2 * 10 * 3  # 1776.5288, 1184.3525


def welded(points, triangles):
    return surface.weld(points[triangles])


def connections(points, triangles):
    places, rows = welded(points, triangles)
    return surface.connect(rows, len(places))


def test_a_ball_is_closed_single_and_without_handles():
    found = connections(*solids.ball())
    assert found.closed
    assert (found.bodies, found.euler, found.genus, len(found.pinched)) == (1, 2, 0, 0)


def test_a_torus_has_one_handle_and_two_bodies_are_two():
    assert connections(*solids.torus()).genus == 1
    apart = connections(*solids.together(solids.ball(2.0, 1), solids.torus()))
    assert (apart.bodies, apart.genus, apart.closed) == (2, 1, True)
    assert np.bincount(apart.body_of_triangle).tolist() == [80, 2 * 96 * 48]


def test_each_fault_of_an_edge_is_named():
    points, triangles = solids.ball(subdivisions=2)
    gone = connections(points, triangles[1:])
    assert (len(gone.open_edges), gone.closed) == (3, False)
    turned = triangles.copy()
    turned[7] = turned[7, ::-1]
    assert len(connections(points, turned).turned_edges) == 3
    doubled = connections(points, np.vstack([triangles, triangles[9:10]]))
    assert (len(doubled.crowded_edges), doubled.closed) == (3, False)
    same = triangles.copy()
    same[3, 1] = same[3, 0]
    assert connections(points, same).degenerate.tolist() == [3]


def test_two_cones_that_share_their_tip_are_pinched():
    cone = trimesh.creation.cone(radius=2.0, height=3.0, sections=24)
    points, triangles = solids.arrays(cone)
    points -= np.float32([0, 0, 3])
    other = (points * np.float32([1, -1, -1]), triangles)
    found = connections(*solids.together((points, triangles), other))
    assert found.closed
    assert len(found.pinched) == 1


def test_welding_joins_equal_bits_and_both_zeros_only():
    corners = np.array([[[0.0, 1, 2], [-0.0, 1, 2], [np.nextafter(np.float32(0), np.float32(1)), 1, 2]]])
    places, rows = surface.weld(corners.astype(np.float32))
    assert len(places) == 2
    assert rows.tolist() == [[0, 0, 1]]


def test_welding_equals_numpy_unique():
    points, triangles = solids.torus()
    loose = points[triangles]
    places, rows = surface.weld(loose)
    assert np.array_equal(places[rows], loose)
    assert len(places) == len(np.unique(loose.reshape(-1, 3), axis=0))


@pytest.mark.parametrize(
    ("mesh", "volume", "area"),
    [
        (solids.box((4.0, 5.0, 6.0), (31, -7, 2)), 120.0, 148.0),
        (solids.arrays(trimesh.creation.box((1, 1, 1))), 1.0, 6.0),
        # Unit-edge tetrahedron and icosahedron: published closed forms, sqrt(2)/12 and 5(3+sqrt 5)/12.
        (
            solids.arrays(trimesh.creation.icosahedron().apply_scale(1 / 1.0514622242382672)),
            2.1816950,
            8.660254,
        ),
    ],
)
def test_flat_faced_solids_measure_exactly(mesh, volume, area):
    found = surface.measure(mesh[0][mesh[1]].astype(np.float64))
    assert found.volume_mm3 == pytest.approx(volume, rel=1e-6)
    assert found.area_mm2 == pytest.approx(area, rel=1e-6)


def test_a_torus_comes_nearer_to_its_closed_form_at_second_order():
    wrong = []
    for around in (32, 64, 128):
        points, triangles = solids.torus(around=around, across=around)
        found = surface.measure(points[triangles].astype(np.float64))
        wrong.append((1 - found.volume_mm3 / TORUS_VOLUME, 1 - found.area_mm2 / TORUS_AREA))
        assert np.abs(found.centroid_mm).max() < 1e-5
    rates = np.log2(np.array(wrong)[:-1] / np.array(wrong)[1:])
    assert np.all(np.abs(rates - 2.0) < 0.2), f"observed rates {rates}"
    assert pytest.approx(1776.5288, abs=5e-5) == TORUS_VOLUME
    assert pytest.approx(1184.3525, abs=5e-5) == TORUS_AREA


def test_a_cone_has_its_published_volume_area_and_centroid():
    """Radius 5, height 12: V 314.1593, A 282.7433; a cone's centroid is a quarter up."""
    points, triangles = solids.arrays(trimesh.creation.cone(radius=5.0, height=12.0, sections=720))
    found = surface.measure(points[triangles].astype(np.float64))
    assert found.volume_mm3 == pytest.approx(314.1593, rel=2e-5)
    assert found.area_mm2 == pytest.approx(282.7433, rel=2e-5)
    assert found.centroid_mm == pytest.approx([0, 0, 3.0], abs=1e-5)


def test_turned_inside_out_the_volume_is_negative():
    points, triangles = solids.ball()
    outward = surface.measure(points[triangles].astype(np.float64))
    inward = surface.measure(points[triangles[:, ::-1]].astype(np.float64))
    assert inward.volume_mm3 == pytest.approx(-outward.volume_mm3)
    assert outward.centroid_mm == pytest.approx([0, 0, 0], abs=1e-6)
