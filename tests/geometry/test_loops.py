"""Fills of closed loops: least area against every triangulation, flat ones against the shoelace formula."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.geometry import loops
from firstcast.geometry.loops import fill_polygons, loop_length, triangle_areas, vector_area
from firstcast.kernels.polygons import fill_flat


def wavy(n: int, depth: float = 0.45, waves: int = 7) -> np.ndarray:
    """A flat star of n corners, not convex."""
    turn = np.arange(n) * 2 * np.pi / n
    radius = 1 + depth * np.sin(waves * turn)
    return np.stack([radius * np.cos(turn), radius * np.sin(turn), np.zeros(n)], axis=1)


def edges_of(triangles: np.ndarray) -> dict[tuple[int, int], int]:
    found: dict[tuple[int, int], int] = {}
    for a, b in triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).tolist():
        found[a, b] = found.get((a, b), 0) + 1
    return found


def check_fill(triangles: np.ndarray, loop: list[int]) -> None:
    """The rim's edges once, in the loop's direction; every inner edge once each way."""
    found = edges_of(triangles)
    assert set(found.values()) == {1}
    rim = set(zip(loop, [*loop[1:], loop[0]], strict=True))
    assert rim <= set(found)
    assert all((b, a) in found for a, b in set(found) - rim)
    assert len(triangles) == len(loop) - 2


def least_area(points: np.ndarray) -> float:
    """The slow twin: over every triangulation."""

    @cache
    def best(i: int, j: int) -> float:
        if j - i < 2:
            return 0.0
        return min(
            best(i, k)
            + best(k, j)
            + np.linalg.norm(np.cross(points[k] - points[i], points[j] - points[i])) / 2
            for k in range(i + 1, j)
        )

    return best(0, len(points) - 1)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(3, 9))
def test_small_loops_get_the_least_area(seed, n):
    points = np.random.default_rng(seed).random((n, 3))
    triangles = fill_polygons(points, [np.arange(n)])
    check_fill(triangles, list(range(n)))
    assert triangle_areas(points, triangles).sum() == pytest.approx(least_area(points), rel=1e-4)


@pytest.mark.parametrize("n", [5, 60, 400, 401, 3000])
def test_flat_loops_are_covered_once(n):
    points = wavy(n)
    points = points @ np.linalg.qr(np.random.default_rng(6_061).random((3, 3)))[0] * 17 + 100
    triangles = fill_polygons(points, [np.arange(n)])
    check_fill(triangles, list(range(n)))
    inside = np.linalg.norm(vector_area(points))
    assert triangle_areas(points, triangles).sum() == pytest.approx(inside, rel=1e-9)


def test_a_large_bent_loop_is_filled_near_least_area():
    n = 1200
    turn = np.arange(n) * 2 * np.pi / n
    saddle = np.stack([np.cos(turn), np.sin(turn), 0.3 * np.cos(2 * turn)], axis=1)
    triangles = fill_polygons(saddle, [np.arange(n)])
    check_fill(triangles, list(range(n)))
    coarse = fill_polygons(saddle[::3].copy(), [np.arange(n // 3)])
    least = triangle_areas(saddle[::3], coarse).sum()
    assert triangle_areas(saddle, triangles).sum() < 1.05 * least


def test_a_long_bent_crack_is_zipped_not_bridged():
    n, breadth = 800, 0.01
    turn = np.linspace(0, 1.6 * np.pi, n)
    outer = np.stack([np.cos(turn), np.sin(turn), 0.2 * turn], axis=1)
    points = np.concatenate([outer, outer[::-1] * np.array([1 - breadth, 1 - breadth, 1])])
    triangles = fill_polygons(points, [np.arange(2 * n)])
    check_fill(triangles, list(range(2 * n)))
    length = np.linalg.norm(np.diff(outer, axis=0), axis=1).sum()
    assert triangle_areas(points, triangles).sum() == pytest.approx(breadth * length, rel=0.05)


def test_several_loops_at_once_keep_their_order(monkeypatch):
    monkeypatch.setattr(loops, "LARGEST_MINIMAL", 30)
    points = np.concatenate([wavy(10), wavy(50) + 5, wavy(4, 0) - 5])
    parts = [np.arange(10), np.arange(10, 60), np.arange(60, 64)[::-1]]
    triangles = fill_polygons(points, parts)
    check_fill(triangles[:8], list(range(10)))
    check_fill(triangles[8:56], list(range(10, 60)))
    check_fill(triangles[56:], [63, 62, 61, 60])
    assert fill_polygons(points, []).shape == (0, 3)


def test_a_flat_loop_that_crosses_itself_is_not_filled_flat():
    eight = np.stack(
        [np.sin(np.arange(500) * np.pi / 250 + 0.1), np.sin(np.arange(500) * np.pi / 125 + 0.2)], axis=1
    )
    points = np.column_stack([eight, np.zeros(500)])
    triangles = fill_polygons(points, [np.arange(500)])
    check_fill(triangles, list(range(500)))


def test_triangles_over_one_another_are_not_taken_for_a_flat_fill(monkeypatch):
    monkeypatch.setattr(loops, "LARGEST_MINIMAL", 3)
    crossed = np.array([[0, 0, 0], [4, 0, 0], [4, 3, 0], [5, 1, 0.0]])  # its last side crosses its second
    triangles = fill_polygons(crossed, [np.array([1, 2, 3, 0])])
    assert triangle_areas(crossed, triangles).sum() == pytest.approx(3.5)  # cutting ears gives 11.5


def test_ears_of_a_comb():
    teeth = 40
    xy = [[0.0, 0.0], [2.0 * teeth, 0.0]]
    for k in range(teeth, 0, -1):
        xy += [[2.0 * k, 5.0], [2.0 * k - 1, 1.0]]
    xy = np.array([*xy, [0.0, 5.0]])
    triangles = fill_flat(np.ascontiguousarray(xy))
    u, v = xy[triangles[:, 1]] - xy[triangles[:, 0]], xy[triangles[:, 2]] - xy[triangles[:, 0]]
    areas = (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2
    after = np.roll(xy, -1, axis=0)
    shoelace = np.sum(xy[:, 0] * after[:, 1] - xy[:, 1] * after[:, 0]) / 2
    assert areas.min() > 0
    assert areas.sum() == pytest.approx(shoelace)


def test_measures_of_a_loop():
    square = np.array([[0, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0.0]]) + 1e4
    assert vector_area(square) == pytest.approx([0, 0, 4])
    assert loop_length(square) == pytest.approx(8)
