"""The job file: what it resolves to, and every way in which it can be wrong."""

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field

from firstcast.errors import JobError
from firstcast.findings import Finding
from firstcast.geometry.pieces import Piece
from firstcast.geometry.zones import Ball, Box, Outline
from firstcast.io._job_errors import dotted
from firstcast.io.job import Acceptance, accepted, part_name, read_job
from firstcast.stations import allow, plan, size
from firstcast.stations.contract import StationSettings
from firstcast.vocabulary import ProcessKind, Verdict, ZoneMeaning


class IntakeLike(StationSettings):
    """A station's settings as an example."""

    sheet_thickness_mm: float = Field(default=0.6, gt=0)
    close_holes_mm: float = 0.8
    rounds: int = 3


STATIONS = {
    "size": size.Settings,
    "intake": IntakeLike,
    "plan": plan.Settings,
    "allow": allow.Settings,
}

GOOD = """
[job]
name = "watchman"
note = "second try"
wanted = 200

[folders]
parts = "../sculpture"

[[piece]]
name = "body"
parts = ["body", "hem*"]

[[piece]]
name = "arm"
parts = ["lantern/*"]

[size]
total_height_mm = 54
ruler = { part = "ruler", height_mm = 30 }

[intake]
close_holes_mm = 0.5
[intake.part."hem*"]
sheet_thickness_mm = 0.4
[intake.part."hem_back"]
sheet_thickness_mm = 0.9

[process]
kind = "spin-disc"
cast = "tin-lead-free"
[process.override.resin]
shrink_xy_ratio = { likely = 0.004, high = 0.005 }

[allow.piece."arm"]
offset_mm = 0.02

[[zone]]
name = "face"
meaning = "precious"
ball = { centre_mm = [0, 1, 50.0], radius_mm = 4 }

[[accept]]
id = "plan/own-piece/1a2b3c"
reason = "it is glued"
measured = 0.5

[[mend]]
id = "plan/own-piece/1a2b3c"
reason = "as proposed"
"""
FILES = ("body.stl", "hem_front.stl", "hem_back.ply", "lantern.3mf", "ruler.obj", "notes.txt")
PARTS = ["body", "hem_front", "hem_back", "lantern/frame", "lantern/flame", "ruler"]


@pytest.fixture
def folder(tmp_path):
    sculpture = tmp_path / "sculpture"
    sculpture.mkdir()
    for name in FILES:
        (sculpture / name).write_text("x")
    (tmp_path / "job").mkdir()
    return tmp_path / "job"


def read(folder, text=GOOD):
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return read_job(folder, STATIONS)


def refused(folder, text):
    with pytest.raises(JobError) as refusal:
        read(folder, text)
    error = refusal.value
    assert error.what
    assert error.where
    assert error.mend.endswith((".", "?")), error.mend
    assert str(error) == f"{error.where}: {error.what}. {error.mend}"
    return error


def changed(old, new):
    assert GOOD.count(old) == 1, old
    return GOOD.replace(old, new)


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


FAULTS = [
    # old, new, where, what, mend
    ("wanted = 200", "wnated = 200", "job.wnated", "not known", "Did you mean 'wanted'?"),
    ("wanted = 200", "wanted = 0", "job.wanted", "greater than or equal to 1", "Correct"),
    ("wanted = 200", "wanted = 2.5", "job.wanted", "2.5", "whole number"),
    ("wanted = 200", "wanted = true", "job.wanted", "True", "whole number"),
    ('name = "watchman"', "", "job.name", "missing", "Add"),
    ('name = "watchman"', 'name = ""', "job.name", "empty", ""),
    ('name = "watchman"', 'name = " a"', "job.name", "spaces", ""),
    ('name = "watchman"', 'name = "a/b"', "job.name", "file name", ""),
    ('name = "watchman"', 'name = ".."', "job.name", "file name", ""),
    ('note = "second try"', "note = 3", "job.note", "3", "quotes"),
    ("[folders]", "[folder]", "folder", "table is not known", "Did you mean 'folders'?"),
    ('parts = "../sculpture"', 'parts = "../scul"', "folders.parts", "no folder", "Name the folder"),
    ('parts = "../sculpture"', 'parts = "."', "folders.parts", "no mesh file", "Export"),
    ('parts = "../sculpture"', "", "folders.parts", "missing", "Add"),
    ('["body", "hem*"]', "[]", "piece[1].parts", "at least 1", ""),
    ('["body", "hem*"]', '"body"', "piece[1].parts", "'body'", "list"),
    ('["body", "hem*"]', '["body", "ham*"]', "piece[1].parts[2]", "'ham*'", "Use one of"),
    ('["body", "hem*"]', '["bodi"]', "piece[1].parts[1]", "'bodi'", "Did you mean 'body'?"),
    ('["body", "hem*"]', '["body.stl"]', "piece[1].parts[1]", "'body.stl'", "suffix"),
    ('["body", "hem*"]', '["../body"]', "piece[1].parts[1]", "is a path", "FILE"),
    ('["body", "hem*"]', '["/tmp/body"]', "piece[1].parts[1]", "is a path", "FILE"),
    ('["body", "hem*"]', '["lantern/../body"]', "piece[1].parts[1]", "is a path", "FILE"),
    ('name = "arm"', 'name = "Body"', "piece[2].name", "twice", ""),
    ("total_height_mm = 54", "total_height_mm = -54", "size.total_height_mm", "-54", ""),
    ("total_height_mm = 54", "total_height_mm = inf", "size.total_height_mm", "finite", "finite"),
    ("total_height_mm = 54", 'total_height_mm = "54"', "size.total_height_mm", "'54'", "number"),
    (
        "total_height_mm = 54",
        "total_heigth_mm = 54",
        "size.total_heigth_mm",
        "not known",
        "'total_height_mm'",
    ),
    ("height_mm = 30 }", "hight_mm = 30 }", "size.ruler.hight_mm", "not known", "Did you mean 'height_mm'?"),
    (", height_mm = 30 }", " }", "size.ruler", "give either height_mm or width_mm", ""),
    ("total_height_mm = 54", 'up = "w"', "size.up", "'w'", "Use one of"),
    ("[size]", "[sise]", "sise", "not known", "Did you mean 'size'?"),
    ("[intake]", "intake = 3\n[x]", "x", "not known", ""),
    ('kind = "spin-disc"', 'kind = "spindisc"', "process.kind", "'spindisc'", "Did you mean 'spin-disc'?"),
    ('cast = "tin-lead-free"', 'cast = "tin"', "process.cast", "no cast 'tin'", "tin-lead-free"),
    ("likely = 0.004", "likely = 0.04", "process.override.resin.shrink_xy_ratio", "no figure", "low"),
    ("shrink_xy_ratio =", "shrink_yx_ratio =", "process.override.resin", "no figure", "'shrink_xy_ratio'"),
    ("[process.override.resin]", "[process.override.raisin]", "process.override", "no table", "'resin'"),
    (
        "sheet_thickness_mm = 0.4",
        "sheet_thickness = 0.4",
        'intake.part."hem*".sheet_thickness',
        "not known",
        "_mm",
    ),
    ("sheet_thickness_mm = 0.4", "sheet_thickness_mm = 0", 'intake.part."hem*".sheet_thickness_mm', "0", ""),
    ('[intake.part."hem*"]', '[intake.part."him"]', "intake.part.him", "no part", "Use one of"),
    ('[intake.part."hem*"]', "[intake.part]", "intake.part.sheet_thickness_mm", "under a name", "NAME"),
    ('[allow.piece."arm"]', '[allow.piece."leg"]', "allow.piece.leg", "no piece", "arm, body"),
    (
        'meaning = "precious"',
        'meaning = "precius"',
        "zone[1].meaning",
        "'precius'",
        "Did you mean 'precious'?",
    ),
    ("radius_mm = 4 }", "radius_mm = 0 }", "zone[1].ball.radius_mm", "0", ""),
    ("[0, 1, 50.0]", "[0, 1]", "zone[1].ball.centre_mm[3]", "missing", ""),
    ("ball = {", "part = 'nose'\nball = {", "zone[1].part", "'nose'", "Use one of"),
    ("ball = { centre_mm = [0, 1, 50.0], radius_mm = 4 }", "", "zone[1]", "give a part", ""),
    ("measured = 0.5", 'measured = "0.5"', "accept[1].measured", "0.5", "number"),
    ('reason = "it is glued"', "", "accept[1].reason", "missing", "Add"),
    ('reason = "it is glued"', 'reason = ""', "accept[1].reason", "empty", ""),
    ("[[mend]]", "[[accept]]", "accept[2].id", "twice", ""),
    ("[[mend]]", "[mend]", "mend", "array", "list"),
]


@pytest.mark.parametrize(
    ("old", "new", "where", "what", "mend"), FAULTS, ids=[f"{f[2]}-{f[3]}" for f in FAULTS]
)
def test_each_fault_names_its_key_what_is_wrong_and_the_mend(folder, old, new, where, what, mend):
    if GOOD.count(old) > 1:
        text = GOOD.replace(old, new, 1)
    else:
        text = changed(old, new)
    error = refused(folder, text)
    assert error.where == where
    assert what in error.what
    assert mend in error.mend


@pytest.mark.parametrize(
    ("table", "where", "mend"),
    [
        ("intake = 3", "intake", "Write [intake]"),
        ("intake.part = 3", "intake.part", 'Write [intake.part."NAME"]'),
        ("intake.part.body = 3", "intake.part.body", "Use one of: close_holes_mm"),
        (
            "intake.part.close_holes_mm = 3",
            "intake.part.close_holes_mm",
            'Write it below [intake.part."NAME"]',
        ),
        ("intake.part = { body = { rounds = 1.5 } }", "intake.part.body.rounds", "whole number"),
    ],
)
def test_a_table_that_is_no_table_is_refused(folder, table, where, mend):
    head, tail = GOOD.split("[intake]")
    error = refused(folder, f"{table}\n{head}\n[process]{tail.split('[process]')[1]}")
    assert error.where == where
    assert mend in error.mend


@pytest.mark.parametrize(
    ("zone", "where", "what"),
    [
        ("box = { low_mm = [0, 0, 2], high_mm = [1, 1, 1] }", "zone[2].box", "low_mm is above high_mm"),
        ('outline = { axis = "z", spots_mm = [[0, 0], [1, 1]] }', "zone[2].outline.spots_mm", "at least 3"),
        (
            'outline = { axis = "z", spots_mm = [[0,0],[1,1],[0,1]], from_mm = 2, to_mm = 1 }',
            "zone[2].outline",
            "from_mm is above to_mm",
        ),
        ('outline = { axis = "w", spots_mm = [[0,0],[1,1],[0,1]] }', "zone[2].outline.axis", "'w'"),
        (
            "ball = { centre_mm = [0, 1, 2], radius_mm = 4 }\nbox = { low_mm = [0, 0, 0], high_mm = [1, 1, 1] }",
            "zone[2]",
            "one of ball, box and outline",
        ),
    ],
)
def test_zones_that_are_no_places_are_refused(folder, zone, where, what):
    error = refused(folder, f'{GOOD}\n[[zone]]\nname = "b"\nmeaning = "precious"\n{zone}\n')
    assert error.where == where
    assert what in error.what


def test_two_zones_of_one_name_are_refused(folder):
    error = refused(folder, f'{GOOD}\n[[zone]]\nname = "face"\nmeaning = "precious"\npart = "body"\n')
    assert error.where == "zone[2].name"


def test_further_faults_are_named_too(folder):
    error = refused(folder, changed("wanted = 200", "wanted = 0\nwnated = 3"))
    assert error.where == "job.wanted"
    assert "Also look at: job.wnated." in error.mend


def test_files_that_are_no_job_are_refused(folder, tmp_path):
    with pytest.raises(JobError, match=r"no job file job\.toml"):
        read_job(folder, STATIONS)
    with pytest.raises(JobError, match=r"no job file away\.toml"):
        read_job(tmp_path / "away.toml", STATIONS)
    assert "not TOML" in refused(folder, "[job\n").what
    assert "line 3" in refused(folder, '[job]\nname = "a"\nname = "b"\n').what
    (folder / "job.toml").write_bytes(b"[job]\nname = '\xff'\n")
    with pytest.raises(JobError, match=r"byte 14 is not UTF-8\. Save"):
        read_job(folder, STATIONS)
    (folder / "job.toml").write_bytes(b"#" * 1_000_001)
    with pytest.raises(JobError, match="more than 1000000 bytes"):
        read_job(folder, STATIONS)
    (folder / "below").mkdir()
    (folder / "below" / "job.toml").mkdir()
    with pytest.raises(JobError, match="can't be read"):
        read_job(folder / "below", STATIONS)


def test_two_files_of_one_name_are_refused(folder):
    (folder.parent / "sculpture" / "body.obj").write_text("x")
    error = refused(folder, GOOD)
    assert error.where == "folders.parts"
    assert "body.obj and body.stl" in error.what


def test_links_out_of_the_named_folders_are_refused(folder, tmp_path):
    away = tmp_path / "away"
    away.mkdir()
    (away / "secret.stl").write_text("x")
    link = tmp_path / "sculpture" / "cape.stl"
    os.symlink(away / "secret.stl", link)
    error = refused(folder, GOOD)
    assert "cape.stl is a link" in error.what
    link.unlink()
    os.symlink(tmp_path / "sculpture" / "body.stl", link)
    assert "cape" in [f.stem for f in read(folder).part_files]


def test_hidden_files_and_folders_are_no_parts(folder, tmp_path):
    (tmp_path / "sculpture" / ".body.stl").write_text("x")
    (tmp_path / "sculpture" / "old.stl").mkdir()
    assert {f.stem for f in read(folder).part_files} == {"body", "hem_front", "hem_back", "lantern", "ruler"}


def test_objects_that_are_not_there_show_when_the_files_are_read(folder):
    job = read(folder, changed('"lantern/*"', '"lantern/flam"'))
    with pytest.raises(JobError, match="Did you mean 'lantern/flame'"):
        job.pieces(PARTS)


def test_a_part_in_two_pieces_is_refused(folder):
    job = read(folder, changed('"lantern/*"', '"hem_front"'))
    with pytest.raises(JobError, match=r"piece\[2\].parts\[1\]: part 'hem_front' is in piece 'body' already"):
        job.pieces(PARTS)


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


def test_dotted_keys_count_from_one_and_quote_what_is_no_bare_key():
    assert dotted(["piece", 1, "parts", 0]) == "piece[2].parts[1]"
    assert dotted(["intake", "part", "a b", "x-y_z"]) == 'intake.part."a b".x-y_z'
    assert dotted([]) == "job file"


@given(st.text(max_size=200))
def test_any_text_is_a_job_or_a_job_error(tmp_path_factory, text):
    folder = tmp_path_factory.getbasetemp()
    (folder / "any.toml").write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(JobError):
        read_job(folder / "any.toml", STATIONS)


@given(
    st.sampled_from(GOOD.splitlines()), st.sampled_from(["", "x = 1", "[x]", "name = 3", "[[piece]]", "\x00"])
)
def test_a_damaged_line_is_a_job_or_a_job_error(tmp_path_factory, line, instead):
    base = tmp_path_factory.getbasetemp() / "damaged"
    (base / "sculpture").mkdir(parents=True, exist_ok=True)
    (base / "job").mkdir(exist_ok=True)
    for name in FILES:
        (base / "sculpture" / name).write_text("x")
    (base / "job" / "job.toml").write_text(GOOD.replace(line, instead, 1) if line else GOOD)
    told = None
    try:
        read_job(base / "job", STATIONS)
    except JobError as error:
        told = error
    assert told is None or (told.where and told.mend)
