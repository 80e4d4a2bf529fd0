"""Shadows: never too few cells, exact turns, and clearances spread as brute force has them."""

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as some

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.printing.shadows import Shadow, outline_of, shadow_of


def mesh_of(solid):
    return Mesh(np.asarray(solid.vertices), np.asarray(solid.faces, np.int32))


def box(low, high):
    return mesh_of(trimesh.creation.box(bounds=[low, high]))


def shaded(*meshes, cell=(0.5, 0.5), band=1.0):
    return shadow_of(meshes, cell_mm=cell, band_mm=band)


def cells_of(shadow):
    """Columns, rows and bands of covered cells, from the middle: (n, 3)."""
    bands, rows, columns = np.nonzero(shadow.cells)
    return np.stack([columns + shadow.corner[0], rows + shadow.corner[1], bands], axis=1)


def test_a_box_on_the_borders_of_cells():
    shadow = shaded(box((-1, -2, 0), (2, 2.5, 3)))
    assert shadow.cells.shape == (3, 9, 6)
    assert shadow.cells.all()
    assert shadow.corner == (-2, -4)
    assert shadow.height_mm == 3
    assert shadow.area_mm2 == 3 * 4.5


def test_what_reaches_into_a_cell_covers_it():
    shadow = shaded(box((-1.01, -2, 0.5), (2.01, 2.5, 3.01)))
    assert shadow.cells.shape == (4, 9, 8)
    assert shadow.cells.all()


@pytest.mark.parametrize("cell", [(0.4, 0.4), (0.3, 0.5)])
def test_a_ball_is_covered_and_little_more(cell):
    radius, band, middle = 4.0, 0.7, np.array([0.3, -0.2, 5.0])
    solid = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    shadow = shaded(mesh_of(solid.apply_translation(middle)), cell=cell, band=band)
    steps = np.array([*cell, band])
    covered = {tuple(row) for row in cells_of(shadow)}
    rng = np.random.default_rng(5)
    inside = rng.normal(size=(20_000, 3))
    # the mesh's faces lie within 0.998 of the radius: 4 subdivisions leave edges of 0.07 radii
    inside *= (
        0.998
        * radius
        * rng.uniform(size=(len(inside), 1)) ** (1 / 3)
        / np.linalg.norm(inside, axis=1, keepdims=True)
    )
    assert {tuple(row) for row in np.floor((inside + middle) / steps).astype(int)} <= covered
    low = cells_of(shadow) * steps
    nearest = np.clip(middle, low, low + steps)
    assert np.linalg.norm(nearest - middle, axis=1).max() <= radius + 1e-9


def test_a_hollow_stays_open():
    tube = mesh_of(trimesh.creation.annulus(r_min=3.0, r_max=4.0, height=4.0).apply_translation((0, 0, 2)))
    shadow = shaded(tube, cell=(0.25, 0.25))
    assert not shadow.plan[len(shadow.plan) // 2, len(shadow.plan) // 2]


def test_bodies_together():
    both = shaded(box((0, 0, 0), (1, 1, 1)), box((2, 0, 1), (3, 1, 2)))
    assert both.cells.tolist() == [
        [[1, 1, 0, 0, 0, 0]] * 2,
        [[0, 0, 0, 0, 1, 1]] * 2,
    ]


def test_turns_are_those_of_the_mesh():
    solid = trimesh.util.concatenate(
        [trimesh.creation.box(bounds=b) for b in ([[-3, -1, 0], [2, 1, 2]], [[1.25, 0.5, 2.5], [1.75, 4, 6]])]
    )
    shadow = shaded(mesh_of(solid))
    # a quarter turn of these points is exact
    for quarters in range(4):
        x, y, z = np.asarray(solid.vertices).T
        for _ in range(quarters):
            x, y = -y, x
        turned = shaded(Mesh(np.stack([x, y, z], axis=1), np.asarray(solid.faces, np.int32)))
        ours = shadow.turned(quarters)
        assert ours.corner == turned.corner
        assert (ours.cells == turned.cells).all()
    assert (shadow.turned(2).turned(2).cells == shadow.cells).all()


def test_quarter_turns_need_square_cells():
    shadow = shaded(box((0, 0, 0), (1, 1, 1)), cell=(0.25, 0.5))
    shadow.turned(2)
    with pytest.raises(InputError, match="halves"):
        shadow.turned(1)


@given(
    some.arrays(np.uint8, st.tuples(*[st.integers(1, 4)] * 3), elements=st.integers(0, 1)).filter(np.any),
    st.sampled_from([0.0, 0.3, 0.5, 1.0, 1.3, 2.2]),
    st.sampled_from([(0.5, 0.5), (0.3, 0.7)]),
    st.sampled_from([0.4, 1.0, 3.0]),
)
def test_spread_is_all_that_is_nearer(cells, clearance, cell, band):
    shadow = Shadow(cells, (-2, 1), cell, band, band * len(cells))
    wide = shadow.spread(clearance)
    own, steps = cells_of(shadow), np.array([*cell, band])
    reach = np.ceil(clearance / steps).astype(int) + 2
    grid = [
        np.arange(low - r, high + r + 1) for low, high, r in zip(own.min(0), own.max(0), reach, strict=True)
    ]
    grid[2] = grid[2][grid[2] >= 0]
    every = np.stack(np.meshgrid(*grid, indexing="ij"), axis=-1).reshape(-1, 3)
    # the gap between two cells is one step less than that between their numbers, along each axis
    gaps = np.maximum(np.abs(every[:, None] - own[None]) - 1, 0) * steps
    apart = np.linalg.norm(gaps, axis=2).min(axis=1)
    same = (every[:, None] == own[None]).all(axis=2).any(axis=1)
    near = (apart < clearance - 1e-9) | same
    covered = {tuple(row) for row in cells_of(wide)}
    assert {tuple(row) for row in every[near]} <= covered
    # no more than that, but for what lies at the clearance exactly
    assert covered <= {tuple(row) for row in every[(apart < clearance + 1e-9) | same]}


def test_outline_of_a_ring():
    # polygons of 64 corners have 0.998394 of the circle's area
    outer = trimesh.creation.annulus(r_min=3.0, r_max=5.0, height=2.0, sections=64)
    loops = outline_of([mesh_of(outer)])
    areas = sorted(
        0.5 * float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) for x, y in (p.T for p in loops)
    )
    assert len(loops) == 2
    # left-out corners: 0.02 mm along each circle at most
    assert areas[1] == pytest.approx(0.998394 * np.pi * 25, abs=0.02 * 2 * np.pi * 5)
    assert areas[0] == pytest.approx(-0.998394 * np.pi * 9, abs=0.02 * 2 * np.pi * 3)


def test_outline_of_nothing():
    assert outline_of([]) == ()


@pytest.mark.parametrize(
    ("meshes", "cell", "mend"),
    [
        ((), 0.5, "triangles"),
        ((box((0, 0, 0), (1, 1, 1)),), 0.0, "above 0"),
        ((box((0, 0, -0.5), (1, 1, 1)),), 0.5, "Lift it"),
    ],
)
def test_refused(meshes, cell, mend):
    with pytest.raises(InputError, match=mend):
        shaded(*meshes, cell=(cell, cell))
