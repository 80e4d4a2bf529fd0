"""The process file: figures fitted to a gauge, written by `firstcast fit` and named by a job.

    [gauge]      printer, resin, layer_mm, measured (the table's file name)
    [printer]    figures of the printer, as low, likely, high, unit, basis = "fitted", source
    [resin]      figures of the resin
    [told]       what no material holds: E0 / Ec, scales, offsets, least sizes

A job lays the figures of [printer] and [resin] over those of its materials, below its own [process.override].
"""

import json
import math
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

from firstcast.errors import JobError
from firstcast.io._job_toml import read_tables
from firstcast.io.write import write_whole
from firstcast.process.figures import nearest_word
from firstcast.process.fitted import Figure, Fitted
from firstcast.process.gauge import Gauge
from firstcast.process.materials import CATALOGUES
from firstcast.ranges import SCENARIOS

LAID_OVER = ("printer", "resin")
FITTED = "fitted"
_GAUGE_KEYS = {"printer": str, "resin": str, "layer_mm": float, "measured": str}
_FIGURE_KEYS = {*SCENARIOS, "unit", "basis", "source"}
_DIGITS = 5


def write_process_file(path: Path, gauge: Gauge, fitted: Fitted, *, measured: str) -> None:
    """The figures of a fit as TOML, whole or not at all. `measured`: the name of the table they were fitted to.

    Raises
    ------
    FileError
        It can't be written.
    """
    source = f"90 % interval, fitted to {measured}"
    lines = [
        f"# Fitted to {_plain(measured)}: likely values with 90 % intervals. A job takes them by",
        '#   [process] fitted = "process.toml"',
        "",
        "[gauge]",
        f"printer = {_text(gauge.printer)}",
        f"resin = {_text(gauge.resin)}",
        f"layer_mm = {gauge.layer_mm:g}",
        f"measured = {_text(measured)}",
    ]
    for table in (*LAID_OVER, ""):
        chosen = [figure for figure in fitted.figures if figure.table == table]
        if chosen:
            lines += ["", f"[{table or 'told'}]", *(_line(figure, source) for figure in chosen)]
    for refusal in fitted.refusals:
        lines += ["", f"# Not told: {_plain(refusal.name)}: {_plain(refusal.says)}"]
    text = "\n".join(lines) + "\n"
    write_whole(path, lambda stream: stream.write(text.encode()))


def _line(figure: Figure, source: str) -> str:
    ends = ", ".join(f"{name} = {_number(figure.range.scenario(name))}" for name in SCENARIOS)
    unit = _text(figure.range.unit)
    return f'{figure.name} = {{ {ends}, unit = {unit}, basis = "{FITTED}", source = {_text(source)} }}'


def _number(value: float) -> str:
    """Five digits, as TOML has numbers: with a point, however small."""
    return repr(float(f"{value:.{_DIGITS}g}"))


def _text(text: str) -> str:
    # JSON's escapes are TOML's; what JSON leaves bare and TOML does not allow is DEL.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)


def with_fitted(process: Mapping[str, Any], folder: Path) -> dict[str, Any]:
    """A job's [process] with the figures of the file that its `fitted` names laid under its own overrides.

    Printer, resin and layer are the gauge's where the job does not say.

    Raises
    ------
    JobError
        The file is not there, is no process file, or was fitted to another printer, resin or layer.
    """
    named = process.get("fitted")
    if not isinstance(named, str):
        return dict(process)
    given, figures = _read(folder / named, named)
    content = dict(process)
    for key in ("printer", "resin", "layer_mm"):
        if content.setdefault(key, given[key]) != given[key]:
            raise JobError(
                f"{named} was fitted with {key} {given[key]}, the job has {content[key]}",
                where=f"process.{key}",
                mend="Print a gauge for it, name the other process file, or take the key out.",
            )
    own = content.get("override", {})
    if not isinstance(own, Mapping):
        return content
    laid = dict(own)
    for table in LAID_OVER:
        over = own.get(table, {})
        if isinstance(over, Mapping):
            laid[table] = {**figures.get(table, {}), **over}
    return {**content, "override": laid}


def _read(path: Path, named: str) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    if not path.is_file():
        raise JobError(
            f"there is no file {path}",
            where="process.fitted",
            mend="Name the file that 'firstcast fit' wrote, from the job file's own folder on or in full.",
        )
    tables = read_tables(path)
    known = ("gauge", *LAID_OVER, "told")
    for name in tables:
        if name not in known:
            raise JobError(
                "the table is not known", where=f"{named}, [{name}]", mend=nearest_word(name, known)
            )
    given = tables.get("gauge", {})
    for key, kind in _GAUGE_KEYS.items():
        value = given.get(key) if isinstance(given, Mapping) else None
        # A layer of 1 mm and the like is a whole number in TOML.
        if not isinstance(value, (int, float) if kind is float else kind) or isinstance(value, bool):
            raise JobError(f"its [gauge] has no {key}", where=named, mend="Fit it once more: firstcast fit.")
    return dict(given), {table: _figures(tables.get(table, {}), table, named) for table in LAID_OVER}


def _figures(table: Any, name: str, named: str) -> dict[str, Any]:
    known = [f.name for f in fields(CATALOGUES[name][1]) if f.name not in ("key", "title")]
    found = {}
    for key, value in table.items() if isinstance(table, Mapping) else ():
        where = f"{named}, [{name}] {key}"
        if key not in known:
            raise JobError("the figure is not known", where=where, mend=nearest_word(key, known))
        if not _is_fitted(value):
            raise JobError(
                "it is no fitted figure",
                where=where,
                mend=f'Give {", ".join((*SCENARIOS, "unit", "source"))} and basis = "{FITTED}", low ≤ likely ≤ high; '
                "or put your own figure into [process.override].",
            )
        found[key] = {**{end: value[end] for end in SCENARIOS}, FITTED: True}
    return found


def _is_fitted(value: Any) -> bool:
    if not isinstance(value, Mapping) or set(value) != _FIGURE_KEYS or value["basis"] != FITTED:
        return False
    low, likely, high = (value[end] for end in SCENARIOS)
    return all(map(_finite, (low, likely, high))) and low <= likely <= high


def _finite(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
