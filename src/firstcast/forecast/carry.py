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
from firstcast.forecast.carry_bounds import Lengths, Limits, Narrow, spared, within
from firstcast.forecast.drawn_back import UNRAISED, Bounds, broken_by, drawn, relief_drawn, rings_across
from firstcast.forecast.retention import (
    ReliefWindow,
    Retention,
    Window,
    averaged,
    retention,
    window_on,
    windows_on,
)
from firstcast.forecast.rings import Rings, rings_of, smoothed
from firstcast.ranges import LIKELY

Forward = Callable[[Lengths], Lengths]
LikelyForward = Callable[[Lengths], Lengths]
Settle = Callable[[Lengths], Lengths]

SMOOTH_MM = 0.6
"""Window of what counts as a correction of size rather than relief: twice the finest period worth carrying."""

AMPLITUDE_SCALES_MM = (0.15, 0.3, 0.6)
"""Windows in which amplitude is bounded, finest first."""

LEAST_GAIN = 0.2
"""What movement must gain of itself in the likely scenario, or its cap falls (decision 0008: 0.1 to 0.3)."""


class Carried(NamedTuple):
    """What is carried, and what it comes to.

    Attributes
    ----------
    length_mm : (n,) float64
        Along the normals, to be added before the print.
    before_mm, after_mm : (s, n) float64
        Residuals without and with it.
    kept : (n,) float64
        Share of the last step's length that was kept: below 1 where it was drawn back.
    relief_kept : (n,) float64
        Share of its relief that was kept for the bound on amplitude.
    undone_share, bounded_share : float
        Share of the area where less than all of the length, and of its relief, was kept.
    worse_count, worst_mm : int, float
        Vertices about which the residual, as RMS over the finest window, still ends worse than before by more than the
        tolerance in some scenario, and the most that any ends worse by; 0 where none does.
    over_count, amplitude_most : int, float
        Vertices whose relief carry makes deeper than it may be in some scenario, and the greatest ratio of any that it makes
        deeper; NaN where there is none.
    best_step : int
        The last step; 0 where it was no better than none.
    rounds : int
        Rounds of drawing back. All scenarios were run for nothing carried, for the last step and for each round; the likely
        one alone for every other step.
    left_before, left_after : Retention
        What is left of the relief, without and with it, in the windows in which amplitude is bounded.
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
    left_before: Retention
    left_after: Retention


class _Ground(NamedTuple):
    """What stays the same from step to step."""

    forward: Forward
    likely: LikelyForward
    settle: Settle
    for_now: Settle
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
    over_mm: float = 0.0,
    worse_mm: float = 0.0005,
    rounds: int = 6,
    windows: Sequence[ReliefWindow] | None = None,
    settle: Settle | None = None,
    settle_for_now: Settle | None = None,
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
    over_mm : float
        How much deeper relief may end beyond its own depth all the same, RMS: what is finer than anyone sees.
    worse_mm : float
        How much worse than without carry a place may end.
    rounds : int
        Most rounds of drawing back, each a run of `forward`.
    windows : sequence of ReliefWindow, optional
        Those in which amplitude is bounded, finest first, where they are at hand.
    settle : callable, optional
        (n,) mm wanted -> (n,) mm, nowhere longer: what can be made of them. Asked of the last lengths before all three
        scenarios are run, so that what is told is true of what is made.
    settle_for_now : callable, optional
        The same, of lengths that will be drawn back once more: it need not be as thorough.

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
        low, high = spared(rings, narrow, before, low, high, cap_mm)
    ground = _Ground(
        forward,
        likely or (lambda length: forward(length)[LIKELY]),
        settle or (lambda length: length),
        settle_for_now or settle or (lambda length: length),
        Limits(low, high, np.broadcast_to(np.asarray(even, bool), n)),
        rings,
        window_on(points, triangles, normals, SMOOTH_MM),
        windows or windows_on(points, triangles, normals, AMPLITUDE_SCALES_MM),
        rings_across(points, triangles, AMPLITUDE_SCALES_MM[0]),
    )
    length, after, best = _stepped(ground, before, cap_mm, steps, gain, last=not rounds)
    return _drawn_back(ground, before, length, after, best, Bounds(most_ratio, over_mm, worse_mm), rounds)


def _run(forward: Forward, length: Lengths) -> Lengths:
    found = np.asarray(forward(length), np.float64)
    if found.shape != (3, len(length)) or not np.isfinite(found).all():
        raise InputError(
            f"shape {found.shape} for {len(length)} vertices, finite: {np.isfinite(found).all()}",
            where="forward model",
            mend="Return three rows of finite lengths.",
        )
    return found


def _stepped(
    ground: _Ground, before: Lengths, cap_mm: float, steps: int, gain: float, *, last: bool
) -> tuple[Lengths, Lengths, int]:
    """The lengths of the last step, all residuals of it, and its number; nothing where that is no better than nothing.

    Steps run the likely scenario alone, the last one all three. `last` says that nothing will be drawn back.
    """
    length, first, found = np.zeros(before.shape[1]), before[LIKELY], before[LIKELY]
    cap, after = np.full(len(length), cap_mm), before
    for step in range(1, steps + 1):
        length = within(ground.limits, ground.smooth, length - gain * found, cap)
        if step == steps:
            length = (ground.settle if last else ground.for_now)(length)
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


def _drawn_back(
    ground: _Ground, before: Lengths, whole: Lengths, after: Lengths, best: int, bounds: Bounds, rounds: int
) -> Carried:
    """Lengths taken back where relief is too deep or a residual worse, until neither is or the rounds are spent."""
    rings, even = ground.rings, averaged(ground.smooth, whole)
    left = retention(ground.windows, before)
    plain = left.finest
    outward, inward, relief_kept = np.ones((3, len(whole)))
    rounds_worse, rounds_over = np.zeros((2, *before.shape), np.int32)
    length, kept, done = whole, outward, 0
    broken = broken_by(ground.windows, before, after, plain, bounds)
    while done < rounds and broken.any:
        rounds_worse += broken.worse
        rounds_over += broken.over
        shares = drawn(rings, broken, rounds_worse, rounds_over, ground.reach)
        outward, inward = outward * shares[0], inward * shares[1]
        relief_kept = relief_kept * relief_drawn(rings, broken, plain, ground.reach, done)
        level = even + relief_kept * (whole - even)
        kept = np.where(level > 0.0, outward, inward)
        done += 1
        settle = ground.settle if done == rounds else ground.for_now
        length = settle(within(ground.limits, ground.smooth, kept * level, np.inf))
        after = _run(ground.forward, length)
        broken = broken_by(ground.windows, before, after, plain, bounds)
    if done < rounds and length.any():
        # good before the last round: what is told must be true of what can be made
        made = ground.settle(length)
        if not np.array_equal(made, length):
            length, after = made, _run(ground.forward, made)
            broken = broken_by(ground.windows, before, after, plain, bounds)
    areas = ground.smooth.areas_mm2
    return Carried(
        length,
        before,
        after,
        kept,
        relief_kept,
        undone_share=float(areas[kept < 1.0].sum() / areas.sum()),
        bounded_share=float(areas[relief_kept < 1.0].sum() / areas.sum()),
        worse_count=int(np.count_nonzero(broken.worse.any(axis=0))),
        worst_mm=float(broken.worse_by[broken.worse].max(initial=0.0)),
        over_count=int(np.count_nonzero(broken.over.any(axis=0))),
        amplitude_most=_greatest(broken.amplitude[broken.amplitude > plain + UNRAISED]),
        best_step=best,
        rounds=done,
        left_before=left,
        left_after=broken.kept,
    )


def _greatest(values: Lengths) -> float:
    known = values[~np.isnan(values)]
    return float(known.max()) if len(known) else float("nan")
