"""A picture in few colours, chosen so that none is far from what was drawn: the file becomes a third as large.

Pillow's palettes either follow what is frequent, and lose a map's rare colours, or reach everywhere, and spend few
on what is frequent. Here the second is the start, and is evened out by weighted k-means in OKLab (Lloyd 1982), each
colour weighted by the square root of how often it occurs. No dither: grain would look like relief.
"""

import numpy as np
from PIL import Image
from scipy.spatial import KDTree

from firstcast.sheets.scales import oklab_from_srgb, srgb_from_oklab

ROUNDS = 8


def in_few_colours(image: Image.Image, count: int) -> Image.Image:
    """An RGB picture with a palette of at most `count` colours, 2 to 256."""
    pixels = np.asarray(image, dtype=np.int64)
    codes = (pixels[..., 0] << 16) | (pixels[..., 1] << 8) | pixels[..., 2]
    drawn, named, often = np.unique(codes, return_inverse=True, return_counts=True)
    places = oklab_from_srgb(np.stack([drawn >> 16, (drawn >> 8) & 255, drawn & 255], axis=1))
    weights = np.sqrt(often)
    reaching = image.quantize(count, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    chosen = oklab_from_srgb(np.array(reaching.getpalette()).reshape(-1, 3)[:count])
    for _ in range(ROUNDS):
        nearest = KDTree(chosen).query(places)[1]
        total = np.bincount(nearest, weights, len(chosen))
        for axis in range(3):
            moment = np.bincount(nearest, weights * places[:, axis], len(chosen))
            chosen[:, axis] = np.divide(moment, total, out=chosen[:, axis].copy(), where=total > 0.0)
    nearest = np.asarray(KDTree(chosen).query(places)[1], dtype=np.uint8)
    few = Image.fromarray(nearest[named.reshape(codes.shape)])
    few.putpalette(np.rint(srgb_from_oklab(chosen)).astype(np.uint8).tobytes())
    return few
