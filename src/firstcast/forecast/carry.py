"""The inverse of the forecast: how far each vertex is moved beforehand so that the painted cast comes to the sculpture.

d <- d - gain * e(likely), within bounds, with a cap that falls where movement gains nothing; then bounded in amplitude,
and drawn back where any scenario would end worse than without it. Where a wall or a gap is at its least already, nothing
is moved that would end it narrower than the sculpture's, in any scenario.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.errors import InputError
from firstcast.forecast.retention import ReliefWindow, Window, averaged, retention, window_on, windows_on
from firstcast.forecast.rings import Rings, least_around, rings_of, smoothed
from firstcast.ranges import LIKELY

Forward = Callable[[npt.NDArray[np.float64]], npt.NDArray[np.float64]]
Lengths = npt.NDArray[np.float64]
LikelyForward = Callable[[Lengths], Lengths]
Settle = Callable[[Lengths], Lengths]

SMOOTH_MM = 0.6
"""Window of what counts as a correction of size rather than relief: twice the finest period worth carrying."""

AMPLITUDE_SCALES_MM = (0.15, 0.3, 0.6)
"""Windows in which amplitude is bounded, finest first."""

LEAST_GAIN = 0.2
"""What movement must gain of itself in the likely scenario, or its cap falls (decision 0008: 0.1 to 0.3)."""

EASING_RINGS = 4
"""Rings over which the bounds of walls and gaps ease: what is bounded and what is not differ by less than the cap."""

SAFE_SHARE = 0.7
"""Of the share that no scenario would end worse by so much is kept, for what is carried beside a place reaches it too."""

MOST_RINGS = 8
"""Rings that a share of relief is spread over at most, however fine the mesh."""


class Narrow(NamedTuple):
    """How much of walls and gaps may be taken at each vertex: half of what they are wider than the least, mm.

    Attributes
    ----------
    wall_mm, gap_mm : (n,) float64
        0 where the wall, or gap, is at its least or below, infinite where nothing is near it.
    """

    wall_mm: Lengths
    gap_mm: Lengths


class Limits(NamedTuple):
    """What bounds the carry at each vertex.

    Attributes
    ----------
    low_mm, high_mm : (n,) float64
        Least and greatest length, low <= 0 <= high; both 0 where nothing may change.
    even : (n,) bool
        Places whose relief is left alone: only the smooth part of the length is kept.
    """

    low_mm: Lengths
    high_mm: Lengths
    even: npt.NDArray[np.bool_]


class Carried(NamedTuple):
    """What is carried, and what it comes to.

    Attributes
    ----------
    length_mm : (n,) float64
        Along the normals, to be added before the print.
    before_mm, after_mm : (s, n) float64
        Residuals without and with it.
    kept : (n,) float64
        Share of the best step's length that was kept: below 1 where it was drawn back.
    relief_kept : (n,) float64
        Share of its relief that was kept for the bound on amplitude.
    undone_share, bounded_share : float
        Share of the area where less than all of the length, and of its relief, was kept.
    worse_count, worst_mm : int, float
        Vertices about which the residual, as RMS over the finest window, still ends worse than before by more than the
        tolerance in some scenario, and the most that any ends worse by; 0 where none does.
    over_count, amplitude_most : int, float
        Vertices above the bound on amplitude in some scenario, and the greatest ratio; NaN where there is no relief.
    best_step : int
        The last step; 0 where it was no better than none.
    rounds : int
        Rounds of drawing back. All scenarios were run for nothing carried, for the last step and for each round; the likely
        one alone for every other step.
    """

    length_mm: Lengths
    before_mm: Lengths
    after_mm: Lengths
    kept: Lengths
    relief_kept: Lengths
    undone_share: float
    bounded_share: float
    worse_count: int
    worst_mm: float
    over_count: int
    amplitude_most: float
    best_step: int
    rounds: int


class _Ground(NamedTuple):
    """What stays the same from step to step."""

    forward: Forward
    likely: LikelyForward
    settle: Settle
    limits: Limits
    rings: Rings
    smooth: Window
    windows: Sequence[ReliefWindow]
    reach: int  # rings that the finest of these windows spans about a vertex


def carry(
    forward: Forward,
    points: Points,
    triangles: Triangles,
    normals: npt.NDArray[np.float64],
    *,
    before_mm: Lengths | None = None,
    likely: LikelyForward | None = None,
    allowed_low_mm: npt.ArrayLike = -np.inf,
    allowed_high_mm: npt.ArrayLike = np.inf,
    narrow: Narrow | None = None,
    even: npt.ArrayLike = False,
    cap_mm: float = 0.08,
    steps: int = 5,
    gain: float = 0.6,
    most_ratio: float = 1.10,
    worse_mm: float = 0.0005,
    rounds: int = 6,
    windows: Sequence[ReliefWindow] | None = None,
    settle: Settle | None = None,
) -> Carried:
    """Lengths along the normals that bring the forecast to the sculpture.

    Parameters
    ----------
    forward : callable
        (n,) mm carried -> (3, n) mm: how far low, likely and high end outside the sculpture. No NaN.
    points, triangles, normals : (n, 3) float64, (m, 3) int32, (n, 3) float64
        The sculpture at master size.
    before_mm : (3, n) float64, optional
        What `forward` says of nothing carried, where it is known.
    likely : callable, optional
        (n,) mm carried -> (n,) mm: the likely scenario alone, for the steps; without it they take all three.
    allowed_low_mm, allowed_high_mm : (n,) or scalar
        Bounds from zones and the like; low <= 0 <= high.
    narrow : Narrow, optional
        What walls and gaps can spare. A wall is drawn in, or a gap filled, by as much more as even the scenario
        that does so least would widen the wall, or the gap, by itself.
    even : (n,) bool or scalar
        Where relief is not carried.
    cap_mm : float
        Greatest length anywhere.
    steps, gain : int, float
        Steps, and the share of the residual taken in each.
    most_ratio : float
        Greatest local amplitude of relief, in any scenario.
    worse_mm : float
        How much worse than without carry a place may end.
    rounds : int
        Most rounds of drawing back, each a run of `forward`.
    windows : sequence of ReliefWindow, optional
        Those in which amplitude is bounded, finest first, where they are at hand.
    settle : callable, optional
        (n,) mm wanted -> (n,) mm, nowhere longer: what can be made of them. Asked before all three scenarios are run, so
        that what is told is true of what is made.

    Raises
    ------
    InputError
        Bounds that exclude 0, or a forward model that returns another shape.
    """
    n = len(points)
    before = _run(forward, np.zeros(n)) if before_mm is None else before_mm
    low = np.broadcast_to(np.maximum(np.asarray(allowed_low_mm, np.float64), -cap_mm), n)
    high = np.broadcast_to(np.minimum(np.asarray(allowed_high_mm, np.float64), cap_mm), n)
    if not ((low <= 0).all() and (high >= 0).all()):
        raise InputError("bounds exclude 0 at some vertex", where="carry", mend="Give low <= 0 <= high.")
    rings = rings_of(triangles, n)
    if narrow is not None:
        low, high = _spared(rings, narrow, before, low, high)
    ground = _Ground(
        forward,
        likely or (lambda length: forward(length)[LIKELY]),
        settle or (lambda length: length),
        Limits(low, high, np.broadcast_to(np.asarray(even, bool), n)),
        rings,
        window_on(points, triangles, normals, SMOOTH_MM),
        windows or windows_on(points, triangles, normals, AMPLITUDE_SCALES_MM),
        _reach(points, triangles),
    )
    length, after, best = _stepped(ground, before, cap_mm, steps, gain)
    return _drawn_back(ground, before, length, after, best, _Bounds(most_ratio, worse_mm, rounds))


def _spared(
    rings: Rings, narrow: Narrow, before: Lengths, low: Lengths, high: Lengths
) -> tuple[Lengths, Lengths]:
    """The bounds where walls and gaps are near their least, eased over a few rings so that they make no steps."""
    widens_wall = np.maximum(before.min(axis=0), 0.0)
    widens_gap = np.maximum(-before.max(axis=0), 0.0)
    inward = np.minimum(-low, widens_wall + narrow.wall_mm)
    outward = np.minimum(high, widens_gap + narrow.gap_mm)
    return -_spread(rings, inward, EASING_RINGS), _spread(rings, outward, EASING_RINGS)


def _reach(points: Points, triangles: Triangles) -> int:
    edge = float(np.median(np.linalg.norm(points[triangles[:, 0]] - points[triangles[:, 1]], axis=1)))
    return int(np.clip(np.ceil(AMPLITUDE_SCALES_MM[0] / 2.0 / edge), 1, MOST_RINGS))


def _run(forward: Forward, length: Lengths) -> Lengths:
    found = np.asarray(forward(length), np.float64)
    if found.shape != (3, len(length)) or not np.isfinite(found).all():
        raise InputError(
            f"shape {found.shape} for {len(length)} vertices, finite: {np.isfinite(found).all()}",
            where="forward model",
            mend="Return three rows of finite lengths.",
        )
    return found


def _within(ground: _Ground, length: Lengths, cap: Lengths | float) -> Lengths:
    """The length within its bounds, and even where relief is left alone."""
    limits = ground.limits
    if limits.even.any():
        # twice, for one pass leaves a few hundredths of waves of a third of the window
        smooth = averaged(ground.smooth, averaged(ground.smooth, length))
        length = np.where(limits.even, smooth, length)
    return np.clip(length, np.maximum(limits.low_mm, -cap), np.minimum(limits.high_mm, cap))


def _stepped(
    ground: _Ground, before: Lengths, cap_mm: float, steps: int, gain: float
) -> tuple[Lengths, Lengths, int]:
    """The lengths of the last step, all residuals of it, and its number; nothing where that is no better than nothing.

    Steps run the likely scenario alone, the last one all three.
    """
    length, first, found = np.zeros(before.shape[1]), before[LIKELY], before[LIKELY]
    cap, after = np.full(len(length), cap_mm), before
    for step in range(1, steps + 1):
        length = _within(ground, length - gain * found, cap)
        if step == steps:
            length = ground.settle(length)
            after = _run(ground.forward, length)
            break
        found = ground.likely(length)
        gained = smoothed(ground.rings, np.abs(first) - np.abs(found), 1)
        moved = np.abs(length)
        falls = smoothed(ground.rings, np.where(gained < LEAST_GAIN * moved, moved / 2.0, cap), 1)
        cap = np.minimum(cap, falls)
    if _size(ground, after) >= _size(ground, before):
        return np.zeros(len(length)), before, 0
    return length, after, steps


def _size(ground: _Ground, residual: Lengths) -> float:
    """Sum over the rows of the residual's RMS by area."""
    areas = ground.smooth.areas_mm2
    # no dot product: its last digits depend on how many threads add it up
    squares = np.sum(np.atleast_2d(residual) ** 2 * areas, axis=1)
    return float(np.sqrt(squares / areas.sum()).sum())


class _Bounds(NamedTuple):
    """What the result must keep to, and how many runs may be spent on it."""

    most_ratio: float
    worse_mm: float
    rounds: int


class _Broken(NamedTuple):
    """Where residuals break the bounds."""

    worse_by: Lengths  # (n,) mm, the most over the scenarios
    share: Lengths  # (n,) of what was moved since, that no scenario ends worse by
    worse: npt.NDArray[np.bool_]  # (n,)
    amplitude: Lengths  # (s, n)
    over: npt.NDArray[np.bool_]  # (n,)


def _broken(ground: _Ground, before: Lengths, after: Lengths, bounds: _Bounds) -> _Broken:
    """Residuals are held against one another over the finest window about each vertex, not vertex by vertex.

    With a share k of the movement a residual is about e0 + k (e1 - e0); its mean square in the window is no greater than
    that of e0 up to k = 2 (e0·e0 - e0·e1) / |e1 - e0|².
    """
    window = ground.windows[0].window
    moved = after - before
    square, along, own = np.split(
        averaged(window, np.concatenate([before**2, before * moved, moved**2]).T).T, 3
    )
    ended = np.sqrt(np.maximum(square + 2.0 * along + own, 0.0))
    worse_by = (ended - np.sqrt(square)).max(axis=0)
    slack = 2.0 * bounds.worse_mm * np.sqrt(square)
    share = np.ones_like(own)
    np.divide(-2.0 * along + slack, own, out=share, where=own > 1e-12)
    amplitude = retention(ground.windows, after).finest
    over = np.any(amplitude > bounds.most_ratio, axis=0)
    return _Broken(
        worse_by, np.clip(share.min(axis=0), 0.0, 1.0), worse_by > bounds.worse_mm, amplitude, over
    )


def _drawn_back(
    ground: _Ground, before: Lengths, whole: Lengths, after: Lengths, best: int, bounds: _Bounds
) -> Carried:
    """Relief and length taken back where amplitude is too great or a residual worse, until neither is."""
    even = averaged(ground.smooth, whole)
    plain = retention(ground.windows, before).finest
    kept, relief_kept = np.ones(len(whole)), np.ones(len(whole))
    length, done = whole, 0
    broken = _broken(ground, before, after, bounds)
    while done < bounds.rounds and (broken.worse.any() or broken.over.any()):
        want = np.where(broken.worse, kept * broken.share * SAFE_SHARE, 1.0)
        kept = np.minimum(kept, _spread(ground.rings, want, 1 + done))
        # a little below the bound, more each round, for the last of it comes slowly where the share is smoothed
        aim = bounds.most_ratio - 0.005 * (1 + done)
        share = _relief_share(plain, broken.amplitude, bounds.most_ratio, aim)
        relief_kept = relief_kept * _spread(ground.rings, share, ground.reach)
        length = ground.settle(_within(ground, kept * (even + relief_kept * (whole - even)), np.inf))
        after = _run(ground.forward, length)
        broken = _broken(ground, before, after, bounds)
        done += 1
    areas = ground.smooth.areas_mm2
    return Carried(
        length,
        before,
        after,
        kept,
        relief_kept,
        undone_share=float(areas[kept < 1.0].sum() / areas.sum()),
        bounded_share=float(areas[relief_kept < 1.0].sum() / areas.sum()),
        worse_count=int(np.count_nonzero(broken.worse)),
        worst_mm=float(broken.worse_by[broken.worse].max(initial=0.0)),
        over_count=int(np.count_nonzero(broken.over)),
        amplitude_most=_greatest(broken.amplitude),
        best_step=best,
        rounds=done,
    )


def _greatest(values: Lengths) -> float:
    known = values[~np.isnan(values)]
    return float(known.max()) if len(known) else float("nan")


def _relief_share(plain: Lengths, amplitude: Lengths, most_ratio: float, aim: float) -> Lengths:
    """Share of the carried relief at which the strongest scenario's amplitude would be at the aim, were it linear."""
    raised = amplitude - plain
    over = (amplitude > most_ratio) & (raised > 0)
    share = np.ones_like(amplitude)
    share[over] = (aim - plain[over]) / raised[over]
    return np.clip(share.min(axis=0), 0.0, 1.0)


def _spread(rings: Rings, share: Lengths, count: int) -> Lengths:
    """The share spread to `count` rings of neighbours and smoothed over as many: nowhere above what was given."""
    return smoothed(rings, least_around(rings, share, count), count)
