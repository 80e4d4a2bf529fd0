"""Slow and obvious: covered shares by intersecting a section's polygons with one pixel after another."""

import manifold3d
import numpy as np


def polygon_shares(section, grid, y0, y1, x0, x1):
    """Shares (y1 - y0, x1 - x0) of a `manifold3d.CrossSection` in a window of a pixel grid."""
    px, py = grid.pixel_x_mm, grid.pixel_y_mm
    left, low = grid.origin_mm
    row_box = manifold3d.CrossSection.square(((x1 - x0) * px, py)).translate((left + x0 * px, low))
    pixel_box = manifold3d.CrossSection.square((px, py)).translate((left, low))
    shares = np.zeros((y1 - y0, x1 - x0))
    for y in range(y0, y1):
        strip = section ^ row_box.translate((0, y * py))
        for x in range(x0, x1):
            shares[y - y0, x - x0] = (strip ^ pixel_box.translate((x * px, y * py))).area()
    return shares / (px * py)
