"""Films of primer and paint: how thick, how far they level, and what levelling does to grooves.

What a film does to relief is a closing by one ball, its even thickness t taken off again: a place that the ball can't
enter is filled. The ball's radius is t · `Paint.level_ratio`. A coat that follows the surface evenly has the ratio 1: an
offset by t and back is a closing by a ball of t. One that levels on top of it by a ball ρ has 1 + ρ / t, for closings by
offsets add up; one that is thinner in hollows than on the lands has less than 1. No source was found for the
ratio, so it is a default until a painted gauge says otherwise.

The closed forms for grooves hold for long straight ones, in section, where a ball is a disc. They are exact for the
closing itself (mathematical morphology: J. Serra, Image Analysis and Mathematical Morphology, 1982).
Ridges under an opening are the same upside down.
"""

import math
from dataclasses import dataclass

from firstcast.process.materials import Paint


@dataclass(frozen=True)
class Film:
    """A film in one scenario: dry thickness on one face, and the radius to which it levels.

    `calibrated`: whether every figure behind it is the maker's own or fitted.
    """

    thickness_mm: float
    radius_mm: float
    calibrated: bool = False


NO_FILM = Film(0.0, 0.0, calibrated=True)


def paint_film(paint: Paint, scenario: str) -> Film:
    """The whole film on the painted cast: primer + coats · coat, levelled; `scenario` low, likely or high."""
    thickness = paint.film_mm.scenario(scenario)
    figures = (paint.primer_mm, paint.coat_mm, paint.coats, paint.level_ratio)
    return _film(paint, thickness, scenario, all(figure.calibrated for figure in figures))


def primer_film(paint: Paint, scenario: str) -> Film:
    """The primer or barrier coat alone, as it goes on a master before the mould is made."""
    sure = paint.primer_mm.calibrated and paint.level_ratio.calibrated
    return _film(paint, paint.primer_mm.scenario(scenario), scenario, sure)


def _film(paint: Paint, thickness_mm: float, scenario: str, calibrated: bool) -> Film:
    if thickness_mm == 0:
        return NO_FILM if calibrated else Film(0.0, 0.0)
    return Film(thickness_mm, thickness_mm * paint.level_ratio.scenario(scenario), calibrated)


def square_groove_left_mm(width_mm: float, depth_mm: float, radius_mm: float) -> float:
    """Depth left of a groove with upright walls and flat lands, at its deepest, after a closing.

    A disc wider than the groove rests on its lips and hangs R - √(R² - w²/4) into it; where that is
    more than the depth, or the disc goes in, it reaches the floor and the depth stays.
    """
    if width_mm >= 2.0 * radius_mm:
        return depth_mm
    half = 0.5 * width_mm
    # R - √(R² - w²/4) without cancellation.
    hangs = half * half / (radius_mm + math.sqrt(radius_mm * radius_mm - half * half))
    return min(depth_mm, hangs)


def v_groove_left_mm(
    width_mm: float, depth_mm: float, radius_mm: float, *, opening_deg: float | None = None
) -> float:
    """Depth left of a groove with sloping walls and flat lands, at its deepest, after a closing.

    A disc of radius R between flanks of half-angle a has its middle R / sin a above where they meet, so it fills
    R (1 / sin a - 1). It touches them R cos a off the middle; where the mouth is narrower than that, it rests on the lips
    and hangs R - √(R² - w²/4) into it, as in a square groove.

    `opening_deg` is the angle 2a between the flanks; left out, that of a sharp V. Where the bottom is round, flanks at the
    same mouth would meet deeper, at w / (2 tan a), and the disc is reckoned from there.
    """
    half = _half_angle(width_mm, depth_mm, opening_deg)
    if radius_mm * math.cos(half) > 0.5 * width_mm:
        return square_groove_left_mm(width_mm, depth_mm, radius_mm)
    meets = max(depth_mm, 0.5 * width_mm / math.tan(half))
    return min(depth_mm, meets - radius_mm * (1.0 / math.sin(half) - 1.0))


def v_groove_size_ratio(
    width_mm: float, depth_mm: float, radius_mm: float, *, share: float, opening_deg: float | None = None
) -> float:
    """How much larger a groove with sloping walls would have to be, in width and depth, to keep a share of its depth.

    Below 1 where it keeps more. With s the ratio, the disc between the flanks leaves s D - R (1 / sin a - 1), D being where
    they meet; set equal to share · s d. On the lips: R - √(R² - s² w²/4) = share · s d.
    """
    half = _half_angle(width_mm, depth_mm, opening_deg)
    meets = max(depth_mm, 0.5 * width_mm / math.tan(half))
    kept = share * depth_mm
    between = radius_mm * (1.0 / math.sin(half) - 1.0) / (meets - kept)
    if 2.0 * radius_mm * math.cos(half) <= between * width_mm:
        return between
    return 2.0 * radius_mm * kept / (0.25 * width_mm**2 + kept**2)


def v_groove_width_mm(depth_mm: float, radius_mm: float, *, share: float) -> float:
    """How wide a sharp V of a depth must be to keep a share, a half or more, of it: sin a = R / (R + (1 - share) d).

    The disc that leaves a half or more lies between the flanks: where it rests on flanks and lips at once,
    sin a / (1 + sin a) of the depth is left, which is less than a half.
    """
    lowest = radius_mm + (1.0 - share) * depth_mm
    return 2.0 * depth_mm * radius_mm / math.sqrt(lowest**2 - radius_mm**2)


def _half_angle(width_mm: float, depth_mm: float, opening_deg: float | None) -> float:
    if opening_deg is None:
        return math.atan2(0.5 * width_mm, depth_mm)
    return math.radians(0.5 * opening_deg)


def sine_groove_left_mm(period_mm: float, depth_mm: float, radius_mm: float) -> float:
    """Depth left, crest to trough, of a sine of that depth crest to trough after a closing.

    With f = -A cos kx, A half the depth: a disc not larger than 1 / A k² fits the trough. A larger one
    touches at ±x where x √(1 + 1/f'²) = R, f' = A k sin kx, and hangs to f + x / f' - R. The left side grows with
    x from 1 / A k², so there is one such x; it is found to 1e-15 of a period.
    """
    if depth_mm == 0:
        return 0.0
    height, wave = 0.5 * depth_mm, 2.0 * math.pi / period_mm
    if radius_mm * height * wave * wave <= 1.0:
        return depth_mm

    def reach(x: float) -> float:
        slope = height * wave * math.sin(wave * x)
        return math.hypot(x, x / slope) - radius_mm

    nearly_trough, nearly_crest = 1e-7 * period_mm, 0.5 * period_mm * (1.0 - 1e-12)
    if reach(nearly_trough) >= 0:
        return depth_mm
    if reach(nearly_crest) <= 0:
        return 0.0
    # Imported where it is used: opening a job must not wait for it.
    from scipy.optimize import root_scalar

    at = float(root_scalar(reach, bracket=(nearly_trough, nearly_crest), xtol=1e-15 * period_mm).root)
    slope = height * wave * math.sin(wave * at)
    lowest = -height * math.cos(wave * at) + at / slope - radius_mm
    return min(depth_mm, max(0.0, height - lowest))
