"""The page of the job file, taken apart; and the models, told in the page's words."""

import re
import types
import typing
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from firstcast.io._job_models import JobTables
from firstcast.io.job import TABLE_OF_STATION
from firstcast.route import ROUTE

PAGE = Path(__file__).parents[1] / "docs" / "job-file.md"

UNITS = {"mm": "mm", "deg": "degrees", "mm2": "mm²"}
"""A key's last word → its unit; other keys have none."""


@dataclass(frozen=True)
class Row:
    """One key as a table of the page has it: name, what it takes, what holds where it is left out."""

    key: str
    takes: str
    default: str


def page_text() -> str:
    return PAGE.read_text(encoding="utf-8")


def page_tables() -> dict[str, list[Row]]:
    """Every table of keys, by the job file's table that its heading names: `### [size] ruler` is "size.ruler"."""
    found: dict[str, list[Row]] = {}
    for heading, body in re.findall(
        r"^##+ (.*?)\n(.*?)(?=^## |^### |\Z)", page_text(), re.DOTALL | re.MULTILINE
    ):
        named = re.match(r"`\[+([\w.]+)\]+`", heading)
        rows = re.findall(r"^\| `(\w+)` \| (.*?) \| (.*?) \|", body, re.MULTILINE)
        if named and rows:
            found[named[1]] = [Row(key, takes.strip(), default.strip()) for key, takes, default in rows]
    return found


def page_examples() -> list[str]:
    return re.findall(r"^```toml\n(.*?)^```", page_text(), re.DOTALL | re.MULTILINE)


def model_tables() -> dict[str, list[Row]]:
    """The same, from the models that read the job file."""
    found: dict[str, list[Row]] = {}
    for name, field in JobTables.model_fields.items():
        _add(found, name, _model_in(field.annotation))
    for station in ROUTE:
        _add(found, TABLE_OF_STATION.get(station.name, station.name), station.settings_model)
    return found


def _add(found: dict[str, list[Row]], path: str, model: Any) -> None:
    found[path] = [_row(key, field) for key, field in model.model_fields.items()]
    for key, field in model.model_fields.items():
        inner = _model_in(field.annotation)
        if inner is not None:
            _add(found, f"{path}.{key}", inner)


def _row(key: str, field: FieldInfo) -> Row:
    return Row(key, takes_of(key, field), _default(field))


def takes_of(key: str, field: FieldInfo) -> str:
    """What a key takes, in the page's words."""
    kind = next(k for k in _options(field.annotation) if k is not type(None))
    unit = UNITS.get(key.rpartition("_")[2], "") if "_" in key else ""
    said = _kind_says(kind)
    if kind in (int, float):
        said = f"{said} {_bounds(field)}".rstrip()
    return f"{said}, {unit}" if unit else said


def _kind_says(kind: Any) -> str:
    plain = {str: "text", float: "number", int: "whole number", bool: "true or false", dict: "table"}
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin is typing.Literal:
        return ", ".join(f'`"{word}"`' for word in inner)
    if origin is tuple:
        if Ellipsis not in inner:
            rows = next(iter(_options(inner[0])))
            numbers = f"{len(typing.get_args(rows) or inner)} numbers"
            return f"{len(inner)} lists of {numbers}" if typing.get_origin(rows) is tuple else numbers
        entry = next(k for k in _options(inner[0]))
        if _model_in(entry):
            return "listed table"
        return f"list of {_kind_says(entry)}{'s' if entry is str else ''}"
    if isinstance(kind, type) and issubclass(kind, StrEnum):
        return ", ".join(f'`"{word.value}"`' for word in kind)
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return "table"
    return plain[origin or kind]


def _bounds(field: FieldInfo) -> str:
    limits = {
        name: f"{getattr(bound, name):.12g}"
        for bound in field.metadata
        for name in ("gt", "ge", "lt", "le")
        if getattr(bound, name, None) is not None
    }
    low = f"above {limits['gt']}" if "gt" in limits else f"from {limits['ge']}" if "ge" in limits else ""
    high = f"below {limits['lt']}" if "lt" in limits else f"to {limits['le']}" if "le" in limits else ""
    if low.startswith("above") and high.startswith("to"):
        high = "up " + high
    return (
        f"{low}, {high}" if low.startswith("above") or high.startswith("below") else f"{low} {high}"
    ).strip(", ")


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "needed"
    value = field.get_default(call_default_factory=True)
    if value is None or value in ((), {}) or isinstance(value, BaseModel):
        return "–"
    return f"`{_toml(value)}`"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, tuple):
        return f"[{', '.join(_toml(item) for item in value)}]"
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"


def _options(kind: Any) -> tuple[Any, ...]:
    """The types that a field may take, without what annotates them."""
    origin = typing.get_origin(kind)
    if origin in (typing.Union, types.UnionType):
        return tuple(plain for option in typing.get_args(kind) for plain in _options(option))
    if origin is typing.Annotated:
        return _options(typing.get_args(kind)[0])
    return (kind,)


def _model_in(kind: Any) -> type[BaseModel] | None:
    """The model of a table, or of the entries of a listed one."""
    for option in _options(kind):
        if typing.get_origin(option) is tuple:
            return _model_in(typing.get_args(option)[0])
        if isinstance(option, type) and issubclass(option, BaseModel):
            return option
    return None
