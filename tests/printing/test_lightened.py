"""Trees that settle may leave without hold what the trees before them held: tips come to it, or all stays as it was."""

import numpy as np
from manifold3d import Manifold

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.solids import box, cylinder, from_manifold, union
from firstcast.printing import held_props, lightened, propping
from firstcast.printing.posts import Strong
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.prop_wants import Strength, Wanted
from firstcast.printing.propping import hold_up
from firstcast.printing.starts import Bearing
from firstcast.printing.ways import FOOT, picked, roots_of

LAYER = 0.05
STRENGTH = Strength(stress_kpa=15.0, strength_mpa=5.0, modulus_mpa=150.0, density_g_cm3=1.12, safety=2.0)
WANTED = Wanted(
    (0.05, 0.05), LAYER, 4.5, 0.4, 4, Bearing(4, 0.7, LAYER / np.tan(np.radians(15.0)), 0.15), STRENGTH, PropShapes()
)  # fmt: skip


def reaching() -> Mesh:
    """A column with a beam on it; from either end of that hangs a ball."""
    ends = [
        part.translate((x, 0, 0))
        for x in (-6.0, 6.0)
        for part in (Manifold.sphere(0.9, 40).translate((0, 0, 6.4)), box((0.7, 0.7, 1.6), at_mm=(0, 0, 7.3)))
    ]
    return from_manifold(
        union([cylinder(7.0, 1.6, sag_mm=0.01), box((13.0, 1.2, 1.2), at_mm=(0, 0, 8.0)), *ends])
    )


def leaving_out(most: int):
    """As settle does nothing, but that in its first calls, so many, the tree that ends farthest along x is lost."""
    calls = []

    def settle(ways, strong, contacts, loads_n, cases, ground):
        calls.append(len(contacts))
        if len(calls) > most:
            return ways, strong
        tree = roots_of(ways)
        feet = [node for node in np.unique(tree).tolist() if ways.kinds[node] == FOOT]
        keep = tree != max(feet, key=lambda node: ways.places[node][0])
        return picked(ways, keep), Strong(strong.radii_mm[keep], strong.bending[keep], strong.buckling[keep])

    return settle, calls


def without(monkeypatch) -> propping.Standing:
    monkeypatch.setattr(lightened, "settle", lambda ways, strong, *_: (ways, strong))
    return hold_up(reaching(), WANTED)


def test_what_lost_its_hold_gets_a_tip_of_its_own(monkeypatch):
    before = without(monkeypatch)
    settle, calls = leaving_out(1)
    monkeypatch.setattr(lightened, "settle", settle)
    standing = hold_up(reaching(), WANTED)
    assert calls == [len(before.contacts)]
    assert len(standing.contacts) > len(before.contacts)
    assert len(standing.left.layers) == 0
    assert (standing.loads_n <= (1.0 + 1e-9) * standing.bears_n).all()
    assert standing.strong.use.max() <= 1.0 + 1e-9
    assert max(standing.sways.values()) <= 1.0 + 1e-9
    # the new tip stands where the tree is gone, under the ball or the beam
    more = standing.contacts.places_mm[len(before.contacts) :] - standing.offset_mm
    assert more[:, 0].max() > 4.0
    # all ways that there are end on the platform, and each tip goes by one of them or lost its own
    rows = sorted(standing.ways.tip_of.values())
    assert len(set(rows)) == len(rows)
    assert set(range(len(before.contacts), len(standing.contacts))) <= set(rows)


def test_where_that_would_bear_too_much_all_stays_as_it_was(monkeypatch):
    before = without(monkeypatch)
    settle, _ = leaving_out(1)
    monkeypatch.setattr(lightened, "settle", settle)

    monkeypatch.setattr(
        held_props.Held, "most_used", lambda held, ground: 1.5 if len(held.contacts) > len(before.contacts) else 1.0
    )  # fmt: skip
    standing = hold_up(reaching(), WANTED)
    assert len(standing.contacts) == len(before.contacts)
    np.testing.assert_array_equal(standing.props.points, before.props.points)
