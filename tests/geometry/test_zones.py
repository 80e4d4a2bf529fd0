"""Zones: what they contain, by part and by shape."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.geometry.zones import Ball, Box, Outline, Zone
from firstcast.vocabulary import ZoneMeaning

PRECIOUS = ZoneMeaning.PRECIOUS
GRID = np.stack(np.meshgrid(*[np.linspace(-9.7, 9.9, 21)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)


def turns_around(spots, place):
    """How often a polygon turns around a place: the sum of the angles under which its edges are seen."""
    total = 0.0
    for (u0, v0), (u1, v1) in zip(spots, [*spots[1:], spots[0]], strict=True):
        a, b = math.atan2(v0 - place[1], u0 - place[0]), math.atan2(v1 - place[1], u1 - place[0])
        total += (b - a + math.pi) % (2 * math.pi) - math.pi
    return round(total / (2 * math.pi))


def test_a_ball_holds_its_surface_and_no_more():
    zone = Zone("face", PRECIOUS, shape=Ball((1.0, 2.0, 3.0), 2.0))
    places = [(1, 2, 5), (1, 2, 5.001), (1, 2, 3), (3, 2, 3), (2.5, 3.5, 3)]
    assert zone.contains(places).tolist() == [True, False, True, True, False]


def test_a_box_holds_its_faces_and_no_more():
    zone = Zone("hilt", ZoneMeaning.NO_CHANGE, shape=Box((0.0, 0.0, 0.0), (1.0, 2.0, 3.0)))
    assert zone.contains([(0, 0, 0), (1, 2, 3), (1, 2, 3.01), (-0.01, 1, 1)]).tolist() == [
        True,
        True,
        False,
        False,
    ]


@given(
    st.lists(st.tuples(st.floats(1, 9), st.floats(0.15, 0.9)), min_size=3, max_size=9),
    st.sampled_from("xyz"),
    st.integers(0, 2**32 - 1),
)
def test_an_outline_agrees_with_the_sum_of_angles(star, axis, seed):
    # Star-shaped polygons with steps below half a turn, seen along each axis.
    share = 2 * math.pi / sum(step for _, step in star)
    angles = np.cumsum([step * share for _, step in star])
    spots = [(r * math.cos(a), r * math.sin(a)) for (r, _), a in zip(star, angles, strict=True)]
    places = np.random.default_rng(seed).uniform(-9, 9, (40, 2))
    points = np.zeros((40, 3))
    points[:, [c for c in range(3) if c != "xyz".index(axis)]] = places
    mask = Zone("z", PRECIOUS, shape=Outline(axis, tuple(spots))).contains(points)
    assert mask.tolist() == [turns_around(spots, place) % 2 == 1 for place in places]


def test_outlines_that_share_an_edge_share_no_place():
    left = Outline("z", ((-10.0, -10.0), (0.0, -10.0), (0.0, 10.0), (-10.0, 10.0)))
    right = Outline("z", ((0.0, -10.0), (10.0, -10.0), (10.0, 10.0), (0.0, 10.0)))
    on_edge = np.array([(0.0, v, 0.0) for v in (-9.0, -1.5, 0.0, 4.0)])
    inside = [Zone("z", PRECIOUS, shape=s).contains(on_edge) for s in (left, right)]
    assert (inside[0] ^ inside[1]).all()
    both = [Zone("z", PRECIOUS, shape=s).contains(GRID) for s in (left, right)]
    assert (both[0] ^ both[1]).all()


def test_places_level_with_a_corner_are_counted_once():
    diamond = Outline("z", ((0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)))
    places = [(0, 0, 0), (0.5, 0, 0), (-2, 0, 0), (2, 0, 0), (-2, 1, 0), (-2, -1, 0)]
    assert Zone("z", PRECIOUS, shape=diamond).contains(places).tolist() == [True, True, *[False] * 4]


def test_an_outline_ends_at_its_depths():
    square = ((-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0))
    zone = Zone("z", PRECIOUS, shape=Outline("y", square, -2.0, 3.0))
    assert zone.contains([(0, -2, 0), (0, 3, 0), (0, 3.1, 0), (0, -2.1, 0)]).tolist() == [
        True,
        True,
        False,
        False,
    ]


def test_the_volume_of_a_ball_is_found_by_counting():
    rng = np.random.default_rng(2960417)
    places = rng.uniform(-1, 1, (40000, 3))
    share = Zone("z", PRECIOUS, shape=Ball((0.0, 0.0, 0.0), 1.0)).contains(places).mean()
    assert share == pytest.approx(math.pi / 6, abs=4 * math.sqrt(0.25 / 40000))


def test_a_zone_by_part_takes_names_and_globs():
    part_of_point = np.array([0, 1, 2, 1], dtype=np.uint16)
    names = ("face", "face_eye", "hem[1]")
    places = np.zeros((4, 3))

    def mask(pattern):
        zone = Zone("z", PRECIOUS, part=pattern)
        return zone.contains(places, part_of_point=part_of_point, part_names=names).tolist()

    assert mask("face") == [True, False, False, False]
    assert mask("face*") == [True, True, False, True]
    assert mask("hem[1]") == [False, False, True, False]
    assert mask("arm") == [False] * 4


def test_a_part_and_a_shape_are_what_of_the_part_lies_in_the_shape():
    zone = Zone("z", PRECIOUS, part="face", shape=Ball((0.0, 0.0, 0.0), 1.0))
    places = [(0, 0, 0), (5, 0, 0), (0, 0, 0)]
    mask = zone.contains(places, part_of_point=np.array([0, 0, 1]), part_names=("face", "arm"))
    assert mask.tolist() == [True, False, False]


def test_no_places_give_no_mask():
    assert Zone("z", PRECIOUS, shape=Ball((0.0, 0.0, 0.0), 1.0)).contains(np.zeros((0, 3))).shape == (0,)


@pytest.mark.parametrize("part_of_point", [None, np.array([0])])
def test_a_zone_by_part_needs_the_part_of_every_place(part_of_point):
    with pytest.raises(InputError, match="not every place has its part"):
        Zone("z", PRECIOUS, part="face").contains(
            np.zeros((2, 3)), part_of_point=part_of_point, part_names=("face",)
        )


def test_places_that_are_none_are_refused():
    with pytest.raises(InputError, match="zone 'z'"):
        Zone("z", PRECIOUS, shape=Ball((0.0, 0.0, 0.0), 1.0)).contains(np.array([[0.0, np.nan, 0.0]]))
