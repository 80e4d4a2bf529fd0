"""Props that stand on the figure: what they bear by Euler's load and by their necks, and which landing is taken."""

from dataclasses import replace

import numpy as np
import pytest

from firstcast.fields.far import FarField, build_far
from firstcast.fields.union import Shells
from firstcast.geometry.solids import box, from_manifold, union
from firstcast.geometry.tree import build_tree, closest_points
from firstcast.printing.descent import free_space
from firstcast.printing.forest import lead_down
from firstcast.printing.holding import pulling
from firstcast.printing.landings import CONE_SHARE, cone_mm, landings_from, uses_of
from firstcast.printing.post_cost import cost_of
from firstcast.printing.posts import room_of
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.prop_wants import Strength
from firstcast.printing.rests import rest_on_figure
from firstcast.printing.sized_trees import Ground
from firstcast.printing.stepped import stepped_loads_n
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import FOOT, HEAD, REST, TIP, Ways
from firstcast.process.strength import RoundSection, euler_load_n

SHAPES = PropShapes()
MODULUS, STRENGTH, SAFETY = 150.0, 5.0, 2.0
COST = cost_of(SHAPES, MODULUS, STRENGTH, SAFETY)
DOWN = np.array([0.0, 0.0, -1.0])


def far_of(*boxes) -> FarField:
    mesh = from_manifold(union(list(boxes)))
    tree = build_tree(mesh)
    shells = Shells(
        np.asarray(mesh.points, np.float64), mesh.triangles, np.zeros(len(mesh.triangles), np.uint16)
    )
    return build_far(shells, lambda places: closest_points(tree, places), pitch_mm=0.1, margin_mm=2.0)


def gap(height_mm: float, *more) -> FarField:
    """A floor at z = 3 and a ceiling so much above it, joined at one side."""
    return far_of(
        box((8, 8, 1), at_mm=(0, 0, 2.5)), box((8, 8, 1), at_mm=(0, 0, 3.5 + height_mm)),
        box((8, 1, height_mm + 1), at_mm=(0, 3.5, 3.0 + 0.5 * height_mm)), *more,
    )  # fmt: skip


def stood(far: FarField, place, *, load_n=0.05, neck_mm=0.3) -> Ways:
    ways = Ways()
    tip = ways.add(np.asarray(place, np.float64), TIP, 1, load_n)
    space = free_space(far, 0.47)
    rest_on_figure(ways, tip, DOWN, neck_mm, space, SHAPES, COST, avoids=None, rough=None)
    return ways


def tip_at(place, *, neck_mm) -> Contacts:
    none = np.zeros(1, np.int32)
    return Contacts(
        np.array([place]), DOWN[None], np.array([neck_mm]), none, none, none, np.zeros(1, bool), np.zeros(1)
    )


def test_uses_are_those_of_eulers_load_and_of_the_section():
    """A published column (0.8 mm, 20 mm, 1.5 GPa, both ends hinged) bears 0.74415 N; a neck of 0.3 mm at 30 MPa 2.1206 N."""
    cost = cost_of(SHAPES, 1500.0, 30.0, 1.0)
    assert cost.buckling_use(0.74415, np.array([20.0]), np.array([0.8])) == pytest.approx(1.0, rel=1e-4)
    assert cost.stress_use(2.1206, 0.3) == pytest.approx(1.0, rel=1e-4)
    assert replace(cost, foot_mm3=0.0).buckling_use(
        0.74415, np.full(5, 4.0), np.full(5, 0.8)
    ) == pytest.approx(1.0, rel=1e-4)


def test_a_strut_is_used_by_eulers_load_over_its_lean():
    """Where no post fits, 0.2 mm all along; what presses it is its load over the cosine of its lean."""
    far = gap(1.0)
    place = np.array([0.0, 0.0, 4.0])
    landings = landings_from(place, DOWN, far)
    assert all(cone_mm(place, spot, far, SHAPES) == 0.0 for spot in landings.spots)
    uses = uses_of(place, landings, far, load_n=0.02, neck_mm=0.2, shapes=SHAPES, cost=COST)
    section = RoundSection(0.2)
    for use, spot, long in zip(uses, landings.spots, landings.gaps_mm, strict=True):
        pressed = 0.02 * long / (place[2] - spot[2])
        euler = SAFETY * pressed / euler_load_n(MODULUS, section, long, 1.0)
        neck = SAFETY * pressed / (STRENGTH * np.pi * 0.2**2 / 4.0)
        assert use == pytest.approx(max(euler, neck), rel=1e-6)


def test_in_a_wider_gap_a_strut_becomes_a_post_that_bears_more():
    """2 mm under the ceiling: cones of four tenths, and a post between them that would touch nothing."""
    far = gap(2.0)
    ways = stood(far, (0.0, -1.0, 5.0))
    kinds = np.array(ways.kinds)
    assert (kinds == HEAD).sum() == 2
    assert (kinds == REST).sum() == 1
    spot = ways.places[int(np.flatnonzero(kinds == REST)[0])]
    cone = float(np.linalg.norm(ways.places[1 + int(kinds[1] == REST)] - ways.places[0]))
    assert cone == pytest.approx(CONE_SHARE * np.linalg.norm(spot - ways.places[0]), rel=1e-6)
    thin = stepped_loads_n(MODULUS, [np.array([2.0])], [np.array([0.3])])[0]
    post = stepped_loads_n(MODULUS, [np.array([0.8, 0.4, 0.8])], [np.array([0.4, 0.5, 0.4])])[0]
    assert post > 3.0 * thin


def test_a_cone_taken_as_thick_as_half_way_is_no_stronger_than_it_is():
    """Against the same cones cut into forty parts: its thin end lies where a hinged post doesn't bend."""
    cut = (np.arange(40) + 0.5) / 40
    cones = [np.full(40, 0.8 / 40), np.array([0.4]), np.full(40, 0.8 / 40)]
    wide = [0.3 + 0.2 * cut, np.array([0.5]), 0.5 - 0.2 * cut]
    fine = stepped_loads_n(MODULUS, [np.concatenate(cones)], [np.concatenate(wide)])[0]
    taken = stepped_loads_n(MODULUS, [np.array([0.8, 0.4, 0.8])], [np.array([0.4, 0.5, 0.4])])[0]
    assert taken <= 1.02 * fine


def test_where_the_nearest_landing_has_no_room_to_bear_a_farther_one_is_taken():
    """Two walls that hang beside the way straight down leave no room for a post; the prop leans out of them."""
    walls = [box((0.8, 0.8, 5.5), at_mm=(x, 0.0, 9.75)) for x in (-0.85, 0.85)]
    far = gap(9.0, *walls)
    place = (0.0, 0.0, 12.0)
    light, heavy = stood(far, place, load_n=1e-4), stood(far, place, load_n=0.12)
    ends = [ways.places[ways.end_of(0)] for ways in (light, heavy)]
    assert abs(ends[0][1]) < 0.1
    assert abs(ends[1][1]) > 1.0
    landings = landings_from(np.array(place), DOWN, far)
    uses = uses_of(np.array(place), landings, far, load_n=0.12, neck_mm=0.3, shapes=SHAPES, cost=COST)
    taken = int(np.linalg.norm(landings.spots - ends[1], axis=1).argmin())
    straight = int(np.linalg.norm(landings.spots - ends[0], axis=1).argmin())
    assert uses[taken] < uses[straight]


def between_walls() -> Ground:
    """A ceiling 20 mm up between two walls that leave a post 0.8 mm, and a shelf beside the way down, 4 mm under the ceiling."""
    far = far_of(
        box((4, 8, 1), at_mm=(0, 0, 20.5)),
        *(box((1, 8, 20), at_mm=(x, 0, 10.5)) for x in (-1.1, 1.1)),
        box((2, 2, 1), at_mm=(0, 2.0, 15.5)),
    )
    return Ground(far, (free_space(far, 0.47),), SHAPES, Strength(15.0, STRENGTH, MODULUS, 1.1, SAFETY))


@pytest.mark.parametrize(("load_n", "kind"), [(0.03, FOOT), (0.3, REST)])
def test_what_would_buckle_on_its_way_to_the_platform_stands_on_the_figure_if_that_bears(load_n, kind):
    """20 mm of 0.8 mm with a held foot may bear 20.19 E I / s L² = 0.08 N; 4.4 mm between hinges 0.8 N."""
    ground = between_walls()
    tip = tip_at((0.0, 0.0, 20.0), neck_mm=0.6)
    loads = np.array([load_n])
    ways, strong = lead_down(tip, loads, pulling(loads[:, None]), ground)
    assert ways.kinds[ways.end_of(next(iter(ways.tip_of)))] == kind
    assert strong.use.max() <= 1.0
    nowhere = replace(ground, avoids=lambda places: np.ones(len(places), bool))
    ways, strong = lead_down(tip, loads, pulling(loads[:, None]), nowhere)
    # where nothing may stand on the figure it stays on the platform, and that is told
    assert ways.kinds[ways.end_of(next(iter(ways.tip_of)))] == FOOT
    assert (strong.use.max() > 1.0) == (kind == REST)


def test_a_cone_on_the_figure_begins_as_thick_as_leaves_its_upper_part_clear():
    far = gap(6.0)
    ways = stood(far, (0.0, -1.0, 9.0))
    kinds = np.array(ways.kinds)
    room = room_of(ways, far, SHAPES)
    lower = next(int(head) for head in np.flatnonzero(kinds == HEAD) if kinds[ways.down[head]] == REST)
    # four tenths of 1.6 mm over the floor it narrows to 0.4 r + 0.6 · 0.3 and keeps 0.4 · 0.2 off: r = 0.95
    assert room[lower] == pytest.approx(0.95, abs=0.1)
    assert cone_mm(ways.places[0], ways.places[ways.end_of(0)], far, SHAPES) == SHAPES.tip_length_mm
