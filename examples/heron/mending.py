"""Mending: patches sewn on cloth, each a piece of its own with its edge turned in, and stitches that lie across it."""

import numpy as np
from scipy.ndimage import gaussian_filter
from surfaces import resampled, round_ends, sheet_normals, slab, spline, tube, unit


class Spot:
    """A place on a skin of cloth with its own directions: x across, y down, in units of length."""

    def __init__(self, skin, down, across, turn):
        self.skin = skin
        self.normals = sheet_normals(gaussian_filter(skin, (2.0, 2.0, 0.0), mode="nearest"))
        rows, columns = skin.shape[:2]
        self.row, self.column = down * (rows - 1), across * (columns - 1)
        i, j = round(self.row), round(self.column)
        self.per_row = np.linalg.norm(skin[i + 3, j] - skin[i - 3, j]) / 6.0
        self.per_column = np.linalg.norm(skin[i, j + 3] - skin[i, j - 3]) / 6.0
        self.turn = turn

    def lifted(self, x, y, height):
        """Points over the skin at local places, `height` off it."""
        c, s = np.cos(self.turn), np.sin(self.turn)
        rows = self.row + (s * x + c * y) / self.per_row
        columns = self.column + (c * x - s * y) / self.per_column
        out = unit(resampled(self.normals, rows, columns))
        return resampled(self.skin, rows, columns) + np.asarray(height)[..., None] * out


def patch(skin, *, down, across, wide, tall, turn, stitches, rng, thick=0.108, side=72):
    """Meshes of a patch `wide` by `tall` at a share of the way down and across a skin, and of its stitches."""
    spot = Spot(skin, down, across, turn)
    line = np.sin(np.linspace(-0.5, 0.5, side) * np.pi)  # closer toward the turned-in edge
    u, v = np.meshgrid(line, line)
    # a cut square with rounded corners, none of its sides quite straight
    x = 0.5 * wide * u * (1.0 - 0.09 * v**4) * (1.0 + 0.05 * v + 0.02 * np.sin(3.0 * v + 1.0))
    y = 0.5 * tall * v * (1.0 - 0.09 * u**4) * (1.0 - 0.04 * u + 0.02 * np.sin(3.0 * u))
    inward = 0.5 * min(wide, tall) * (1.0 - np.maximum(np.abs(u), np.abs(v)))
    round_edge = np.sqrt(1.0 - np.clip(1.0 - inward / 0.12, 0.0, 1.0) ** 2)
    meshes = [slab(spot.lifted(x, y, thick * (0.15 + 0.85 * round_edge)), spot.lifted(x, y, 0 * x - 0.1))]
    for k in range(stitches):
        edge, t = divmod(4.0 * (k + 0.5) / stitches, 1.0)
        t = 1.7 * t - 0.85 + rng.normal(0.0, 0.03)
        tip, along = {
            0: ((t, 1.0), (1, 0)),
            1: ((1.0, -t), (0, 1)),
            2: ((-t, -1.0), (1, 0)),
            3: ((-1.0, t), (0, 1)),
        }[int(edge)]
        half = np.array([0.5 * wide, 0.5 * tall])
        middle = np.array(tip) * half
        out = np.array(tip) * (1 - np.array(along))
        reach = np.linspace(-0.17, 0.12, 9) * rng.uniform(0.75, 1.2)
        slant = rng.normal(0.0, 0.2)
        way = out + slant * np.array(along)
        # cloth lies stretched or gathered over a fold: the stitch keeps its own length
        tips = middle + reach[[0, -1], None] * way
        ends_apart = spot.lifted(tips[:, 0], tips[:, 1], np.zeros(2))
        way = way * min(0.35 * rng.uniform(0.8, 1.2) / np.linalg.norm(ends_apart[1] - ends_apart[0]), 1.3)
        places = middle + reach[:, None] * way
        ends = np.minimum(np.arange(9), np.arange(9)[::-1]) / 2.0
        over = np.interp(reach, [-0.2, -0.03, 0.04, 0.12], [0.95, 1.3, 0.75, 0.15]) * thick
        path = spot.lifted(places[:, 0], places[:, 1], over + 0.045 * np.clip(ends, 0, 1) - 0.05)
        meshes.append(tube(*round_ends(spline(path, 16), 0.075, 4), sides=12))
    return meshes
