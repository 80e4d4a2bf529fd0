import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from manifold3d import Manifold

from firstcast.printing.cups import CupsFollower
from firstcast.printing.layer_measures import measure_cut
from firstcast.printing.layer_plan import Screen, plan_layers
from firstcast.printing.layer_runs import cured_regions
from firstcast.printing.run import Placement, Run
from layer_bodies import ball, standing, tube
from layer_twin import mouths_by_force

PIXEL, LAYER = 0.1, 0.1
VOXEL = PIXEL * PIXEL * LAYER
STACKS = arrays.arrays(
    np.bool_,
    st.tuples(st.integers(1, 7), st.integers(3, 8), st.integers(3, 9)),
    elements=st.sampled_from([True, True, False]),
)


@settings(max_examples=150)
@given(STACKS)
def test_hollows_are_those_found_by_force(stack):
    follower = CupsFollower()
    wanted = mouths_by_force(stack)
    for image, rows in zip(stack, wanted, strict=True):
        follower.add(cured_regions((image * 255).astype(np.uint8), (0, 0), len(image)))
        assert follower.closed[-1] == sum(mouth for mouth, _ in rows)
        hollows = {id(h): h.voxels for h in follower._hollows if h is not None}
        assert sorted(hollows.values()) == sorted(voxels for _, voxels in rows)


def cups_of(body):
    screen = Screen(160, 160, PIXEL, PIXEL)
    plan = plan_layers(Run("r", (Placement("a", 8.0, 8.0),)), {"a": standing(body)}, screen, layer_mm=LAYER)
    return measure_cut(plan.cuts[0]).cups


def shell(lift=0.0) -> Manifold:
    """A bell of radius 5 and height 5 with walls of 1 mm, its crown below: its mouth is to the film."""
    crown = ball(5.0, (0, 0, 5.0)) - ball(4.0, (0, 0, 5.0))
    return (crown ^ tube(5.0, 6.0, 0.0)).translate((0, 0, lift))


HALF_BALL_MM3 = 2 / 3 * np.pi * 4.0**3


def test_a_bell_with_its_mouth_to_the_film_sucks():
    (cup,) = cups_of(shell())
    assert not cup.sealed
    assert cup.last == 49
    # sections near the widest differ by less than a pixel: the first of the largest counts
    assert 45 <= cup.layer <= 49
    # a pixel of the outline more or less, all around
    assert cup.mouth * PIXEL**2 == pytest.approx(np.pi * 16.0, rel=0.02)
    assert cup.voxels * VOXEL == pytest.approx(HALF_BALL_MM3, rel=0.02)


def test_a_bell_with_its_mouth_to_the_platform_and_air_beneath_it_is_none():
    assert cups_of(shell().mirror((0, 0, 1)).translate((0, 0, 7.0))) == ()


def test_a_bell_that_stands_on_the_platform_is_closed_by_it_and_then_sealed():
    (cup,) = cups_of(shell().mirror((0, 0, 1)).translate((0, 0, 5.0)))
    assert cup.sealed
    assert cup.first == 0
    assert cup.voxels * VOXEL == pytest.approx(HALF_BALL_MM3, rel=0.02)


def test_a_vent_near_the_platform_opens_the_bell():
    vent = tube(3.0, 0.4, 0.0)
    assert cups_of(shell(2.0) - vent) == ()


def test_a_vent_higher_up_ends_the_cup_where_it_opens():
    vent = tube(12.0, 0.4, 0.0).rotate((0, 90, 0)).translate((0, 0, 3.0))
    (cup,) = cups_of(shell() - vent)
    assert not cup.sealed
    # the vent's lowest place is 3.0 - 0.4 above the platform
    assert cup.last == 25


def test_a_sealed_ball_holds_its_resin():
    (cup,) = cups_of(ball(5.0, (0, 0, 5.0)) - ball(4.0, (0, 0, 5.0)))
    assert cup.sealed
    assert cup.voxels * VOXEL == pytest.approx(4 / 3 * np.pi * 4.0**3, rel=0.02)
    assert 45 <= cup.layer <= 50
    assert (cup.first, cup.last) == (10, 89)


def test_two_hollows_that_meet_are_one():
    # two wells that a channel joins above: one hollow from there on
    block = Manifold.cube((9.0, 5.0, 6.0), True).translate((0, 0, 3.0))
    wells = tube(5.0, 1.0, 1.0, x=-2.5) + tube(5.0, 1.0, 1.0, x=2.5)
    channel = Manifold.cube((5.0, 0.6, 1.0), True).translate((0, 0, 4.5))
    (cup,) = cups_of(block - wells - channel)
    assert cup.first == 10
    assert cup.voxels * VOXEL == pytest.approx((wells + channel).volume(), rel=0.03)
    separate = cups_of(block - wells)
    assert [c.first for c in separate] == [10, 10]
