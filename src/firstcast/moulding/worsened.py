"""Locked rubber of two bodies compared: what a change of the surface made worse, place by place."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from firstcast.moulding.locks import Lock

REACH_MM = 2.0
"""Places of both bodies no farther apart than this, or than the greater one's own size, are the same: its middle moves as it grows."""

BY_A_TENTH = 1.1
"""By which a lock must grow to count as worse: an acceptance lapses by as much."""


class Worse(NamedTuple):
    """A lock that is new, or holds more than before, or links up through a hole now: with what was held there before."""

    lock: Lock
    before_mm3: float
    links_up: bool


LINK_VOXELS = 1.5
"""A link must be thicker than this to count as new: a thread of one voxel comes and goes with how the surface lies in it."""


def worse_locks(
    before: Sequence[Lock], after: Sequence[Lock], *, slack_mm3: float, pitch_mm: float
) -> tuple[Worse, ...]:
    """The locks of a changed body that are worse than before the change, the greatest gain first.

    Parameters
    ----------
    before, after : sequences of Lock
        Read along the same pull at the same pitch, both in figure space.
    slack_mm3 : float
        A lock may hold so much more, and a tenth, before it counts: what voxels tell apart.
    pitch_mm : float

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
        grown = lock.volume_mm3 > BY_A_TENTH * held + slack_mm3
        linked = lock.captive and not was_captive and lock.link_mm > LINK_VOXELS * pitch_mm
        if grown or linked:
            found.append(Worse(lock, held, linked))
    return tuple(sorted(found, key=lambda worse: worse.before_mm3 - worse.lock.volume_mm3))


def _same_place(lock: Lock, other: Lock) -> bool:
    apart = float(np.linalg.norm(np.subtract(lock.place_mm, other.place_mm)))
    return apart <= max(REACH_MM, np.cbrt(max(lock.volume_mm3, other.volume_mm3)))
