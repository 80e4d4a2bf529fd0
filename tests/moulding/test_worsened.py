"""What counts as locked worse than before: more of it, somewhere new, or a link that is there for sure."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from firstcast.moulding.locks import LEDGE, Lock
from firstcast.moulding.tongues_told import TongueTold
from firstcast.moulding.worsened import worse_locks, worse_tongues

PITCH_MM = 0.2
LOCK = Lock(
    LEDGE, captive=False, part="hood", words="under 'hood'", place_mm=(0.0, 0.0, 0.0), volume_mm3=10.0, depth_mm=2.0,
    neck_mm=1.0, wide_mm=1.0, neck_mm2=1.0, section_mm2=1.0, web_mm2=0.0, link_mm=0.0, parted=False, asks=None,
)  # fmt: skip


def worse(after: Lock, *before: Lock):
    return worse_locks(before, [after], slack_mm3=0.3, least_mm3=0.5, pitch_mm=PITCH_MM)


def test_a_tenth_and_what_voxels_tell_apart_are_let_pass():
    assert worse(replace(LOCK, volume_mm3=11.2), LOCK) == ()
    (found,) = worse(replace(LOCK, volume_mm3=11.4), LOCK)
    assert found.before_mm3 == 10.0
    assert not found.links_up


def test_a_lock_where_none_was_is_new_and_one_that_was_divided_is_not():
    (found,) = worse(replace(LOCK, place_mm=(9.0, 0.0, 0.0)), LOCK)
    assert found.before_mm3 == 0.0
    halves = [replace(LOCK, volume_mm3=5.0, place_mm=(x, 0.0, 0.0)) for x in (-1.0, 1.0)]
    assert worse(LOCK, *halves) == ()


def test_a_link_of_one_voxel_is_chance_and_a_thicker_one_is_new():
    linked = replace(LOCK, captive=True, web_mm2=0.2, link_mm=PITCH_MM)
    assert worse(linked, LOCK) == ()
    (found,) = worse(replace(linked, link_mm=2 * PITCH_MM), LOCK)
    assert found.links_up
    assert worse(replace(linked, link_mm=2 * PITCH_MM), linked) == ()


def test_where_none_is_listed_as_much_may_have_been_as_is_not_listed():
    """0.5 mm³ and a tenth, and the slack."""
    assert worse(replace(LOCK, volume_mm3=0.84)) == ()
    (found,) = worse(replace(LOCK, volume_mm3=0.86))
    assert found.before_mm3 == 0.0


def test_what_was_two_places_and_hangs_together_now_is_held_against_both():
    """Two places 6 mm apart that a thread of voxels joins: the middle of both is near neither."""
    two = [replace(LOCK, place_mm=(x, 0.0, 0.0)) for x in (-3.0, 3.0)]
    both = replace(LOCK, volume_mm3=20.1)
    line = np.column_stack([np.linspace(-3.2, 3.2, 40), np.zeros((40, 2))])
    given: dict[str, Any] = {"slack_mm3": 0.3, "least_mm3": 0.5, "pitch_mm": PITCH_MM}
    assert len(worse_locks(two, [both], **given)) == 1
    assert worse_locks(two, [both], **given, voxels_of=lambda _: line) == ()
    # of one of them alone it is the more
    (found,) = worse_locks(two, [both], **given, voxels_of=lambda _: line[line[:, 0] > 0.0])
    assert found.before_mm3 == 10.0


@pytest.mark.parametrize(("base_mm", "told_from"), [(0.4, 5.34), (0.8, 4.58), (2.0, 4.22)])
def test_a_tongue_counts_from_what_its_thickness_is_known_to(base_mm, told_from):
    """Half a voxel of 0.2 mm: a ratio is known to r 0.1 / base, so a new one counts where r (1 - 0.1 / base) is over 4."""

    def tongue(ratio: float) -> TongueTold:
        return TongueTold("hood", "under 'hood'", (0.0, 0.0, 0.0), base_mm, ratio * base_mm, 1.0)

    assert told_from == pytest.approx(4.0 / (1.0 - 0.1 / base_mm), abs=0.01)
    assert worse_tongues((), [tongue(told_from - 0.02)], pitch_mm=PITCH_MM) == ()
    assert len(worse_tongues((), [tongue(told_from + 0.02)], pitch_mm=PITCH_MM)) == 1
    assert worse_tongues([tongue(told_from)], [tongue(told_from + 0.02)], pitch_mm=PITCH_MM) == ()
    # from half of it on where half is used
    assert len(worse_tongues((), [tongue(told_from - 0.02)], pitch_mm=PITCH_MM, used=0.5)) == 1
