"""Props of small bodies: ways down, clear of the figure, one sound solid, and layers in which nothing starts bare."""

import functools
from dataclasses import replace

import igl
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold

from firstcast.fields.far import build_far
from firstcast.fields.union import Shells
from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.solids import box, cylinder, from_manifold, raw_manifold, union
from firstcast.geometry.tree import build_tree, closest_points
from firstcast.printing.descent import free_space
from firstcast.printing.holding import pulling, size_necks, stages_of
from firstcast.printing.post_cost import cost_of
from firstcast.printing.posts import strengthen
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.prop_solids import solid_of
from firstcast.printing.prop_wants import Strength, TabEnd, Wanted
from firstcast.printing.propping import hold_up
from firstcast.printing.routing import route
from firstcast.printing.starts import START, Bearing, Found, Sites
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import FOOT, HEAD, REST, TIP, Ways
from firstcast.process.strength import RoundSection, euler_load_n

SHAPES = PropShapes()
STRENGTH = Strength(stress_kpa=15.0, strength_mpa=5.0, modulus_mpa=150.0, density_g_cm3=1.12, safety=2.0)
LAYER = 0.05
WANTED = Wanted(
    (0.05, 0.05),
    LAYER,
    4.5,
    0.4,
    4,
    Bearing(4, 0.7, LAYER / np.tan(np.radians(15.0)), 0.15),
    STRENGTH,
    SHAPES,
)


def far_of(mesh: Mesh, pitch=0.2):
    tree = build_tree(mesh)
    shells = Shells(
        np.asarray(mesh.points, np.float64), mesh.triangles, np.zeros(len(mesh.triangles), np.uint16)
    )
    return build_far(shells, lambda places: closest_points(tree, places), pitch_mm=pitch, margin_mm=2.0)


@functools.cache
def gesturing():
    """A trunk with an arm held out, a hand that hangs from it, and a tab below."""
    body = union(
        [
            cylinder(9.0, 1.6, sag_mm=0.01).translate((0, 0, 3)),
            Manifold.sphere(1.8, 48).translate((0, 0, 13)),
            box((7.0, 1.2, 1.2), at_mm=(4.0, 0, 10.0)),
            Manifold.sphere(0.9, 40).translate((7.2, 0, 8.4)),
            box((0.7, 0.7, 1.6), at_mm=(7.2, 0, 9.3)),
            box((3.0, 1.8, 3.2), at_mm=(0, 0, 1.6)),
        ]
    )
    return from_manifold(body)


TAB = TabEnd(np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 0, -1.0]), 3.0, 1.8)


@functools.cache
def held():
    return hold_up(gesturing(), WANTED, tab=TAB)


def test_nothing_starts_bare_and_nothing_is_overloaded():
    standing = held()
    assert len(standing.left.layers) == 0
    assert (standing.loads_n <= (1.0 + 1e-9) * standing.bears_n).all()
    assert max(standing.strong.bending.max(), standing.strong.buckling.max()) <= 1.0 + 1e-9


def test_the_tab_stands_on_stout_tips_never_one_or_two():
    contacts = held().contacts
    assert contacts.on_tab.sum() >= 4
    assert contacts.diameters_mm[contacts.on_tab].min() >= SHAPES.tab_tip_mm
    assert contacts.diameters_mm[~contacts.on_tab].max() <= SHAPES.tip_most_mm


def test_the_hand_that_hangs_gets_its_own_tip():
    standing = held()
    contacts = standing.contacts
    hand = np.array([7.2, 0.0, 7.5]) + standing.offset_mm
    away = np.linalg.norm(contacts.places_mm - hand, axis=1)
    assert away.min() < 0.6
    assert contacts.kinds[away.argmin()] == START


def test_props_are_one_sound_solid_on_the_platform():
    props = held().props
    solid = raw_manifold(props)
    assert solid.volume() > 0.0
    assert len(crossing_pairs(props)) == 0
    # slivers are reduced away within 2 µm
    assert props.bounds[0, 2] == pytest.approx(0.0, abs=2e-3)
    assert held().piece.bounds[0, 2] == pytest.approx(WANTED.lift_mm)


def test_both_stand_about_the_middle_within_half_a_pixel():
    standing = held()
    low = np.minimum(standing.piece.bounds[0], standing.props.bounds[0])
    high = np.maximum(standing.piece.bounds[1], standing.props.bounds[1])
    assert np.abs(0.5 * (low + high)[:2]).max() <= 0.5 * WANTED.pixel_mm[0] + 1e-9
    assert standing.piece.points == pytest.approx(np.asarray(gesturing().points) + standing.offset_mm)


def test_props_touch_the_figure_at_tips_only():
    """Distances by another library."""
    standing = held()
    piece, props, contacts = standing.piece, standing.props, standing.contacts
    inside = raw_manifold(piece) ^ raw_manifold(props)
    for part in inside.decompose():
        middle = np.array(part.bounding_box()).reshape(2, 3).mean(axis=0)
        near = np.linalg.norm(contacts.places_mm - middle, axis=1)
        # no deeper than a tip enters, no wider than its neck
        assert near.min() < 0.5 * contacts.diameters_mm[near.argmin()] + 0.3
    points = np.asarray(props.points, np.float64)
    found = igl.signed_distance(
        points,
        np.asarray(piece.points, np.float64),
        np.asarray(piece.triangles),
        igl.SIGNED_DISTANCE_TYPE_FAST_WINDING_NUMBER,
    )
    signed = np.asarray(found[0], np.float64)
    ends = np.array(
        [standing.ways.places[n] for n, kind in enumerate(standing.ways.kinds) if kind in (TIP, REST)]
    )
    clear = np.linalg.norm(points[:, None] - ends, axis=2).min(axis=1) > SHAPES.tip_length_mm + 0.5
    # posts keep what is left of the clearance after they have grown; the far field is right within 0.02 mm
    assert signed[clear].min() > 0.15


def test_resin_is_counted_against_plain_columns():
    standing = held()
    assert measure_solid(standing.props).volume > 0.0
    assert standing.plain_mm3 > 0.0


def contacts_at(places, diameters=0.3):
    places = np.atleast_2d(np.asarray(places, np.float64))
    n = len(places)
    whole = np.zeros(n, np.int32)
    return Contacts(
        places, np.tile([0.0, 0, -1.0], (n, 1)), np.full(n, diameters), whole, np.ones(n, np.int32), whole,
        np.zeros(n, bool), np.zeros(n),
    )  # fmt: skip


COST = cost_of(SHAPES, STRENGTH.modulus_mpa, STRENGTH.strength_mpa, STRENGTH.safety)


@functools.cache
def slab():
    """A slab 10 mm over the platform, and the free space under it."""
    mesh = from_manifold(box((14.0, 14.0, 1.0), at_mm=(0, 0, 10.5)))
    far = far_of(mesh, 0.25)
    return mesh, far, (free_space(far, 0.65), free_space(far, 0.47))


def test_two_near_tips_go_down_as_one_and_two_far_ones_alone():
    _, _, spaces = slab()
    near = route(contacts_at([[-1, 0, 10], [1, 0, 10]]), np.full(2, 0.03), spaces, SHAPES, COST)
    assert near.kinds.count(FOOT) == 1
    assert [near.tips[n] for n, kind in enumerate(near.kinds) if kind == FOOT] == [2]
    far = route(contacts_at([[-6, 0, 10], [6, 0, 10]]), np.full(2, 0.03), spaces, SHAPES, COST)
    assert far.kinds.count(FOOT) == 2
    alone = route(contacts_at([[-1, 0, 10], [1, 0, 10]]), np.full(2, 0.03), spaces, SHAPES, COST, most_tips=1)
    assert alone.kinds.count(FOOT) == 2


def test_a_post_that_is_thicker_than_its_foot_is_high_stays_above_the_platform():
    _, _, spaces = slab()
    ways = route(contacts_at([[-1, 0, 10], [1, 0, 10]]), np.full(2, 0.03), spaces, SHAPES, COST)
    radii = np.full(len(ways.kinds), 1.5 * SHAPES.foot_height_mm)
    props = solid_of(ways, radii, np.full(2, 0.3), SHAPES, depth_mm=np.full(2, 0.1))
    assert float(props.bounds[0, 2]) == pytest.approx(0.0, abs=1e-6)


@given(st.lists(st.tuples(st.floats(-6, 6), st.floats(-6, 6)), min_size=1, max_size=14, unique=True))
@settings(max_examples=25, deadline=None)
def test_every_way_goes_down_within_its_lean_to_a_foot(spots):
    _, _, spaces = slab()
    contacts = contacts_at([[x, y, 10.0] for x, y in spots])
    ways = route(contacts, np.full(len(spots), 0.05), spaces, SHAPES, COST)
    places = np.array(ways.places)
    assert sorted(ways.tip_of.values()) == list(range(len(spots)))
    for tip in ways.tip_of:
        assert ways.kinds[ways.end_of(tip)] == FOOT
    step = places[ways.edges[:, 0]] - places[ways.edges[:, 1]]
    assert (step[:, 2] > 0.0).all()
    assert (np.hypot(step[:, 0], step[:, 1]) <= 1.001 * step[:, 2]).all()
    assert sum(ways.tips[n] for n, kind in enumerate(ways.kinds) if kind == FOOT) == len(spots)


def test_under_a_table_props_lean_out_and_in_a_gap_they_stand_on_the_figure():
    table = from_manifold(
        union(
            [
                box((6, 6, 1), at_mm=(0, 0, 4.5)),
                box((1, 1, 12), at_mm=(0, 0, 10)),
                box((5, 5, 1), at_mm=(0, 0, 16)),
            ]
        )
    )
    far = far_of(table, 0.25)
    spaces = (free_space(far, 0.65), free_space(far, 0.47))
    out = route(contacts_at([[2.2, 0, 15.5]]), np.full(1, 0.05), spaces, SHAPES, COST)
    assert out.kinds.count(FOOT) == 1
    assert np.array(out.places)[:, 0].max() > 3.0
    gap = from_manifold(
        union(
            [
                box((6, 6, 1), at_mm=(0, 0, 4.5)),
                box((1, 1, 2), at_mm=(0, 0, 5.5)),
                box((6, 6, 1), at_mm=(0, 0, 6.3)),
            ]
        )
    )
    far = far_of(gap, 0.2)
    spaces = (free_space(far, 0.65), free_space(far, 0.47))
    stood = route(contacts_at([[1.5, 0, 5.8]]), np.full(1, 0.05), spaces, SHAPES, COST)
    assert stood.kinds.count(REST) == 1
    assert stood.places[stood.kinds.index(REST)][2] == pytest.approx(5.0, abs=0.06)
    shy = route(
        contacts_at([[1.5, 0, 5.8]]),
        np.full(1, 0.05),
        spaces,
        SHAPES,
        COST,
        avoids=lambda places: np.ones(len(places), bool),
    )
    assert shy.unreached == [0]


def test_a_straight_post_grows_until_it_bears_eulers_load():
    ways = Ways()
    tip, head, foot = (
        ways.add(np.array([0, 0, 30.0]), TIP, 1, 1.0),
        ways.add(np.array([0, 0, 28.4]), HEAD, 1, 1.0),
        ways.add(np.zeros(3), FOOT, 1, 1.0),
    )
    ways.down[tip], ways.down[head], ways.tip_of = head, foot, {tip: 0}
    load = 0.1
    strong = strengthen(
        ways,
        contacts_at([[0, 0, 30.0]]),
        pulling(np.full((1, 1), load)),
        None,
        SHAPES,
        modulus_mpa=150.0,
        strength_mpa=5.0,
        safety=2.0,
    )
    # its tip, 1.6 mm from 0.3 mm to the post, counts as a part of the post: a little softer than an even one
    bears = euler_load_n(150.0, RoundSection(2.0 * strong.radii_mm[head]), 30.0, 0.6992) / 2.0
    assert load <= bears <= 1.2 * load
    assert load / bears <= strong.buckling[head] <= 1.0


def test_a_body_that_hangs_on_its_own_tips_loads_them_alone():
    """Two bodies, 4 and 1 mm² a layer, each with a tip; they join in layer 10."""
    none = np.zeros(0, np.int32)
    sites = Sites(np.zeros((0, 3)), none, none, np.zeros(0), none)
    rows = [
        (layer, body, area, x, 0.0) for layer in range(10) for body, area, x in ((1, 4.0, 0.0), (2, 1.0, 5.0))
    ]
    rows += [(layer, 1, 6.0, 1.0, 0.0) for layer in range(10, 15)]
    found = Found(sites, 0, np.array(rows), np.array([[10, 2, 1]], np.int32), 0.0)
    contacts = replace(contacts_at([[0, 0, 0], [5, 0, 0]]), bodies=np.array([1, 2], np.int32))
    stages = stages_of(found, contacts, layer_mm=0.05, stress_kpa=10.0, density_g_cm3=1.0)
    assert sorted(tuple(stage.tips) for stage in stages) == [(0,), (0, 1), (1,)]
    alone = next(stage for stage in stages if tuple(stage.tips) == (1,))
    weight = 10 * 1.0 * 0.05 * 1e-3 * 9.80665e-3
    assert alone.loads_n[-1] == pytest.approx(1.0 * 10e-3 + weight)
    both = next(stage for stage in stages if len(stage.tips) == 2)
    shared = both.borne(contacts).loads_n
    # 6 mm² at x = 1 between tips at 0 and 5, as on a lever; the weight is a thousandth of it
    assert shared[:, 0] == pytest.approx([0.06 * 0.8, 0.06 * 0.2], rel=0.02)
    sized, loads = size_necks(stages, contacts, np.full(2, 1.0), strength_mpa=5.0, safety=2.0)
    assert (loads <= (1.0 + 1e-9) * 5.0 * np.pi / 4.0 * sized.diameters_mm**2 / 2.0).all()
