"""From an empty folder to a job that takes fitted figures, by the command line."""

import csv
import io

import numpy as np
import pytest
import trimesh

from firstcast import cli, workshop
from firstcast.errors import FileError
from firstcast.gauging import make_gauge
from firstcast.io.measured import read_measured
from firstcast.process.gauge import Light
from firstcast.stations.plan_settings import materials_of
from firstcast.vocabulary import Basis
from process.gauge_readings import printed

LIGHT = Light(0.1, 0.12, 0.022)
FILES = [
    "gauge-sheet-1.png",
    "gauge-sheet-2.png",
    "gauge-sheet.pdf",
    "gauge.3mf",
    "gauge.stl",
    "measured.csv",
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("gauge") / "mine"
    assert cli.main(["gauge", str(folder)]) == cli.DONE
    return folder


@pytest.fixture
def table(folder, tmp_path):
    """The table that was written, filled in by the forward formulas, errors drawn as its plus_minus_mm say."""
    gauge = printed(LIGHT, np.random.default_rng(9141))
    measured = {reading.id: f"{reading.measured_mm:.3f}" for reading in gauge.readings} | {
        "least-pin": "0.14"
    }
    lines = (folder / "measured.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    for row in rows[1:]:
        row[3] = measured.get(row[0], "")
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    path = tmp_path / "measured.csv"
    path.write_text(
        "\n".join([line for line in lines if line.startswith("#")]) + "\n" + text.getvalue(), "utf-8"
    )
    return path


def test_the_gauge_is_written(folder):
    assert sorted(file.name for file in folder.iterdir()) == FILES
    stl, package = trimesh.load(folder / "gauge.stl"), trimesh.load(folder / "gauge.3mf", force="mesh")
    for solid in (stl, package):
        assert solid.is_watertight
        assert solid.body_count == 1
    assert stl.volume == pytest.approx(package.volume, rel=1e-6)


def test_the_table_fits_the_readings_that_tests_make(folder):
    # Else what is measured below would not be this plaque.
    nominals = {reading.id: reading.nominal_mm for reading in printed(LIGHT).readings}
    lines = (folder / "measured.csv").read_text(encoding="utf-8").splitlines()
    for row in csv.DictReader(line for line in lines if not line.startswith("#")):
        if row["id"] in nominals:
            assert float(row["nominal_mm"]) == pytest.approx(nominals[row["id"]], abs=1e-5)


def test_a_filled_table_is_fitted_and_a_job_takes_it(table, capsys):
    assert cli.main(["fit", str(table)]) == cli.DONE
    said = capsys.readouterr().out
    assert "depth_mm" in said
    assert "90 % interval" in said
    file = table.parent / "process.toml"
    assert file.exists()
    (table.parent / "parts").mkdir()
    (table.parent / "parts" / "post.stl").write_text("x")
    (table.parent / "job.toml").write_text(
        '[job]\nname = "post"\n[folders]\nparts = "parts"\n[[piece]]\nname = "post"\nparts = ["post"]\n'
        '[process]\nfitted = "process.toml"\n',
        encoding="utf-8",
    )
    depth = materials_of(workshop.open_job(table.parent).settings["plan"]).resin.depth_mm
    assert depth.basis is Basis.GAUGE
    # Half as far again as a 90 % interval reaches: 2.5 standard deviations, once in 80 draws, of which this is one.
    assert abs(depth.likely - LIGHT.depth_mm) < 0.75 * (depth.high - depth.low)


def test_the_file_goes_where_it_is_told(table, tmp_path):
    out = tmp_path / "printers" / "left.toml"
    assert cli.main(["fit", str(table), "--out", str(out)]) == cli.DONE
    assert out.exists()
    assert not (table.parent / "process.toml").exists()


def test_a_table_is_never_written_over(folder, capsys):
    before = (folder / "measured.csv").read_bytes()
    assert cli.main(["gauge", str(folder)]) == cli.WRONG_INPUT
    assert "table of measurements already" in capsys.readouterr().err
    assert (folder / "measured.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--printer", "mono-36"], "Did you mean 'mono-35'?"),
        (["--resin", "gold"], "there is no resin 'gold'"),
        (["--layer", "0.5"], "a layer of 0.5 mm"),
        (["--layer", "nan"], "a layer of nan mm"),
    ],
)
def test_what_makes_no_gauge_is_refused_and_nothing_is_written(tmp_path, capsys, words, says):
    assert cli.main(["gauge", str(tmp_path / "g"), *words]) == cli.WRONG_INPUT
    assert says in capsys.readouterr().err
    assert not (tmp_path / "g").exists()


def test_a_bad_table_leaves_no_process_file(table, capsys):
    table.write_text(table.read_text(encoding="utf-8").replace(",0.02\n", ",none\n", 1), encoding="utf-8")
    assert cli.main(["fit", str(table)]) == cli.WRONG_INPUT
    assert "measured.csv, line 11: plus_minus_mm is 'none'" in capsys.readouterr().err
    assert not (table.parent / "process.toml").exists()


def test_readings_that_tell_nothing_leave_no_process_file(table, capsys):
    lines = table.read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if line.startswith(("#", "id,", "least-pin", "bridge-z-20"))]
    table.write_text("\n".join(kept) + "\n", encoding="utf-8")
    assert cli.main(["fit", str(table)]) == cli.WRONG_INPUT
    said = capsys.readouterr().out
    assert "Not told: depth_mm, cure_depth_mm" in said
    assert "add bridge-z-1" in said
    assert not (table.parent / "process.toml").exists()


def test_where_nothing_can_be_written_nothing_is(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(FileError, match="could not be written"):
        make_gauge(tmp_path / "file", printer="mono-35", resin="tough", layer_mm=None)


def test_the_whole_table_is_read(table):
    assert len(read_measured(table).readings) == len(printed(LIGHT).readings) + 1
