"""Tabs: under a ball, a box, two feet and an arm; and one provoked finding for every code."""

import dataclasses

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import settings as trial
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.geometry import footing
from firstcast.geometry.attach import attach
from firstcast.geometry.body import Body
from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.footing import Bar
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.solids import box, difference, from_manifold, prism, raw_manifold, union
from firstcast.process.limits import Limits
from firstcast.ranges import Range
from firstcast.stations import join as station
from firstcast.stations.join import Settings, join
from firstcast.vocabulary import ProcessKind, Verdict

LIMITS = Limits(
    ProcessKind.TWO_PART_BLOCK, (0.03, 0.03), 0.03, (0.03, 0.03, 0.03), 0.0075,
    Range(0.3, 0.5, 0.8), Range(0.2, 0.3, 0.5),
)  # fmt: skip


def body_of(solid) -> Body:
    mesh = solid if isinstance(solid, Mesh) else from_manifold(solid)
    mesh = Mesh(mesh.points.astype(np.float32), mesh.triangles)
    part = (np.arange(len(mesh.triangles)) % 2).astype(np.uint16)
    return Body(mesh, part, ("coat", "boots"))


def egg(radii, at, subdivisions=4):
    ball = trimesh.creation.icosphere(subdivisions=subdivisions)
    return raw_manifold(Mesh(ball.vertices * np.asarray(radii) + np.asarray(at), ball.faces.astype(np.int32)))


def two_feet():
    return union([egg((2, 3.5, 8), (-4, 0, 8.0)), egg((2, 3.5, 8), (4, 1, 8.02)), egg((7, 4, 7), (0, 0, 20))])


def joined(body, *, matrix=None, limits=LIMITS, **chosen):
    return join(
        piece="figure",
        body=body,
        matrix=np.eye(3) if matrix is None else matrix,
        limits=limits,
        settings=Settings(**chosen),
    )


def demand_sound(result, body, matrix=None):
    solid = trimesh.Trimesh(result.mesh.points, result.mesh.triangles, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert result.mesh.points.dtype == np.float32
    before = Mesh(
        body.mesh.points if matrix is None else body.mesh.mapped(matrix).points.astype(np.float32),
        body.mesh.triangles,
    )
    shared = (raw_manifold(before) ^ raw_manifold(result.tab.mesh)).volume()
    expected = measure_solid(before).volume + measure_solid(result.tab.mesh).volume - shared
    # new points are rounded by up to 2e-6 mm (half a step of float32 at 50 mm) on faces of up to 100 mm²
    assert measure_solid(result.mesh).volume == pytest.approx(expected, abs=2e-4)
    assert len(crossing_pairs(result.mesh)) == 0
    return solid


def codes(result):
    return [finding.code for finding in result.findings]


def test_under_a_box():
    body = body_of(box((20, 12, 8)))
    result = joined(body)
    demand_sound(result, body)
    assert codes(result) == []
    tab = result.tab
    assert tab.kind == "bar"
    assert (tab.length_mm, tab.width_mm) == pytest.approx((17.0, 3.0))
    np.testing.assert_allclose(tab.top_mm, [0, 0, -3.6], atol=1e-6)
    # 4 mm below the box's underside, drafted: the underside's rim is a little smaller than the top
    assert result.mesh.bounds[0, 2] == pytest.approx(-8.0, abs=1e-6)
    lean = np.tan(np.radians(2.0))
    a, b = 17.0 - 0.8 * lean, 3.0 - 0.8 * lean
    end_a, end_b = 17.0 - 8.8 * lean, 3.0 - 8.8 * lean
    frustum = 4.0 / 6.0 * (a * b + (a + end_a) * (b + end_b) + end_a * end_b)
    added = measure_solid(result.mesh).volume - 20 * 12 * 8
    assert added == pytest.approx(frustum, abs=1e-4)


def test_parts_of_the_joined_mesh():
    body = body_of(box((20, 12, 8)))
    result = joined(body)
    assert result.part_names == ("coat", "boots", "tab")
    below = result.mesh.corners[:, :, 2].max(axis=1) <= -4.0 + 1e-6
    flat = np.ptp(result.mesh.corners[:, :, 2], axis=1) < 1e-9
    underside = below & flat & (result.mesh.corners[:, :, 2].min(axis=1) > -4.1)
    np.testing.assert_array_equal(result.part_of_triangle == 2, below & ~underside)
    assert set(result.part_of_triangle[underside]) <= {0, 1}


def test_under_a_ball():
    body = body_of(egg((10, 10, 10), (0, 0, 10), 5))
    result = joined(body)
    demand_sound(result, body)
    assert result.tab.kind == "bar"
    # within the circle where the ball is 0.4 mm up: radius sqrt(2·10·0.4 - 0.4²) = 2.8
    assert np.hypot(result.tab.length_mm, result.tab.width_mm) / 2 < 2.8 * 1.05
    assert result.mesh.bounds[0, 2] == pytest.approx(-4.0, abs=1e-3)


def test_under_two_feet():
    body = body_of(two_feet())
    result = joined(body)
    solid = demand_sound(result, body)
    assert codes(result) == []
    assert solid.euler_number == 0  # legs and tab are a ring
    tab = result.tab
    assert abs(tab.along[0]) > 0.98  # it runs from foot to foot
    assert tab.length_mm > 7.0
    assert len(tab.mesh.points) == 8


def test_at_master_size():
    body = body_of(two_feet())
    matrix = np.diag([1.010, 1.012, 1.008])
    result = joined(body, matrix=matrix)
    demand_sound(result, body, matrix)
    top = body.mesh.points[:, 2].max() * 1.008
    assert result.mesh.bounds[1, 2] == pytest.approx(top, rel=1e-6)
    assert {m.name for m in result.measures} >= {"body_z_mm", "tab_length_mm", "tab_adds_mm3"}
    mirrored = joined(body, matrix=np.diag([-1.0, 1.0, 1.0]))
    assert measure_solid(mirrored.mesh).volume > 0


def test_settings_are_kept():
    body = body_of(box((20, 12, 8)))
    result = joined(body, length_mm=8.0, width_mm=2.0, height_mm=3.0, draft_deg=0.0, overlap_mm=1.0)
    demand_sound(result, body)
    assert measure_solid(result.mesh).volume == pytest.approx(20 * 12 * 8 + 8 * 2 * 3, abs=1e-4)


def test_without_a_tab():
    body = body_of(box((20, 12, 8)))
    result = joined(body, tab="none", matrix=np.eye(3) * 1.5)
    assert result.tab is None
    assert result.part_names == ("coat", "boots")
    assert measure_solid(result.mesh).volume == pytest.approx(20 * 12 * 8 * 1.5**3)


def test_a_piece_without_a_foot_gets_a_small_tab():
    body = body_of(egg((1, 1, 12), (0, 0, 0)))
    result = joined(body)
    demand_sound(result, body)
    assert codes(result) == ["tab-chosen"]
    assert result.findings[0].verdict is Verdict.WATCH
    assert result.tab.kind == "small"
    # deep enough that the neck holds: (1 - (z/12)²)·pi ≥ 0.8 mm², reached 1.6 mm above the tip (0.4 a step)
    assert result.tab.overlap_mm == pytest.approx(2.0)


def test_a_named_place_and_direction():
    body = body_of(egg((3, 3, 12), (0, 0, 0)))
    result = joined(body, place_mm=(3.0, 0.0, 1.0), toward=(1.0, 0.0, 0.0))
    demand_sound(result, body)
    assert codes(result) == ["tab-chosen"]
    assert result.mesh.bounds[1, 0] == pytest.approx(3.0 + 4.0, abs=0.05)
    np.testing.assert_allclose(result.tab.toward, [1, 0, 0])


def test_beyond_the_foot():
    result = joined(body_of(box((4, 3, 8))), length_mm=8.0, width_mm=2.0)
    assert codes(result) == ["tab-beyond-foot"]
    assert result.findings[0].measured == pytest.approx(2.0, abs=0.03)


def test_thin():
    result = joined(body_of(box((20, 12, 8))), width_mm=1.0, draft_deg=4.0)
    assert codes(result) == ["tab-thin"]
    assert result.findings[0].measured == pytest.approx(1.0 - 8.8 * np.tan(np.radians(4.0)))
    # and not once the limit is lower
    low = dataclasses.replace(LIMITS, wall_mm=Range.exactly(0.3))
    assert codes(joined(body_of(box((20, 12, 8))), width_mm=1.0, draft_deg=4.0, limits=low)) == []


def test_touching_what_it_should_not():
    """A hook whose lower arm lies in the way of a tab that leaves its upper arm."""
    hook = union([box((10, 2, 2), at_mm=(0, 0, 6)), box((2, 2, 8), at_mm=(4, 0, 3)), box((10, 2, 2))])
    result = joined(body_of(hook), place_mm=(-3.0, 0.0, 5.0), height_mm=5.0)
    assert "tab-touches" in codes(result)


def test_a_tab_that_points_into_the_piece():
    """From the floor of a slit 1 mm high, up into its ceiling."""
    slit = difference([box((20, 12, 20)), box((30, 6, 1))])
    result = joined(body_of(slit), place_mm=(1.0, 0.5, -0.4), toward=(0.0, 0.0, 1.0), draft_deg=0.0)
    assert codes(result) == ["tab-chosen", "tab-buried", "tab-touches"]
    np.testing.assert_allclose(result.tab.top_mm, [1.0, 0.5, -0.9], atol=1e-6)
    assert result.findings[1].measured == pytest.approx(1.0 / 4.4, abs=1e-5)


def test_a_crossing_is_nudged_away_or_told(monkeypatch):
    body = body_of(two_feet())
    as_placed = joined(body)
    seen = []

    def crossing_at_first(joined, frame):
        seen.append(joined)
        return 3 if len(seen) < 3 else 0

    monkeypatch.setattr(station, "seam_crossings", crossing_at_first)
    nudged = joined(body)
    assert codes(nudged) == []
    assert len(seen) == 3
    assert 0.01 < np.linalg.norm(nudged.tab.top_mm - as_placed.tab.top_mm) < 0.05
    monkeypatch.setattr(station, "seam_crossings", lambda joined, frame: 3)
    told = joined(body)
    assert codes(told) == ["seam-crossing"]
    assert told.findings[0].verdict is Verdict.STOP


@pytest.mark.parametrize("lean", [0.0, 0.6])
def test_crossings_of_the_seam_are_seen(lean):
    body = body_of(egg((10, 10, 10), (0, 0, 10), 4))
    frame = footing.frame_into(np.array([0.0, 0.0, 1.0])).turned(lean)
    tab = from_manifold(prism(Bar((0.1, 0.2), 4.0, 1.5).corners, 4.0, draft_deg=2.0).translate((0, 0, 0.4)))
    tab = Mesh(tab.points @ np.stack(frame), tab.triangles)
    whole = attach(body.mesh, tab, frame.into)
    assert station.seam_crossings(whole, frame) == 0
    points = whole.mesh.points.copy()
    points[points[:, 2].argmin()] += (12.0, 0.0, 9.0)  # a corner of the tab's end, pushed through the ball
    pulled = whole._replace(mesh=Mesh(points, whole.mesh.triangles))
    every = crossing_pairs(pulled.mesh, limit=10**6)
    assert len(every) > 0
    assert station.seam_crossings(pulled, frame) == np.isin(every, whole.seam).any(axis=1).sum()
    first, second, _ = whole.mesh.triangles[whole.seam[0]]
    points = whole.mesh.points.copy()
    points[second] = points[first]
    flat = whole._replace(mesh=Mesh(points, whole.mesh.triangles))
    assert station.seam_crossings(flat, frame) > 0


def test_refused():
    with pytest.raises(InputError, match=r"toward is \(0, 0, 0\)"):
        joined(body_of(box((20, 12, 8))), toward=(0.0, 0.0, 0.0))
    with pytest.raises(InputError, match="thinner than overlap_mm"):
        joined(body_of(box((0.5, 0.5, 0.3))), overlap_mm=0.4)


@trial(max_examples=12, deadline=None)
@given(
    shift=st.tuples(*[st.floats(-30, 30)] * 3),
    stretch=st.tuples(*[st.floats(0.5, 2)] * 3),
    lean=st.floats(-0.05, 0.05),
)
def test_closed_for_any_feet(shift, stretch, lean):
    mesh = from_manifold(two_feet())
    c, s = np.cos(lean), np.sin(lean)
    turn = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    body = body_of(Mesh(mesh.points * stretch @ turn.T + shift, mesh.triangles))
    result = joined(body)
    demand_sound(result, body)
    assert "seam-crossing" not in codes(result)
