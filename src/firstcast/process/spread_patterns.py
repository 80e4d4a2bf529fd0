"""What spread light makes of gratings, and its weights on a grid of pixels."""

import math
from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from firstcast.errors import InputError
from firstcast.process.spread import GaussianSpread, LorentzianSpread, Spread, Values, cell_weight, half_plane

_SMALLEST = 1e-16
"""A series ends where its next term is below this share of full light."""

_MOST_TERMS = 100_000


def sine_response(spread: Spread, period_mm: float, *, pixel_mm: float = 0.0, boxes: int = 0) -> float:
    """Share of a sine grating's amplitude that is left: transfer · sinc(pixel / period) per box."""
    return float(spread.transfer(1.0 / period_mm) * np.sinc(pixel_mm / period_mm) ** boxes)


def square_grating(
    spread: Spread,
    x_mm: npt.ArrayLike,
    period_mm: float,
    line_mm: float,
    *,
    pixel_mm: float = 0.0,
    boxes: int = 0,
) -> Values:
    """Light at x on a grating of lit lines `line_mm` wide, one per period, the middle of one at x = 0.

    Notes
    -----
    Fourier's series, w/P + Σ 2/(πm) sin(πmw/P) T(m/P) sinc(mp/P)^boxes cos(2πmx/P): it converges as the
    transfer T falls. Without spread, and for a Gaussian below a tenth of a period, the lines' edges are
    added up instead, as far as they reach.

    Raises
    ------
    InputError
        The line is not narrower than the period, or the Lorentzian is narrower than a
        10,000th of the period, where the series takes too long.
    """
    x = np.asarray(x_mm, dtype=np.float64)
    if not 0 < line_mm < period_mm:
        raise InputError(f"lines of {line_mm} mm every {period_mm} mm", where="grating", mend="Leave a gap.")
    if spread.width_mm == 0 or (isinstance(spread, GaussianSpread) and spread.sigma_mm < 0.1 * period_mm):
        return _added_lines(spread, x, period_mm, line_mm, pixel_mm, boxes)
    terms = _terms(spread, period_mm)
    if terms > _MOST_TERMS:
        raise InputError(
            f"a spread of {spread.width_mm} mm against a period of {period_mm} mm",
            where="grating",
            mend="Take it for no spread.",
        )
    total = np.full(x.shape, line_mm / period_mm)
    for m in range(1, terms + 1):
        height = 2.0 / (math.pi * m) * math.sin(math.pi * m * line_mm / period_mm)
        height *= sine_response(spread, period_mm / m, pixel_mm=pixel_mm, boxes=boxes)
        total += height * np.cos(2.0 * math.pi * m * x / period_mm)
    return total


def _terms(spread: Spread, period_mm: float) -> int:
    decay = -math.log(_SMALLEST)
    relative = spread.width_mm / period_mm
    if isinstance(spread, GaussianSpread):
        return math.ceil(math.sqrt(decay / 2.0) / (math.pi * relative))
    return math.ceil(decay / (2.0 * math.pi * relative))


def _added_lines(
    spread: Spread, x: Values, period_mm: float, line_mm: float, pixel_mm: float, boxes: int
) -> Values:
    at = x - period_mm * np.round(x / period_mm)
    # Nine σ: less than 1e-18 of the light falls beyond.
    reach = 9.0 * spread.width_mm + boxes * pixel_mm + line_mm
    many = math.ceil(reach / period_mm) + 1
    total = np.zeros(x.shape)
    for number in range(-many, many + 1):
        middle = number * period_mm
        for side, sign in ((-0.5, 1.0), (0.5, -1.0)):
            edge = middle + side * line_mm
            total += sign * half_plane(spread, at - edge, pixel_mm=pixel_mm, boxes=boxes)
    return total


class Kernel(NamedTuple):
    """Weights of spread light on a grid of pixels: exact over each cell.

    `weights` (2n + 1,) or (2n + 1, 2m + 1) float64, the pixel that shines in the middle. `beyond` is the
    share of light that falls outside them, by formula: weights and it add up to 1.
    """

    weights: Values
    beyond: float


def line_kernel(spread: Spread, pitch_mm: float, reach_mm: float) -> Kernel:
    """What pixels along a row get of a line of pixels across it: the dose at their middles, box for box.

    For a Gaussian, rows and columns apart give the plane; the Lorentzian kind does not come apart
    (`plane_kernel`, `gaussians_like`).
    """
    half = _cells(reach_mm, pitch_mm)
    offsets = pitch_mm * np.arange(-half, half + 1)
    edge = (half + 0.5) * pitch_mm
    return Kernel(cell_weight(spread, offsets, pitch_mm), 2.0 * float(spread.edge_response(-edge)))


def plane_kernel(spread: Spread, pitch_mm: tuple[float, float], reach_mm: float) -> Kernel:
    """Dose at the middles of pixels round one that shines: weights along x, then y.

    Notes
    -----
    The Lorentzian kind over a rectangle is the angle under which it is seen from γ above, over 2π:
    arctan(xy / (γ√(x² + y² + γ²))) / 2π between its corners.
    """
    halves = [_cells(reach_mm, pitch) for pitch in pitch_mm]
    if isinstance(spread, GaussianSpread) or spread.width_mm == 0:
        rows, columns = (line_kernel(spread, pitch, reach_mm) for pitch in pitch_mm)
        weights = np.outer(rows.weights, columns.weights)
        return Kernel(weights, 1.0 - (1.0 - rows.beyond) * (1.0 - columns.beyond))
    x, y = (pitch * (np.arange(-half, half + 2) - 0.5) for half, pitch in zip(halves, pitch_mm, strict=True))
    corners = _corner(spread.gamma_mm, x[:, None], y[None, :])
    weights = np.diff(np.diff(corners, axis=0), axis=1)
    return Kernel(weights, 1.0 - 4.0 * float(_corner(spread.gamma_mm, x[-1], y[-1])))


def _corner(gamma_mm: float, x: npt.ArrayLike, y: npt.ArrayLike) -> Values:
    x, y = np.asarray(x), np.asarray(y)
    return np.arctan(x * y / (gamma_mm * np.sqrt(x * x + y * y + gamma_mm**2))) / (2.0 * math.pi)


def _cells(reach_mm: float, pitch_mm: float) -> int:
    return max(0, math.ceil(reach_mm / pitch_mm - 0.5))


def gaussian_parts(spread: Spread) -> list[tuple[float, GaussianSpread]]:
    """A spread as Gaussians with their shares: only they come apart into rows and columns."""
    if isinstance(spread, GaussianSpread):
        return [(1.0, spread)]
    fitted = gaussians_like(spread)
    return [
        (float(w), GaussianSpread(float(s))) for w, s in zip(fitted.weights, fitted.sigma_mm, strict=True)
    ]


class GaussianSum(NamedTuple):
    """A Lorentzian spread as a sum of Gaussians, each of which comes apart into rows and columns.

    `sigma_mm`, `weights`: (n,) float64, weights positive, their sum 1. `edge_error` is the largest
    error of the response to a half-plane, `disc_error` that of the light within a radius: shares of full
    light, the largest found at 4,000 places from 0.001 γ to 100,000 γ.
    """

    sigma_mm: Values
    weights: Values
    edge_error: float
    disc_error: float


def gaussians_like(spread: LorentzianSpread, count: int = 6) -> GaussianSum:
    """The sum of `count` Gaussians nearest to a Lorentzian spread, by least squares on edge and disc.

    Notes
    -----
    A Lorentzian is a Gaussian whose σ is itself spread, as γ over the size of a normal deviate; a few
    values of it, evenly likely, start the fit. Errors: see `GaussianSum`.
    """
    sigma, weights, edge, disc = _unit_fit(count)
    return GaussianSum(spread.gamma_mm * np.array(sigma), np.array(weights), edge, disc)


@cache
def _unit_fit(count: int) -> tuple[tuple[float, ...], tuple[float, ...], float, float]:
    from scipy.optimize import least_squares  # slow to import

    unit = LorentzianSpread(1.0)
    places = np.geomspace(1e-2, 1e3, 400)
    wanted = np.concatenate(_edge_and_disc_of(unit, places))

    def parts(unknown: Values) -> tuple[Values, Values]:
        share = np.exp(unknown[count:] - unknown[count:].max())
        return np.exp(unknown[:count]), share / share.sum()

    def misfit(unknown: Values) -> Values:
        return np.concatenate(_edge_and_disc(*parts(unknown), places)) - wanted

    even = (np.arange(count) + 0.5) / count
    start = np.concatenate([np.sort(-np.log(ndtri(0.5 * (1.0 + even)))), np.zeros(count)])
    sigma, weights = parts(least_squares(misfit, start, xtol=1e-12, ftol=1e-12, gtol=1e-12).x)
    order = np.argsort(sigma)
    sigma, weights = sigma[order], weights[order]
    dense = np.geomspace(1e-3, 1e5, 4000)
    errors = [
        float(np.abs(got - true).max())
        for got, true in zip(
            _edge_and_disc(sigma, weights, dense), _edge_and_disc_of(unit, dense), strict=True
        )
    ]
    return tuple(map(float, sigma)), tuple(map(float, weights)), errors[0], errors[1]


def _edge_and_disc_of(spread: LorentzianSpread, places: Values) -> tuple[Values, Values]:
    return spread.edge_response(places), 1.0 - spread.gamma_mm / np.hypot(spread.gamma_mm, places)


def _edge_and_disc(sigma: Values, weights: Values, places: Values) -> tuple[Values, Values]:
    u = places[:, None] / sigma
    return ndtr(u) @ weights, -np.expm1(-0.5 * u * u) @ weights
