"""The first run, end to end: masters, proof, report; again; with a change; altered; killed."""

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh

from firstcast import cli, workshop
from firstcast.progress import silent
from firstcast.route import ROUTE, travel
from firstcast.store import Store
from small_job import write_small_job


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    job = write_small_job(tmp_path_factory.mktemp("small"))
    return workshop.run(job, tell=silent)


@pytest.fixture
def job(made, tmp_path):
    """A copy of the finished job to spoil."""
    shutil.copytree(made.folder.parent, tmp_path / "copy")
    return tmp_path / "copy" / made.folder.name


def events_of(folder):
    told = []
    made = workshop.run(folder, tell=told.append)
    return made, {(p.step.station.name, p.step.subject) for p in told if p.finished and not p.kept}


def test_masters_are_released_and_read_back_by_another_library(made):
    assert made.report["released"], made.report["findings"]
    assert made.report["proof"]["verdict"] != "stop"
    for piece in ("body", "arm"):
        for suffix in ("stl", "3mf"):
            mesh = trimesh.load_mesh(made.folder / "masters" / f"{piece}.{suffix}")
            assert mesh.is_watertight
            assert mesh.volume > 0
    assert made.report["figure"]["height_mm"] == pytest.approx(12.0)
    assert sorted(path.name for path in made.folder.iterdir() if not path.name.startswith(".")) == [
        "job.toml",
        "maps",
        "masters",
        "pictures",
        "report.json",
        "runs",
    ]


def test_a_run_is_filled_written_and_proved(made):
    names = {path.name for path in (made.folder / "runs").iterdir()}
    assert names == {"run 1 layers.zip", "run 1.3mf", "run 1.stl"}
    assert [run["run"] for run in made.report["proof"]["runs"]] == ["run 1"]
    told = {file["path"] for file in made.report["files"] if file.get("run")}
    assert told == {f"runs/{name}" for name in names}
    with zipfile.ZipFile(made.folder / "runs" / "run 1 layers.zip") as package:
        manifest = json.loads(package.read("manifest.json"))
        images = [name for name in package.namelist() if name.endswith(".png")]
    assert len(images) == manifest["layer_count"]
    assert {piece["master"] for piece in manifest["pieces"]} == {"body", "arm"}
    shown = {path.name for path in (made.folder / "pictures").iterdir()}
    assert {"run 1.png", "body on its props.png", "arm on its props.png"} <= shown
    # as many triangles as pieces and props have
    stl = trimesh.load_mesh(made.folder / "runs" / "run 1.stl")
    assert stl.is_watertight
    assert stl.bounds[0][2] == pytest.approx(0.0, abs=2e-3)


def test_nothing_is_written_beside_the_sculpture(made):
    names = sorted(path.name for path in (made.folder.parent / "sculpture").iterdir())
    assert names == ["arm.obj", "knob.ply", "post.stl"]


def test_the_master_has_the_allowance_in_it(made):
    master = trimesh.load_mesh(made.folder / "masters" / "arm.stl")
    stored = workshop.open_job(made.folder)
    factor = 12.0 / 12.0
    matrix = next(
        measure["value"]
        for station in made.report["stations"]
        if station["name"] == "allow" and station["piece"] == "arm"
        for measure in station["measures"]
        if measure["name"] == "oversize"
    )
    assert stored.name == "Marsh marker"
    # Along x the arm is 5.6 file units; the tab does not reach past its ends along x.
    assert np.ptp(master.vertices[:, 0]) == pytest.approx(5.6 * factor * matrix, abs=0.04)


def test_a_second_run_makes_nothing(job):
    before = {path: path.stat().st_mtime_ns for path in job.rglob("*") if path.is_file()}
    again, made_steps = events_of(job)
    assert made_steps == set()
    after = {path: path.stat().st_mtime_ns for path in job.rglob("*") if path.is_file()}
    changed = {path.name for path in after if after[path] != before.get(path)}
    assert changed <= {"history.json", "lock"}
    assert again.report["released"]


def test_a_changed_part_redoes_its_piece_only(job):
    body = (job / "masters" / "body.stl").read_bytes()
    arm = trimesh.load_mesh(job.parent / "sculpture" / "arm.obj")
    arm.apply_translation((0.0, 0.0, 0.25))
    arm.export(job.parent / "sculpture" / "arm.obj")
    _, made_steps = events_of(job)
    assert {subject for _, subject in made_steps if subject} == {"arm", "run 1"}
    assert {name for name, _ in made_steps} >= {"intake", "fuse", "join", "reduce"}
    assert (job / "masters" / "body.stl").read_bytes() == body


def test_a_cut_redoes_the_piece_that_it_names_only(tmp_path):
    folder = write_small_job(tmp_path)
    to_fuse = ROUTE[: 1 + [station.name for station in ROUTE].index("fuse")]

    def made():
        job = workshop.open_job(folder)
        store = Store(folder / workshop.STORE)
        order = workshop.order_of(job, workshop.read_parts(job, store))
        return {piece for station, piece in travel(order, store, route=to_fuse).made if station == "fuse"}

    assert made() == {"body", "arm"}
    text = (folder / "job.toml").read_text()
    own = 'parts = ["arm"]\n'
    assert own in text
    keep = "keep = { place_mm = [1.0, 0.0, 0.0], toward = [1.0, 0.0, 0.0] }\n"
    (folder / "job.toml").write_text(text.replace(own, own + keep))
    assert made() == {"arm"}


@pytest.fixture(scope="module")
def offered(tmp_path_factory):
    """The same job, its arm forecast: a plain and a carried master of it are made."""
    changes = {
        "layer_mm = 0.1": "layer_mm = 0.05",
        "[carry]\nforecast = false\n": '[carry]\nforecast = false\n[carry.piece."arm"]\nforecast = true\n',
    }
    return workshop.run(write_small_job(tmp_path_factory.mktemp("offered"), changes=changes), tell=silent)


def test_both_masters_are_written_and_proved_while_carry_is_offered(offered):
    assert offered.report["released"], offered.report["findings"]
    names = {path.name for path in (offered.folder / "masters").iterdir()}
    assert names == {
        f"{name}.{suffix}" for name in ("body", "arm", "arm carried") for suffix in ("stl", "3mf")
    } | {"proof.json"}
    assert [piece["piece"] for piece in offered.report["proof"]["pieces"]] == ["body", "arm", "arm carried"]
    plain, carried = (trimesh.load_mesh(offered.folder / "masters" / f"arm{x}.stl") for x in ("", " carried"))
    assert carried.is_watertight
    # light fattens a print, so it is taken back: within the cap of 0.08 mm everywhere
    taken = (plain.volume - carried.volume) / plain.area
    assert 0.005 < taken < 0.08
    stamp = lib_metadata(offered.folder / "masters" / "arm carried.3mf", "carried-for")
    assert stamp.startswith("mono-35, tough resin, pixels of 0.035 mm")
    assert not lib_metadata(offered.folder / "masters" / "arm.3mf", "carried-for")
    choice = next(found for found in offered.report["findings"] if found["code"] == "choose-master")
    assert choice["part"] == "arm"
    made = [(s["piece"], s["make"]) for s in offered.report["stations"] if s["name"] == "reduce"]
    assert made == [("body", "plain"), ("arm", "plain"), ("arm", "carried")]


def lib_metadata(path, name: str) -> str:
    """A 3MF's metadata of this name in any namespace, read by the standard library; empty where there is none."""
    with zipfile.ZipFile(path) as package:
        root = ElementTree.fromstring(package.read("3D/3dmodel.model"))
    found = [node for node in root.iter() if node.tag.endswith("metadata")]
    return next((node.text or "" for node in found if node.get("name", "").endswith(f":{name}")), "")


def test_maps_lie_where_the_sculpture_lies(offered):
    arm = trimesh.load_mesh(offered.folder.parent / "sculpture" / "arm.obj")
    names = {path.name for path in (offered.folder / "maps").iterdir() if path.name.startswith("arm")}
    maps = ("walls", "gaps", "detail kept", "detail kept with carry")
    assert names == {f"arm {m}{end}" for m in maps for end in (".ply", ".glb", " legend.png")}
    for name in maps:
        for suffix in ("ply", "glb"):
            shown = trimesh.load_mesh(offered.folder / "maps" / f"arm {name}.{suffix}")
            points = (
                shown.vertices if suffix == "ply" else shown.vertices @ [[1, 0, 0], [0, 0, 1], [0, -1, 0]]
            )
            # without its tab, which stands below
            kept = points[points[:, 2] > arm.bounds[0][2] + 0.05]
            assert np.abs(np.ptp(kept, axis=0)[:2] - np.ptp(arm.vertices, axis=0)[:2]).max() < 0.05
            assert abs(kept[:, 2].max() - arm.bounds[1][2]) < 0.05


def test_one_line_makes_the_carried_master_the_only_one(offered, tmp_path):
    shutil.copytree(offered.folder.parent, tmp_path / "copy")
    job = tmp_path / "copy" / offered.folder.name
    carried = (job / "masters" / "arm carried.stl").read_bytes()
    text = (job / "job.toml").read_text(encoding="utf-8")
    (job / "job.toml").write_text(text + 'make = "carried"\n', encoding="utf-8")
    again = workshop.run(job, tell=silent)
    assert (job / "masters" / "arm.stl").read_bytes() == carried
    assert not (job / "masters" / "arm carried.stl").exists()
    assert all(found["code"] != "choose-master" for found in again.report["findings"])
    assert cli.main(["prove", str(job)]) == cli.DONE


def test_only_what_a_run_put_in_place_is_ever_removed(offered, tmp_path):
    shutil.copytree(offered.folder.parent, tmp_path / "copy")
    job = tmp_path / "copy" / offered.folder.name
    own = [job / "maps" / "my own.ply", job / "masters" / "older.stl", job / "pictures" / "sketch.png"]
    for path in own:
        path.write_bytes(b"mine")
    text = (job / "job.toml").read_text(encoding="utf-8")
    (job / "job.toml").write_text(text.replace("forecast = true", "forecast = false"), encoding="utf-8")
    workshop.run(job, tell=silent)
    assert all(path.read_bytes() == b"mine" for path in own)
    assert not (job / "pictures" / "arm side by side.png").exists()
    assert not (job / "maps" / "arm detail kept.ply").exists()
    assert (job / "maps" / "arm walls.ply").exists()
    assert not (job / "masters" / "arm carried.stl").exists()


def test_prove_repeats_and_notices_one_byte(job, capsys):
    assert cli.main(["prove", str(job)]) == cli.DONE
    path = job / "masters" / "body.stl"
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(bytes(content))
    assert cli.main(["prove", str(job)]) == cli.UNPROVED
    assert "body.stl" in capsys.readouterr().out
    content[len(content) // 2] ^= 1
    path.write_bytes(bytes(content))
    path = job / "runs" / "run 1 layers.zip"
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    assert cli.main(["prove", str(job)]) != cli.DONE


def test_tell_prints_the_route_card(made, capsys):
    assert cli.main(["tell", str(made.folder)]) == cli.DONE
    text = capsys.readouterr().out
    assert "Marsh marker" in text
    assert "reduce" in text
    assert cli.main(["tell", "--json", str(made.folder)]) == cli.DONE
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(made.report))


def test_a_stop_holds_the_masters_back_until_it_is_accepted(tmp_path, capsys):
    folder = write_small_job(
        tmp_path, changes={"total_height_mm = 12.0": 'total_height_mm = 12.0\nunit = "cm"'}
    )
    assert cli.main(["run", "--quiet", str(folder)]) == cli.STOPPED
    assert not (folder / "masters").exists()
    assert (folder / "held" / "body.stl").exists()
    report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    assert {file["path"].split("/")[0] for file in report["files"]} == {"held"}
    stop = next(finding for finding in report["findings"] if finding["verdict"] == "stop")
    assert stop["code"] == "rules-differ-unit"
    with (folder / "job.toml").open("a", encoding="utf-8") as file:
        file.write(
            f'\n[[accept]]\nid = "{stop["id"]}"\nreason = "the file unit is a slip"\nmeasured = {stop["measured"]}\n'
        )
    assert cli.main(["run", "--quiet", str(folder)]) == cli.DONE
    assert (folder / "masters" / "body.stl").exists()
    assert not (folder / "held").exists()


def test_errors_are_one_line_with_the_mend(tmp_path, capsys):
    folder = write_small_job(tmp_path, changes={"knob": "knop"})
    assert cli.main(["run", str(folder)]) == cli.WRONG_INPUT
    message = capsys.readouterr().err
    assert message.count("\n") == 1
    assert "knob" in message
    assert cli.main(["tell", str(tmp_path / "nowhere")]) == cli.WRONG_INPUT


def published(folder):
    """Masters and runs as they lie there, half-written ones left out."""
    paths = [path for name in ("masters", "runs") for path in (folder / name).glob("[!.]*")]
    return {f"{path.parent.name}/{path.name}": path.read_bytes() for path in paths}


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is a POSIX signal")
@pytest.mark.slow
def test_killed_at_forty_moments_nothing_is_half_written(tmp_path):
    """kill -9 at 40 random moments; then the run goes on and gives the same bytes as one left alone."""
    folder = write_small_job(tmp_path)
    command = [sys.executable, "-m", "firstcast.cli", "run", "--quiet", str(folder)]
    start = time.monotonic()
    subprocess.run(command, check=True, capture_output=True)
    whole_s = time.monotonic() - start
    wanted = published(folder)
    seed = 90217
    moments = random.Random(seed)
    shutil.rmtree(folder / ".store")
    shutil.rmtree(folder / "masters")
    shutil.rmtree(folder / "runs")
    for number in range(40):
        if number % 8 == 0:
            shutil.rmtree(folder / ".store", ignore_errors=True)
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
            try:
                process.wait(timeout=moments.uniform(0.3, 1.0) * whole_s)
            except subprocess.TimeoutExpired:
                process.send_signal(signal.SIGKILL)
        for name, content in published(folder).items():
            assert content == wanted[name], (seed, number, name)
    subprocess.run(command, check=True, capture_output=True)
    assert published(folder) == wanted
    assert list((folder / ".store" / "making").iterdir()) == []
