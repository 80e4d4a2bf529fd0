"""What counts as locked worse than before: more of it, somewhere new, or a link that is there for sure."""

from dataclasses import replace

from firstcast.moulding.locks import LEDGE, Lock
from firstcast.moulding.worsened import worse_locks

PITCH_MM = 0.2
LOCK = Lock(
    LEDGE, captive=False, part="hood", words="under 'hood'", place_mm=(0.0, 0.0, 0.0), volume_mm3=10.0, depth_mm=2.0,
    neck_mm=1.0, wide_mm=1.0, neck_mm2=1.0, section_mm2=1.0, web_mm2=0.0, link_mm=0.0, parted=False, asks=None,
)  # fmt: skip


def worse(after: Lock, *before: Lock):
    return worse_locks(before, [after], slack_mm3=0.3, pitch_mm=PITCH_MM)


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
