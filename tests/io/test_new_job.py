"""A first job file: it validates, its guesses are right on plain cases and called guesses, and nothing is overwritten."""

import tomllib

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import JobError
from firstcast.geometry.extents import PartExtents
from firstcast.io._guesses import (
    FoundPart,
    guess_pieces,
    guess_ruler,
    guess_unit,
    guess_up,
    ruler_length_mm,
    words_in,
)
from firstcast.io._job_models import JobTables
from firstcast.io.job import read_job
from firstcast.io.new_job import job_text, new_job
from firstcast.stations import allow, plan, size

STATIONS = {"size": size.Settings, "plan": plan.Settings, "allow": allow.Settings}


def box(name, low, high, **declared):
    return FoundPart(PartExtents(name, tuple(map(float, low)), tuple(map(float, high))), **declared)


TORSO = box("torso", (0, 0, 0), (10, 10, 40))
HEAD = box("head", (2, 2, 39), (8, 8, 54))
ARM = box("Left arm", (-5, 2, 20), (0.5, 5, 35))
LANTERN = box("lantern", (-8, 2, 18), (-4, 6, 22))
DOG = box("dog", (40, 0, 0), (50, 10, 9))
RULER = box("ruler_30mm", (30, 0, 0), (32, 2, 30))


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


@pytest.mark.parametrize(
    ("name", "length_mm"),
    [
        ("ruler_30mm", 30.0),
        ("Ruler 2.5 cm", 25.0),
        ("scale 1in", 25.4),
        ("gauge 2 inch", 50.8),
        ("ruler 30mmx", None),
        ("ruler", None),
        ("ruler 0mm", None),
        ("ruler_12,5mm", 12.5),
    ],
)
def test_the_length_in_a_rulers_name(name, length_mm):
    assert ruler_length_mm(name) == (None if length_mm is None else pytest.approx(length_mm))


def test_words_are_cut_at_signs_digits_and_capitals():
    assert words_in("LeftArm02_lantern-top") == {"left", "arm", "lantern", "top"}
    assert words_in("armour") == {"armour"}


def test_a_ruler_is_one_part_beside_others():
    assert guess_ruler([TORSO, RULER]) == "ruler_30mm"
    assert guess_ruler([RULER]) is None
    assert guess_ruler([TORSO, RULER, box("gauge", (0, 0, 0), (1, 1, 1))]) is None


def test_scales_of_armour_are_no_ruler():
    worn = box("scale armour", (1, 1, 20), (9, 9, 38))
    beside = box("scale", (60, 0, 0), (62, 2, 30))
    assert guess_ruler([TORSO, HEAD, worn]) is None
    assert guess_ruler([TORSO, HEAD, worn, beside]) == "scale"
    assert guess_ruler([TORSO, HEAD, beside, RULER]) == "ruler_30mm"


def test_a_ruler_without_a_length_takes_the_guessed_unit():
    ruler = box("ruler", (30, 0, 0), (30.2, 0.2, 3.0))
    inches = box("body", (0, 0, 0), (1, 1, 2.1))
    text = job_text("a", ".", (inches, ruler))
    settings = size.Settings.model_validate(tomllib.loads(text)["size"])
    assert settings.ruler.height_mm == pytest.approx(3 * 25.4)
    lying = box("ruler", (30, 0, 0), (60, 1, 0.0))
    text = job_text("a", ".", (TORSO, lying))
    assert size.Settings.model_validate(tomllib.loads(text)["size"]).ruler.width_mm == 30.0


def test_the_up_axis_is_declared_or_the_longer():
    assert guess_up([TORSO]).value == "z"
    assert guess_up([box("a", (0, 0, 0), (10, 54, 10))]).value == "y"
    assert guess_up([box("a", (0, 0, 0), (10, 11, 10))]).value == "z"
    assert guess_up([box("a", (0, 0, 0), (1, 1, 5), up="y")]).value == "y"
    mixed = [box("a", (0, 0, 0), (1, 1, 5), up="y"), box("b", (0, 0, 0), (1, 1, 5), up="z")]
    assert guess_up(mixed).value == "z"


@pytest.mark.parametrize(
    ("height", "unit_mm", "key", "value"),
    [
        (54, None, "unit", "mm"),
        (5.4, None, "unit", "cm"),
        (2.1, None, "unit", "inch"),
        (1.2, None, "unit", "inch"),
        (2000, None, "total_height_mm", 54.0),
        (54, 1.0, "unit", "mm"),
        (0.054, 1000.0, "unit", "m"),
        (1.8, 1000.0, "real", {"unit": "m", "ratio": 33.3}),
        (17.65, 1000.0, "total_height_mm", 54.0),
        (1e-4, 1000.0, "total_height_mm", 54.0),
        (54, 3.7, "unit", "mm"),
    ],
)
def test_a_scale_rule_is_guessed(height, unit_mm, key, value):
    found = guess_unit([box("a", (0, 0, 0), (1, 1, height), unit_mm=unit_mm)], "z")
    assert (found[0], found[1].value) == (key, value)
    assert found[1].why


def test_pieces_by_touching_and_by_name():
    far_hand = box("hand", (200, 0, 0), (201, 1, 1))
    pieces = guess_pieces([far_hand, TORSO, HEAD, ARM, LANTERN])
    assert [(p.name, p.parts) for p in pieces] == [
        ("body", ("torso", "head")),
        ("hand", ("hand",)),
        ("Left arm", ("Left arm", "lantern")),
    ]


def test_two_arms_that_do_not_touch_are_two_pieces():
    right = box("Right arm", (9.5, 2, 20), (15, 5, 35))
    assert [p.name for p in guess_pieces([TORSO, ARM, right])] == ["body", "Left arm", "Right arm"]


def test_a_folder_of_nothing_but_arms_has_a_body():
    assert [p.name for p in guess_pieces([ARM])] == ["body"]


def test_groups_join_through_a_third_part():
    a, b = box("a", (0, 0, 0), (1, 1, 10)), box("b", (5, 0, 0), (6, 1, 10))
    link = box("c", (0.5, 0, 0), (5.5, 1, 1))
    assert len(guess_pieces([a, b])) == 2
    assert guess_pieces([a, b, link])[0].parts == ("a", "b", "c")


def test_names_that_differ_in_signs_only_become_pieces_of_different_names():
    parts = [
        box("torso", (0, 0, 0), (50, 50, 50)),
        box("a:b", (200, 0, 0), (201, 1, 1)),
        box("a*b", (300, 0, 0), (301, 1, 1)),
    ]
    assert [p.name for p in guess_pieces(parts)] == ["body", "a_b", "a_b 2"]


def test_names_that_no_file_may_have_become_names_that_one_may():
    long, device = "鷺" * 90, "nul"
    parts = [box("torso", (0, 0, 0), (50, 50, 50))]
    parts += [box(name, (200 * n, 0, 0), (200 * n + 1, 1, 1)) for n, name in enumerate((long, device), 1)]
    parts += [box(f"{long} ", (900, 0, 0), (901, 1, 1))]
    pieces = guess_pieces(parts)
    tables = {"name": "a"}, {"parts": "b"}, [{"name": p.name, "parts": list(p.parts)} for p in pieces]
    read = JobTables.model_validate(dict(zip(("job", "folders", "piece"), tables, strict=True)))
    assert [piece.name for piece in read.piece][0::2] == ["body", "piece nul"]
    assert len({piece.name for piece in read.piece}) == 4
