import numpy as np
import pytest

from firstcast.sheets.light import cast_lights, light_mesh
from firstcast.sheets.outlook import HIGHEST_DEG, LOWEST_DEG, best_direction, best_view, seen_shares
from firstcast.sheets.views import BACK, FOUR_VIEWS, FRONT, SIDE
from part_shapes import ball, box, joined

BALL = ball(5.0, subdivisions=5)


@pytest.mark.parametrize("towards", [(0.0, -1.0, 0.0), (1.0, 0.0, 0.0), (-0.6, 0.64, 0.48)])
def test_a_place_on_a_ball_is_looked_at_straight(towards):
    view = best_direction(light_mesh(BALL.points, BALL.triangles), 5.0 * np.array(towards), 0.7)
    # The nearest of 96 even directions is at most 13 degrees away: a cap of a 96th of the sphere has a radius of 12.
    assert np.degrees(np.arccos(view.axes[2] @ towards)) < 15.0


def test_a_place_underneath_is_looked_at_from_no_lower_than_a_person_would():
    view = best_direction(light_mesh(BALL.points, BALL.triangles), np.array([0.0, 0.0, -5.0]), 0.7)
    assert LOWEST_DEG <= view.elevation_deg <= HIGHEST_DEG


def test_what_stands_before_a_place_is_looked_past():
    wall = box((8.0, 0.4, 8.0), (0.0, -9.0, 0.0))
    both = joined(BALL, wall)
    place = np.array([0.0, -5.0, 0.0])
    view = best_direction(light_mesh(both.points, both.triangles), place, 0.7)
    # The wall hides whatever is less than atan(4 / 4) from straight ahead; the place's own slope hides the rest.
    assert 40.0 < np.degrees(np.arccos(view.axes[2] @ [0.0, -1.0, 0.0])) < 90.0


def test_the_share_seen_of_a_small_cap_is_the_cosine_to_it():
    lit = light_mesh(BALL.points, BALL.triangles)
    turns = np.radians([0.0, 30.0, 60.0, 120.0])
    towards = np.stack([np.sin(turns), -np.cos(turns), 0.0 * turns], axis=1)
    lights = cast_lights(lit.dots, towards, lit.radius_mm, 512)
    shares = seen_shares(lit, lights, np.array([0.0, -5.0, 0.0]), 0.5)
    # A cap of 0.1 in radius over ball: cosines change by its half square.
    np.testing.assert_allclose(shares, np.maximum(0.0, np.cos(turns)), atol=0.01)


def test_the_plain_view_that_shows_most_of_the_places():
    lit = light_mesh(BALL.points, BALL.triangles)
    assert best_view(lit, [], FOUR_VIEWS) is FRONT
    assert best_view(lit, [(np.array([0.0, 5.0, 0.0]), 0.7)], FOUR_VIEWS) is BACK
    both = [(np.array([5.0, 0.0, 0.0]), 0.7), (np.array([4.8, 1.4, 0.0]), 0.7)]
    assert best_view(lit, both, FOUR_VIEWS) is SIDE
