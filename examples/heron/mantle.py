"""The long cloak's form: laid out section by section about the bird, kept off it, then pleated."""

import numpy as np
from folds import Fold, fold_field
from pose import BASKET_PRESS
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.ndimage import gaussian_filter, map_coordinates

# one row per level: share of the way down, height, centre x and y, the edges' turns from the back in degrees,
# then the reach at the right edge, right back, back, left back and left edge
LEVELS = np.array(
    [
        (0.00, 12.35, -0.40, 0.10, -128, 128, 0.85, 0.85, 0.85, 0.85, 0.85),
        (0.08, 12.10, -0.40, 0.10, -124, 124, 1.45, 1.40, 1.25, 1.40, 1.40),
        (0.18, 11.50, -0.36, 0.08, -116, 116, 2.35, 2.15, 1.60, 2.05, 2.25),
        (0.30, 10.45, -0.25, 0.05, -106, 108, 2.95, 2.45, 1.80, 2.40, 2.90),
        (0.45, 8.95, -0.10, 0.05, -97, 101, 3.00, 2.60, 1.95, 2.70, 3.25),
        (0.62, 7.10, 0.02, 0.10, -90, 96, 2.75, 2.65, 2.25, 2.95, 3.40),
        (0.80, 5.15, 0.10, 0.20, -85, 95, 2.75, 2.80, 2.75, 3.45, 3.85),
        (1.00, 3.00, 0.18, 0.30, -82, 97, 2.95, 3.15, 3.40, 4.25, 4.60),
    ]
)
STATIONS = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
HEM = CubicSpline([-1.0, -0.8, -0.4, 0.0, 0.4, 0.8, 1.0], [0.75, 0.3, -0.1, 0.1, 0.3, 0.7, 1.5])
"""How far the hem is lifted, from the right edge to the left: the wind has the left corner."""
CUT = (5.0, 13.5, 0.88)
"""The flat cut that the folds' widths are measured on: inner and outer radius, angle."""

FOLDS = (
    # from his right shoulder and elbow
    Fold(((0.16, 0.13), (0.45, 0.10), (1.0, 0.115)), 0.42, 0.20, 0.46, 0.5, 1.0),
    Fold(((0.14, 0.19), (0.50, 0.20), (1.0, 0.235)), 0.44, 0.18, 0.50, 0.5, 1.0),
    Fold(((0.14, 0.25), (0.45, 0.29), (1.0, 0.345)), 0.42, 0.18, 0.44, 0.5, 0.9),
    Fold(((0.55, 0.02), (0.78, 0.02), (1.0, 0.025)), 0.30, 0.18, 0.36, 0.5, 1.0),
    Fold(((0.62, 0.155), (0.80, 0.165), (1.0, 0.175)), 0.24, 0.14, 0.3, 0.5, 0.8),
    # below the basket
    Fold(((0.50, 0.40), (0.75, 0.425), (1.0, 0.455)), 0.40, 0.20, 0.46, 0.5, 1.0),
    Fold(((0.52, 0.52), (0.75, 0.54), (1.0, 0.565)), 0.46, 0.20, 0.48, 0.5, 1.0),
    Fold(((0.68, 0.475), (0.82, 0.49), (1.0, 0.51)), 0.22, 0.14, 0.28, 0.5, 0.8),
    # from his left shoulder and elbow, blown out
    Fold(((0.14, 0.75), (0.45, 0.70), (1.0, 0.675)), 0.44, 0.18, 0.48, 0.5, 1.0),
    Fold(((0.14, 0.80), (0.50, 0.785), (1.0, 0.78)), 0.48, 0.18, 0.52, 0.5, 1.0),
    Fold(((0.16, 0.86), (0.45, 0.88), (1.0, 0.885)), 0.46, 0.20, 0.50, 0.5, 1.0),
    Fold(((0.50, 0.97), (0.78, 0.98), (1.0, 0.98)), 0.32, 0.18, 0.36, 0.5, 1.0),
    Fold(((0.64, 0.735), (0.82, 0.73), (1.0, 0.725)), 0.24, 0.14, 0.3, 0.5, 0.8),
    Fold(((0.60, 0.835), (0.80, 0.835), (1.0, 0.832)), 0.24, 0.14, 0.3, 0.5, 0.8),
)


def _laid(down, across):
    """Places of the smooth cloak for shares down and across (same shape)."""
    z, cx, cy, right, left = (PchipInterpolator(LEVELS[:, 0], LEVELS[:, k])(down) for k in range(1, 6))
    reach = np.stack([PchipInterpolator(LEVELS[:, 0], LEVELS[:, k])(down) for k in range(6, 11)], -1)
    s = 2.0 * across - 1.0
    weights = CubicSpline(STATIONS, np.eye(5))(s)
    radius = (reach * weights).sum(axis=-1)
    turn = np.deg2rad(right + (left - right) * across)
    lift = HEM(s) * np.clip((down - 0.5) / 0.5, 0.0, 1.0) ** 1.5
    return np.stack([cx + radius * np.sin(turn), cy + radius * np.cos(turn), z + lift], -1)


def _sampled(field, origin, pitch, points):
    return map_coordinates(
        field, ((points - origin) / pitch).reshape(-1, 3).T, order=1, mode="nearest"
    ).reshape(points.shape[:-1])


def kept_off(grid, solid, gap, rounds=14, smooth=2.5):
    """The sheet moved out of the solid to `gap` from it, smoothed between the moves."""
    field, origin, pitch = solid
    step = np.eye(3) * 0.5 * pitch
    for turn in range(rounds):
        short = np.clip(gap - _sampled(field, origin, pitch, grid), 0.0, 0.4)
        slope = np.stack(
            [
                _sampled(field, origin, pitch, grid + e) - _sampled(field, origin, pitch, grid - e)
                for e in step
            ],
            -1,
        )
        slope /= np.maximum(np.linalg.norm(slope, axis=-1, keepdims=True), 1e-9)
        moved = gaussian_filter(short[..., None] * slope, (smooth, smooth, 0.0), mode="nearest")
        grid = grid + 1.2 * moved
        if turn % 4 == 3:
            grid = gaussian_filter(grid, (1.0, 1.0, 0.0), mode="nearest")
    return grid


def cloak_sheet(
    solid, rows, columns, *, top=0.0, bottom=1.0, right=0.0, left=1.0, reach: float | np.ndarray = 1.0
):
    """(rows, columns, 3) middle of the unpleated cloak, and the shares down and across.

    `reach` (columns,) scales how far down from `top` each column goes; beyond the hem the sheet stays at it.
    """
    coarse = np.meshgrid(np.linspace(0.0, 1.0, 90), np.linspace(0.0, 1.0, 140), indexing="ij")
    sheet = kept_off(_laid(*coarse), solid, 0.34)
    share, across = np.meshgrid(np.linspace(0.0, 1.0, rows), np.linspace(right, left, columns), indexing="ij")
    down = top + (bottom - top) * share * reach
    places = np.stack([down * 89.0, across * 139.0])
    grid = np.stack([map_coordinates(sheet[..., k], places, order=3, mode="nearest") for k in range(3)], -1)
    return grid, down, across


def pleats(down, across):
    """(rows, columns) height of the cloak's folds over the sheet."""
    press = np.exp(-(((across - BASKET_PRESS[1]) / 0.13) ** 4) - ((down - BASKET_PRESS[0]) / 0.22) ** 4)
    return fold_field(down, across, FOLDS, CUT, gutter=0.45) * (1.0 - press)
