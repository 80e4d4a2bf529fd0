"""What pydantic says about a job file, as an error of ours: key, what is wrong, the mend."""

import types
import typing
from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from firstcast.errors import JobError
from firstcast.io._job_words import told
from firstcast.stations.contract import FAULT

Loc = Sequence[str | int]


def job_error(error: ValidationError, model: type[BaseModel], prefix: Loc = ()) -> JobError:
    """The first fault that pydantic found as a JobError; the others are counted and named.

    Parameters
    ----------
    error : ValidationError
    model : the model that was being filled: unknown keys are compared with its fields
    prefix : keys that lead to the model's table
    """
    faults = error.errors(include_url=False)
    first = faults[0]
    loc = _clean(first["loc"], model)
    if first["type"] == FAULT:
        keys = str(first.get("ctx", {}).get("where", "")).split(".")
        loc += [int(key) - 1 if key.isdigit() else key for key in keys]
    if first["type"] == "missing" and loc and isinstance(loc[-1], int):
        # A list that is too short: the fault is the list's, not that of an entry which isn't there.
        loc = loc[:-1]
        gaps = [f for f in faults if f["type"] == "missing" and f["loc"][:-1] == first["loc"][:-1]]
        first = {**first, "type": "too_short", "ctx": _lengths(first["input"], len(gaps))}
    here = dotted([*prefix, *loc])
    what, mend = told(first, model_at(model, loc), model_at(model, loc[:-1]), here)
    others = dict.fromkeys(dotted([*prefix, *_clean(fault["loc"], model)]) for fault in faults[1:])
    others = [other for other in others if not _holds(here, other) and not _holds(other, here)]
    if others:
        mend += f" Also look at: {', '.join(others[:5])}."
    return JobError(what, where=here, mend=mend)


def _holds(path: str, other: str) -> bool:
    """Whether one dotted path is the other, or leads to it: such faults are one."""
    return other == path or other.startswith((f"{path}.", f"{path}["))


def dotted(keys: Loc) -> str:
    """Keys as a dotted path; list places count from 1: piece[2].parts[1]."""
    path = ""
    for key in keys:
        if isinstance(key, int):
            path += f"[{key + 1}]"
        else:
            bare = key.replace("-", "").replace("_", "").isalnum()
            path += ("." if path else "") + (key if bare else f'"{key}"')
    return path or "job file"


def model_at(model: type[BaseModel], loc: Loc) -> type[BaseModel] | None:
    """The model of the table (or of the entries of the list) at a location; None where no table stands."""
    here: Any = model
    for key in loc:
        here = _step(here, key)
    listed = [
        typing.get_args(option)[0] for option in _options(here) if typing.get_origin(option) in (tuple, list)
    ]
    return _model_in(here) or next((kind for kind in map(_model_in, listed) if kind), None)


def _lengths(given: Any, missing: int) -> dict[str, int]:
    return {"actual_length": len(given), "min_length": len(given) + missing}


def _clean(loc: Loc, model: type[BaseModel]) -> list[str | int]:
    """The location without the names of union members, which pydantic adds but no job file has."""
    keys: list[str | int] = []
    here: Any = model
    for key in loc:
        following = _step(here, key)
        if following is None and key in _union_tags(here):
            continue
        keys.append(key)
        here = following
    return keys


def _union_tags(kind: Any) -> set[str]:
    """What pydantic may put into a location for the members of a union."""
    options = [option for option in _options(kind) if option is not type(None)]
    return {getattr(option, "__name__", str(option)) for option in options} if len(options) > 1 else set()


def _step(kind: Any, key: str | int) -> Any:
    """The type found under a key of a type; None where the key leads nowhere."""
    found = _model_in(kind)
    if found is not None and isinstance(key, str):
        field = found.model_fields.get(key)
        return field.annotation if field else None
    for option in _options(kind):
        origin, inner = typing.get_origin(option), typing.get_args(option)
        if origin in (tuple, list) and isinstance(key, int) and inner:
            return inner[min(key, len(inner) - 1)] if Ellipsis not in inner else inner[0]
        if origin is dict and isinstance(key, str) and len(inner) == 2:
            return inner[1]
    return None


def _options(kind: Any) -> tuple[Any, ...]:
    if typing.get_origin(kind) in (typing.Union, types.UnionType):
        return typing.get_args(kind)
    if typing.get_origin(kind) is typing.Annotated:
        return _options(typing.get_args(kind)[0])
    return (kind,)


def _model_in(kind: Any) -> type[BaseModel] | None:
    return next((o for o in _options(kind) if isinstance(o, type) and issubclass(o, BaseModel)), None)
