"""What pydantic says about a job file, in the maker's words: key, what is wrong, the mend."""

import types
import typing
from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from firstcast.errors import JobError
from firstcast.process.figures import nearest_word
from firstcast.stations.contract import FAULT

_MENDS = {
    "missing": "Add the key.",
    "float_type": "Give a number.",
    "float_parsing": "Give a number.",
    "int_type": "Give a whole number.",
    "int_from_float": "Give a whole number.",
    "int_parsing": "Give a whole number.",
    "bool_type": "Give true or false.",
    "bool_parsing": "Give true or false.",
    "string_type": "Put the word in quotes.",
    "finite_number": "Give a finite number.",
    "tuple_type": "Give a list in square brackets.",
    "model_type": "Give a table.",
    "dict_type": "Give a table.",
}


def job_error(error: ValidationError, model: type[BaseModel], prefix: Sequence[str | int] = ()) -> JobError:
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
    what, mend = _told(first, loc, model)
    if len(faults) > 1:
        others = dict.fromkeys(dotted([*prefix, *_clean(fault["loc"], model)]) for fault in faults[1:])
        mend += f" Also look at: {', '.join(list(others)[:5])}."
    return JobError(what, where=dotted([*prefix, *loc]), mend=mend)


def dotted(keys: Sequence[str | int]) -> str:
    """Keys as a dotted path; list places count from 1: piece[2].parts[1]."""
    path = ""
    for key in keys:
        if isinstance(key, int):
            path += f"[{key + 1}]"
        else:
            bare = key.replace("-", "").replace("_", "").isalnum()
            path += ("." if path else "") + (key if bare else f'"{key}"')
    return path or "job file"


def _told(fault: Any, loc: Sequence[str | int], model: type[BaseModel]) -> tuple[str, str]:
    kind, context = fault["type"], fault.get("ctx", {})
    if kind == "extra_forbidden":
        holder = _model_at(model, loc[:-1])
        known = list(holder.model_fields) if holder else []
        return "the key is not known", nearest_word(str(loc[-1]), known)
    if kind in ("literal_error", "enum"):
        known = _words(context.get("expected", ""))
        return f"{fault['input']!r} is not one of the words it takes", nearest_word(
            str(fault["input"]), known
        )
    if kind == FAULT:
        return context["what"], context["mend"]
    if kind == "value_error":
        what = str(context.get("error", fault["msg"]))
        head, dot, tail = what.partition(". ")
        return (head, tail) if dot else (what, "Correct it.")
    if kind == "missing":
        return "the key is missing", _MENDS["missing"]
    said = fault["msg"].replace("Input should be", "it should be").rstrip(".")
    value = fault["input"]
    shown = f"{value!r}: " if isinstance(value, str | int | float | bool) else ""
    return f"{shown}{said}", _MENDS.get(kind, "Correct the value.")


def _words(expected: str) -> list[str]:
    """The words in pydantic's "'a', 'b' or 'c'"."""
    return [word for word in expected.split("'")[1::2] if word]


def _clean(loc: Sequence[str | int], model: type[BaseModel]) -> list[str | int]:
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


def _model_at(model: type[BaseModel], loc: Sequence[str | int]) -> type[BaseModel] | None:
    here: Any = model
    for key in loc:
        here = _step(here, key)
    return _model_in(here)


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


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def _model_in(kind: Any) -> type[BaseModel] | None:
    return next((option for option in _options(kind) if _is_model(option)), None)
