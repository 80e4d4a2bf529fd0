"""Growth of faces by closed forms and by the forward model; a real peg and socket through it, put together."""

import numpy as np
import pytest
import trimesh

from firstcast.forecast.chain_on_mesh import normals_of
from firstcast.forecast.plane_growth import plane_growth_mm
from firstcast.forecast.printed import print_moves_of
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.refine import split_long_edges
from firstcast.geometry.solids import box, difference, from_manifold, raw_manifold
from firstcast.geometry.turns import turn_about
from firstcast.process.light import underside_growth_mm
from firstcast.stations.fit import Settings
from joint_halves import KNOWN, Shop, blocks, joint

SHOP = Shop(override=KNOWN)
LIKELY = SHOP.chain[1]


@pytest.mark.parametrize("chain", SHOP.chain)
def test_walls_tops_and_undersides(chain):
    wall, top, under = plane_growth_mm(chain, [0.0, 1.0, -1.0])
    # the dose along the normal is taken as straight over a micron
    assert wall == pytest.approx(chain.edge_growth_mm, abs=2e-4)
    assert top == pytest.approx(0.0, abs=1e-3)
    expected = underside_growth_mm(chain.overdose, layer_mm=chain.layer_mm, depth_mm=chain.depth_mm)
    # averaging errs by h² / 24 Dp, a layer's own light taken at its middle by as much, the step is a micron
    assert under == pytest.approx(expected, abs=chain.layer_mm**2 / 12 / chain.depth_mm + 0.001)


def test_growth_falls_as_faces_turn_up():
    ways = np.linspace(-1.0, 1.0, 21)
    grown = plane_growth_mm(LIKELY, ways)
    assert (np.diff(grown) < 1e-4).all()


@pytest.mark.parametrize("degrees", [0.0, 25.0, 60.0])
def test_against_the_forward_model(degrees):
    """The middle of a block's faces, in the forecast that carry uses."""
    turn = turn_about((1.0, 0.3, 0.2), degrees)
    block = from_manifold(box((2.4, 2.4, 2.4))).mapped(turn)
    mesh, _ = split_long_edges(block, 0.12)
    points = np.asarray(mesh.points, np.float64)
    normals = normals_of(points, mesh.triangles)
    moved = print_moves_of(points, mesh.triangles, normals, [LIKELY])[0]
    for axis in (*turn.T, *-turn.T):
        middle = np.linalg.norm(points - 1.2 * axis, axis=1) < 0.4
        grown = plane_growth_mm(LIKELY, [axis[2]])[0]
        # the forward model has half pixels and half layers, 0.0175 and 0.025 mm; and layers where they lie
        assert np.median(moved[middle]) == pytest.approx(min(grown, 0.16), abs=0.012)


def printed(mesh: Mesh, chain) -> Mesh:
    """A solid through the forecast of light, in the printer's axes."""
    fine, _ = split_long_edges(mesh, 0.1)
    points = np.asarray(fine.points, np.float64)
    normals = normals_of(points, fine.triangles)
    moved = print_moves_of(points, fine.triangles, normals, [chain])[0]
    return Mesh(points + moved[:, None] * normals, fine.triangles)


def test_a_peg_and_a_socket_block_through_the_forward_model_go_together():
    """What the station promises by planes, held against the model that moves every vertex: all its scenarios."""
    lean = turn_about((1, 0, 0), 90.0)
    result = SHOP.fit(
        *blocks(), joint(width_mm=1.4, depth_mm=1.2), turns=(lean, lean), settings=Settings(widest_gap_mm=1.0)
    )
    made = result.joints[0]
    peg = next(fitting for fitting in result.fittings if fitting.adds)
    socket = next(fitting for fitting in result.fittings if not fitting.adds)
    to_cast = np.linalg.inv(matrix_of(lean))
    u, v = made.place_mm[:2]
    block = from_manifold(
        difference(
            [box((3.4, 3.4, 2.6), at_mm=(u, v, 1.3)).transform(np.column_stack([matrix_of(lean), np.zeros(3)])),
             raw_manifold(socket.mesh)]
        )
    )  # fmt: skip
    for chain in SHOP.chain:
        male, female = (
            printed(mesh.mapped(lean), chain).mapped(lean.T).mapped(to_cast) for mesh in (peg.mesh, block)
        )
        # the peg's root and what bulges beneath the seat belong to its own piece
        male_solid = raw_manifold(male).trim_by_plane((0.0, 0.0, 1.0), 0.12)
        assert male_solid.volume() > 0.8
        jammed = male_solid ^ raw_manifold(female)
        assert jammed.volume() < 1e-6
        hull = trimesh.Trimesh(male.points, male.triangles, process=False)
        # in the likely case the peg comes as wide as told, across the layers and along them
        if chain is LIKELY:
            wide = hull.section((0, 0, 1), (0, 0, 0.6))
            extent = np.ptp(wide.vertices, axis=0)
            drafted = made.peg_cast.outline(0.6)
            np.testing.assert_allclose(extent[:2], np.ptp(drafted, axis=0), atol=0.03)


def matrix_of(turn):
    from firstcast.process.extent_spread import in_figure_axes
    from firstcast.process.shrink import chain_matrix

    return chain_matrix(in_figure_axes(SHOP.steps, turn))
