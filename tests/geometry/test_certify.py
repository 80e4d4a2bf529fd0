"""The certificate: against distances that are known, and against dense sampling with libigl."""

import igl
import numba
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.geometry.certify import RESOLUTION_MM, certified_distance
from firstcast.geometry.mesh import Mesh

SEED = 80651
SLACK_MM = RESOLUTION_MM + 1e-8


def mesh_of(shape) -> Mesh:
    return Mesh(np.asarray(shape.vertices, np.float32), np.asarray(shape.faces, np.int32))


def grid(count: int, size: float = 1.0, height=None) -> Mesh:
    """A square sheet of 2 · count² triangles."""
    along = np.linspace(0.0, size, count + 1)
    x, y = np.meshgrid(along, along, indexing="ij")
    z = np.zeros_like(x) if height is None else height(x, y)
    corner = np.arange((count + 1) ** 2).reshape(count + 1, count + 1)
    a, b, c, d = corner[:-1, :-1], corner[1:, :-1], corner[1:, 1:], corner[:-1, 1:]
    triangles = np.concatenate(
        [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
    )
    return Mesh(np.stack([x, y, z], -1).reshape(-1, 3).astype(np.float32), triangles.astype(np.int32))


def sampled(source: Mesh, target: Mesh, parts: int) -> float:
    """Greatest distance of evenly spread places of one mesh from another: a lower bound of the true one."""
    weights = np.array(
        [(i, j, parts - i - j) for i in range(parts + 1) for j in range(parts + 1 - i)], dtype=np.float64
    )
    places = np.einsum("wc,tck->twk", weights / parts, source.corners).reshape(-1, 3)
    found = igl.point_mesh_squared_distance(
        places, np.asarray(target.points, np.float64), np.asarray(target.triangles, np.int64)
    )[0]
    return float(np.sqrt(found.max()))


def test_a_mesh_lies_on_itself():
    ball = mesh_of(trimesh.creation.icosphere(subdivisions=3, radius=7.0))
    proof = certified_distance(ball, ball, 0.01)
    assert proof.holds
    assert max(proof.there_mm, proof.back_mm) < 1e-8


@pytest.mark.parametrize("finer", [0, 4])
def test_a_box_in_a_box(finer):
    """Faces are d apart, but the outer corner is d · sqrt(3) from the inner one."""
    d = 0.003
    inner, outer = trimesh.creation.box((4, 5, 6)), trimesh.creation.box((4 + 2 * d, 5 + 2 * d, 6 + 2 * d))
    for _ in range(finer):
        inner = inner.subdivide()
    proof = certified_distance(mesh_of(inner), mesh_of(outer), 0.01)
    assert proof.holds
    assert d - 1e-6 <= proof.there_mm <= d + 1e-6 + SLACK_MM
    assert d * 3**0.5 - 1e-6 <= proof.back_mm <= d * 3**0.5 + 1e-6 + SLACK_MM


def test_what_lies_beyond_the_tolerance_is_named():
    fine = grid(64, height=lambda x, y: np.where((abs(x - 0.5) < 0.01) & (abs(y - 0.5) < 0.01), 0.05, 0.0))
    flat = grid(1)
    proof = certified_distance(fine, flat, 0.01)
    assert not proof.holds
    assert proof.there_mm == np.inf
    high = np.flatnonzero(fine.points[fine.triangles][:, :, 2].max(axis=1) > 0.01)
    np.testing.assert_array_equal(proof.failed_there, high)
    # below the peak the flat sheet is 0.05 · cos(slope) and more from the cone: both sheets fail there
    assert len(proof.failed_back)
    held = certified_distance(fine, flat, 0.06)
    assert held.holds
    assert held.there_mm == pytest.approx(0.05, abs=SLACK_MM + 1e-7)
    assert held.back_mm == pytest.approx(sampled(flat, fine, 400), abs=5e-4)


def test_a_hole_is_not_covered():
    """A fine sheet without two triangles: the large sheet's farthest place is the middle of the hole."""
    fine = grid(40)
    hole = np.flatnonzero((abs(fine.corners.mean(axis=1)[:, :2] - 0.5125) < 0.0125).all(axis=1))
    assert len(hole) == 2
    open_sheet = Mesh(fine.points, np.delete(fine.triangles, hole, axis=0))
    assert certified_distance(grid(1), fine, 0.02).there_mm <= SLACK_MM
    proof = certified_distance(grid(1), open_sheet, 0.02)
    assert proof.holds
    assert proof.there_mm == pytest.approx(0.0125, abs=SLACK_MM)
    assert not certified_distance(grid(1), open_sheet, 0.012).holds


def test_a_sheet_folded_back_covers_only_what_it_reaches():
    """A strip to x = 0.8 folded back on itself to 0.2: seen from above it lies twice over part of the square."""
    fine = grid(40, height=lambda x, y: 0.0 * x)
    points = fine.points.copy()
    beyond = points[:, 0] > 0.8
    points[beyond, 0] = 1.6 - 3.0 * (points[beyond, 0] - 0.8) - 0.8
    points[beyond, 2] = 0.002
    proof = certified_distance(grid(1), Mesh(points, fine.triangles), 0.3)
    assert proof.holds
    assert proof.there_mm == pytest.approx(0.2, abs=2e-3)


def test_relief_as_sampled():
    rng = np.random.default_rng(SEED)
    ball = trimesh.creation.icosphere(subdivisions=5, radius=5.0)
    waves = rng.normal(size=(6, 3)) * 1.5
    height = np.sin(ball.vertices @ waves.T).sum(axis=1, keepdims=True) * 0.004
    rough = Mesh((ball.vertices * (1 + height / 5.0)).astype(np.float32), ball.faces.astype(np.int32))
    coarse = mesh_of(trimesh.creation.icosphere(subdivisions=4, radius=5.0))
    proof = certified_distance(rough, coarse, 0.1)
    assert proof.holds
    for bound, lower in (
        (proof.there_mm, sampled(rough, coarse, 6)), (proof.back_mm, sampled(coarse, rough, 24)),
    ):  # fmt: skip
        assert lower - 1e-7 <= bound <= lower + 3e-4


@settings(max_examples=25)
@given(seed=st.integers(0, 2**31), count=st.integers(1, 12))
def test_any_triangles(seed, count):
    """Soups, with slivers and single points among them: never below samples, and close to them."""
    rng = np.random.default_rng(seed)

    def soup() -> Mesh:
        corners = rng.normal(size=(count, 1, 3)) + rng.normal(size=(count, 3, 3))
        corners[::3, 2] = corners[::3, 1] + rng.normal(size=3) * 10.0 ** -rng.integers(1, 9)
        return Mesh(
            corners.reshape(-1, 3).astype(np.float32), np.arange(3 * count, dtype=np.int32).reshape(-1, 3)
        )

    first, second = soup(), soup()
    proof = certified_distance(first, second, 20.0)
    assert proof.holds
    for bound, source, target in ((proof.there_mm, first, second), (proof.back_mm, second, first)):
        lower = sampled(source, target, 60)
        longest = np.linalg.norm(source.corners - np.roll(source.corners, 1, axis=1), axis=2).max()
        assert lower - 1e-6 <= bound <= lower + longest / 60 + SLACK_MM


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**31), shape=st.sampled_from(["folded", "sliver", "stepped", "two skins"]))
def test_no_sample_lies_beyond_the_bound(seed, shape):
    """Folded sheets, slivers, walls seen on edge and parallel skins, against a sheet of another fineness."""
    rng = np.random.default_rng(seed)
    waves, depth = rng.normal(size=2) * 4.0, 10.0 ** -rng.integers(1, 4)
    sheet = grid(int(rng.integers(1, 12)), height=lambda x, y: depth * np.sin(waves[0] * x + waves[1] * y))
    points, triangles = sheet.points.copy(), sheet.triangles
    if shape == "folded":
        points[:, 0] = np.minimum(points[:, 0], 1.0 - points[:, 0] + rng.uniform(-0.5, 0.5))
    elif shape == "sliver":
        points[:, 1] *= np.float32(10.0 ** -rng.integers(3, 8))
    elif shape == "stepped":
        points[:, 0] = np.round(points[:, 0] * 3) / 3
    else:
        lower = points - np.array([0.0, 0.0, depth], np.float32)
        points, triangles = (
            np.vstack([points, lower]),
            np.vstack([triangles, triangles[:, ::-1] + len(points)]),
        )
    turned = points @ np.linalg.qr(rng.normal(size=(3, 3)))[0]
    first = Mesh(points if seed % 2 else turned.astype(np.float32), triangles.astype(np.int32))
    second = grid(int(rng.integers(1, 12)))
    proof = certified_distance(first, second, 3.0)
    for bound, source, target in ((proof.there_mm, first, second), (proof.back_mm, second, first)):
        # libigl works in float64 on the same places: it rounds by far less than a nanometre
        assert sampled(source, target, 30) <= bound + 1e-9


def test_rounding_of_given_points_is_added():
    box = trimesh.creation.box((4, 5, 6))
    shifted = Mesh(box.vertices + 100.0 + 1e-6, box.faces.astype(np.int32))
    rounded = Mesh(shifted.points.astype(np.float32), shifted.triangles)
    moved = np.linalg.norm(rounded.points - shifted.points, axis=1).max()
    assert moved > 1e-7
    assert moved <= certified_distance(shifted, rounded, 0.01).there_mm <= moved + 1e-8


def test_any_number_of_threads():
    ball = mesh_of(trimesh.creation.icosphere(subdivisions=5, radius=5.0))
    other = mesh_of(trimesh.creation.icosphere(subdivisions=3, radius=5.0))
    before = numba.get_num_threads()
    found = []
    for threads in (1, min(2, before)):
        numba.set_num_threads(threads)
        found.append(certified_distance(ball, other, 0.05))
    numba.set_num_threads(before)
    assert found[0][:3] == found[1][:3]
    np.testing.assert_array_equal(found[0].failed_there, found[1].failed_there)


def test_refusals():
    ball = mesh_of(trimesh.creation.icosphere(subdivisions=1))
    with pytest.raises(InputError, match="not above zero"):
        certified_distance(ball, ball, 0.0)
    with pytest.raises(InputError, match="no triangles"):
        certified_distance(ball, Mesh(ball.points, ball.triangles[:0]), 1.0)
    with pytest.raises(InputError, match="256 mm"):
        certified_distance(ball, Mesh(ball.points + 300, ball.triangles), 1.0)
