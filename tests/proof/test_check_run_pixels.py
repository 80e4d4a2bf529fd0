"""Whether the proof of a run notices images that are not the run to the pixel."""

import numpy as np
import pytest
from manifold3d import Manifold
from scipy.ndimage import gaussian_filter

from firstcast.printing.layer_plan import Screen
from firstcast.printing.run import Placement, Run
from firstcast.vocabulary import Verdict
from layer_bodies import standing
from written_runs import SCREEN, faults, proved, with_images, written


def test_a_mirrored_screen_is_read_the_right_way_round(tmp_path):
    expected = written(tmp_path, screen=SCREEN._replace(mirrored=True))
    assert faults(proved(tmp_path, expected)) <= {"bare starts"}
    assert "manifest: pixels, layers and pieces" in faults(proved(tmp_path, expected, mirrored=False))


def test_pixels_that_are_not_square_are_proved_alike(tmp_path):
    screen = Screen(260, 160, 0.05, 0.0625)
    expected = written(tmp_path, screen=screen)
    assert faults(proved(tmp_path, expected)) <= {"bare starts"}


def test_a_fleck_of_light_in_the_air(copy):
    folder, expected = copy

    def change(layer, image):
        if layer == 60:
            image[180:186, 200:206] = 255
            return image
        return None

    with_images(folder, change)
    rows = proved(folder, expected)
    assert {"area of every layer", "bare starts that nothing holds"} <= faults(rows)
    assert "36 pixels in layer 60 at (10." in rows["bare starts that nothing holds"].result


def test_images_a_little_too_bright(copy):
    folder, expected = copy
    with_images(
        folder, lambda layer, image: np.minimum(image.astype(int) + 8 * (image > 0), 255).astype(np.uint8)
    )
    assert {"area of every layer", "area of single regions"} <= faults(proved(folder, expected))


def rolled(shift):
    """Images moved by whole pixels: (columns, rows)."""
    return lambda layer, image: np.roll(image, shift, axis=(1, 0))


@pytest.mark.parametrize("shift", [(1, 0), (0, 1), (-1, 1)])
def test_images_a_pixel_aside_are_noticed(copy, shift):
    folder, expected = copy
    with_images(folder, rolled(shift))
    assert "every pixel of every layer" in faults(proved(folder, expected))


def test_a_comb_of_layers_is_noticed(copy):
    folder, expected = copy
    with_images(folder, lambda layer, image: np.roll(image, 1 if layer % 2 else -1, axis=1))
    assert "every pixel of every layer" in faults(proved(folder, expected))


def test_a_hole_that_is_made_up_for_elsewhere_is_noticed(copy):
    folder, expected = copy

    def change(layer, image):
        if layer != 41:
            return None
        # four pixels out of the trunk and four beside it, about one middle, in a layer that no polygon is cut for
        image[48:52, 59] = 0
        image[48:52, 95] = 255
        return image

    with_images(folder, change)
    rows = proved(folder, expected)
    assert "every pixel of every layer" in faults(rows)
    assert "area of every layer" not in faults(rows)
    assert (
        "8 otherwise than the meshes cover them, the first in layer 41"
        in rows["every pixel of every layer"].result
    )


def test_images_that_are_blurred_are_noticed(copy):
    folder, expected = copy
    with_images(
        folder, lambda layer, image: np.round(gaussian_filter(image.astype(float), 0.4)).astype(np.uint8)
    )
    assert "every pixel of every layer" in faults(proved(folder, expected))


def test_one_level_too_many_in_one_pixel_is_noticed(copy):
    folder, expected = copy

    def change(layer, image):
        if layer == 7:
            image[3, 4] = 1
            return image
        return None

    with_images(folder, change)
    row = proved(folder, expected)["every pixel of every layer"]
    assert row.verdict is Verdict.STOP
    assert "layer 7 at (0.225, 0.175) mm, 1 of 255 levels where the meshes ask for 0.00" in row.result


@pytest.mark.parametrize("turn", [17.0, 263.5])
def test_copies_in_any_turn_are_proved_to_the_pixel(tmp_path, turn):
    run = Run("first", (Placement("a", 6.0, 5.0, turn),))
    expected = written(tmp_path, run)
    rows = proved(tmp_path, expected)
    assert not faults(rows) - {"bare starts"}
    # rounding to levels leaves half of one; some pixel of many thousand comes near it
    assert 0.4 < rows["every pixel of every layer"].measured <= 0.51


def test_a_flat_face_on_the_plane_of_a_section_counts_either_way(tmp_path):
    plate = Manifold.cube((3.0, 3.0, 1.05)).translate((-1.5, -1.5, 0.0))
    expected = written(tmp_path, Run("first", (Placement("p", 5.0, 5.0),)), {"p": standing(plate)})
    assert not faults(proved(tmp_path, expected))
    kept = {}
    with_images(tmp_path, kept.__setitem__)
    other = np.zeros_like(kept[9]) if kept[10].any() else kept[9]
    # the plate ends on the middle of layer 10: whether it is lit there hangs on the last digit of its height
    with_images(tmp_path, lambda layer, image: other if layer == 10 else None)
    assert "every pixel of every layer" not in faults(proved(tmp_path, expected))
    with_images(tmp_path, lambda layer, image: 0 * image if layer == 9 else None)
    assert "every pixel of every layer" in faults(proved(tmp_path, expected))
