"""What a job file resolves to: pieces, settings and their exceptions, zones, acceptances."""

import pytest

from firstcast.errors import JobError
from firstcast.findings import Finding
from firstcast.geometry.pieces import Piece
from firstcast.geometry.zones import Ball, Box, Outline
from firstcast.io.job import Acceptance, accepted, part_name, read_job
from firstcast.vocabulary import ProcessKind, Verdict, ZoneMeaning
from watchman_job import GOOD, PARTS, STATIONS, IntakeLike, changed, read


def test_a_good_job_is_resolved(folder):
    job = read(folder)
    assert (job.name, job.note, job.wanted) == ("watchman", "second try", 200)
    assert job.path == folder / "job.toml"
    assert job.folder == folder
    assert [f.name for f in job.part_files] == [
        "body.stl",
        "hem_back.ply",
        "hem_front.stl",
        "lantern.3mf",
        "ruler.obj",
    ]
    assert all(f.is_absolute() and f.is_file() for f in job.part_files)
    assert job.settings["plan"].kind is ProcessKind.SPIN_DISC
    assert job.acceptances == (Acceptance("plan/own-piece/1a2b3c", "it is glued", 0.5),)
    assert job.mends[0].reason == "as proposed"


def test_pieces_leave_the_ruler_out_and_keep_the_order_of_the_job_file(folder):
    job = read(
        folder, changed('["body", "hem*"]', '["hem*", "body", "r*"]').replace("[size]", "[size]\nup = 'y'")
    )
    with pytest.raises(JobError, match="'r\\*' is the ruler"):
        job.pieces(PARTS)
    job = read(folder, changed('["body", "hem*"]', '["hem*", "body"]'))
    body, arm = job.pieces(PARTS)
    assert body == Piece("body", ("hem_front", "hem_back", "body"))
    assert arm == Piece("arm", ("lantern/frame", "lantern/flame"))
    assert job.is_ruler("ruler")


def test_a_glob_over_everything_leaves_the_ruler_out(folder):
    text = changed('["body", "hem*"]', '["[bh]*"]')
    assert read(folder, text).pieces(PARTS)[0].parts == ("body", "hem_front", "hem_back")
    one = text.replace('[[piece]]\nname = "arm"\nparts = ["lantern/*"]', "").replace("[bh]*", "*")
    one = one.replace('[allow.piece."arm"]', "[allow]")
    assert "ruler" not in read(folder, one).pieces(PARTS)[0].parts


def test_later_exceptions_win_and_others_take_the_table(folder):
    job = read(folder)
    assert job.settings_for("intake", part="body").sheet_thickness_mm == 0.6
    assert job.settings_for("intake", part="hem_front").sheet_thickness_mm == 0.4
    assert job.settings_for("intake", part="hem_back").sheet_thickness_mm == 0.9
    assert {job.settings_for("intake", part=p).close_holes_mm for p in PARTS} == {0.5}
    assert job.settings_for("allow", piece="arm").offset_mm == 0.02
    assert job.settings_for("allow", piece="body").offset_mm == 0.0
    assert job.settings_for("allow").offset_mm == 0.0


def test_tables_may_be_left_out(folder):
    text = '[job]\nname = "a"\n[folders]\nparts = "../sculpture"\n[[piece]]\nname = "a"\nparts = ["body"]\n'
    job = read(folder, text)
    assert job.settings["intake"] == IntakeLike()
    assert (job.wanted, job.zones, job.exceptions) == (1, (), ())


def test_a_byte_order_mark_is_no_fault(folder):
    assert read(folder, "\ufeff" + GOOD).name == "watchman"


def test_the_job_file_itself_can_be_named(folder):
    read(folder)
    other = folder / "other.toml"
    other.write_text(GOOD.replace("watchman", "other"))
    assert read_job(other, STATIONS).name == "other"


def test_zones_by_each_shape(folder):
    text = (
        GOOD
        + """
[[zone]]
name = "eyes"
meaning = "no carry"
part = "body"
box = { low_mm = [0, 0, 0], high_mm = [1, 1, 1] }
[[zone]]
name = "hem"
meaning = "no change"
part = "hem*"
[[zone]]
name = "back"
meaning = "precious"
outline = { axis = "y", spots_mm = [[0, 0], [5, 0], [5, 9]], from_mm = 2 }
"""
    )
    face, eyes, hem, back = read(folder, text).zones
    assert face.shape == Ball((0.0, 1.0, 50.0), 4.0)
    assert (eyes.meaning, eyes.part, eyes.shape) == (
        ZoneMeaning.NO_CARRY,
        "body",
        Box((0.0,) * 3, (1.0,) * 3),
    )
    assert (hem.part, hem.shape) == ("hem*", None)
    assert back.shape == Outline("y", ((0.0, 0.0), (5.0, 0.0), (5.0, 9.0)), 2.0, float("inf"))


def test_a_part_named_twice_in_its_piece_is_taken_once(folder):
    job = read(folder, changed('["body", "hem*"]', '["hem_back", "body", "*hem*"]'))
    assert job.pieces(PARTS)[0].parts == ("hem_back", "body", "hem_front")


def test_part_names_are_the_files_or_the_objects(tmp_path):
    assert part_name(tmp_path / "a.b.stl", "solid", 1) == "a.b"
    assert part_name(tmp_path / "lantern.3mf", "flame", 2) == "lantern/flame"


def test_acceptances_mark_findings_until_they_worsen():
    finding = Finding("plan", "own-piece", Verdict.STOP, "hem", "thin", "mend", measured=0.5)
    other = Finding("plan", "own-piece", Verdict.STOP, "arm", "thin", "mend", measured=0.5)
    marked = accepted([finding, other], [Acceptance(finding.id, "glued", 0.5)])
    assert [f.accepted for f in marked] == ["glued", ""]
    assert accepted([finding], [Acceptance(finding.id, "glued", 0.6)])[0].stands
    assert not accepted([finding], [Acceptance(finding.id, "glued", None)])[0].stands
