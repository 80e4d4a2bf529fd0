"""Locked rubber and tongues of two bodies compared: what a change of the surface made worse, place by place."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

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


RATIO_MORE = 0.5
"""By how much more slender a tongue must have become to be told: thickness is known to half a voxel of two. Chosen, no source."""

LINK_VOXELS = 1.5
"""A link must be thicker than this to count as new: a thread of one voxel comes and goes with how the surface lies in it."""


def worse_locks(
    before: Sequence[Lock], after: Sequence[Lock], *, slack_mm3: float, pitch_mm: float, used: float = 1.0
) -> tuple[Worse, ...]:
    """The locks of a changed body that are worse than before the change, the greatest gain first.

    Parameters
    ----------
    before, after : sequences of Lock
        Read along the same pull at the same pitch, both in figure space.
    slack_mm3 : float
        A lock may hold so much more, and a tenth, before it counts: what voxels tell apart.
    pitch_mm : float
    used : float
        Share of the tenth and the slack from which it counts.

    Notes
    -----
    What was several places may now be one, and the other way round: each lock is held against all that was held within
    its reach.
    """
    found = []
    for lock in after:
        mates = [other for other in before if _same_place(lock, other)]
        held = sum(other.volume_mm3 for other in mates)
        was_captive = any(other.captive for other in mates)
        grown = lock.volume_mm3 > let_pass(held, slack_mm3, used)
        linked = lock.captive and not was_captive and lock.link_mm > LINK_VOXELS * pitch_mm
        if grown or linked:
            found.append(Worse(lock, held, linked))
    return tuple(sorted(found, key=lambda worse: worse.before_mm3 - worse.lock.volume_mm3))


def let_pass(before_mm3: float, slack_mm3: float, used: float = 1.0) -> float:
    """How much a lock may hold that held so much before; a share of the tenth and the slack alone if that is said."""
    return before_mm3 + used * ((BY_A_TENTH - 1.0) * before_mm3 + slack_mm3)


def worse_tongues(
    before: Sequence[TongueTold], after: Sequence[TongueTold], *, used: float = 1.0
) -> tuple[TongueTold, ...]:
    """The tongues of a changed body near which none was as slender before the change.

    Less slender ones than are told were not listed: a new one counts from a full step on.
    """
    found = []
    for tongue in after:
        near = [other.ratio for other in before if _same_tongue(tongue, other)]
        if tongue.ratio > max(near, default=TONGUE_RATIO) + used * RATIO_MORE:
            found.append(tongue)
    return tuple(found)


def _same_tongue(tongue: TongueTold, other: TongueTold) -> bool:
    apart = np.linalg.norm(np.subtract(tongue.place_mm, other.place_mm))
    return bool(apart <= max(tongue.depth_mm, other.depth_mm))


def _same_place(lock: Lock, other: Lock) -> bool:
    apart = float(np.linalg.norm(np.subtract(lock.place_mm, other.place_mm)))
    return apart <= max(REACH_MM, np.cbrt(max(lock.volume_mm3, other.volume_mm3)))
