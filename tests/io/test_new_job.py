"""A first job file: it validates, its guesses are called guesses, and nothing is overwritten."""

import re
import tomllib

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import JobError
from firstcast.io._guesses import guess_ruler
from firstcast.io._job_models import JobTables
from firstcast.io.job import read_job
from firstcast.io.new_job import job_text, new_job
from firstcast.stations import allow, plan, size
from found_boxes import ARM, DOG, HEAD, LANTERN, RULER, TORSO, box

STATIONS = {"size": size.Settings, "plan": plan.Settings, "allow": allow.Settings}


def save(folder, *parts, suffix=".stl"):
    folder.mkdir(exist_ok=True)
    for part in parts:
        mesh = trimesh.creation.box(bounds=[part.extents.low, part.extents.high])
        (folder / f"{part.extents.name}{suffix}").write_bytes(
            mesh.export(file_type=suffix[1:])
            if suffix == ".stl"
            else mesh.export(file_type=suffix[1:]).encode()
        )


def written(tmp_path, *parts, name="watchman", suffix=".stl"):
    save(tmp_path / name, *parts, suffix=suffix)
    path = new_job(tmp_path / name, tmp_path / "job")
    return path, read_job(path, STATIONS), path.read_text(encoding="utf-8")


def test_a_whole_figure(tmp_path):
    path, job, text = written(tmp_path, TORSO, HEAD, ARM, LANTERN, DOG, RULER)
    assert path == tmp_path / "job" / "job.toml"
    assert job.name == "watchman"
    assert job.parts_folder == (tmp_path / "watchman")
    assert tomllib.loads(text)["folders"]["parts"] == "../watchman"
    names = [file.stem for file in job.part_files]
    pieces = {piece.name: set(piece.parts) for piece in job.pieces(names)}
    assert pieces == {"body": {"torso", "head"}, "dog": {"dog"}, "Left arm": {"Left arm", "lantern"}}
    assert next(iter(pieces)) == "body"
    assert job.is_ruler("ruler_30mm")
    assert job.settings["size"].ruler.height_mm == 30.0
    assert text.count("\n# guessed: ") == 3 + len(pieces)


def test_the_guessed_job_can_be_sized_and_planned(tmp_path):
    _, job, _ = written(tmp_path, TORSO, HEAD, RULER)
    extents = tuple(part.extents for part in (TORSO, HEAD, RULER))
    result = size.size(extents=extents, settings=job.settings["size"])
    assert result.factor_mm == pytest.approx(1.0)
    assert not result.findings


def test_the_maker_s_folder_is_left_as_it_is(tmp_path):
    save(tmp_path / "figure", TORSO)
    before = sorted((f.name, f.stat().st_mtime_ns) for f in (tmp_path / "figure").iterdir())
    new_job(tmp_path / "figure", tmp_path / "job")
    assert sorted((f.name, f.stat().st_mtime_ns) for f in (tmp_path / "figure").iterdir()) == before


def test_by_default_the_job_stands_in_the_current_folder(tmp_path, monkeypatch):
    save(tmp_path / "sculpt", TORSO)
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    path = new_job(tmp_path / "sculpt")
    assert path == tmp_path / "here" / "sculpt-job" / "job.toml"
    assert tomllib.loads(path.read_text())["folders"]["parts"] == "../../sculpt"


@pytest.mark.parametrize("inside", ["", "job", "deep/er"])
def test_a_job_never_stands_among_the_makers_files(tmp_path, inside):
    save(tmp_path / "figure", TORSO)
    with pytest.raises(JobError, match="among the sculpture's own files"):
        new_job(tmp_path / "figure", tmp_path / "figure" / inside)
    assert [f.name for f in (tmp_path / "figure").iterdir()] == ["torso.stl"]


def test_a_job_file_is_never_overwritten(tmp_path):
    save(tmp_path / "figure", TORSO)
    path = new_job(tmp_path / "figure", tmp_path / "job")
    path.write_text("mine")
    with pytest.raises(JobError, match="there is a job file already"):
        new_job(tmp_path / "figure", tmp_path / "job")
    assert path.read_text() == "mine"


def test_folders_without_parts_or_none_at_all_are_refused(tmp_path):
    with pytest.raises(JobError, match="no such folder"):
        new_job(tmp_path / "away", tmp_path / "job")
    (tmp_path / "empty").mkdir()
    with pytest.raises(JobError, match="no mesh file"):
        new_job(tmp_path / "empty", tmp_path / "job")
    assert not (tmp_path / "job").exists()


def test_objects_of_one_file_are_parts(tmp_path):
    (tmp_path / "figure").mkdir()
    scene = trimesh.Scene()
    for part in (TORSO, HEAD, LANTERN):
        mesh = trimesh.creation.box(bounds=[part.extents.low, part.extents.high])
        scene.add_geometry(mesh, geom_name=part.extents.name, node_name=part.extents.name)
    (tmp_path / "figure" / "all.glb").write_bytes(scene.export(file_type="glb"))
    job = read_job(new_job(tmp_path / "figure", tmp_path / "job"), STATIONS)
    pieces = job.pieces(["all/torso", "all/head", "all/lantern"])
    assert {piece.name: set(piece.parts) for piece in pieces} == {
        "body": {"all/torso", "all/head"},
        "lantern": {"all/lantern"},
    }
    # A glTF file says metres and y up: 40 m is no size that anyone means.
    assert job.settings["size"].up == "y"
    assert job.settings["size"].total_height_mm == 54.0


def test_names_with_signs_survive(tmp_path):
    odd = box('hem [1] "ü" #', (0, 0, 0), (10, 10, 50))
    _, job, text = written(tmp_path, odd, name="fig 'x' [2]")
    assert job.pieces([odd.extents.name])[0].parts == (odd.extents.name,)
    assert tomllib.loads(text)["piece"][0]["parts"] == [odd.extents.name]


def test_many_parts_are_listed_one_a_line(tmp_path):
    parts = [box(f"scale plate {i:02d}", (0, 0, i), (10, 10, i + 1.5)) for i in range(30)]
    _, job, text = written(tmp_path, *parts)
    assert max(map(len, text.splitlines())) < 160
    assert len(job.pieces([p.extents.name for p in parts])[0].parts) == 30


names = st.text(
    st.characters(blacklist_categories=("Cs",), blacklist_characters="/\0"), min_size=1, max_size=30
)
spots = st.tuples(*[st.floats(-1e4, 1e4)] * 3)


@given(st.lists(st.tuples(names, spots, spots), min_size=1, max_size=6, unique_by=lambda part: part[0]))
def test_any_names_and_places_make_a_text_that_validates(raw):
    parts = tuple(box(n, np.minimum(a, b), np.maximum(a, b) + 1e-3) for n, a, b in raw)
    text = job_text("figure", "sculpture", parts)
    tables = tomllib.loads(text)
    listed = [part for piece in tables["piece"] for part in piece["parts"]]
    figure = [p.extents.name for p in parts if p.extents.name != guess_ruler(parts)]
    assert sorted(listed) == sorted(figure)
    assert len({piece["name"].casefold() for piece in tables["piece"]}) == len(tables["piece"])
    JobTables.model_validate({key: tables[key] for key in ("job", "folders", "piece")})
    size.Settings.model_validate(tables["size"])
    plan.Settings.model_validate(tables["process"])


def test_the_examples_in_its_remarks_are_a_job_too(tmp_path):
    path, plain, text = written(tmp_path, TORSO, HEAD)
    shown = re.sub(r"^# (?=\[\[|\w+(?:\.\w+)* = )", "", text, flags=re.MULTILINE)
    path.write_text(shown, encoding="utf-8")
    job = read_job(path, STATIONS)
    assert [zone.name for zone in job.zones] == ["face"]
    assert [acceptance.measured for acceptance in job.acceptances] == [0.42]
    assert job.settings["plan"].who.mould == "caster"
    assert job.settings["plan"].override["resin"]["shrink_xy_ratio"]["likely"] == 0.005
    assert not plain.zones
    assert not plain.acceptances
