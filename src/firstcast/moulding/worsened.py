"""Locked rubber and tongues of two bodies compared: what a change of the surface made worse, place by place."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.spatial import KDTree

from firstcast.moulding.locks import Lock
from firstcast.moulding.tongues_told import TONGUE_RATIO, TongueTold

REACH_MM = 2.0
"""Places of both bodies no farther apart than this, or than the greater one's own size, are the same: its middle moves as it grows."""

BY_A_TENTH = 1.1
"""By which a lock must grow to count as worse: an acceptance lapses by as much."""


class Worse(NamedTuple):
    """A lock that is new, or holds more than before, or links up through a hole now: with what was held there before."""

    lock: Lock
    before_mm3: float
    links_up: bool


KNOWN_PITCHES = 0.5
"""The thickness of a tongue's base is known to so many voxels: it is more slender only beyond what that makes of its ratio."""

NEAR_PITCHES = 2.0
"""A place that lay so near to what is held now is a part of it: its border lies up to a voxel from the surface."""

LINK_VOXELS = 1.5
"""A link must be thicker than this to count as new: a thread of one voxel comes and goes with how the surface lies in it."""


def worse_locks(
    before: Sequence[Lock],
    after: Sequence[Lock],
    *,
    slack_mm3: float,
    least_mm3: float,
    pitch_mm: float,
    used: float = 1.0,
    voxels_of: Callable[[Lock], npt.NDArray[np.float64]] | None = None,
) -> tuple[Worse, ...]:
    """The locks of a changed body that are worse than before the change, the greatest gain first.

    Parameters
    ----------
    before, after : sequences of Lock
        Read along the same pull at the same pitch, both in figure space.
    slack_mm3 : float
        A lock may hold so much more, and a tenth, before it counts: what voxels tell apart.
    least_mm3 : float
        What held less was not listed, before or after: so much may have been where none is listed.
    pitch_mm : float
    used : float
        Share of the tenth and the slack from which it counts.
    voxels_of : callable, optional
        Places (k, 3) of all that a lock of the changed body holds.

    Notes
    -----
    What was several places may now be one, and the other way round: each lock is held against all that was held within
    its reach, and at its own voxels where they are known.
    """
    found = []
    for lock in after:
        mates = [other for other in before if _same_place(lock, other)]
        if voxels_of is not None and _is_worse(lock, mates, (slack_mm3, least_mm3, pitch_mm), used):
            own = KDTree(voxels_of(lock))
            near = [other for other in before if own.query(other.place_mm)[0] <= NEAR_PITCHES * pitch_mm]
            mates += [other for other in near if other not in mates]
        if _is_worse(lock, mates, (slack_mm3, least_mm3, pitch_mm), used):
            held = sum(other.volume_mm3 for other in mates)
            found.append(Worse(lock, held, _links_up(lock, mates, pitch_mm)))
    return tuple(sorted(found, key=lambda worse: worse.before_mm3 - worse.lock.volume_mm3))


def _is_worse(lock: Lock, mates: Sequence[Lock], known: tuple[float, float, float], used: float) -> bool:
    """Whether a lock holds more than all that it was, or links up; `known` are slack, least volume and pitch."""
    slack_mm3, least_mm3, pitch_mm = known
    held = sum(other.volume_mm3 for other in mates) or least_mm3
    return lock.volume_mm3 > let_pass(held, slack_mm3, used) or _links_up(lock, mates, pitch_mm)


def _links_up(lock: Lock, mates: Sequence[Lock], pitch_mm: float) -> bool:
    """Whether a lock is captive by more than a thread where none was."""
    was_captive = any(other.captive for other in mates)
    return lock.captive and not was_captive and lock.link_mm > LINK_VOXELS * pitch_mm


def let_pass(before_mm3: float, slack_mm3: float, used: float = 1.0) -> float:
    """How much a lock may hold that held so much before; a share of the tenth and the slack alone if that is said."""
    return before_mm3 + used * ((BY_A_TENTH - 1.0) * before_mm3 + slack_mm3)


def worse_tongues(
    before: Sequence[TongueTold], after: Sequence[TongueTold], *, pitch_mm: float, used: float = 1.0
) -> tuple[TongueTold, ...]:
    """The tongues of a changed body near which none was as slender before the change.

    Less slender ones than are told were not listed: a new one counts from as much more than that.
    """
    found = []
    for tongue in after:
        near = [other.ratio for other in before if _same_tongue(tongue, other)]
        known = KNOWN_PITCHES * pitch_mm / tongue.base_mm * tongue.ratio
        if tongue.ratio > max(near, default=TONGUE_RATIO) + used * known:
            found.append(tongue)
    return tuple(found)


def _same_tongue(tongue: TongueTold, other: TongueTold) -> bool:
    apart = np.linalg.norm(np.subtract(tongue.place_mm, other.place_mm))
    return bool(apart <= max(tongue.depth_mm, other.depth_mm))


def _same_place(lock: Lock, other: Lock) -> bool:
    apart = float(np.linalg.norm(np.subtract(lock.place_mm, other.place_mm)))
    return apart <= max(REACH_MM, np.cbrt(max(lock.volume_mm3, other.volume_mm3)))
