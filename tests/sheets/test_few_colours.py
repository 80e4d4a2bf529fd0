import numpy as np
from PIL import Image

from firstcast.sheets._few_colours import in_few_colours
from firstcast.sheets.scales import scale_colours


def off(few, pixels):
    return np.abs(np.asarray(few.convert("RGB")).astype(int) - pixels.astype(int)).max(axis=-1)


def test_a_picture_of_few_colours_comes_back_as_it_was():
    rng = np.random.default_rng(60127)
    colours = rng.integers(0, 256, (40, 3), dtype=np.uint8)
    pixels = colours[rng.integers(0, 40, (50, 70))]
    few = in_few_colours(Image.fromarray(pixels), 64)
    # A step through OKLab and back is rounded once.
    assert off(few, pixels).max() <= 1


def test_a_rare_scale_on_much_paper_stays_whole():
    """A map's colours cover one pixel in a hundred: palettes by frequency would drop them."""
    scale = np.rint(scale_colours("kept")).astype(np.uint8)
    pixels = np.full((320, 256, 3), (246, 242, 233), np.uint8)
    pixels[:3] = scale
    rng = np.random.default_rng(41788)
    greys = rng.integers(40, 240, (160, 256, 1))
    pixels[160:] = np.clip(greys + np.array([4, 0, -6]), 0, 255)
    few = in_few_colours(Image.fromarray(pixels), 128)
    by_frequency = Image.fromarray(pixels).quantize(128, method=Image.Quantize.MEDIANCUT)
    # 128 colours for 256 of the scale and 200 greys: neighbours share one, so some steps are lost, not the hues.
    assert off(few, pixels).max() <= 12
    assert off(by_frequency, pixels).max() > 2 * off(few, pixels).max()


def test_the_same_picture_gives_the_same_bytes():
    pixels = np.random.default_rng(7741).integers(0, 256, (40, 40, 3), dtype=np.uint8)
    one, two = (in_few_colours(Image.fromarray(pixels), 30) for _ in range(2))
    assert one.tobytes() == two.tobytes()
    assert one.getpalette() == two.getpalette()
