"""Necks as thick as they must be: no more than they may bear, and no thicker than that asks for."""

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from firstcast.printing.holding import size_necks, stages_of, worst_loads
from firstcast.printing.starts import Found, Sites
from firstcast.printing.tips import Contacts

LAYER, STRENGTH, SAFETY = 0.05, 5.0, 2.0


def contacts_at(spots, diameters) -> Contacts:
    spots = np.asarray(spots, np.float64).reshape(-1, 2)
    n = len(spots)
    whole = np.ones(n, np.int32)
    return Contacts(
        np.column_stack([spots, np.zeros(n)]), np.tile([0.0, 0, -1.0], (n, 1)), np.broadcast_to(diameters, n).astype(float),
        np.zeros(n, np.int32), whole, whole, np.zeros(n, bool), np.zeros(n),
    )  # fmt: skip


def stages_for(rows, contacts):
    none = np.zeros(0, np.int32)
    found = Found(
        Sites(np.zeros((0, 3)), none, none, np.zeros(0), none), 0, np.array(rows), np.zeros((0, 3), np.int32), 0.0
    )  # fmt: skip
    return stages_of(found, contacts, layer_mm=LAYER, stress_kpa=15.0, density_g_cm3=1.1)


@given(st.integers(0, 2**32 - 1))
@example(161)
@example(365)
@settings(max_examples=60, deadline=None)
def test_no_neck_that_may_grow_is_left_with_more_than_it_may_bear(seed):
    """A body whose middle wanders, on tips anywhere: each neck is at its thickest, or bears, to the last digit."""
    rng = np.random.default_rng(seed)
    rows = [(layer, 1, 20.0 + 5.0 * layer, *rng.uniform(-2.0, 2.0, 2)) for layer in range(1, 15)]
    begin = contacts_at(rng.uniform(-3.0, 3.0, (rng.integers(1, 9), 2)), 0.3)
    most = rng.choice([0.45, 0.6, 1.6, 20.0], len(begin))
    stages = stages_for(rows, begin)
    sized, loads = size_necks(stages, begin, most, strength_mpa=STRENGTH, safety=SAFETY)
    np.testing.assert_allclose(loads, worst_loads(stages, sized))
    use = loads / (np.pi / 4.0 * sized.diameters_mm**2 * STRENGTH / SAFETY)
    assert ((use <= 1.0 + 1e-12) | (sized.diameters_mm >= most)).all()
    assert (sized.diameters_mm >= 0.3).all()


def test_one_neck_right_under_its_load_is_as_thick_as_it_must_be():
    """d² = 4 s F / π f, met within what necks are sized beyond it."""
    rows = [(1, 1, 200.0, 0.0, 0.0)]
    one = contacts_at([[0.0, 0.0]], 0.3)
    stages = stages_for(rows, one)
    sized, loads = size_necks(stages, one, np.array([9.0]), strength_mpa=STRENGTH, safety=SAFETY)
    needs = np.sqrt(4.0 * SAFETY * loads[0] / (np.pi * STRENGTH))
    assert needs <= sized.diameters_mm[0] <= 1.002 * needs
