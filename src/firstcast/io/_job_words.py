"""One fault that pydantic found, in the maker's words: what is wrong, and the mend."""

import re
from typing import Any

from pydantic import BaseModel

from firstcast.io._job_models import LISTED_TABLES
from firstcast.process.figures import nearest_word
from firstcast.stations.contract import FAULT

Model = type[BaseModel] | None

_NUMBERS = {"float_type", "float_parsing", "int_type", "int_parsing", "int_from_float"}
_TABLES = {"model_type", "model_attributes_type", "dict_type"}
_LISTS = {"tuple_type", "list_type"}
_BOUNDS = {
    "greater_than": ("gt", "not above", "above"),
    "greater_than_equal": ("ge", "below", "not below"),
    "less_than": ("lt", "not below", "below"),
    "less_than_equal": ("le", "above", "not above"),
}
"""Of a broken bound: the name of the limit, what the value is, and what it should be."""
_NUMBER = re.compile(r"\s*[-+]?(\d+(\.\d*)?|\.\d+)\s*$")
_SCALE = re.compile(r"\s*1\s*:\s*(\d+(\.\d+)?)\s*$")


def told(fault: Any, here: Model, holder: Model, where: str) -> tuple[str, str]:
    """What is wrong, and the mend.

    Parameters
    ----------
    fault : dict
        One entry of pydantic's `errors()`.
    here, holder : model or None
        Of the table (or of the list's entries) that the fault is in the place of, and of the table that holds
        the key.
    where : str
        The key's dotted path.
    """
    kind, context, value = fault["type"], fault.get("ctx", {}), fault["input"]
    if kind == FAULT:
        return context["what"], context["mend"]
    if kind == "extra_forbidden":
        known = list(holder.model_fields) if holder else []
        return "the key is not known", nearest_word(str(fault["loc"][-1]), known)
    if kind in ("literal_error", "enum"):
        known = [word for word in str(context.get("expected", "")).split("'")[1::2] if word]
        return f"{_shown(value)} is not one of the words it takes", nearest_word(str(value), known)
    if kind == "value_error":
        return _by_validator(str(context.get("error", fault["msg"])))
    if kind == "missing":
        return _missing(here, where)
    if kind in _BOUNDS:
        name, is_, should = _BOUNDS[kind]
        limit = f"{context[name]:g}" if isinstance(context[name], float) else str(context[name])
        return f"{_shown(value)} is {is_} {limit}", f"Give a number {should} {limit}."
    if kind == "string_too_short":
        return "it is empty", "Give a word."
    if kind in ("too_short", "too_long"):
        return _wrong_length(kind, context)
    return _wrong_type(kind, value, here, where) or (fault["msg"].rstrip("."), "Correct the value.")


def _shown(value: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return str(value).lower()
    return repr(value) if isinstance(value, str | int | float) else "what stands there"


def _by_validator(what: str) -> tuple[str, str]:
    """A model's own check: "what. mend", or no more than what to give."""
    head, dot, tail = what.partition(". ")
    if dot:
        return head, tail
    if head.startswith("give "):
        return "its keys don't go together", f"{head[0].upper()}{head[1:]}."
    return head, "Correct it."


def _missing(here: Model, where: str) -> tuple[str, str]:
    if here is None:
        return "the key is missing", "Add the key."
    name = f"[[{where}]]" if where in LISTED_TABLES else f"[{where}]"
    keys = ", ".join(name for name, field in here.model_fields.items() if field.is_required())
    return f"there is no {name}", f"Write {name} and below it: {keys}."


def _wrong_length(kind: str, context: Any) -> tuple[str, str]:
    given = context["actual_length"]
    if kind == "too_long":
        return f"it has {given} entries, {context['max_length']} at most", "Leave the others away."
    if not given:
        return "it is empty", f"Give {context['min_length']} at least."
    return f"it has {given} entries, at least {context['min_length']} are needed", "Add the others."


def _wrong_type(kind: str, value: Any, here: Model, where: str) -> tuple[str, str] | None:
    """For a value of another kind than the key's: text for a number, one for a list, a word for a table."""
    shown = _shown(value)
    if kind in _NUMBERS:
        whole = "whole " if kind.startswith("int") else ""
        return f"{shown} is no {whole}number", _mend_of_number(value, whole)
    if kind == "finite_number":
        return f"{shown} is no finite number", "Give a finite number."
    if kind in ("bool_type", "bool_parsing"):
        return f"{shown} is neither true nor false", "Give true or false, without quotes."
    if kind == "string_type":
        return f"{shown} is no text", "Put it in quotes."
    if kind in _LISTS:
        if isinstance(value, dict) and here is not None:
            return (
                "it is one table, not a list of them",
                f"Write [[{where}]], in double brackets, above each.",
            )
        inner = f'"{value}"' if isinstance(value, str) else "…"
        return f"{shown} is no list", f"Put it in square brackets: [{inner}]."
    if kind in _TABLES:
        keys = "" if here is None else ", ".join(f"{name} = …" for name in list(here.model_fields)[:3])
        return f"{shown} is no table", f"Give {{ {keys or 'name = …'} }}."
    return None


def _mend_of_number(value: Any, whole: str) -> str:
    scale = _SCALE.match(value) if isinstance(value, str) else None
    if scale and float(scale[1]) > 0:
        return f"Give one number: {scale[1]} for 1:{scale[1]}."
    if scale:
        return "Give one number above 0: 56 for 1:56."
    if isinstance(value, str) and _NUMBER.match(value):
        return f"Write the {whole}number without quotes: {value.strip()}."
    return f"Give a {whole}number."
