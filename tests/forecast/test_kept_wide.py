"""Lengths held back at narrow walls and gaps: what is kept is let pass by the measure that is taken of the written mesh."""

import numpy as np
import pytest
from manifold3d import Manifold

from firstcast.forecast.kept_wide import NarrowSide, kept_wide
from firstcast.geometry.compared import NARROWER_MM, NARROWER_SHARE, Solid, narrowed
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.narrow import Places
from firstcast.geometry.normals import vertex_normals
from firstcast.geometry.refine import split_long_edges
from firstcast.geometry.walls import read_widths

LIMIT_MM = 0.6


def fine(solid: Manifold) -> Mesh:
    made = solid.to_mesh()
    mesh = Mesh(np.asarray(made.vert_properties[:, :3], np.float64), np.asarray(made.tri_verts, np.int32))
    return split_long_edges(mesh, 0.12)[0]


def read_of(mesh: Mesh) -> tuple[NarrowSide, NarrowSide]:
    widths = read_widths(mesh, most_mm=LIMIT_MM + 0.4, most_gap_mm=LIMIT_MM + 0.4)
    return (
        NarrowSide(Places(widths.wall_mm, widths.wall_opposite, widths.wall_edge_mm), LIMIT_MM, inside=True),
        NarrowSide(Places(widths.gap_mm, widths.gap_opposite, widths.gap_edge_mm), LIMIT_MM, inside=False),
    )


def told(mesh: Mesh, sides, length_mm):
    """What the written mesh is told of, measured anew."""
    moved = Mesh(np.asarray(mesh.points) + length_mm[:, None] * vertex_normals(mesh), mesh.triangles)
    again = read_of(moved)
    return [
        found
        for side in again
        for found in narrowed(
            Solid.of(moved), side.places, Solid.of(mesh), inside=side.inside, limit_mm=LIMIT_MM
        )
    ]


@pytest.mark.parametrize("thick_mm", [0.25, 0.4, 0.55])
def test_a_wall_ends_as_thick_as_is_let_pass(thick_mm):
    mesh = fine(Manifold.cube((4.0, thick_mm, 4.0)))
    sides = read_of(mesh)
    length = np.full(len(mesh.points), -0.06)
    kept = kept_wide(mesh, sides, length)
    assert (kept.walls, kept.gaps) == (1, 0)
    assert (kept.outward == 1.0).all()
    middle = np.abs(mesh.points - mesh.points.mean(axis=0)).max(axis=1) < 1.5
    least = NARROWER_SHARE * thick_mm - 0.5 * NARROWER_MM
    ends = thick_mm + 2.0 * (kept.inward * length)[middle]
    assert ends == pytest.approx(least, abs=0.005)
    assert told(mesh, sides, length)
    assert not told(mesh, sides, length * kept.inward)


def test_a_slot_ends_as_wide_as_is_let_pass():
    block = Manifold.cube((4.0, 3.0, 4.0)) - Manifold.cube((4.0, 0.4, 3.0)).translate((-0.5, 1.3, 1.5))
    mesh = fine(block)
    sides = read_of(mesh)
    length = np.full(len(mesh.points), 0.06)
    kept = kept_wide(mesh, sides, length)
    assert kept.gaps >= 1
    assert (kept.inward == 1.0).all()
    assert told(mesh, sides, length)
    assert not told(mesh, sides, length * kept.outward)


def test_what_is_stout_or_moves_little_is_left_alone():
    stout, thin = fine(Manifold.cube((4.0, 2.0, 4.0))), fine(Manifold.cube((4.0, 0.4, 4.0)))
    assert kept_wide(stout, read_of(stout), np.full(len(stout.points), -0.08)).inward.min() == 1.0
    assert kept_wide(thin, read_of(thin), np.full(len(thin.points), -0.01)).inward.min() == 1.0
    assert kept_wide(thin, read_of(thin), np.full(len(thin.points), 0.08)).inward.min() == 1.0


def test_one_side_drawn_in_as_the_other_goes_out_is_no_harm():
    mesh = fine(Manifold.cube((4.0, 0.4, 4.0)))
    length = np.where(mesh.points[:, 1] < 0.2, -0.06, 0.06)
    kept = kept_wide(mesh, read_of(mesh), length)
    flat = np.abs(mesh.points - mesh.points.mean(axis=0))[:, [0, 2]].max(axis=1) < 1.5
    assert (kept.inward[flat] == 1.0).all()
