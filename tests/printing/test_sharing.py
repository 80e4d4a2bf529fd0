"""Tips that share: groups of necks against plain least squares, bodies that widen faster than their tips, columns with held feet."""

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold

from firstcast.fields.coverage import Layers, PixelGrid, section_layers
from firstcast.geometry.solids import box, from_manifold, union
from firstcast.printing import propping
from firstcast.printing.forest import lead_down
from firstcast.printing.frame import buckling_share
from firstcast.printing.groups_of_tips import TOO_MUCH
from firstcast.printing.holding import stages_of, worst_loads
from firstcast.printing.necks import MARK_MM3, ON_THIN, ROUGHER, Necks, SpareTips, size_and_share
from firstcast.printing.prop_ground import PropGround, ground_of
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.prop_wants import Strength, Wanted
from firstcast.printing.propping import hold_up
from firstcast.printing.sharing import APART_MM, share_out
from firstcast.printing.spare_places import SPACING_MM, spare_places
from firstcast.printing.starts import SHARE, Bearing, Found, Sites, find_sites
from firstcast.printing.stepped import stepped_loads_n
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import roots_of
from firstcast.process.peel import GRAVITY_N_G
from firstcast.process.strength import RoundSection, euler_load_n

STRENGTH = Strength(stress_kpa=15.0, strength_mpa=5.0, modulus_mpa=150.0, density_g_cm3=1.0, safety=2.0)
LAYER = 0.05


def contacts_at(spots, diameters, layer=0, body=1) -> Contacts:
    spots = np.asarray(spots, np.float64).reshape(-1, 2)
    n = len(spots)
    whole = np.full(n, body, np.int32)
    return Contacts(
        np.column_stack([spots, np.full(n, layer * LAYER)]), np.tile([0.0, 0, -1.0], (n, 1)), np.broadcast_to(diameters, n).astype(float),
        np.full(n, layer, np.int32), whole, whole, np.zeros(n, bool), np.zeros(n),
    )  # fmt: skip


def found_of(rows) -> Found:
    none = np.zeros(0, np.int32)
    return Found(
        Sites(np.zeros((0, 3)), none, none, np.zeros(0), none), 0, np.array(rows), np.zeros((0, 3), np.int32), 0.0
    )  # fmt: skip


def use_of(contacts: Contacts, rows) -> float:
    """Greatest stress of any neck over what it may bear, layer by layer: one section made of discs, solved by least squares."""
    may = STRENGTH.strength_mpa / STRENGTH.safety
    worst, weights = 0.0, np.zeros(3)
    for layer, _, area, x, y in rows:
        weights = weights + area * LAYER * 1e-3 * GRAVITY_N_G * np.array([1.0, x, y])
        total = weights + area * STRENGTH.stress_kpa * 1e-3 * np.array([1.0, x, y])
        there = contacts.layers <= layer
        spots, wide = contacts.places_mm[there, :2], contacts.diameters_mm[there]
        area = np.pi / 4.0 * wide**2
        # four points with the disc's area and second moments: a quarter of its width to either side
        away = 0.25 * np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]])
        quarters = (spots[:, None] + wide[:, None, None] * away).reshape(-1, 2)
        each = np.repeat(0.25 * area, 4)
        rows_ = np.column_stack([np.ones(len(quarters)), quarters])
        plane = np.linalg.lstsq(rows_.T @ (each[:, None] * rows_), total, rcond=None)[0]
        stress = np.abs(plane[0] + spots @ plane[1:]) + 0.5 * wide * np.hypot(*plane[1:])
        worst = max(worst, float(stress.max()) / may)
    return worst


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_added_tips_bring_every_neck_down_to_what_it_bears(seed):
    """A body of 120 mm² whose middle wanders, on three tips in one corner; places to add all over it."""
    rng = np.random.default_rng(seed)
    rows = [(layer, 1, 20.0 + 10.0 * layer, *rng.uniform(-1.5, 1.5, 2)) for layer in range(1, 11)]
    tips = contacts_at(rng.uniform(-3.0, -1.0, (3, 2)), 0.6)
    grid = np.stack(np.meshgrid(np.arange(-5.0, 5.1, 1.0), np.arange(-5.0, 5.1, 1.0)), axis=-1).reshape(-1, 2)
    spare = contacts_at(grid, 0.6)
    assert use_of(tips, rows) > 1.5
    sizes, chosen = share_out(
        found_of(rows), tips, np.full(3, 0.6), spare, np.ones(3 + len(grid)), STRENGTH, layer_mm=LAYER
    )
    together = tips.sized(sizes).joined(spare.only(chosen))
    assert use_of(together, rows) <= TOO_MUCH
    # a neck of 0.6 mm bears 47 mm² of peel: three for the area, and no more than a few for where it lies
    assert 3 <= len(together) <= 12
    away = np.linalg.norm(together.places_mm[:, None] - together.places_mm, axis=2)[
        len(tips) :, : len(together)
    ]
    assert np.sort(away, axis=1)[:, 1].min() >= APART_MM


def test_tips_that_are_there_are_thickened_before_others_are_added():
    rows = [(1, 1, 60.0, 0.0, 0.0)]
    tips = contacts_at([[-2, 0], [2, 0], [0, 2], [0, -2]], [0.6, 0.3, 0.3, 0.3])
    sizes, chosen = share_out(
        found_of(rows), tips, np.full(4, 0.6), contacts_at([[3, 3]], 0.6), np.array([0.5] * 4 + [1.0]), STRENGTH, layer_mm=LAYER
    )  # fmt: skip
    assert len(chosen) == 0
    assert (sizes[1:] > 0.3).any()
    assert use_of(tips.sized(sizes), rows) <= TOO_MUCH


def test_what_is_printed_later_or_is_another_body_or_not_allowed_is_no_help():
    rows = [(1, 1, 60.0, 1.0, 1.0)]
    tips = contacts_at([[0, 0]], 0.6)
    later, other = contacts_at([[2, 0]], 0.6, layer=5), contacts_at([[0, 2]], 0.6, body=2)
    barred = contacts_at([[2, 2]], 0.6)
    spare = later.joined(other).joined(barred)
    _, chosen = share_out(
        found_of(rows), tips, np.full(1, 0.6), spare, np.array([1.0, 1.0, 1.0, np.inf]), STRENGTH, layer_mm=LAYER
    )  # fmt: skip
    assert len(chosen) == 0
    _, chosen = share_out(found_of(rows), tips, np.full(1, 0.6), spare, np.ones(4), STRENGTH, layer_mm=LAYER)
    assert chosen.tolist() == [2]


def test_a_tip_whose_prop_is_weak_is_eased_by_others_until_that_bears():
    """0.6 N right between two necks; the prop of one may bear 0.1 N of its 0.3."""
    rows = [(1, 1, 40.0, 0.0, 0.0)]
    tips = contacts_at([[-2, 0], [2, 0]], 0.6)
    spare = contacts_at([[-2, 1], [-2, -1], [-3, 0], [0, 3], [0, -3], [2, 2], [2, -2]], 0.6)
    _, none = share_out(found_of(rows), tips, np.full(2, 0.6), spare, np.ones(9), STRENGTH, layer_mm=LAYER)
    assert len(none) == 0
    _, chosen = share_out(
        found_of(rows), tips, np.full(2, 0.6), spare, np.ones(9), STRENGTH, layer_mm=LAYER, props_n=np.array([0.1, np.inf])
    )  # fmt: skip
    together = tips.joined(spare.only(chosen))
    stages = stages_of(found_of(rows), together, layer_mm=LAYER, stress_kpa=15.0, density_g_cm3=1.0)
    assert worst_loads(stages, together)[0] <= 0.1
    assert use_of(together, rows) <= TOO_MUCH
    # six even necks bear 0.1 N each
    assert 1 <= len(chosen) <= 4


def test_a_smooth_place_is_taken_before_a_rough_one_that_helps_as_much():
    rows = [(1, 1, 60.0, 1.0, 0.0)]
    # in one row with the load: beside it they would be bent
    tips, spare = contacts_at([[0, 0]], 0.6), contacts_at([[2, 0.01], [2, -0.01]], 0.6)
    _, chosen = share_out(
        found_of(rows), tips, np.full(1, 0.6), spare, np.array([1.0, 3.0, 1.0]), STRENGTH, layer_mm=LAYER
    )
    assert chosen.tolist() == [1]


def test_right_under_the_load_only_two_that_face_each_other_help():
    """One beside the tip would tilt the body: it bears nothing. Two do, whichever way they face."""
    rows = [(1, 1, 90.0, 0.0, 0.0)]
    tips, spare = contacts_at([[0, 0]], 0.6), contacts_at([[2, 0], [0, 1.5], [-2, 0]], 0.6)
    _, chosen = share_out(found_of(rows), tips, np.full(1, 0.6), spare, np.ones(4), STRENGTH, layer_mm=LAYER)
    assert sorted(chosen.tolist()) == [0, 2]
    assert use_of(tips.joined(spare.only(chosen)), rows) <= TOO_MUCH


def test_a_body_that_leans_out_from_its_one_tip_gets_another_beyond_its_load():
    """40 mm² peel with 0.6 N: the neck would bear that right over it, and 0.5 mm beside it 1 + 8 · 0.5 / 0.6 times less."""
    rows = [(1, 1, 40.0, 0.5, 0.0)]
    tip = contacts_at([[0, 0]], 0.6)
    assert use_of(tip, rows) == pytest.approx(0.6 / 0.7069 * (1.0 + 8.0 * 0.5 / 0.6), rel=1e-3)
    spare = contacts_at([[-2, 0], [0, 2], [2, 0]], 0.6)
    _, chosen = share_out(found_of(rows), tip, np.full(1, 0.6), spare, np.ones(4), STRENGTH, layer_mm=LAYER)
    assert chosen.tolist() == [2]
    assert use_of(tip.joined(spare.only(chosen)), rows) <= TOO_MUCH


def test_a_place_that_is_printed_later_gives_way_to_one_that_helps_from_the_first_on():
    """The load wanders out; later layers are worse, and what relieves these best is too near to what the first needs."""
    rows = [(layer, 1, 20.0, 0.5, 0.0) for layer in range(1, 4)]
    rows += [(layer, 1, 32.8, 1.35, 0.0) for layer in range(4, 60)]
    tip, early, late = (
        contacts_at([[0, 0]], 0.6),
        contacts_at([[1.3, 0.05]], 0.6),
        contacts_at([[2, 0]], 0.6, layer=4),
    )
    spare, even = early.joined(late), np.ones(3)
    _, chosen = share_out(found_of(rows), tip, np.full(1, 0.6), late, even[:2], STRENGTH, layer_mm=LAYER)
    assert chosen.tolist() == [0]
    assert use_of(tip.joined(late), rows[3:]) <= TOO_MUCH < use_of(tip.joined(late), rows)
    _, chosen = share_out(found_of(rows), tip, np.full(1, 0.6), spare, even, STRENGTH, layer_mm=LAYER)
    assert chosen.tolist() == [0]
    assert use_of(tip.joined(early), rows) <= TOO_MUCH


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_sizing_and_sharing_end_with_every_neck_bearing_its_load(seed):
    """Necks that begin thin, sized, shared, sized again: where thicker ones shift the load to and fro, they keep what bears."""
    rng = np.random.default_rng(seed)
    rows = [(layer, 1, 60.0 + 15.0 * layer, *rng.uniform(-1.5, 1.5, 2)) for layer in range(1, 13)]
    tips = contacts_at(rng.uniform(-3.0, 3.0, (9, 2)), 0.3)
    grid = np.stack(np.meshgrid(np.arange(-6.0, 6.1, 1.0), np.arange(-6.0, 6.1, 1.0)), axis=-1).reshape(-1, 2)
    spare, n = contacts_at(grid, 0.6), len(tips)
    necks = Necks(tips, np.full(n, 0.6), np.full(n, 0.1), np.full(n, np.inf))
    on = cast(PropGround, SimpleNamespace(found=found_of(rows), wanted=wanted()))
    places = cast(SpareTips, SimpleNamespace(all=lambda: (spare, np.ones(len(spare)))))
    _, sized, loads, _ = size_and_share(on, necks, places)
    assert (loads <= (1.0 + 1e-9) * np.pi / 4.0 * sized.diameters_mm**2 * 2.5).all()
    assert sized.diameters_mm.max() <= 0.6


def test_a_place_high_up_costs_more_marks_than_a_low_one_by_the_post_it_would_need():
    cone = from_manifold(Manifold.cylinder(7.0, 0.05, 7.0, 64).translate((0.0, 0.0, 4.5)))
    contacts, prices = SpareTips(ground_of(cone, wanted(), None), None).all()
    there = np.isfinite(prices) & (contacts.diameters_mm == PropShapes().tip_most_mm)
    assert there.sum() > 50
    high = contacts.places_mm[there, 2]
    resin = MARK_MM3 * (prices[there] - 1.0 - ROUGHER * contacts.rough[there])
    # no less than the thinnest post all the way down
    assert (resin >= np.pi / 4.0 * PropShapes().post_mm ** 2 * high).all()
    # straight down for all, so the resin grows with the way alone
    assert np.corrcoef(high, resin)[0, 1] > 0.95


def test_a_thin_edge_may_be_held_too_by_finer_necks_that_cost_more():
    """A blade of 0.2 mm on edge: without its own places nothing holds what grows along it."""
    blade = from_manifold(box((0.2, 8.0, 3.0), at_mm=(0.0, 0.0, 6.0)))
    contacts, prices = SpareTips(ground_of(blade, wanted(), None), None).all()
    assert np.isfinite(prices).sum() >= 8
    assert (contacts.diameters_mm < PropShapes().tip_mm).all()
    assert (prices >= ON_THIN).all()


def test_spare_places_lie_under_a_body_one_to_a_cube():
    solid = union([box((8.0, 6.0, 2.0), at_mm=(0, 0, 5.3)), Manifold.sphere(1.0, 48).translate((0, 0, 9.0))])
    spare = spare_places(from_manifold(solid))
    low = spare.places_mm[:, 2] < 4.5
    assert spare.normals[:, 2].max() < -0.2
    # the box's underside and the ball's lower half
    assert spare.places_mm[low, 2] == pytest.approx(4.3)
    assert np.linalg.norm(spare.places_mm[~low] - [0, 0, 9.0], axis=1) == pytest.approx(1.0, abs=0.01)
    cubes = np.floor(spare.places_mm / SPACING_MM)
    assert len(np.unique(cubes, axis=0)) == len(cubes)
    # every cube that the underside passes through, whole or cut at its edge
    assert low.sum() == len(
        np.unique(np.floor(np.mgrid[-3.99:4:0.05, -2.99:3:0.05].reshape(2, -1).T / SPACING_MM), axis=0)
    )


def test_which_body_a_place_belongs_to_is_told_layer_by_layer():
    """Two legs under a slab: two bodies until the slab joins them."""
    legs = union(
        [
            box((1, 1, 3), at_mm=(-2, 0, 2.5)),
            box((1, 1, 3), at_mm=(2, 0, 2.5)),
            box((6, 1, 1), at_mm=(0, 0, 4.4)),
        ]
    )
    mesh = from_manifold(legs)
    sections = section_layers(
        mesh.points, mesh.triangles, PixelGrid((-4.0, -2.0), 0.05, 0.05, 160, 80), Layers(0.0, LAYER, 98)
    )
    asked = np.array([[-2.0, 0.1, 2.02], [2.0, 0.1, 2.02], [2.1, -0.2, 3.52], [0.0, 0.0, 2.02], [2.0, 0.1, 4.52], [50.0, 0, 2.0], [0, 0, 90.0]])  # fmt: skip
    found = find_sites(sections, Bearing(4, 10.0, 0.1, 0.15), asked_mm=asked)
    assert found.asked.tolist() == [1, 2, 2, 0, 1, 0, 0]
    assert found.joins[:, 1:].tolist() == [[2, 1]]


@pytest.mark.parametrize("wide", [(0.5, 0.5), (0.5, 0.7), (0.8, 0.4)])
def test_a_post_with_a_held_foot_bears_what_a_frame_says(wide):
    """The same column as a frame of forty beams: 24 cells are right within 0.4 %, and an even one exactly."""
    upper, lower = wide
    found = stepped_loads_n(150.0, [np.array([5.0, 5.0])], [np.array(wide)], np.array([True]))[0]
    n = 40
    places = np.column_stack([np.zeros((n + 1, 2)), np.linspace(10.0, 0.0, n + 1)])
    members = np.column_stack([np.arange(n), np.arange(1, n + 1)])
    held = np.zeros((n + 1, 6), bool)
    held[0, [0, 1, 5]], held[-1] = True, True
    thick = np.where(np.arange(n) < n / 2, upper, lower)
    assert found * buckling_share(places, members, thick, 150.0, held, np.full(n, -1.0)) == pytest.approx(
        1.0, rel=4e-3
    )
    if upper == lower:
        assert found == pytest.approx(
            euler_load_n(150.0, RoundSection(upper), 10.0, np.pi / 4.493409457909064), rel=1e-9
        )


def wanted() -> Wanted:
    shapes = PropShapes()
    bearing = Bearing(4, 0.7, LAYER / np.tan(np.radians(15.0)), 0.15)
    return Wanted((0.1, 0.1), LAYER, 4.5, 0.4, 3, bearing, replace(STRENGTH, density_g_cm3=1.12), shapes)


def test_a_body_that_widens_from_a_point_is_held_by_as_many_tips_as_its_peel_asks_for():
    """A cone on its point: steep enough to ask for one tip, and 154 mm² wide, which peels with 2.3 N: a neck bears 0.71 N."""
    cone = from_manifold(Manifold.cylinder(7.0, 0.05, 7.0, 64))
    standing = hold_up(cone, wanted())
    contacts = standing.contacts
    assert (contacts.kinds == SHARE).any()
    assert (standing.loads_n <= (1.0 + 1e-9) * standing.bears_n).all()
    assert standing.strong.use.max() <= 1.0 + 1e-9
    assert max(standing.sways.values()) <= 1.0 + 1e-9
    assert len(standing.left.layers) == 0
    # the load lies over the point, so the tips about it need not be many more than the area asks for
    assert 4 <= len(contacts) <= 10
    # added tips are on the cone
    away = np.hypot(*(contacts.places_mm[:, :2] - standing.offset_mm[:2]).T)
    assert contacts.places_mm[:, 2] - standing.offset_mm[2] == pytest.approx(
        7.0 * (away - 0.05) / 6.95, abs=0.05
    )


def test_a_prop_without_room_is_eased_until_it_bears(monkeypatch):
    """The cone again, with no more room under the tip at its point than for a post that bears 0.06 N."""
    may_n, seen = 0.06, []

    def narrow(contacts, loads_n, cases, ground):
        ways, strong = lead_down(contacts, loads_n, cases, ground)
        tree = roots_of(ways)
        mine = tree == next(tree[tip] for tip, row in ways.tip_of.items() if row == 0)
        seen.append(float(loads_n[0]) / may_n)
        return ways, replace(strong, buckling=np.where(mine, seen[-1], np.minimum(strong.buckling, 1.0)))

    monkeypatch.setattr(propping, "lead_down", narrow)
    standing = hold_up(from_manifold(Manifold.cylinder(7.0, 0.05, 7.0, 64)), wanted())
    assert seen[0] > 1.5
    assert seen[-1] <= 1.0
    assert standing.strong.use.max() <= 1.0 + 1e-9
    assert (standing.loads_n <= (1.0 + 1e-9) * standing.bears_n).all()
