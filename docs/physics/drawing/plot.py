"""Figures over figures: a frame on the sheet, its axes, and where a pair of figures lies in it."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from .sheet import FAINT, LABEL, SMALL, line, words


class Frame(NamedTuple):
    """A rectangle of pixels and the figures at its ends; `log_x` and `log_y`: by ratios, not by differences."""

    left: float
    top: float
    width: float
    height: float
    x: tuple[float, float]
    y: tuple[float, float]
    log_x: bool = False
    log_y: bool = False


def _share(values: npt.ArrayLike, ends: tuple[float, float], log: bool) -> npt.NDArray[np.float64]:
    low, high = np.log10(ends) if log else ends
    found = np.asarray(values, np.float64)
    return ((np.log10(found) if log else found) - low) / (high - low)


def placed(frame: Frame, x: npt.ArrayLike, y: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """(n, 2) pixels of figures x over figures y, either of them one figure or n."""
    across, up = np.broadcast_arrays(_share(x, frame.x, frame.log_x), _share(y, frame.y, frame.log_y))
    pixels = (frame.left + frame.width * across, frame.top + frame.height * (1.0 - up))
    return np.stack([np.atleast_1d(part) for part in pixels], axis=1)


def spot(frame: Frame, x: float, y: float) -> tuple[float, float]:
    """The pixel of one pair."""
    across, down = placed(frame, x, y)[0]
    return float(across), float(down)


def written(tick: float) -> str:
    """A figure as it stands at an axis."""
    return f"{tick:g}".replace("-", "−")


def axes(
    frame: Frame, x_ticks: Sequence[float], y_ticks: Sequence[float], *, x_title: str, y_title: str = ""
) -> list[str]:
    """Both axes, with ticks as the figures are written, faint lines across, and what they measure, in words."""
    right, foot = frame.left + frame.width, frame.top + frame.height
    parts = []
    for tick in y_ticks:
        _, y = spot(frame, frame.x[0], tick)
        parts += [line([(frame.left, y), (right, y)], width=0.6, dash="1 4", ink=FAINT)]
        parts += [words(frame.left - 7, y + 5, written(tick), size=SMALL, anchor="end")]
    for tick in x_ticks:
        x, _ = spot(frame, tick, frame.y[0])
        parts += [line([(x, foot), (x, foot + 5)], width=1.0)]
        parts += [words(x, foot + 20, written(tick), size=SMALL, anchor="middle")]
    parts += [line([(frame.left, frame.top), (frame.left, foot), (right, foot)], width=1.2)]
    parts += [words(right, foot + 38, x_title, size=LABEL, anchor="end")]
    if y_title:
        parts += [words(frame.left - 7, frame.top - 12, y_title, size=LABEL)]
    return parts
