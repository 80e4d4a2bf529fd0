"""Mending seams: rounded crossings go, the surface stays closed and where it was; what can't be mended is told."""

import numpy as np
import pytest
import trimesh

from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.seam_mend import COLLAPSE_MM, SHORT_MM, mend_seam


def ball() -> Mesh:
    made = trimesh.creation.icosphere(subdivisions=4, radius=2.0)
    return Mesh((made.vertices + 15.0).astype(np.float32), made.faces.astype(np.int32))


def test_a_sound_seam_stays_as_it_is():
    body = ball()
    done = mend_seam(body, np.arange(len(body.triangles)))
    assert (done.edits, done.left) == (0, 0)
    np.testing.assert_array_equal(done.points, body.points)
    np.testing.assert_array_equal(done.triangles, body.triangles)


@pytest.mark.parametrize("seed", [3, 11])
def test_folds_of_a_hair_are_mended(seed):
    """An edge split twice a few float32 steps apart, one of the new corners beyond the other: a fold that rounding makes."""
    body = ball()
    points, triangles = body.points.astype(np.float64), body.triangles.astype(np.int64)
    draw = np.random.default_rng(seed)
    for first in draw.choice(len(triangles), 5, replace=False):
        a, b, c = triangles[first]
        n = len(points)
        middle = points[[a, b, c]].mean(axis=0)
        # three corners about the middle, wound the wrong way round: smaller than a twentieth of a micron
        hair = 4e-5 * (points[[a, c, b]] - middle) / np.linalg.norm(points[a] - middle)
        points = np.concatenate([points, middle + hair])
        fresh = [
            (a, b, n),
            (b, n + 1, n),
            (b, c, n + 1),
            (c, n + 2, n + 1),
            (c, a, n + 2),
            (a, n, n + 2),
            (n, n + 1, n + 2),
        ]
        triangles[first] = fresh[0]
        triangles = np.concatenate([triangles, fresh[1:]])
    folded = Mesh(points.astype(np.float32), triangles.astype(np.int32))
    assert len(crossing_pairs(folded)) > 0
    done = mend_seam(folded, np.arange(len(triangles)))
    mended = Mesh(done.points, done.triangles)
    assert done.left == 0
    assert done.edits > 0
    assert len(crossing_pairs(mended)) == 0
    solid = trimesh.Trimesh(mended.points, mended.triangles, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    # no place moves farther than an edge that may become a point: volume by the surface of 50 mm² at most
    assert measure_solid(mended).volume == pytest.approx(measure_solid(ball()).volume, abs=50 * COLLAPSE_MM)
    again = mend_seam(folded, np.arange(len(triangles)))
    np.testing.assert_array_equal(again.points, done.points)
    np.testing.assert_array_equal(again.triangles, done.triangles)


def shortest_mm(mesh: Mesh) -> float:
    corners = mesh.points[mesh.triangles].astype(np.float64)
    return float(np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2).min())


def test_edges_that_rounding_on_a_platform_would_close_are_closed_up():
    """Corners split a hair from others, as where a fitting's face lies in one of the body's: nothing crosses, but all is short."""
    body = ball()
    points, triangles = body.points.astype(np.float64), body.triangles.astype(np.int64)
    for first in (5, 400, 1900):
        a, b, c = triangles[first]
        n = len(points)
        # beside corner a, within the triangle: a third of the length below which edges are closed up
        inward = points[[b, c]].mean(axis=0) - points[a]
        points = np.concatenate(
            [points, (points[a] + SHORT_MM / 3.0 * inward / np.linalg.norm(inward))[None]]
        )
        triangles[first] = (a, b, n)
        triangles = np.concatenate([triangles, [(b, c, n), (c, a, n)]])
    split = Mesh(points.astype(np.float32), triangles.astype(np.int32))
    assert shortest_mm(split) < SHORT_MM / 2.0
    done = mend_seam(split, np.arange(len(triangles)))
    mended = Mesh(done.points, done.triangles)
    assert (done.edits, done.left) == (3, 0)
    assert shortest_mm(mended) >= SHORT_MM
    solid = trimesh.Trimesh(mended.points, mended.triangles, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert len(mended.triangles) == len(body.triangles)
    # where it stands farthest from the corner of the largest platform, float32 keeps every corner apart from its neighbours
    placed = Mesh((mended.points.astype(np.float64) + 240.0).astype(np.float32), mended.triangles)
    assert shortest_mm(placed) > 0.0


def test_what_really_crosses_is_told():
    one = ball()
    two = Mesh(one.points + np.float32(1.0), one.triangles + len(one.points))
    both = Mesh(np.concatenate([one.points, two.points]), np.concatenate([one.triangles, two.triangles]))
    few = crossing_pairs(both)[:3].ravel()
    done = mend_seam(both, np.unique(few))
    assert done.left > 0
