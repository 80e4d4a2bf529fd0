"""Necks that bear together: P / A + M c / I by hand, a row with a moment across, sections summed up cell by cell."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstcast.process.neck_groups import neck_grows, sections, share


def one(places, diameters, load, at):
    return share(
        np.asarray(places, np.float64).reshape(-1, 2), np.asarray(diameters, np.float64), np.array([load]), np.array([at], np.float64)
    )  # fmt: skip


def test_one_neck_beside_its_load_is_a_bar_that_is_pulled_and_bent():
    """σ = P / A + P e c / I (eccentric load on a short bar, any textbook of strength of materials): 1 + 8 e / d of P / A."""
    wide, load, beside = 0.6, 0.25, 0.45
    borne = one([[1.0, 2.0]], [wide], load, [1.0, 2.0 + beside])
    even = load / (np.pi * wide**2 / 4.0)
    bent = load * beside * 0.5 * wide / (np.pi * wide**4 / 64.0)
    assert borne.middle_mpa[0, 0] == pytest.approx(even)
    assert borne.bending_mpa[0, 0] == pytest.approx(bent)
    assert borne.greatest_mpa[0, 0] == pytest.approx(even * (1.0 + 8.0 * beside / wide))
    assert borne.moments_nmm[0, :, 0] == pytest.approx([0.0, load * beside])


def test_a_load_at_the_edge_of_the_core_leaves_the_other_rim_without_stress():
    """The core of a round section is d / 8 wide about its middle (any textbook of strength of materials)."""
    borne = one([[0.0, 0.0]], [0.8], 1.0, [0.1, 0.0])
    assert borne.middle_mpa[0, 0] == pytest.approx(borne.bending_mpa[0, 0])


def test_two_in_a_row_bear_a_moment_across_it_by_bending_half_each():
    places, wide = [[0.0, 0.0], [10.0, 0.0]], [0.6, 0.6]
    borne = one(places, wide, 0.2, [5.0, 3.0])
    assert borne.loads_n[:, 0] == pytest.approx([0.1, 0.1])
    assert borne.moments_nmm[:, 1, 0] == pytest.approx([0.3, 0.3])
    assert borne.moments_nmm[:, 0, 0] == pytest.approx([0.0, 0.0])
    # along it they are a lever: by their places, and their own stiffness takes d² / 16 r² of it
    along = one(places, wide, 1.0, [2.5, 0.0])
    less = 1.0 / (1.0 + 0.6**2 / 16.0 / 5.0**2)
    assert along.loads_n[:, 0] == pytest.approx([0.5 + 0.25 * less, 0.5 - 0.25 * less])
    outside = one(places, [0.01, 0.01 * 3**0.5], 1.0, [12.0, 0.0])
    assert outside.loads_n[:, 0] == pytest.approx([-0.2, 1.2], rel=1e-5)


def test_three_almost_in_a_row_bear_by_bending_what_their_arm_is_too_short_for():
    """One of three stands 0.05 mm beside the row of the others: as bolts they'd pull at each other by many times the load."""
    places, wide = np.array([[0.0, 0.0], [2.0, 0.05], [4.0, 0.0]]), np.full(3, 0.6)
    borne = one(places, wide, 0.1, [2.0, 1.0])
    area = np.pi * 0.36 / 4.0
    bolts = np.column_stack([np.ones(3), places - places.mean(axis=0)])
    pulled = (
        area * bolts @ np.linalg.solve(area * bolts.T @ bolts, 0.1 * np.array([1.0, 0.0, 1.0 - 0.05 / 3.0]))
    )
    assert np.abs(pulled).max() > 12.0 * 0.1
    # Σ A y² about the middle is 2/3 · 0.05² of the area, and three times d² / 16 is 40 times that
    beside, arms = 1.0 - 0.05 / 3.0, places[:, 1] - 0.05 / 3.0
    stiff = 2.0 / 3.0 * 0.05**2 + 3.0 * 0.6**2 / 16.0
    assert borne.loads_n[:, 0] == pytest.approx(0.1 / 3.0 + 0.1 * beside * arms / stiff)
    assert borne.moments_nmm[:, 1, 0] == pytest.approx(np.full(3, 0.1 * beside * 0.6**2 / 16.0 / stiff))


def test_four_in_a_square_by_the_textbook():
    """F / n + F e r / Σ r², with the load off the middle along x (the group of fasteners of any textbook of machine parts); necks
    0.3 mm thick, 6 mm apart, differ by 0.06 %: d² / 16 over r²."""
    half, away, load = 3.0, 5.0, 8.0
    places = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], np.float64)
    wanted = load / 4 + load * away * places[:, 0] / (4 * half**2)
    borne = one(places, np.full(4, 0.3), load, [away, 0.0])
    assert borne.loads_n[:, 0] == pytest.approx(wanted, rel=2e-3)
    assert (borne.bending_mpa / np.abs(borne.middle_mpa).max()).max() < 0.04


@given(
    st.lists(st.tuples(st.floats(-20, 20), st.floats(-20, 20), st.floats(0.2, 1.6)), min_size=1, max_size=12),
    st.tuples(st.floats(-20, 20), st.floats(-20, 20)),
)
@settings(max_examples=150, deadline=None)
def test_forces_and_moments_make_up_the_load_wherever_necks_stand(necks, at):
    table = np.array(necks)
    borne = one(table[:, :2], table[:, 2], 2.0, at)
    assert borne.loads_n.sum() == pytest.approx(2.0, abs=1e-6)
    whole = table[:, :2].T @ borne.loads_n[:, 0] + borne.moments_nmm[:, :, 0].sum(axis=0)
    assert whole == pytest.approx(2.0 * np.array(at), abs=1e-5)


@given(st.lists(st.tuples(st.floats(-2, 2), st.floats(-2, 2), st.floats(0.2, 1.6)), min_size=1, max_size=5))
@settings(max_examples=20, deadline=None)
def test_sections_are_what_their_cells_add_up_to(necks):
    """Each disc cut into 200 by 200 cells; those at the rim make the sums right within a half per cent of the disc's own."""
    table = np.array(necks)
    at = (np.arange(200) + 0.5) / 100.0 - 1.0
    x, y = (grid.ravel() for grid in np.meshgrid(at, at))
    inside = x**2 + y**2 <= 1.0
    for (px, py, wide), found in zip(table, sections(table[:, :2], table[:, 2]), strict=True):
        spots = np.column_stack(
            [np.ones(inside.sum()), px + 0.5 * wide * x[inside], py + 0.5 * wide * y[inside]]
        )
        wanted = spots.T @ spots * (0.005 * wide) ** 2
        assert found == pytest.approx(wanted, rel=5e-3, abs=5e-3 * wide**2)


@given(st.floats(0.0, 50.0), st.floats(0.0, 50.0))
@settings(max_examples=100, deadline=None)
def test_a_neck_that_grows_so_much_just_bears_it(pulled, bent):
    factor = float(neck_grows(np.array(pulled), np.array(bent)))
    if max(pulled, bent) < 1e-12:
        assert factor < 1e-3
    else:
        assert pulled / factor**2 + bent / factor**3 == pytest.approx(1.0, rel=1e-9)
    assert float(neck_grows(np.array(4.0), np.array(0.0))) == pytest.approx(2.0)
    assert float(neck_grows(np.array(0.0), np.array(27.0))) == pytest.approx(3.0)
