"""Letters whose strokes are known, raised and sunk, square and V-cut, turned any way."""

import numpy as np
import pytest
from manifold3d import Manifold, OpType
from scipy.spatial.transform import Rotation

from firstcast.geometry import solids
from firstcast.geometry.heightmap import height_map
from firstcast.geometry.letters import Lettering, Unread, read_letters
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.plaque_blocks import LETTERS
from firstcast.geometry.refine import split_long_edges

PITCH_MM = 0.02
WITHIN_MM = 1.6 * PITCH_MM
"""A stroke's width is known to a place of the lattice on either side of it, less what is taken off for the middle."""


def front(mesh: Mesh, above_mm: float = -0.9) -> np.ndarray:
    """Triangles that are not of the plate's back and sides."""
    return mesh.points[mesh.triangles][:, :, 2].min(axis=1) > above_mm


def word(stroke_mm: float, step_mm: float, *, raised: bool) -> Mesh:
    """The gauge's own letters on a plate, or in it: one stroke between them where they are nearest."""
    plate = solids.box((30 * stroke_mm, 14 * stroke_mm, 1.0), at_mm=(0.0, 0.0, -0.5))
    strokes = Manifold.batch_boolean(
        [
            solids.box(
                (wide * stroke_mm, tall * stroke_mm, 2 * step_mm),
                at_mm=((6 * number + x + wide / 2 - 11.5) * stroke_mm, (y + tall / 2 - 3.5) * stroke_mm, 0.0),
            )
            for number, letter in enumerate("FACE")
            for x, y, wide, tall in LETTERS[letter]
        ],
        OpType.Add,
    )
    return solids.from_manifold(plate + strokes if raised else plate - strokes)


def v_cut(wide_mm: float, deep_mm: float, apart_mm: float, count: int = 5) -> Mesh:
    """Upright V grooves 2 mm long side by side in a plate."""
    plate = solids.box((8.0, 5.0, 1.0), at_mm=(0.0, 0.0, -0.5))
    over = 0.1
    half = 0.5 * wide_mm * (1.0 + over / deep_mm)
    outline = np.array([[-half, over], [0.0, -deep_mm], [half, over]])
    for number in range(count):
        groove = solids.prism(outline, 2.0).translate((0.0, 0.0, 1.0)).rotate((90.0, 0.0, 0.0))
        plate -= groove.translate(((number - (count - 1) / 2) * apart_mm, 0.0, 0.0))
    return solids.from_manifold(plate)


def turned(mesh: Mesh, seed: int) -> Mesh:
    return mesh.mapped(Rotation.random(random_state=seed).as_matrix(), np.array([3.0, -7.0, 11.0]))


@pytest.mark.parametrize("raised", [True, False])
@pytest.mark.parametrize("stroke_mm", [0.2, 0.33])
@pytest.mark.parametrize("seed", [None, 1])
def test_square_letters_measure_what_they_are(raised, stroke_mm, seed):
    mesh = word(stroke_mm, 0.15, raised=raised)
    mine = front(mesh)
    found = read_letters(mesh if seed is None else turned(mesh, seed), mine, pitch_mm=PITCH_MM)
    assert isinstance(found, Lettering)
    assert found.raised is raised
    assert found.stroke_mm == pytest.approx(stroke_mm, abs=WITHIN_MM)
    assert found.stroke_fine_mm == pytest.approx(stroke_mm, abs=WITHIN_MM)
    assert found.space_fine_mm == pytest.approx(stroke_mm, abs=WITHIN_MM)
    # heights of flat faces come out to the points' float32
    assert found.step_mm == pytest.approx(0.15, abs=1e-4)
    # a place at either end, and the half degree between leans that are tried over five strokes of width
    assert found.letter_mm == pytest.approx(7 * stroke_mm, abs=2 * PITCH_MM + 0.05 * stroke_mm)


@pytest.mark.parametrize(("wide_mm", "deep_mm"), [(0.4, 0.2), (0.5, 0.25), (0.4, 0.4)])
@pytest.mark.parametrize("seed", [None, 3])
def test_a_v_cut_stroke_is_as_wide_as_its_mouth(wide_mm, deep_mm, seed):
    mesh = v_cut(wide_mm, deep_mm, 1.0)
    mine = front(mesh)
    found = read_letters(mesh if seed is None else turned(mesh, seed), mine, pitch_mm=PITCH_MM)
    assert isinstance(found, Lettering)
    assert not found.raised
    # the mouth is reckoned from two widths: 1.5 times the one's fault and half of the other's
    assert found.stroke_mm == pytest.approx(wide_mm, abs=2 * WITHIN_MM)
    # the bottom is seen at the place of the lattice next to it
    assert found.step_mm == pytest.approx(deep_mm, abs=PITCH_MM * 2 * deep_mm / wide_mm)
    assert found.space_mm == pytest.approx(1.0 - wide_mm, abs=2 * WITHIN_MM)
    assert found.letter_mm == pytest.approx(2.0, abs=2 * PITCH_MM + 0.05)


def test_a_stroke_finer_than_the_others_is_the_finest():
    plate = solids.box((8.0, 5.0, 1.0), at_mm=(0.0, 0.0, -0.5))
    for x, wide in ((-2.0, 0.4), (-1.0, 0.4), (0.0, 0.2), (1.0, 0.4), (2.0, 0.4)):
        plate += solids.box((wide, 2.0, 0.4), at_mm=(x, 0.0, 0.0))
    mesh = solids.from_manifold(plate)
    found = read_letters(mesh, front(mesh), pitch_mm=PITCH_MM)
    assert isinstance(found, Lettering)
    assert found.stroke_fine_mm == pytest.approx(0.2, abs=WITHIN_MM)
    assert found.stroke_mm == pytest.approx(0.4, abs=WITHIN_MM)
    assert found.place_mm[0] == pytest.approx(0.0, abs=0.1)


def test_letters_on_a_gently_bent_ground_are_read_as_on_a_flat_one():
    flat = word(0.25, 0.15, raised=True)
    mesh = solids.from_manifold(solids.to_manifold(flat).refine_to_length(0.1))
    points = np.asarray(mesh.points, np.float64)
    bent = Mesh((points - [0, 0, 1] * (points[:, :1] ** 2 / 30.0)).astype(np.float32), mesh.triangles)
    found = read_letters(bent, front(mesh), pitch_mm=PITCH_MM)
    assert isinstance(found, Lettering)
    assert found.raised
    assert found.stroke_mm == pytest.approx(0.25, abs=WITHIN_MM)
    # the ground's facets sag by 0.1² / 8 / 15 mm, far less; the step is along the map's way, not along the ground's normal
    assert found.step_mm == pytest.approx(0.15, abs=0.01)


def test_a_bare_plate_and_a_bent_one_have_no_letters():
    plate = solids.from_manifold(solids.box((8.0, 5.0, 1.0), at_mm=(0.0, 0.0, -0.5)))
    assert read_letters(plate, front(plate)) is Unread.NONE
    ball = solids.from_manifold(Manifold.sphere(10.0, 400))
    cap = np.asarray(ball.points)[ball.triangles][:, :, 2].min(axis=1) > 9.0
    assert read_letters(ball, cap) is Unread.NONE


def test_what_can_not_be_read_is_said():
    mesh = word(0.25, 0.15, raised=True)
    assert read_letters(mesh, np.zeros(len(mesh.triangles), np.bool_)) is Unread.EMPTY
    # all of it: front and back look two ways
    assert read_letters(mesh, np.ones(len(mesh.triangles), np.bool_)) is Unread.TURNED
    rod = solids.from_manifold(Manifold.cylinder(5.0, 2.0, 2.0, 200))
    half = np.asarray(rod.points)[rod.triangles][:, :, 0].min(axis=1) > 0.1
    assert read_letters(rod, half) is Unread.TURNED


def test_heights_of_a_slope_are_those_of_its_plane():
    rng = np.random.default_rng(4)
    corners = np.zeros((200, 3, 3))
    corners[:, :, :2] = rng.uniform(0.0, 2.0, (200, 1, 2)) + rng.uniform(-0.3, 0.3, (200, 3, 2))
    corners[:, :, 2] = 0.3 * corners[:, :, 0] - 0.2 * corners[:, :, 1]
    seen = height_map(corners, np.array([0.0, 0.0, 1.0]), 0.05)
    rows, columns = np.nonzero(np.isfinite(seen.heights_mm))
    assert len(rows) > 100
    places = np.array([seen.place_mm(row, column) for row, column in zip(rows, columns, strict=True)])
    np.testing.assert_allclose(places[:, 2], 0.3 * places[:, 0] - 0.2 * places[:, 1], atol=1e-9)


@pytest.mark.filterwarnings("error")
def test_faces_seen_edge_on_leave_no_hole_in_the_map():
    """The sides of fine strokes, cut fine, stand on places of the lattice; what is divided by their area is no number."""
    mesh = split_long_edges(word(0.1, 0.2, raised=True), 0.05)[0]
    seen = height_map(mesh.corners[front(mesh)], np.array([0.0, 0.0, 1.0]), PITCH_MM)
    assert not np.isnan(seen.heights_mm[2:-2, 2:-2]).any()
