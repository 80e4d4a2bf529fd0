"""Cuts and joints in the job file: what they resolve to, and what is refused."""

import pytest

from firstcast.errors import JobError
from firstcast.geometry.pieces import JointWanted, Side
from watchman_job import GOOD, PARTS, changed, read

SPLIT = changed(
    'parts = ["body", "hem*"]\n',
    """parts = ["body", "hem*"]
keep = { place_mm = [1, 2, 20], toward = [0, 0, -2] }

[[piece]]
name = "head"
parts = ["body"]
keep = { place_mm = [0, 0, 20], toward = [0, 0, 1] }
""",
)
JOINT = '\n[[joint]]\nname = "neck"\npeg = "body"\nsocket = "head"\n'


def test_two_sides_of_one_cut_share_their_parts(folder):
    body, head, arm = read(folder, SPLIT).pieces(PARTS)
    assert "body" in body.parts
    assert head.parts == ("body",)
    assert head.keep == Side((0, 0, 20), (0, 0, 1))
    assert arm.keep is None


@pytest.mark.parametrize(
    "other",
    [
        "place_mm = [0, 0, 20.1], toward = [0, 0, 1]",  # another plane
        "place_mm = [0, 0, 20], toward = [0, 0, -1]",  # the same side
        "place_mm = [0, 0, 20], toward = [0, 0.01, 1]",  # aslant
    ],
)
def test_other_cuts_do_not(folder, other):
    job = read(folder, SPLIT.replace("place_mm = [0, 0, 20], toward = [0, 0, 1]", other))
    with pytest.raises(JobError, match=r"part 'body' is in piece 'body' already"):
        job.pieces(PARTS)


def test_no_part_is_in_three_pieces(folder):
    text = SPLIT.replace(
        'name = "arm"\nparts = ["lantern/*"]',
        'name = "arm"\nparts = ["body"]\nkeep = { place_mm = [0, 0, 20], toward = [0, 0, 1] }',
    )
    with pytest.raises(JobError, match=r"part 'body' is in piece 'head' already"):
        read(folder, text).pieces(PARTS)


def test_a_joint_is_resolved(folder):
    job = read(folder, SPLIT + JOINT)
    assert job.joints == (JointWanted("neck", "body", "head"),)
    placed = (
        SPLIT
        + JOINT
        + 'place_mm = [1, 2, 3]\ntoward = [0, 1, 0]\nkind = "key"\nwidth_mm = 1\nlength_mm = 2\n'
    )
    found = read(folder, placed).joints[0]
    assert (found.place_mm, found.toward, found.kind, found.length_mm) == ((1, 2, 3), (0, 1, 0), "key", 2)


@pytest.mark.parametrize(
    ("addition", "where", "what"),
    [
        (JOINT.replace('"head"', '"haed"'), "joint[1].socket", "no piece is named 'haed'"),
        (JOINT.replace('"head"', '"body"'), "joint[1]", "peg and socket name the same piece"),
        (JOINT + "place_mm = [0, 0, 0]\n", "joint[1]", "place_mm and toward go together"),
        (JOINT + "length_mm = 2\n", "joint[1]", "a round peg has no length_mm"),
        (JOINT + 'kind = "key"\nlength_mm = 2\n', "joint[1]", "width_mm and length_mm go together"),
        (JOINT + "place_mm = [0, 0, 0]\ntoward = [0, 0, 0]\n", "joint[1].toward", "it has no direction"),
        (JOINT + "width_mm = 0\n", "joint[1].width_mm", "0 is not above 0"),
        (JOINT + 'kind = "dowel"\n', "joint[1].kind", "'dowel' is not one of the words it takes"),
        (JOINT + JOINT, "joint[2].name", "'neck' is there twice"),
        (
            JOINT + JOINT.replace('"neck"', '"nape"'),
            "joint[2]",
            "'body' and 'head' are joined by 'neck' already",
        ),
    ],
)
def test_joints_that_make_no_sense_are_refused(folder, addition, where, what):
    with pytest.raises(JobError) as refusal:
        read(folder, SPLIT + addition)
    assert refusal.value.where == where
    assert what in refusal.value.what
    assert refusal.value.mend


def test_a_joint_between_uncut_pieces_wants_a_place(folder):
    addition = '\n[[joint]]\nname = "wrist"\npeg = "arm"\nsocket = "body"\n'
    with pytest.raises(JobError, match="neither 'arm' nor 'body' is cut") as refusal:
        read(folder, GOOD + addition)
    assert refusal.value.where == "joint[1]"
    assert read(folder, GOOD + addition + "place_mm = [1, 1, 1]\ntoward = [1, 0, 0]\n").joints
    # cut on one side is enough
    assert read(folder, SPLIT + addition).joints
