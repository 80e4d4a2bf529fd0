"""Posts in parts: stepped columns against their equation, thickness where there is room, trees weighed against single posts."""

import functools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from firstcast.fields.far import FarField, build_far
from firstcast.fields.union import Shells
from firstcast.geometry.solids import box, from_manifold, union
from firstcast.geometry.tree import build_tree, closest_points
from firstcast.printing.descent import free_space
from firstcast.printing.forest import lead_down
from firstcast.printing.frame import solve_frame
from firstcast.printing.holding import load_cases, packed_cases, pulling, stages_of, worst_loads
from firstcast.printing.post_cost import cost_of
from firstcast.printing.posts import NEAREST_MM, stiffer, strengthen, sway_use
from firstcast.printing.prop_shapes import PropShapes, foot_mm3
from firstcast.printing.prop_solids import volume_of
from firstcast.printing.prop_wants import Strength
from firstcast.printing.rests import plain_columns, rest_on_figure
from firstcast.printing.routing import route
from firstcast.printing.runs_of_posts import runs_of
from firstcast.printing.sized_trees import Ground, size_posts, sways
from firstcast.printing.starts import Found, Sites
from firstcast.printing.stepped import stepped_loads_n
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import (
    FOOT,
    HEAD,
    JOINT,
    REST,
    SEGMENT_MM,
    TIP,
    Ways,
    picked,
    roots_of,
    segmented,
    together,
)
from firstcast.process.neck_groups import share
from firstcast.process.strength import RoundSection, euler_load_n

SHAPES = PropShapes()
STRENGTH = Strength(stress_kpa=15.0, strength_mpa=5.0, modulus_mpa=150.0, density_g_cm3=1.12, safety=2.0)
BEARS: dict[str, Any] = {"modulus_mpa": 150.0, "strength_mpa": 5.0, "safety": 2.0}


def contacts_at(places, diameters=0.3) -> Contacts:
    places = np.atleast_2d(np.asarray(places, np.float64))
    n = len(places)
    whole = np.zeros(n, np.int32)
    return Contacts(
        places, np.tile([0.0, 0, -1.0], (n, 1)), np.full(n, diameters), whole, np.ones(n, np.int32), whole,
        np.zeros(n, bool), np.zeros(n),
    )  # fmt: skip


def upright(place, *stops) -> Ways:
    """A tip, its head 1.6 mm below it, and joints straight below that; the last stands on the platform."""
    ways = Ways()
    place = np.asarray(place, np.float64)
    ways.tip_of = {ways.add(place, TIP, 1, 1.0): 0}
    ways.add(place - [0, 0, 1.6], HEAD, 1, 1.0)
    for stop in stops:
        ways.add(np.array([place[0], place[1], stop]), JOINT if stop > 0.0 else FOOT, 1, 1.0)
    ways.down = [*range(1, len(ways.places)), -1]
    return ways


def stepped_n(modulus, a, d1, b, d2) -> float:
    """Two even parts in a row, both ends as hinges: tan(k₁ a) / k₁ + tan(k₂ b) / k₂ = 0, k = √(P / E I).

    From w = sin(k x) in each part and the same w and slope where they meet (any textbook of elastic stability).
    """
    stiff = [modulus * RoundSection(d).second_moment_mm4 for d in (d1, d2)]

    def off(load):
        k1, k2 = (np.sqrt(load / one) for one in stiff)
        # the same without its poles
        return np.sin(k1 * a) * np.cos(k2 * b) * k2 + np.sin(k2 * b) * np.cos(k1 * a) * k1

    least, most = (np.pi**2 * one / (a + b) ** 2 for one in sorted(stiff))
    loads = np.linspace(0.999 * least, 1.001 * most, 400)
    first = int(np.flatnonzero(np.diff(np.sign([off(load) for load in loads])))[0])
    return float(np.asarray(brentq(off, loads[first], loads[first + 1])))


@given(st.floats(0.3, 3.0), st.floats(1.0, 40.0), st.integers(1, 6))
def test_an_even_post_bears_eulers_load_however_it_is_cut(wide, length, parts):
    cut = np.full(parts, length / parts)
    found = stepped_loads_n(150.0, [cut], [np.full(parts, wide)])
    assert found[0] == pytest.approx(euler_load_n(150.0, RoundSection(wide), length, 1.0), rel=1e-9)


@given(st.floats(1.0, 20.0), st.floats(1.0, 20.0), st.floats(0.4, 1.5), st.floats(1.0, 1.9))
@settings(max_examples=60, deadline=None)
def test_a_stepped_post_bears_what_its_equation_says(a, b, wide, ratio):
    """24 cells: 1 % where one part is 13 times as stiff as the other, and the step lies anywhere in a cell."""
    found = stepped_loads_n(150.0, [np.array([a, b])], [np.array([wide, ratio * wide])])[0]
    assert found == pytest.approx(stepped_n(150.0, a, wide, b, ratio * wide), rel=0.01)


def test_a_post_in_halves_one_four_times_as_stiff():
    wide = 4.0**0.25
    found = stepped_loads_n(150.0, [np.array([5.0, 5.0])], [np.array([1.0, wide])])[0]
    # as the docstring says
    assert found == pytest.approx(stepped_n(150.0, 5.0, 1.0, 5.0, wide), rel=1e-3)


def test_a_run_goes_from_its_tip_to_where_others_join():
    ways = upright([0.0, 0.0, 12.0], 6.0, 3.0, 0.0)
    other = ways.add(np.array([4.0, 0.0, 10.0]), TIP, 1, 1.0)
    head = ways.add(np.array([4.0, 0.0, 8.4]), HEAD, 1, 1.0)
    ways.down[other], ways.down[head] = head, 3
    runs = runs_of(ways, np.array(ways.places))
    assert [nodes.tolist() for nodes in runs.nodes] == [[0, 1, 2], [3], [other, head]]
    assert runs.lengths_mm[0] == pytest.approx([1.6, 4.4, 3.0])
    assert runs.spread(np.array([1.0, 2.0, 3.0])).tolist() == [1.0, 1.0, 1.0, 2.0, 0.0, 3.0, 3.0]


def test_posts_are_cut_into_parts_and_keep_their_nodes():
    ways = upright([0.0, 0.0, 12.0], 6.0, 0.0)
    cut = segmented(ways)
    assert cut.places[: len(ways.places)] == ways.places
    assert cut.down[0] == 1
    steps = np.array(cut.places)[cut.edges[1:]]
    assert np.linalg.norm(steps[:, 0] - steps[:, 1], axis=1).max() <= SEGMENT_MM
    assert cut.lengths_mm() == pytest.approx(ways.lengths_mm())
    assert cut.end_of(0) == 3


def test_trees_are_picked_and_put_together_again():
    a, b = upright([0, 0, 9.0], 0.0), upright([5, 0, 7.0], 3.0, 0.0)
    b.tip_of = {0: 1}
    both = together([a, b])
    assert both.tip_of == {0: 0, 3: 1}
    assert roots_of(both).tolist() == [2, 2, 2, 6, 6, 6, 6]
    mine = picked(both, roots_of(both) == 6)
    assert (mine.down, mine.kinds, mine.tip_of) == (b.down, b.kinds, b.tip_of)
    assert np.array(mine.places) == pytest.approx(np.array(b.places))


def narrow_above(height=6.0) -> FarField:
    """Distances that leave a post 0.5 mm thick above a height, and any below."""
    origin, pitch = np.array([-2.0, -2.0, -1.0]), np.full(3, 0.5)
    z = origin[2] + pitch[2] * np.arange(60)
    near = np.where(z > height, 0.25 + NEAREST_MM, 5.0).astype(np.float32)
    return FarField(origin, pitch, np.broadcast_to(near, (9, 9, 60)).copy())


def test_a_post_thickens_below_where_it_has_room():
    ways = segmented(upright([0.0, 0.0, 16.0], 0.0))
    contacts, load = contacts_at([[0.0, 0.0, 16.0]]), pulling(np.full((1, 1), 0.2))
    places = np.array(ways.places)
    strong = strengthen(ways, contacts, load, narrow_above(), SHAPES, **BEARS)
    high, low = places[:, 2] > 7.6, (places[:, 2] < 6.0) & (places[:, 2] > 0.0)
    assert 2.0 * strong.radii_mm[high] == pytest.approx(SHAPES.post_mm)
    assert strong.radii_mm[low].min() > 0.5
    # narrow all along, it bears less
    nowhere = strengthen(ways, contacts, load, narrow_above(-5.0), SHAPES, **BEARS)
    assert nowhere.buckling.max() > 1.2 * strong.buckling.max()
    # with room everywhere it is even, and thick enough
    free = strengthen(ways, contacts, load, None, SHAPES, **BEARS)
    assert np.ptp(free.radii_mm[np.array(ways.down) > 1]) == pytest.approx(0.0, abs=1e-12)
    assert 0.9 < free.use.max() <= 1.0 + 1e-9


def test_the_cone_that_a_post_stands_on_the_figure_by_is_as_thick_as_the_post():
    """Left thin it would make the post give way however thick that grew: 0.1 N over 22 mm ask for a post of about 1 mm."""
    ways = Ways()
    stops = [(34.0, TIP), (32.4, HEAD), (13.6, HEAD), (12.0, REST)]
    ways.tip_of = {0: 0}
    for high, kind in stops:
        ways.add(np.array([0.0, 0.0, high]), kind, 1, 0.1)
    ways.down = [1, 2, 3, -1]
    strong = strengthen(
        ways, contacts_at([[0.0, 0.0, 34.0]]), pulling(np.full((1, 1), 0.1)), None, SHAPES, **BEARS
    )
    assert strong.use.max() <= 1.0 + 1e-9
    assert strong.radii_mm[2] == strong.radii_mm[1]
    even = 0.1 * 2.0 / euler_load_n(150.0, RoundSection(2.0 * strong.radii_mm[1]), 22.0, 1.0)
    # its two tips are softer than the post
    assert 0.75 <= even <= 1.0


def test_cases_of_trees_that_share_a_column_give_what_each_gives_alone():
    """Two trees side by side: forces in one don't depend on what loads the other."""
    rng = np.random.default_rng(40717)
    a, b = upright([0, 0, 9.0], 4.0, 0.0), upright([5, 0, 7.0], 3.0, 0.0)
    b.tip_of = {0: 1}
    contacts, cases = contacts_at([[0, 0, 9.0], [5, 0, 7.0]]), rng.normal(size=(2, 3, 12))
    packed = packed_cases(cases, np.array([7, 9]))
    # the case that pulls each most, and the one that bends it most, in whatever column
    assert packed.shape[2] == 2
    assert np.abs(packed[:, 0]).max(axis=1) == pytest.approx(np.abs(cases[:, 0]).max(axis=1))
    bent = np.hypot(cases[:, 1], cases[:, 2])
    assert np.hypot(packed[:, 1], packed[:, 2]).max(axis=1) == pytest.approx(bent.max(axis=1))
    both = strengthen(together([a, b]), contacts, packed, None, SHAPES, **BEARS)
    alone = strengthen(a, contacts, cases, None, SHAPES, **BEARS)
    assert both.radii_mm[: len(a.places)] == pytest.approx(alone.radii_mm, rel=1e-9)


def test_every_tip_meets_its_worst_load_in_some_case():
    none = np.zeros(0, np.int32)
    sites = Sites(np.zeros((0, 3)), none, none, np.zeros(0), none)
    rng = np.random.default_rng(90210)
    rows = [(layer, 1, 4.0 + rng.random(), *rng.normal(size=2)) for layer in range(30)]
    found = Found(sites, 0, np.array(rows), np.zeros((0, 3), np.int32), 0.0)
    contacts = contacts_at([[0, 0, 0], [3, 0, 0], [0, 4, 0], [2, 2, 0]])
    stages = stages_of(found, contacts, layer_mm=0.05, stress_kpa=10.0, density_g_cm3=1.0)
    cases = load_cases(stages, contacts)
    area, modulus = np.pi * contacts.diameters_mm**2 / 4.0, np.pi * contacts.diameters_mm**3 / 32.0
    stress = np.abs(cases[:, 0]) / area[:, None] + np.hypot(cases[:, 1], cases[:, 2]) / modulus[:, None]
    borne = [stage.borne(contacts) for stage in stages]
    assert len(borne) == 1
    assert np.abs(cases[:, 0]).max(axis=1) == pytest.approx(np.abs(borne[0].loads_n).max(axis=1))
    # what pulls and what bends most is among them; both together are at most a little more in some other layer
    assert stress.max(axis=1) == pytest.approx(worst_loads(stages, contacts) / area, rel=0.05)


@functools.cache
def ground(underside_mm=6.0) -> Ground:
    """Under a slab: room for any post."""
    mesh = from_manifold(box((30.0, 30.0, 1.0), at_mm=(0, 0, underside_mm + 0.5)))
    tree = build_tree(mesh)
    shells = Shells(
        np.asarray(mesh.points, np.float64), mesh.triangles, np.zeros(len(mesh.triangles), np.uint16)
    )
    far = build_far(shells, lambda places: closest_points(tree, places), pitch_mm=0.4, margin_mm=2.0)
    return Ground(far, (free_space(far, 0.65), free_space(far, 0.47)), SHAPES, STRENGTH)


def resin_of(ways, strong, contacts) -> float:
    return volume_of(
        ways, strong.radii_mm, contacts.diameters_mm, SHAPES, depth_mm=np.full(len(contacts), 0.12)
    )


@given(st.integers(0, 2**32 - 1), st.floats(0.01, 1.2))
@settings(max_examples=8, deadline=None)
def test_under_a_low_slab_props_never_take_more_than_plain_columns(seed, load):
    rng = np.random.default_rng(seed)
    # at least 3 mm apart: the solid of columns that stand in one another is counted once, and is no measure
    cells = 6.0 * np.stack(np.meshgrid([-1.0, 0.0, 1.0], [-1.0, 0.0, 1.0]), axis=-1).reshape(9, 2)
    spots = cells + rng.uniform(-1.5, 1.5, size=(9, 2))
    contacts = contacts_at(np.column_stack([spots, np.full(9, 6.0)]))
    loads = load * rng.uniform(0.2, 1.0, 9)
    cases = pulling(np.column_stack([loads, *np.diag(loads)]))
    ways, strong = lead_down(contacts, loads, cases, ground())
    assert sorted(ways.tip_of.values()) == list(range(9))
    assert all(ways.kinds[ways.end_of(tip)] == FOOT for tip in ways.tip_of)
    assert strong.use.max() <= 1.0 + 1e-9
    plain = plain_columns(contacts, ground().spaces[-1], SHAPES)
    columns = size_posts(plain, contacts, cases, replace(ground(), far=None))
    # single posts are the plain columns but for where feet overlap
    assert resin_of(ways, strong, contacts) <= 1.02 * resin_of(plain, columns, contacts)


def test_a_single_post_sways_at_the_load_of_a_column_with_a_hinged_head():
    """Its foot is fixed and the piece keeps its tip: 0.699 of its length (its tip is as thick as the post here)."""
    ways = segmented(upright([0.0, 0.0, 20.0], 0.0))
    radii = np.full(len(ways.places), 0.4)
    contacts = contacts_at([[0.0, 0.0, 20.0]], 0.8)
    share = sway_use(ways, contacts, np.array([0.05]), radii, 150.0)
    assert 0.05 / share == pytest.approx(euler_load_n(150.0, RoundSection(0.8), 20.0, 0.6992), rel=1e-3)
    strong = strengthen(ways, contacts, pulling(np.full((1, 1), 0.05)), None, SHAPES, **BEARS)
    swaying = sways(ways, strong, contacts, pulling(np.full((1, 1), 0.05)), ground())
    assert list(swaying) == [2]
    # a single straight post as a whole is its only run: two ways to the same load
    assert swaying[2] == pytest.approx(strong.buckling.max(), rel=0.01)


def test_a_post_that_grows_where_it_helps_takes_less_resin_than_an_even_one():
    """Grown from far too thin until it bears 0.05 N by a factor of 2, against the even post that does.

    The strongest column of a given volume bears 4/3 of what an even one bears, with two hinges (J. Keller 1960, from memory),
    so a ninth of the resin is about what can be saved; and none of it by growing evenly.
    """
    ways, contacts, load = (
        segmented(upright([0.0, 0.0, 20.0], 0.0)),
        contacts_at([[0.0, 0.0, 20.0]], 0.8),
        np.array([0.05]),
    )
    places = np.array(ways.places)
    upper = ways.edges[1:, 0]
    length = np.linalg.norm(places[upper] - places[ways.edges[1:, 1]], axis=1)
    radii, room = np.full(len(places), 0.15), np.full(len(places), 3.0)
    for _ in range(20):
        if sway_use(ways, contacts, load, radii, 150.0) * 2.0 <= 1.0:
            break
        radii = stiffer(ways, contacts, load, radii, room, modulus_mpa=150.0, safety=2.0)
    assert 0.95 <= sway_use(ways, contacts, load, radii, 150.0) * 2.0 <= 1.0
    low, high = 0.1, 3.0
    for _ in range(40):
        even = 0.5 * (low + high)
        over = sway_use(ways, contacts, load, np.full(len(places), even), 150.0) * 2.0 > 1.0
        low, high = (even, high) if over else (low, even)
    saved = 1.0 - (radii[upper] ** 2 @ length) / (high**2 * length.sum())
    assert 0.03 <= saved <= 0.15


def test_a_moment_at_the_neck_bends_a_post_to_its_foot():
    """An end moment on a beam with a hinge there and the other end held: M (1 - 3 x / 2 L) (any textbook of strength of materials).

    Neck and post are as thick as each other; a load of next to nothing beside it.
    """
    ways, moment = upright([0.0, 0.0, 20.0], 0.0), 0.004
    case = np.array([[[1e-9], [0.6 * moment], [-0.8 * moment]]])
    strong = strengthen(ways, contacts_at([[0.0, 0.0, 20.0]], 0.5), case, None, SHAPES, **BEARS)
    assert strong.radii_mm[1] == 0.25
    at_head = moment * (1.0 - 1.5 * 1.6 / 20.0)
    assert strong.bending[1] == pytest.approx(at_head / (np.pi * 0.5**3 / 32.0) * 2.0 / 5.0, rel=1e-6)


@pytest.mark.parametrize("beside", [(0.4, 0.0), (-0.4, 0.0), (0.0, 0.4), (0.3, -0.2)])
def test_a_load_beside_a_leaning_post_is_as_one_on_a_stiff_arm(beside):
    """What bends its neck turns the post the same way as the load itself would, at the end of an arm."""
    tip, load = np.array([2.0, 1.0, 12.0]), 0.004
    ways = Ways()
    ways.tip_of = {ways.add(tip, TIP, 1, load): 0}
    ways.add(np.array([1.7, 1.0, 10.0]), HEAD, 1, load)
    ways.add(np.zeros(3), FOOT, 1, load)
    ways.down = [1, 2, -1]
    contacts = contacts_at([tip], 0.5)
    borne = share(tip[None, :2], contacts.diameters_mm, np.array([load]), (tip[:2] + beside)[None])
    case = np.concatenate([borne.loads_n[:, None], borne.moments_nmm], axis=1)
    strong = strengthen(ways, contacts, case, None, SHAPES, **BEARS)
    assert strong.radii_mm[1] == 0.25
    places = np.array([*ways.places, tip + np.array([*beside, 0.0])])
    held, loads = np.zeros((4, 6), bool), np.zeros((4, 6, 1))
    held[0, :2], held[2], loads[3, 2] = True, True, -load
    solved = solve_frame(
        places, np.array([[0, 1], [1, 2], [3, 0]]), np.array([0.5, 0.5, 20.0]), 150.0, held, loads
    )
    stress = np.abs(solved.axial_n[1, 0]) / (np.pi * 0.25 / 4.0) + solved.bending_nmm[1].max() / (
        np.pi * 0.125 / 32.0
    )
    # the arm is 2.6 million times as stiff
    assert strong.bending[1] == pytest.approx(stress * 2.0 / 5.0, rel=1e-5)


def test_light_tips_high_up_go_down_as_trees():
    contacts = contacts_at([[x, y, 6.0] for x in (-1.2, 0.0, 1.2) for y in (-1.0, 1.0)])
    loads = np.full(6, 0.02)
    ways, strong = lead_down(contacts, loads, pulling(loads[:, None]), ground())
    assert ways.kinds.count(FOOT) < 4
    assert strong.use.max() <= 1.0 + 1e-9
    assert max(sways(ways, strong, contacts, pulling(loads[:, None]), ground()).values()) <= 1.0 + 1e-9


def test_trees_that_would_give_way_as_a_whole_are_thicker_or_not_made():
    """Heavy tips high up: sized run by run alone, their tree would sway."""
    high = ground(24.0)
    contacts = contacts_at([[x, y, 24.0] for x in (-2.0, 0.0, 2.0) for y in (-1.5, 1.5)])
    loads = np.full(6, 0.1)
    cases = pulling(np.column_stack([loads, *np.diag(loads)]))
    free = segmented(route(contacts, loads, high.spaces, SHAPES, high.cost))
    by_runs = size_posts(free, contacts, cases, high)
    assert by_runs.use.max() <= 1.0 + 1e-9
    assert max(sways(free, by_runs, contacts, cases, high).values()) > 1.1
    ways, strong = lead_down(contacts, loads, cases, high)
    assert strong.use.max() <= 1.0 + 1e-9
    assert max(sways(ways, strong, contacts, cases, high).values()) <= 1.0 + 1e-9


def test_a_foot_is_a_cone_cut_off_less_its_post():
    # a cone from 1 mm to 0.25 mm, 1.2 mm high, 1.6493 mm³, less a post of 0.2356 mm³
    assert foot_mm3(SHAPES, 0.25) == pytest.approx(1.2 * np.pi * (1.3125 / 3.0 - 0.0625))
    assert foot_mm3(SHAPES, 1.0) == pytest.approx(1.2 * np.pi * ((1.6**2 + 1.6 + 1.0) / 3.0 - 1.0))


def test_a_frame_of_posts_gives_back_its_loads():
    """What the feet of a tree press on the platform is what its tips bear: the solve that sizing rests on."""
    ways = segmented(upright([0.0, 0.0, 12.0], 6.0, 0.0))
    places, edges = np.array(ways.places), ways.edges
    held = np.zeros((len(places), 6), bool)
    held[2], held[0, :2] = False, True
    held[[n for n, kind in enumerate(ways.kinds) if kind == FOOT]] = True
    forces = np.zeros((len(places), 6, 1))
    forces[0, 2, 0] = -0.3
    solved = solve_frame(places, edges, np.full(len(edges), 0.6), 150.0, held, forces)
    assert solved.axial_n[:, 0] == pytest.approx(-0.3)


def test_rests_take_the_smooth_place():
    """Over a floor that is rough right under the tip and smooth beside it."""
    mesh = from_manifold(
        union([box((12, 12, 1), at_mm=(0, 0, 4.5)), box((12, 12, 1), at_mm=(0, 0, 8.5)), box((12, 1, 4), at_mm=(0, 5.5, 6.5))])
    )  # fmt: skip
    tree = build_tree(mesh)
    shells = Shells(
        np.asarray(mesh.points, np.float64), mesh.triangles, np.zeros(len(mesh.triangles), np.uint16)
    )
    far = build_far(shells, lambda places: closest_points(tree, places), pitch_mm=0.25, margin_mm=2.0)
    space, cost = free_space(far, 0.47), cost_of(SHAPES, 150.0, 5.0, 2.0)

    def stood(rough):
        ways = Ways()
        tip = ways.add(np.array([0.0, 0.0, 8.0]), TIP, 1, 0.1)
        rest_on_figure(
            ways, tip, np.array([0.0, 0, -1.0]), 0.3, space, SHAPES, cost, avoids=None, rough=rough
        )
        return ways.places[ways.end_of(tip)]

    assert stood(None)[:2] == pytest.approx([0.0, 0.0], abs=1e-9)
    smooth = stood(lambda places: (np.hypot(places[:, 0], places[:, 1]) < 0.6).astype(float))
    assert np.hypot(*smooth[:2]) >= 0.6
    assert smooth[2] == pytest.approx(5.0, abs=0.1)


@pytest.mark.parametrize("rows", [[0], [1, 3], [3, 2, 1, 0]])
def test_some_are_led_down_as_if_they_were_all(rows):
    """Where they stand, and what they bear, is told by their own rows."""
    places = np.array([[0, 0, 6.0], [1.5, 0, 6.0], [9.0, 3.0, 6.0], [0, 4.0, 6.0]])
    contacts = contacts_at(places)
    loads = np.array([0.1, 0.2, 0.3, 0.25])
    cases = pulling(loads[:, None])
    some, _ = lead_down(contacts, loads, cases, ground(), rows=np.array(rows))
    assert sorted(some.tip_of.values()) == sorted(rows)
    alone = contacts_at(places[rows])
    own, strong = lead_down(alone, loads[rows], pulling(loads[rows][:, None]), ground())
    assert [some.places[n].tolist() for n in range(len(some.places))] == [p.tolist() for p in own.places]
    assert [rows[own.tip_of[tip]] for tip in own.tip_of] == [some.tip_of[tip] for tip in own.tip_of]
    assert strong.use.max() <= 1.0 + 1e-9
