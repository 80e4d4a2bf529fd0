"""Lengths drawn back where some scenario ends worse than without them, or relief deeper than it may.

Print, mould, cast and paint keep order: a body that holds another holds it after each of them. So what ends too far out
does so for lengths outward about it, and what ends too far in for lengths inward; only those are drawn back. At first
they are shortened about the place alone; where that is not enough they become nothing, a ring farther each round.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.forecast.carry_bounds import Lengths
from firstcast.forecast.retention import ReliefWindow, Retention, averaged, retention
from firstcast.forecast.rings import Rings, eased, least_around, smoothed

SAFE_SHARE = 0.8
"""Of the share that no scenario would end worse by so much is kept, for what is carried beside a place reaches it too."""

GIVEN_UP = 2
"""Rounds in which a place was worse after which nothing is kept about it, in the direction that makes it worse."""

LEVELLED = 3
"""Rounds in which relief was too deep about a place after which lengths are shortened too, for it was not the relief alone."""

LEVEL_SHARE = 0.5
"""Of them so much is kept in each round from then on, over a window: a length that stands out alone is new relief."""

ONE_SIDED = 0.1
"""Share of what makes a place worse that a direction must have to be drawn back."""

MOST_RINGS = 8
"""Rings that a share of relief is spread over at most, however fine the mesh."""

AIM_BELOW = 0.005
"""How far below its bound amplitude is brought in the first round, and as much more in each: the last of it comes slowly."""

UNRAISED = 1e-4
"""Relief that is too deep without carry, and gains no more than this by it, is not carry's doing but rounding."""


class Bounds(NamedTuple):
    """What the result must keep to.

    Attributes
    ----------
    most_ratio : float
        Greatest local amplitude of relief.
    over_mm : float
        Relief whose RMS ends no more than this deeper than it is, is not over it.
    worse_mm : float
        How much worse than without carry a place may end.
    """

    most_ratio: float
    over_mm: float
    worse_mm: float


class Broken(NamedTuple):
    """Where residuals break the bounds.

    Attributes
    ----------
    worse_by : (s, n) float64
        mm, by how much the RMS of the residual over the finest window is greater than without carry.
    share : (s, n) float64
        Share of the movement, 0 to 1, that it would end worse by no more than is allowed.
    outside, inside : (s, n) bool
        Whether what ends worse there ends too far out, and too far in.
    worse : (s, n) bool
    kept : Retention
        What is left of the relief in the windows in which amplitude is bounded.
    most : (n,) float64
        The bound on it.
    over : (s, n) bool
        Whether relief is deeper than it may be.
    """

    worse_by: Lengths
    share: Lengths
    outside: npt.NDArray[np.bool_]
    inside: npt.NDArray[np.bool_]
    worse: npt.NDArray[np.bool_]
    kept: Retention
    most: Lengths
    over: npt.NDArray[np.bool_]

    @property
    def amplitude(self) -> Lengths:
        """(s, n) share of the relief that is left at the finest scale; NaN where there is none."""
        return self.kept.finest

    @property
    def any(self) -> bool:
        """Whether any bound is broken anywhere."""
        return bool(self.worse.any() or self.over.any())


def broken_by(
    windows: Sequence[ReliefWindow], before: Lengths, after: Lengths, plain: Lengths, bounds: Bounds
) -> Broken:
    """Where residuals `after` (s, n) break the bounds, held against those without carry, `before`.

    They are held against one another over the finest window about each vertex, not vertex by vertex. `plain` (s, n) is the
    amplitude without carry.

    Notes
    -----
    With a share k of the movement a residual is about e0 + k (e1 - e0); its mean square in the window is no greater than
    that of e0 up to k = 2 (e0·e0 - e0·e1) / |e1 - e0|².
    """
    moved = after - before
    harm = np.maximum(after**2 - before**2, 0.0)
    rows = [
        before**2,
        before * moved,
        moved**2,
        np.where(moved > 0, harm, 0.0),
        np.where(moved < 0, harm, 0.0),
    ]
    square, along, own, out, within = np.split(averaged(windows[0].window, np.concatenate(rows).T).T, 5)
    had = np.sqrt(np.maximum(square, 0.0))
    worse_by = np.sqrt(np.maximum(square + 2.0 * along + own, 0.0)) - had
    share = np.ones_like(own)
    np.divide(-2.0 * along + 2.0 * bounds.worse_mm * had, own, out=share, where=own > 1e-12)
    least = ONE_SIDED * (out + within)
    found = retention(windows, after)
    most = _most_amplitude(found, bounds)
    over = (found.finest > most) & (found.finest > plain + UNRAISED)
    return Broken(
        worse_by,
        np.clip(share, 0.0, 1.0),
        out > least,
        within > least,
        worse_by > bounds.worse_mm,
        found,
        most,
        over,
    )


def _most_amplitude(found: Retention, bounds: Bounds) -> Lengths:
    """(n,) the most that may be left of relief at the finest scale that is read."""
    read = ~np.isnan(found.share[0])
    relief_mm = np.take_along_axis(found.relief_mm, read.argmax(axis=0)[None], axis=0)[0]
    relief_mm = np.where(read.any(axis=0), relief_mm, np.inf)
    return np.maximum(bounds.most_ratio, 1.0 + bounds.over_mm / relief_mm)


def drawn(
    rings: Rings,
    broken: Broken,
    rounds_worse: npt.NDArray[np.integer],
    rounds_over: npt.NDArray[np.integer],
    reach: int,
) -> tuple[Lengths, Lengths]:
    """Share (n,) of lengths outward, and inward, to keep.

    Parameters
    ----------
    rings : Rings
    broken : Broken
    rounds_worse, rounds_over : (s, n) int
        In how many rounds each place was worse, and its relief too deep, this one among them.
    reach : int
        Rings from the middle of the finest window to its rim.
    """
    kept = np.where(rounds_worse >= GIVEN_UP, 0.0, SAFE_SHARE * broken.share)
    level = np.where((broken.over & (rounds_over > LEVELLED)).any(axis=0), LEVEL_SHARE, 1.0)
    levelled = smoothed(rings, least_around(rings, level, reach), reach)
    outward, inward = (
        np.minimum(levelled, _about(rings, np.where(broken.worse & way, kept, 1.0), rounds_worse))
        for way in (broken.outside, broken.inside)
    )
    return outward, inward


def _about(rings: Rings, asked: Lengths, reach: npt.NDArray[np.integer]) -> Lengths:
    """Shares (n,) no greater than those asked (s, n), that rise from there over so many rings."""
    share = np.ones(asked.shape[1])
    for count in np.unique(reach[asked < 1.0]):
        here = np.where(reach == count, asked, 1.0).min(axis=0)
        share = np.minimum(share, eased(rings, here, 1.0 / count, int(count)))
    return share


def relief_drawn(rings: Rings, broken: Broken, plain: Lengths, reach: int, done: int) -> Lengths:
    """Share (n,) of the carried relief to keep, spread over `reach` rings and smoothed over as many.

    That at which the strongest scenario's amplitude would be a little below its bound, were it linear; `done` rounds before.
    """
    over, raised = broken.over, broken.amplitude - plain
    aim = np.broadcast_to(broken.most - AIM_BELOW * (1 + done), raised.shape)
    share = np.ones_like(raised)
    share[over] = (aim - plain)[over] / raised[over]
    share = np.clip(share.min(axis=0), 0.0, 1.0)
    return smoothed(rings, least_around(rings, share, reach), reach)


def rings_across(points: Points, triangles: Triangles, size_mm: float) -> int:
    """How many rings of a mesh's middle edge reach from the middle of a window to its rim."""
    edge = float(np.median(np.linalg.norm(points[triangles[:, 0]] - points[triangles[:, 1]], axis=1)))
    return int(np.clip(np.ceil(size_mm / 2.0 / edge), 1, MOST_RINGS))
