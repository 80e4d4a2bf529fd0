"""A ball rolled over a surface in strips: the same places as over the whole."""

import numpy as np
import pytest
from ball_solids import RADIUS, block, bumpy_ball, fine_mesh, moves

from firstcast.forecast import ball
from firstcast.forecast.strips import spans_of, strip_of


def grooved():
    """A block with slots along both ways, some that the ball enters and some that it spans."""
    solid = block((0, 0, 0), (1.6, 0.9, 0.4))
    for at, wide in ((0.3, 0.05), (0.6, 0.2), (0.9, 0.1), (1.2, 0.04)):
        solid -= block((at, -1, 0.2), (at + wide, 1, 1))
    solid -= block((-1, 0.4, 0.3), (2, 0.46, 1))
    return fine_mesh(solid, 0.03)


def bumpy():
    return bumpy_ball(4, 0.35, np.random.default_rng(31))


@pytest.mark.parametrize("roll", [ball.closed_by_ball, ball.opened_by_ball])
@pytest.mark.parametrize("body", [grooved, bumpy])
def test_strips_end_where_the_whole_ends(roll, body, monkeypatch):
    points, triangles = body()
    whole = roll(points, triangles, RADIUS, reach_mm=RADIUS)
    assert (moves(whole, points) > 0.1 * RADIUS).mean() > 0.02
    monkeypatch.setattr(ball, "STRIP", len(triangles) // 4)
    strips = roll(points, triangles, RADIUS, reach_mm=RADIUS)
    assert (strips.covered == whole.covered).all()
    # cells begin elsewhere, so half-spaces come in another order, and a step that brings little is the last: SETTLED
    apart = np.linalg.norm(strips.points - whole.points, axis=1)
    assert (apart > 5e-4 * RADIUS).sum() <= 0.001 * len(points)
    assert apart.max() < 0.01 * RADIUS


def test_every_vertex_is_one_strips_own():
    points, triangles = bumpy()
    spans = spans_of(points, triangles, 0.2, len(triangles) // 5)
    strips = [strip_of(points, triangles, span) for span in spans]
    owned = np.concatenate([strip.vertices[strip.own] for strip in strips])
    assert len(strips) == 5
    assert (np.sort(owned) == np.arange(len(points))).all()
    for strip, span in zip(strips, spans, strict=True):
        axis = int(np.argmax(np.ptp(points[:, :2], axis=0)))
        along = points[strip.vertices[strip.own], axis]
        low, high = along.min(), along.max()
        assert span.first <= low <= high < span.last
        corners = points[triangles][:, :, axis]
        touching = (corners.max(axis=1) >= low - 0.2) & (corners.min(axis=1) <= high + 0.2)
        assert len(strip.triangles) >= touching.sum()
        rows = _rows(strip, triangles)
        assert rows == sorted(rows)
        assert (points[strip.vertices[strip.triangles]] == points[triangles][rows]).all()


def _rows(strip, triangles):
    """Which of the mesh's triangles a strip's are."""
    known = {tuple(row): n for n, row in enumerate(triangles.tolist())}
    return [known[tuple(row)] for row in strip.vertices[strip.triangles].tolist()]
