"""The page of the job file says what the program does: every key, every example, every message."""

import re
import tomllib
from dataclasses import fields

import pytest

from firstcast import workshop
from firstcast.errors import JobError
from firstcast.findings import Finding
from firstcast.io.job import Acceptance, accepted
from firstcast.process import kinds
from firstcast.process.figures import read_data
from firstcast.process.filling import Shot
from firstcast.process.materials import CATALOGUES, catalogue
from firstcast.tolerances import TOLERANCES
from firstcast.vocabulary import ProcessKind, Verdict
from job_page import model_tables, page_examples, page_tables, page_text

PARTS = ["post", "knob", "torso", "head", "hem_front", "arm", "ruler", "lantern/flame", "lantern/frame"]

SMALLEST = {
    "job": ['name = "Marsh marker"'],
    "folders": ['parts = "../sculpture"'],
    "piece": ['name = "body"', 'parts = ["post", "knob"]'],
    "size": [],
    "process": [],
    "fuse": [],
    "stand": [],
    "read": [],
    "carry": [],
}


@pytest.fixture
def job_folder(tmp_path):
    (tmp_path / "sculpture").mkdir()
    (tmp_path / "job").mkdir()
    for name in {part.partition("/")[0] for part in PARTS}:
        (tmp_path / "sculpture" / f"{name}.stl").write_text("x")
    return tmp_path / "job"


def test_every_table_of_the_models_is_on_the_page_and_the_other_way_round():
    # `override` has no model: its keys are those of the materials, which another test holds.
    assert set(page_tables()) == set(model_tables())


@pytest.mark.parametrize("table", sorted(model_tables()))
def test_every_key_is_on_the_page_with_what_it_takes_and_what_stands_for_it(table):
    assert page_tables()[table] == model_tables()[table]


@pytest.mark.parametrize("example", page_examples(), ids=lambda text: text.splitlines()[0])
def test_every_example_is_a_job(job_folder, example):
    given = tomllib.loads(example)
    needed = {"job": '[job]\nname = "a"\n', "folders": '[folders]\nparts = "../sculpture"\n'}
    needed["piece"] = '[[piece]]\nname = "body"\nparts = ["post"]\n[[piece]]\nname = "arm"\nparts = ["arm"]\n'
    added = "\n".join(text for table, text in needed.items() if table not in given)
    (job_folder / "job.toml").write_text(f"{example}\n{added}", encoding="utf-8")
    job = workshop.open_job(job_folder)
    assert job.pieces(PARTS)


def test_every_table_has_an_example():
    shown = set()

    def walk(table, path):
        for key, value in table.items():
            for entry in value if isinstance(value, list) else [value]:
                if isinstance(entry, dict):
                    walk(entry, f"{path}.{key}" if path else key)
            shown.add(f"{path}.{key}")

    for example in page_examples():
        walk(tomllib.loads(example), "")
    tables = model_tables().items()
    bare = {name for name, rows in tables if not any(f"{name}.{row.key}" in shown for row in rows)}
    assert bare == set()


SLIPS = re.findall(r"^\| `(\[+\w+\]+)` `(.*?)` \| (.*?) \|$", page_text(), re.MULTILINE)


@pytest.mark.parametrize(("table", "line", "message"), SLIPS, ids=[f"{t} {line}" for t, line, _ in SLIPS])
def test_every_message_on_the_page_is_what_is_said(job_folder, table, line, message):
    name, key = table.strip("[]"), line.partition(" ")[0]
    tables = {**SMALLEST, **({} if name in SMALLEST else {name: ['name = "z"', 'meaning = "precious"']})}
    if name == "accept":
        tables["accept"] = []
    tables[name] = [other for other in tables[name] if not other.startswith(f"{key} ")] + [line]
    headed = {
        other: f"[[{other}]]" if other in ("piece", "zone", "accept") else f"[{other}]" for other in tables
    }
    text = "\n".join("\n".join([headed[other], *lines]) for other, lines in tables.items())
    (job_folder / "job.toml").write_text(text, encoding="utf-8")
    for file in (job_folder.parent / "sculpture").iterdir():
        if file.stem not in ("post", "knob"):
            file.unlink()
    with pytest.raises(JobError) as refusal:
        workshop.open_job(job_folder).pieces(["post", "knob"])
    said = str(refusal.value).replace(str(job_folder.parent.resolve()), "…")
    assert re.sub(r"line \d+", "line N", said) == message


def test_the_page_shows_slips_enough():
    assert len(SLIPS) >= 20


def cells(row_start):
    told = page_text().partition("## Materials")[2]
    (row,) = re.findall(rf"^\| `{re.escape(row_start)}` \| (.*) \|$", told, re.MULTILINE)
    return [cell.strip() for cell in row.split("|")]


@pytest.mark.parametrize("word", CATALOGUES)
def test_every_class_and_figure_of_the_materials_is_on_the_page(word):
    heading = page_text().index("## Materials")
    row = next(line for line in page_text()[heading:].splitlines() if line.startswith(f"| `{word}` |"))
    classes, figures = ([name.strip(" `") for name in cell.split(",")] for cell in row.split("|")[2:4])
    assert classes == list(catalogue(word))
    assert figures == [f.name for f in fields(CATALOGUES[word][1]) if f.name not in ("key", "title")]


def test_every_shot_and_its_figures_are_on_the_page():
    classes, figures = ([name.strip(" `") for name in cell.split(",")] for cell in cells("shot")[-2:])
    assert classes == list(read_data("shots"))
    assert figures == [f.name for f in fields(Shot) if f.name not in ("key", "title")]


def test_every_limit_is_on_the_page():
    assert [name.strip(" `") for name in cells("limits")[-1].split(",")] == list(kinds.LIMIT_NAMES)


@pytest.mark.parametrize("kind", ProcessKind)
def test_every_kind_is_on_the_page_with_what_is_usual(kind):
    usual = kinds.kind_of(kind)
    who = ", ".join(usual.who(stage) for stage in kinds.STAGES)
    assert cells(kind.value) == [usual.title, f"`{usual.mould}`", f"`{usual.cast}`", who]


def test_every_caution_is_on_the_page():
    shown = page_text().partition("## Cautions")[2]
    said = re.findall(r"^\| [a-z][^`|]* \| (.*?) \|$", shown, re.MULTILINE)[1:]
    assert said == [caution["says"] for caution in read_data("cautions")["caution"]]


def test_the_limits_that_the_page_names_are_those_of_the_program():
    text = page_text()
    assert f"from {100 * TOLERANCES.rules_differ_watch:g} %" in text
    assert f"from {100 * TOLERANCES.rules_differ_stop:g} % on it is a" in text
    assert f"below {TOLERANCES.size_least_mm:g} mm or\nabove {TOLERANCES.size_most_mm:g} mm" in text
    # "by a tenth of what you noted": a measure just past it stands again, one just short of it does not.
    finding = Finding("fuse", "thin-place", Verdict.STOP, "hem", "thin", "mend", measured=0.44)
    assert accepted([finding], [Acceptance(finding.id, "glued", 0.49)])[0].stands
    assert not accepted([finding], [Acceptance(finding.id, "glued", 0.488)])[0].stands
