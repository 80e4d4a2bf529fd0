"""Solid work: exact volumes, and every way in which a mesh can be refused."""

import numpy as np
import pytest
import trimesh

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.solids import (
    box,
    cylinder,
    difference,
    from_manifold,
    inset_outline,
    prism,
    raw_manifold,
    to_manifold,
    union,
)


def cube(size, at=(0.0, 0.0, 0.0), *, inverted=False) -> Mesh:
    solid = trimesh.creation.box(extents=(size,) * 3)
    triangles = np.asarray(solid.faces, dtype=np.int32)
    if inverted:
        triangles = np.ascontiguousarray(triangles[:, ::-1])
    return Mesh(np.asarray(solid.vertices) + at, triangles)


def together(*meshes) -> Mesh:
    starts = np.cumsum([0, *(len(m.points) for m in meshes)])
    triangles = [m.triangles + s for m, s in zip(meshes, starts, strict=False)]
    return Mesh(np.concatenate([m.points for m in meshes]), np.concatenate(triangles).astype(np.int32))


def test_coordinates_keep_their_digits():
    rng = np.random.default_rng(77123)
    ball = trimesh.creation.icosphere(subdivisions=3)
    points = ball.vertices * 17.3 + rng.normal(size=3)
    back = from_manifold(to_manifold(Mesh(points, ball.faces.astype(np.int32))))
    assert {p.tobytes() for p in points} == {p.tobytes() for p in back.points}


def test_overlapping_shells_of_one_mesh_are_united():
    mesh = together(cube(2.0), cube(2.0, (1.0, 0.5, 0.25)))
    # 8 + 8 - 1 · 1.5 · 1.75
    assert to_manifold(mesh).volume() == pytest.approx(16.0 - 2.625, rel=1e-12)
    assert raw_manifold(mesh).volume() == pytest.approx(16.0, rel=1e-12)  # the trap


def test_a_shell_given_twice_is_one_solid():
    twice = Mesh(cube(1.0).points, np.concatenate([cube(1.0).triangles] * 2))
    assert to_manifold(twice).volume() == pytest.approx(1.0, rel=1e-12)


def test_two_balls():
    """Union of unit spheres one apart 7.068583, lens 1.308997: facets of the inscribed mesh are second order."""
    errors = []
    for subdivisions in (3, 4, 5):
        ball = trimesh.creation.icosphere(subdivisions=subdivisions)
        faces = ball.faces.astype(np.int32)
        left = to_manifold(Mesh(ball.vertices, faces))
        right = to_manifold(Mesh(ball.vertices + np.array([1.0, 0, 0]), faces))
        errors.append(7.068583 - union([left, right]).volume())
        assert left.volume() + right.volume() - (left ^ right).volume() == pytest.approx(
            union([left, right]).volume(), rel=1e-12
        )
    slope = np.polyfit(np.log(0.5) * np.arange(3), np.log(errors), 1)[0]
    assert slope == pytest.approx(2.0, abs=0.2), f"observed order {slope:.2f}"


def test_hollows_stay_hollow():
    shell = together(cube(4.0), cube(2.0, inverted=True))
    assert to_manifold(shell).volume() == pytest.approx(64.0 - 8.0, rel=1e-12)
    # a plug through the hollow's wall fills part of it
    plugged = together(shell, cube(2.0, (1.0, 0.0, 0.0)))
    assert to_manifold(plugged).volume() == pytest.approx(64.0 - 8.0 + 4.0, rel=1e-12)


@pytest.mark.parametrize(
    ("mesh", "message"),
    [
        (Mesh(cube(1.0).points, cube(1.0).triangles[:-1]), "3 edges without a partner"),
        (
            Mesh(cube(1.0).points, np.concatenate([cube(1.0).triangles, cube(1.0).triangles[:1]])),
            "3 edges in more",
        ),
        (
            Mesh(
                cube(1.0).points, np.concatenate([cube(1.0).triangles[:-1], cube(1.0).triangles[-1:, ::-1]])
            ),
            "not a closed manifold",
        ),
        (Mesh(np.eye(3), np.array([[0, 1, 2]], dtype=np.int32)), "not a closed manifold"),
        (cube(1.0, inverted=True), "wound inside out: its volume is -1"),
        (together(cube(1.0), cube(1.0, (5.0, 0, 0), inverted=True)), "1 of 2 shells are wound inside out"),
        (Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32)), "nothing solid"),
        (Mesh(np.full((3, 3), np.nan), np.array([[0, 1, 2]], dtype=np.int32)), "not finite"),
    ],
)
def test_refused(mesh, message):
    with pytest.raises(InputError, match=message):
        to_manifold(mesh)


def test_shapes_have_their_volume():
    assert box((2.0, 3.0, 4.0), at_mm=(1.0, 1.0, 1.0)).volume() == pytest.approx(24.0)
    assert from_manifold(box((2.0, 3.0, 4.0), at_mm=(1.0, 1.0, 1.0))).bounds.tolist() == [
        [0.0, -0.5, -1.0],
        [2.0, 2.5, 3.0],
    ]
    full = np.pi * 4.0 * 5.0
    assert full * (1 - 0.01) < cylinder(5.0, 2.0).volume() < full
    assert difference([box((2.0, 2.0, 2.0)), box((1.0, 1.0, 4.0))]).volume() == pytest.approx(6.0)


def test_prism_with_draft_is_a_frustum():
    outline = np.array([[-4.0, -1.5], [4.0, -1.5], [4.0, 1.5], [-4.0, 1.5]])
    lean = 5.0 * np.tan(np.radians(3.0))
    top, end = 24.0, (8.0 - 2 * lean) * (3.0 - 2 * lean)
    middle = (8.0 - lean) * (3.0 - lean)
    solid = prism(outline, 5.0, draft_deg=3.0)
    assert solid.volume() == pytest.approx(
        5.0 / 6.0 * (top + 4.0 * middle + end), rel=1e-12
    )  # Simpson: exact
    assert measure_solid(from_manifold(solid)).volume == pytest.approx(solid.volume(), rel=1e-12)
    low, high = from_manifold(solid).bounds
    np.testing.assert_allclose([*low, *high], [-4.0, -1.5, -5.0, 4.0, 1.5, 0.0])


def test_inset_of_a_hexagon():
    angle = np.radians(60.0 * np.arange(6))
    hexagon = np.column_stack([np.cos(angle), np.sin(angle)]) * 2.0
    inset = inset_outline(hexagon, 0.5)
    np.testing.assert_allclose(np.hypot(*inset.T), 2.0 - 0.5 / np.cos(np.radians(30.0)))
    assert inset_outline(hexagon, 1.8) is None


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: box((1.0, 0.0, 1.0)), "not positive"),
        (lambda: cylinder(1.0, 0.001), "do not make a cylinder"),
        (lambda: prism(np.array([[0, 0], [0, 1], [1, 1], [1, 0]]), 1.0), "do not make a prism"),
        (
            lambda: prism(np.array([[0, 0], [1, 0], [1, 1], [0, 1]]), 9.0, draft_deg=10.0),
            "more than the outline",
        ),
        (lambda: union([]), "there are no solids"),
    ],
)
def test_shapes_that_cannot_be(call, message):
    with pytest.raises(InputError, match=message):
        call()
