import numpy as np
import pytest

from firstcast.errors import InputError
from firstcast.sheets.scales import SurfaceMap, oklab_from_srgb, scale_colours, srgb_from_oklab

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
    for name in ("even", "about"):
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
