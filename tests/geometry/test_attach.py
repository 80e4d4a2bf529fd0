"""Joining a fitting to a body: exact volumes, nothing else touched, closed whatever the place."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from firstcast.errors import InputError
from firstcast.geometry import attach as attach_module
from firstcast.geometry.attach import attach
from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.solids import box, from_manifold, prism, raw_manifold

UP = np.array([0.0, 0.0, 1.0])
BAR = np.array([[-2.0, -1.0], [2.0, -1.0], [2.0, 1.0], [-2.0, 1.0]])


def ball(subdivisions=5, radius=10.0) -> Mesh:
    solid = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return Mesh(solid.vertices.astype(np.float32), solid.faces.astype(np.int32))


def bar_at(place, turn=(0.0, 0.0, 0.0)) -> Mesh:
    mesh = from_manifold(prism(BAR, 5.0, draft_deg=2.0))
    return Mesh(mesh.points @ Rotation.from_rotvec(turn).as_matrix().T + place, mesh.triangles)


def demand_closed(mesh: Mesh):
    solid = trimesh.Trimesh(mesh.points, mesh.triangles, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert solid.volume > 0
    assert len(np.unique(mesh.triangles)) == len(mesh.points)
    return solid


def rounded(mesh: Mesh) -> Mesh:
    return Mesh(mesh.points.astype(np.float32).astype(np.float64), mesh.triangles)


def test_as_the_union_of_the_whole_body():
    body, bar = ball(), bar_at((0.3, -0.2, -9.6))
    joined = attach(body, bar, UP)
    whole = raw_manifold(body) + raw_manifold(rounded(bar))
    # new points are rounded to float32: at 10 mm within 5e-7 mm, on the seam only
    assert demand_closed(joined.mesh).volume == pytest.approx(whole.volume(), rel=1e-9)
    shared = (raw_manifold(body) ^ raw_manifold(rounded(bar))).volume()
    assert joined.overlap_mm3 == pytest.approx(shared, rel=1e-12)
    assert joined.overlap_count == 1
    before, tool = measure_solid(body).volume, measure_solid(rounded(bar)).volume
    assert measure_solid(joined.mesh).volume == pytest.approx(before + tool - shared, abs=1e-5)


def test_what_lies_away_keeps_its_bytes_and_every_triangle_knows_where_it_came_from():
    body, bar = ball(), bar_at((0.3, -0.2, -9.6))
    joined = attach(body, bar, UP)
    kept = np.ones(len(joined.source), dtype=bool)
    kept[joined.seam] = False
    corners = joined.mesh.points[joined.mesh.triangles]
    original = body.points[body.triangles]
    np.testing.assert_array_equal(corners[kept], original[joined.source[kept]])
    assert (np.diff(joined.source[kept]) > 0).all()
    assert kept.sum() > 0.98 * len(body.triangles)
    # a cut triangle lies in the plane of the one it came from; a tab triangle on the tab
    cut = joined.seam[joined.source[joined.seam] >= 0]
    t = original[joined.source[cut]].astype(np.float64)
    normal = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    off = np.einsum("ijk,ik->ij", corners[cut] - t[:, :1], normal)
    assert np.abs(off).max() < 2e-6
    assert (joined.source[joined.seam] < 0).sum() >= 10


def test_a_cut_with_several_rims_and_holes():
    """Two legs into one bar; and a plate whose underside has a slot that the bar's neighbourhood crosses."""
    legs = from_manifold(
        box((2, 2, 20), at_mm=(-3, 0, 10))
        + box((2, 2, 20), at_mm=(3, 0, 10))
        + box((8, 2, 2), at_mm=(0, 0, 20))
    )
    # legs of large triangles: refine, so that the cut is smaller than the body
    legs = from_manifold(raw_manifold(legs).refine_to_length(0.5))
    legs = Mesh(legs.points.astype(np.float32), legs.triangles)
    bar = from_manifold(prism(BAR * (2.0, 0.8), 4.0, draft_deg=1.0).translate((0.0, 0.0, 0.4)))
    joined = attach(legs, bar, UP)
    assert demand_closed(joined.mesh).euler_number == 0  # legs, bridge and bar are a ring
    assert joined.overlap_count == 2
    added = measure_solid(joined.mesh).volume - measure_solid(legs).volume
    assert added == pytest.approx(joined.added_mm3, abs=1e-5)
    assert len(crossing_pairs(joined.mesh)) == 0


def test_a_pole_below_the_fitting(monkeypatch):
    """The cut takes the pole's end, with a rim below it: a cone that rises from there would meet the fitting."""
    body = from_manifold(
        box((20, 4, 2))
        + box((2, 4, 30), at_mm=(9, 0, -14))
        + box((20, 4, 2), at_mm=(0, 0, -28))
        + box((1, 1, 22), at_mm=(0, 0, -17.2))  # its end is 0.7 mm below the bar's
    )
    body = from_manifold(raw_manifold(body).refine_to_length(0.4))
    body = Mesh(body.points.astype(np.float32), body.triangles)
    tried = []
    look = attach_module._closed
    monkeypatch.setattr(attach_module, "_closed", lambda p, f, d: tried.append(d) or look(p, f, d))
    bar = bar_at((0.0, 0.0, -0.5))
    joined = attach(body, bar, UP)
    assert len(tried) > 1
    assert demand_closed(joined.mesh).euler_number == 2
    whole = raw_manifold(body) + raw_manifold(rounded(bar))
    assert measure_solid(joined.mesh).volume == pytest.approx(whole.volume(), abs=1e-5)


def test_where_no_cones_serve_the_whole_body_is_taken():
    body = from_manifold(box((20, 12, 20)) - box((30, 6, 1)))
    body = Mesh(body.points.astype(np.float32), body.triangles)
    bar = from_manifold(box((1, 1, 4), at_mm=(0.25, 0.5, 1.5)))
    joined = attach(body, bar, -UP)
    assert demand_closed(joined.mesh).volume == pytest.approx(20 * 12 * 20 - 20 * 6 * 1 + 1.0, rel=1e-6)


def test_a_small_body_is_taken_whole():
    body = from_manifold(box((6, 4, 3)))
    body = Mesh(body.points.astype(np.float32), body.triangles)
    joined = attach(body, bar_at((0.0, 0.0, -1.0)), UP)
    assert demand_closed(joined.mesh).volume == pytest.approx(
        measure_solid(body).volume + joined.added_mm3, abs=1e-5
    )


@settings(max_examples=15, deadline=None)
@given(
    place=st.tuples(st.floats(-1, 1), st.floats(-1, 1), st.floats(-9.8, -9.0)),
    turn=st.tuples(*[st.floats(-0.3, 0.3)] * 3),
)
def test_closed_wherever_it_stands(place, turn):
    body = ball(4)
    joined = attach(body, bar_at(place, turn), UP)
    demand_closed(joined.mesh)
    added = measure_solid(joined.mesh).volume - measure_solid(body).volume
    assert added == pytest.approx(joined.added_mm3, abs=1e-4)


def test_same_bytes_again():
    first, second = (attach(ball(), bar_at((0.1, 0.2, -9.5)), UP) for _ in range(2))
    assert first.mesh.points.tobytes() == second.mesh.points.tobytes()
    assert first.mesh.triangles.tobytes() == second.mesh.triangles.tobytes()
    assert first.source.tobytes() == second.source.tobytes()


def test_refused():
    with pytest.raises(InputError, match="doesn't meet"):
        attach(ball(), bar_at((0.0, 0.0, -12.0)), UP)
    body = ball()
    low = int(body.points[body.triangles][:, :, 2].mean(axis=1).argmin())
    holed = Mesh(body.points, np.delete(body.triangles, low, axis=0))
    with pytest.raises(InputError, match=r"not closed at"):
        attach(holed, bar_at((0.0, 0.0, -9.5)), UP)
    corner = body.triangles[low, 0]
    around = np.flatnonzero((body.triangles == corner).any(axis=1))
    opposite = [t for t in around if len(set(body.triangles[t]) & set(body.triangles[around[0]])) == 1]
    pinched = Mesh(body.points, np.delete(body.triangles, [around[0], opposite[0]], axis=0))
    with pytest.raises(InputError, match="not manifold at"):
        attach(pinched, bar_at((0.0, 0.0, -9.5)), UP)
