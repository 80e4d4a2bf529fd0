import numpy as np
import pytest

from firstcast.errors import InputError
from firstcast.sheets.scales import (
    MOST_KEPT,
    NOT_READ,
    STOPS,
    SurfaceMap,
    gap_map,
    growth_map,
    oklab_from_srgb,
    retention_map,
    scale_colours,
    srgb_from_oklab,
    wall_map,
)

# Simulation of full protanopia, deuteranopia and tritanopia in linear RGB: Machado, Oliveira, Fernandes 2009,
# table 1, severity 1.0 (from memory).
COLOUR_SIGHT = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


def seen_with(kind, colours):
    share = np.asarray(colours) / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    linear = np.clip(linear @ np.array(COLOUR_SIGHT[kind]).T, 0, 1)
    return 255 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def test_white_has_lightness_one_and_grey_no_colour():
    np.testing.assert_allclose(oklab_from_srgb([255, 255, 255]), (1, 0, 0), atol=1e-6)
    np.testing.assert_allclose(oklab_from_srgb([97, 97, 97])[1:], 0, atol=1e-6)


def test_oklab_goes_round():
    colours = np.random.default_rng(90217).uniform(0, 255, (200, 3))
    np.testing.assert_allclose(srgb_from_oklab(oklab_from_srgb(colours)), colours, atol=1e-4)


def test_the_even_scale_falls_in_equal_steps_of_lightness():
    lightness = oklab_from_srgb(scale_colours("even"))[:, 0]
    steps = np.diff(lightness)
    assert steps.max() < 0
    assert steps.min() / steps.max() < 1.02


def test_no_colour_of_a_scale_is_clipped():
    for name in STOPS:
        colours = scale_colours(name)
        assert colours.min() > 0.5
        assert colours.max() < 254.5


@pytest.mark.parametrize("kind", sorted(COLOUR_SIGHT))
def test_scales_hold_without_full_colour_sight(kind):
    even = oklab_from_srgb(seen_with(kind, scale_colours("even")))
    # The order is kept: lightness falls all the way; and far places are far apart.
    assert np.diff(even[:, 0]).max() < 0
    assert np.linalg.norm(even[0] - even[255]) > 0.5
    about = oklab_from_srgb(seen_with(kind, scale_colours("about")))
    # The two arms differ by more than eight just noticeable steps (0.02 in OKLab) at their ends, by four halfway.
    assert np.linalg.norm(about[0] - about[255]) > 0.16
    assert np.linalg.norm(about[64] - about[191]) > 0.08


def test_a_map_takes_the_ends_at_its_bounds_and_grey_where_there_is_no_value():
    surface_map = SurfaceMap("wall", np.array([0.0, 0.4, 1.2, 2.0, 9.0, np.nan]), "mm", 0.4, 2.0)
    colours = surface_map.colours()
    scale = scale_colours("even")
    np.testing.assert_array_equal(colours[[0, 1]], scale[[0, 0]])
    np.testing.assert_array_equal(colours[[3, 4]], scale[[255, 255]])
    assert len({*colours[5].tolist()}) == 3
    with pytest.raises(InputError, match="span nothing"):
        SurfaceMap("wall", np.zeros(3), "mm", 1.0, 1.0).colours()


@pytest.mark.parametrize(("name", "ends"), [("loss", (0.33, 0.92)), ("kept", (0.33, 0.5353))])
def test_what_is_at_risk_is_dark(name, ends):
    lightness = oklab_from_srgb(scale_colours(name))[:, 0]
    assert (lightness[0], lightness[-1]) == pytest.approx(ends, abs=1e-3)


def test_scales_of_loss_rise_in_equal_steps_of_lightness():
    for name, count in (("loss", 256), ("kept", 213)):  # 213: the places up to 1 of 1.2
        steps = np.diff(oklab_from_srgb(scale_colours(name))[:count, 0])
        assert steps.min() > 0
        assert steps.max() / steps.min() < 1.02


@pytest.mark.parametrize("kind", [*sorted(COLOUR_SIGHT), None])
def test_overshoot_is_like_nothing_on_the_scale_and_grey_is_neither(kind):
    def seen(colours):
        return oklab_from_srgb(colours if kind is None else seen_with(kind, colours))

    shares = np.array([*np.linspace(0.0, 1.0, 101), 1.1, 1.2])
    colours = seen(retention_map(shares).colours())
    scale, over, grey = colours[:101], colours[101:], seen(np.array([NOT_READ], dtype=float))
    # In just noticeable steps (0.02 in OKLab): more than three at 1.1, six at 1.2, one and a quarter from grey,
    # and five between grey and what is whole.
    for colour, least in zip(over, (0.06, 0.12), strict=True):
        assert np.linalg.norm(scale - colour, axis=1).min() > least
    assert np.linalg.norm(scale - grey, axis=1).min() > 0.025
    assert np.linalg.norm(scale[100] - grey) > 0.1
    assert np.linalg.norm(over - grey, axis=1).min() > 0.06


def test_maps_take_their_readings_bounds():
    values = np.array([-1.0, 0.0, 0.6, 5.0])
    kept = retention_map(values)
    assert (kept.low, kept.high, kept.ticks[-2]) == (0.0, MOST_KEPT, 1.0)
    np.testing.assert_array_equal(kept.colours()[[0, 3]], scale_colours("kept")[[0, 255]])
    wall = wall_map(values, most_mm=2.0, least_mm=0.6)
    assert (wall.high, wall.limit, wall.limit_says) == (2.0, 0.6, "least 0.6")
    assert gap_map(values, most_mm=1.0).limit is None
    off = growth_map(np.array([-0.05, 0.0, 0.05]), reach_mm=0.1)
    lab = oklab_from_srgb(off.colours())
    assert lab[0, 2] < -0.02 < 0.02 < lab[2, 2]  # blue inside, ochre outside
    assert lab[1, 0] > 0.92
