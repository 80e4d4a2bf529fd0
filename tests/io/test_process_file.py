"""The process file: written by a fit, laid under a job's own overrides; what it can't be is refused."""

import tomllib
from dataclasses import replace

import pytest

from firstcast.errors import JobError
from firstcast.io.process_file import with_fitted, write_process_file
from firstcast.process.fit import fit_process
from firstcast.process.gauge import Light
from firstcast.stations.plan_settings import Settings, materials_of
from firstcast.vocabulary import Basis
from process.gauge_readings import printed

LIGHT = Light(0.1, 0.12, 0.022)


@pytest.fixture(scope="module")
def fitted():
    return fit_process(printed(LIGHT))


@pytest.fixture
def folder(tmp_path, fitted):
    write_process_file(tmp_path / "process.toml", printed(LIGHT), fitted, measured='the "good" gauge.csv')
    return tmp_path


def materials(process, folder):
    return materials_of(Settings(**with_fitted(process, folder)))


def test_it_is_toml_that_says_what_was_fitted(folder, fitted):
    tables = tomllib.loads((folder / "process.toml").read_text(encoding="utf-8"))
    assert tables["gauge"] == {
        "printer": "mono-35",
        "resin": "tough",
        "layer_mm": 0.05,
        "measured": 'the "good" gauge.csv',
    }
    assert set(tables["printer"]) == {"blur_mm"}
    assert set(tables["resin"]) == {"depth_mm", "cure_depth_mm", "shrink_xy_ratio", "shrink_z_ratio"}
    written = {name: value for table in ("printer", "resin", "told") for name, value in tables[table].items()}
    assert set(written) == {figure.name for figure in fitted.figures}
    for figure in fitted.figures:
        entry = written[figure.name]
        assert entry["basis"] == "fitted"
        ends = (figure.range.low, figure.range.likely, figure.range.high)
        assert [entry[end] for end in ("low", "likely", "high")] == pytest.approx(list(ends), rel=1e-4)


def test_its_figures_are_laid_over_the_materials_and_count_as_calibrated(folder):
    got = materials({"fitted": "process.toml"}, folder)
    assert got.resin.depth_mm.likely == pytest.approx(0.1, rel=1e-3)
    assert got.printer.blur_mm.likely == pytest.approx(0.022, rel=1e-3)
    for figure in (
        got.resin.depth_mm,
        got.resin.cure_depth_mm,
        got.resin.shrink_xy_ratio,
        got.printer.blur_mm,
    ):
        assert figure.basis is Basis.GAUGE
        assert figure.calibrated
        assert figure.low < figure.likely < figure.high
    # What was not fitted stays as it is.
    assert not got.resin.heat_deflection_degC.calibrated


def test_the_makers_own_figures_lie_over_it(folder):
    own = {"resin": {"depth_mm": 0.2}, "limits": {"wall_mm": 0.6}}
    got = materials({"fitted": "process.toml", "override": own}, folder)
    assert (got.resin.depth_mm.likely, got.resin.depth_mm.basis) == (0.2, Basis.MAKER)
    assert got.resin.cure_depth_mm.basis is Basis.GAUGE


def test_printer_resin_and_layer_are_the_gauges_where_the_job_does_not_say(tmp_path, fitted):
    gauge = replace(printed(LIGHT), printer="mono-50", resin="standard", layer_mm=0.03)
    write_process_file(tmp_path / "process.toml", gauge, fitted, measured="m.csv")
    content = with_fitted({"fitted": "process.toml"}, tmp_path)
    assert (content["printer"], content["resin"], content["layer_mm"]) == ("mono-50", "standard", 0.03)


@pytest.mark.parametrize(
    ("key", "value"), [("printer", "mono-22"), ("resin", "standard"), ("layer_mm", 0.03)]
)
def test_another_printer_resin_or_layer_is_refused(folder, key, value):
    with pytest.raises(JobError, match=f"was fitted with {key}") as refusal:
        with_fitted({"fitted": "process.toml", key: value}, folder)
    assert refusal.value.where == f"process.{key}"


def test_without_the_key_nothing_changes(tmp_path):
    assert with_fitted({"printer": "mono-22"}, tmp_path) == {"printer": "mono-22"}


def test_a_file_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(JobError, match="there is no file"):
        with_fitted({"fitted": "process.toml"}, tmp_path)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("[printer]", "[printers]", r"\[printers\]: the table is not known"),
        ("[gauge]", "[told2]", "is not known"),
        ('resin = "tough"', "", r"\[gauge\] has no resin"),
        ("layer_mm = 0.05", 'layer_mm = "thin"', r"\[gauge\] has no layer_mm"),
        ("depth_mm = {", "dept_mm = {", "the figure is not known"),
        ('basis = "fitted"', 'basis = "guess"', "no fitted figure"),
        ("low = ", "low = 9", "no fitted figure"),
        ("likely = ", "likely = nan #", "no fitted figure|is not TOML"),
        ("blur_mm = {", "blur_mm = 3 #", "no fitted figure"),
        ("[resin]", "[resin", "is not TOML"),
    ],
)
def test_a_file_that_was_spoilt_is_refused(folder, old, new, says):
    path = folder / "process.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(JobError, match=says):
        with_fitted({"fitted": "process.toml"}, folder)


def test_a_value_of_another_kind_is_left_to_the_settings(tmp_path):
    assert with_fitted({"fitted": 3}, tmp_path) == {"fitted": 3}
