"""Every way in which a job file can be wrong: the error names the key, what is wrong and the mend."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import JobError
from firstcast.io._job_errors import dotted
from firstcast.io.job import read_job
from watchman_job import FILES, GOOD, PARTS, STATIONS, changed, read, refused

FAULTS = [
    # old, new, where, what, mend
    ("wanted = 200", "wnated = 200", "job.wnated", "not known", "Did you mean 'wanted'?"),
    ("wanted = 200", "wanted = 0", "job.wanted", "0 is below 1", "not below 1"),
    ("wanted = 200", "wanted = 2.5", "job.wanted", "2.5", "whole number"),
    ("wanted = 200", "wanted = 2024-05-06", "job.wanted", "'2024-05-06'", "whole number"),
    ("wanted = 200", "wanted = true", "job.wanted", "true", "whole number"),
    ("wanted = 200", 'wanted = "200"', "job.wanted", "'200' is no whole number", "without quotes: 200."),
    ('name = "watchman"', "", "job.name", "missing", "Add"),
    ('name = "watchman"', 'name = ""', "job.name", "empty", ""),
    ('name = "watchman"', 'name = " a"', "job.name", "spaces", ""),
    ('name = "watchman"', 'name = "a/b"', "job.name", "file name", ""),
    ('name = "watchman"', 'name = ".."', "job.name", "file name", ""),
    ('name = "watchman"', 'name = "Nul.stl"', "job.name", "device", "Change the name."),
    ('name = "watchman"', f'name = "{67 * "鷺"}"', "job.name", "file name", "200 bytes"),
    ('name = "watchman"', 'name = "a\\u0007"', "job.name", "can't be printed", "Leave them away."),
    ('note = "second try"', "note = 3", "job.note", "3", "quotes"),
    ("[folders]", "[folder]", "folder", "table is not known", "Did you mean 'folders'?"),
    ("[process]", "[plan]", "plan", "table is not known", "Its name is [process]."),
    (
        GOOD.split("[folders]")[0],
        "",
        "job",
        "there is no [job]",
        "Write [job] and below it: name.",
    ),
    ('parts = "../sculpture"', 'parts = "../scul"', "folders.parts", "no folder", "Name the folder"),
    (
        'parts = "../sculpture"',
        'parts = "../sculpture/body.stl"',
        "folders.parts",
        "is a file",
        "Name the folder",
    ),
    ('parts = "../sculpture"', "parts = '..\\sculptur'", "folders.parts", "no folder", "Write / between"),
    ('parts = "../sculpture"', 'parts = "~/sculpture"', "folders.parts", "no folder", "home folder"),
    ('parts = "../sculpture"', 'parts = "a\\u0000b"', "folders.parts", "no path", "Name a folder."),
    (
        'parts = "../sculpture"',
        f'parts = "{400 * "a"}"',
        "folders.parts",
        "can't be opened",
        "Name the folder",
    ),
    ('parts = "../sculpture"', 'parts = "."', "folders.parts", "no mesh file", "Export"),
    ('parts = "../sculpture"', "", "folders.parts", "missing", "Add"),
    ('["body", "hem*"]', "[]", "piece[1].parts", "it is empty", "Give 1 at least."),
    ('["body", "hem*"]', '"body"', "piece[1].parts", "'body' is no list", 'square brackets: ["body"].'),
    ('["body", "hem*"]', '["body", "ham*"]', "piece[1].parts[2]", "'ham*'", "Use one of"),
    ('["body", "hem*"]', '["bodi"]', "piece[1].parts[1]", "'bodi'", "Did you mean 'body'?"),
    ('["body", "hem*"]', '["body.stl"]', "piece[1].parts[1]", "'body.stl'", "suffix"),
    ('["body", "hem*"]', '["../body"]', "piece[1].parts[1]", "is a path", "FILE"),
    ('["body", "hem*"]', '["/tmp/body"]', "piece[1].parts[1]", "is a path", "FILE"),
    ('["body", "hem*"]', '["lantern/../body"]', "piece[1].parts[1]", "is a path", "FILE"),
    ('name = "arm"', 'name = "Body"', "piece[2].name", "twice ('body'", "Give each its own."),
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
    (", height_mm = 30 }", " }", "size.ruler", "don't go together", "Give either height_mm or width_mm."),
    ('{ part = "ruler", height_mm = 30 }', '"ruler"', "size.ruler", "no table", "{ part = …, height_mm = …"),
    (
        "total_height_mm = 54",
        'real = { unit = "mm", ratio = "1:56" }',
        "size.real.ratio",
        "'1:56' is no number",
        "56 for 1:56",
    ),
    ("total_height_mm = 54", 'real = { unit = "mm", ratio = "1:0" }', "size.real.ratio", "'1:0'", "above 0"),
    ("total_height_mm = 54", 'real = { unit = "mm", ratio = 0 }', "size.real.ratio", "0 is not above 0", ""),
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
    (
        '[intake.part."hem*"]',
        "[intake.part]",
        "intake.part.sheet_thickness_mm",
        "below the name of a part",
        "NAME",
    ),
    ('[allow.piece."arm"]', '[allow.part."body"]', "allow.part", "piece by piece", '[allow.piece."NAME"]'),
    ('[allow.piece."arm"]', '[intake.piece."arm"]', "intake.piece", "part by part", '[intake.part."NAME"]'),
    ('[allow.piece."arm"]', '[size.part."body"]', "size.part", "whole job", "below [size]."),
    ('[allow.piece."arm"]', '[process.piece."arm"]', "process.piece", "whole job", "below [process]."),
    ('[allow.piece."arm"]', '[allow.piece."leg"]', "allow.piece.leg", "no piece", "arm, body"),
    (
        'meaning = "precious"',
        'meaning = "precius"',
        "zone[1].meaning",
        "'precius'",
        "Did you mean 'precious'?",
    ),
    ("radius_mm = 4 }", "radius_mm = 0 }", "zone[1].ball.radius_mm", "0", ""),
    ("[0, 1, 50.0]", "[0, 1]", "zone[1].ball.centre_mm", "2 entries, at least 3", "Add the others."),
    ("[0, 1, 50.0]", "[]", "zone[1].ball.centre_mm", "empty", "Give 3"),
    ("[0, 1, 50.0]", "[0, 1, 50, 2]", "zone[1].ball.centre_mm", "4 entries, 3 at most", "Leave"),
    ("ball = {", "part = 'nose'\nball = {", "zone[1].part", "'nose'", "Use one of"),
    (
        "ball = { centre_mm = [0, 1, 50.0], radius_mm = 4 }",
        "",
        "zone[1]",
        "no place",
        "Give a part, ball, box or outline.",
    ),
    ("measured = 0.5", 'measured = "0.5"', "accept[1].measured", "0.5", "number"),
    ('reason = "it is glued"', "", "accept[1].reason", "missing", "Add"),
    ('reason = "it is glued"', 'reason = ""', "accept[1].reason", "empty", ""),
    ("[[mend]]", "[[accept]]", "accept[2].id", "twice", ""),
    ("[[mend]]", "[mend]", "mend", "one table", "Write [[mend]]"),
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
        ("intake.part.body = 3", "intake.part.body", 'Write them below [intake.part."body"]'),
        (
            "intake.part.close_holes_mm = 3",
            "intake.part.close_holes_mm",
            'Write them below [intake.part."NAME"]',
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
            "several shapes",
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


def test_objects_that_are_not_there_show_when_the_files_are_read(folder):
    job = read(folder, changed('"lantern/*"', '"lantern/flam"'))
    with pytest.raises(JobError, match="Did you mean 'lantern/flame'"):
        job.pieces(PARTS)


@pytest.mark.parametrize(
    ("addition", "where"),
    [
        ('[[zone]]\nname = "glow"\nmeaning = "precious"\npart = "lantern/glow"\n', "zone[2].part"),
        ('[intake.part."lantern/glow"]\nrounds = 2\n', 'intake.part."lantern/glow"'),
    ],
)
def test_objects_of_zones_and_exceptions_are_looked_for_too(folder, addition, where):
    job = read(folder, GOOD + addition)
    with pytest.raises(JobError) as refusal:
        job.pieces(PARTS)
    assert refusal.value.where == where
    assert "'lantern/glow'" in refusal.value.what


def test_a_zone_on_the_ruler_is_refused(folder):
    job = read(folder, GOOD + '[[zone]]\nname = "r"\nmeaning = "no change"\npart = "ruler"\n')
    with pytest.raises(JobError, match=r"zone\[2\].part"):
        job.pieces(PARTS)


def test_a_job_without_pieces_is_told_how_to_write_them(folder):
    head, tail = GOOD.split('[[piece]]\nname = "body"')
    error = refused(folder, head + "[size]" + tail.split("[size]")[1])
    assert (error.where, error.what) == ("piece", "there is no [[piece]]")
    assert error.mend == "Write [[piece]] and below it: name, parts."


def test_a_part_in_two_pieces_is_refused(folder):
    job = read(folder, changed('"lantern/*"', '"hem_front"'))
    with pytest.raises(JobError, match=r"piece\[2\].parts\[1\]: part 'hem_front' is in piece 'body' already"):
        job.pieces(PARTS)
    job = read(folder, changed('"lantern/*"', '"*"'))
    with pytest.raises(JobError, match=r"part 'body', which '\*' fits, is in piece 'body' already"):
        job.pieces(PARTS)


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
