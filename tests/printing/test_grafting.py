"""Limbs taken from one tree and put to another: nothing is lost, and what is left is a tree."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_posts import contacts_at
from test_settling import fork, stand_of

from firstcast.printing.exchanging import Exchange
from firstcast.printing.grafting import bridged, grafts, limbs_at, on_a_foot, put_on, straightened, without
from firstcast.printing.holding import pulling
from firstcast.printing.settled_trees import groups_of
from firstcast.printing.settling import Settling
from firstcast.printing.skeletons import Skeleton, ways_of
from firstcast.printing.ways import FOOT, HEAD, JOINT, TIP

TIPS = [[-2.0, 0.0, 12.0], [2.0, 0.0, 12.0], [0.0, 2.0, 12.0]]


def three() -> Skeleton:
    return fork(TIPS, [0.0, 0.5, 6.0], [0.0, 0.5, 0.0])


def is_a_tree(tree: Skeleton) -> bool:
    count = len(tree.kinds)
    assert tree.down[-1] == -1
    assert (tree.down[:-1] > np.arange(count - 1)).all()
    assert (tree.down[:-1] < count).all()
    assert tree.kinds[-1] == FOOT
    assert all(
        (len(radii) > 0) == (below >= 0) for radii, below in zip(tree.radii_mm, tree.down, strict=True)
    )
    ended = np.setdiff1d(np.arange(count), tree.down)
    return bool((tree.kinds[ended] == TIP).all())


def test_what_is_taken_and_what_is_left_have_all_tips_between_them():
    tree = three()
    head = int(np.flatnonzero(tree.kinds == HEAD)[0])
    limbs, rest = limbs_at(tree, head), without(tree, head)
    assert rest is not None
    assert limbs.tips == 1
    assert is_a_tree(rest)
    assert sorted([*limbs.part.rows[limbs.part.rows >= 0], *rest.rows[rest.rows >= 0]]) == [0, 1, 2]
    assert np.array_equal(limbs.root, tree.places[head])


def test_a_tree_without_its_only_tip_is_none():
    alone = fork([[0.0, 0.0, 12.0]], [0.0, 0.0, 6.0], [0.0, 0.0, 0.0])
    assert without(alone, 1) is None


@given(st.floats(0.05, 0.95), st.integers(0, 2))
@settings(max_examples=30, deadline=None)
def test_limbs_put_to_a_post_split_it_there(share, number):
    tree = three()
    heads = np.flatnonzero(tree.kinds == HEAD)
    limbs, rest = limbs_at(tree, int(heads[number])), without(tree, int(heads[number]))
    assert rest is not None
    trunk = len(rest.kinds) - 2
    spot = rest.places[trunk] * (1.0 - share) + rest.places[-1] * share
    made = put_on(rest, trunk, spot, limbs)
    assert is_a_tree(made)
    assert sorted(made.rows[made.rows >= 0]) == [0, 1, 2]
    assert len(made.kinds) == len(tree.kinds) + 1
    assert (made.places == spot).all(axis=1).any()
    # the same posts, but for the run that is new
    assert ways_of(made)[0].lengths_mm() == pytest.approx(
        ways_of(rest)[0].lengths_mm() + 1.6 + np.linalg.norm(limbs.root - spot), rel=1e-9
    )


def test_limbs_put_to_a_joint_add_none():
    tree = three()
    head = int(np.flatnonzero(tree.kinds == HEAD)[2])
    limbs, rest = limbs_at(tree, head), without(tree, head)
    assert rest is not None
    joint = int(np.flatnonzero(rest.kinds == JOINT)[0])
    limb = int(rest.above(joint)[0])
    made = put_on(rest, limb, rest.places[joint], limbs)
    assert is_a_tree(made)
    assert len(made.kinds) == len(tree.kinds)


def test_limbs_on_a_foot_of_their_own_are_a_tree():
    tree = three()
    limbs = limbs_at(tree, int(np.flatnonzero(tree.kinds == HEAD)[0]))
    own = on_a_foot(limbs, limbs.root * [1.0, 1.0, 0.0], 0.25)
    assert is_a_tree(own)
    assert own.kinds.tolist() == [TIP, HEAD, FOOT]


def test_a_joint_on_a_straight_post_goes_and_a_bend_stays():
    tree = fork([[0.0, 0.0, 12.0]], [0.0, 0.0, 6.0], [0.0, 0.0, 0.0])
    assert straightened(tree).kinds.tolist() == [TIP, HEAD, FOOT]
    bent = fork([[0.0, 0.0, 12.0]], [2.0, 0.0, 6.0], [0.0, 0.0, 0.0])
    assert straightened(bent).kinds.tolist() == [TIP, HEAD, JOINT, FOOT]
    assert bridged(bent, 2).down.tolist() == [1, 2, -1]


def test_grafts_are_heads_and_joints():
    tree = three()
    assert set(tree.kinds[grafts(tree)].tolist()) == {HEAD, JOINT}


def test_a_tip_that_hangs_far_off_its_tree_goes_to_the_one_beside_it():
    """Two trees, and a tip of the one that stands right over the other: given away, and all take less."""
    far = fork([[-5.0, 0.0, 12.0], [4.5, 0.0, 12.0]], [-3.0, 0.0, 4.0], [-3.0, 0.0, 0.0])
    near = fork([[5.0, 0.0, 12.0], [6.0, 1.0, 12.0]], [5.4, 0.3, 8.0], [5.4, 0.3, 0.0])
    near = Skeleton(
        near.places, near.kinds, near.down, np.where(near.rows >= 0, near.rows + 2, -1), near.radii_mm
    )
    contacts = contacts_at([[-5.0, 0.0, 12.0], [4.5, 0.0, 12.0], [5.0, 0.0, 12.0], [6.0, 1.0, 12.0]])
    loads = np.full(4, 0.05)
    stand = stand_of(contacts, pulling(np.column_stack([loads, *np.diag(loads)])), 12.0)
    before = [Settling.of(stand, far), Settling.of(stand, near)]
    price = sum(tree.price for tree in before)
    done = [tree.skeleton() for tree in Exchange(stand, [*before]).run()]
    after = [Settling.of(stand, tree) for tree in done]
    assert sum(tree.price for tree in after) < price - 1.0
    assert all(is_a_tree(tree) for tree in done)
    assert sorted(np.concatenate([tree.rows[tree.rows >= 0] for tree in done])) == [0, 1, 2, 3]
    together = [set(tree.rows[tree.rows >= 0].tolist()) for tree in done]
    assert not any({0, 1} <= mine for mine in together)


def test_trees_with_tips_between_them_are_weighed_together():
    # 7 and 8 gave one another a tip, 9 was cut in two, 4 went on as it was
    was = {0: 7, 1: 7, 2: 8, 3: 8, 4: 9, 5: 9, 6: 4}
    came = {0: 1, 1: 2, 2: 2, 3: 2, 4: 5, 5: 6, 6: 3}
    assert sorted(map(sorted, (roots for _, roots in groups_of(was, came)))) == [[4], [7, 8], [9]]
    assert sorted(map(sorted, (ends for ends, _ in groups_of(was, came)))) == [[1, 2], [3], [5, 6]]
