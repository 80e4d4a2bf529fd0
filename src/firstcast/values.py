"""Values as files: how results are written down, read back and hashed.

A value is None, bool, int, float, str, an enum, a numpy array, or a tuple, dict with string keys,
frozen dataclass or NamedTuple of values. It becomes a JSON tree plus the arrays that the tree
refers to by number. Equal values give equal digests, on any machine.
"""

import dataclasses
import enum
import hashlib
import importlib
import json
from collections.abc import Callable
from typing import Any

import numpy as np

from firstcast.errors import InputError

Tree = Any
"""What json.dumps takes."""


def _name(kind: type) -> str:
    return f"{kind.__module__}:{kind.__qualname__}"


def _kind(name: str) -> type:
    module, _, qualname = name.partition(":")
    if not module.startswith("firstcast."):
        raise InputError(
            f"type {name!r} is none of ours", where="stored result", mend="Delete the store folder."
        )
    found: Any = importlib.import_module(module)
    for step in qualname.split("."):
        found = getattr(found, step)
    return found


def encode(value: Any, arrays: list[np.ndarray]) -> Tree:
    """The JSON tree of a value; its arrays are appended to `arrays`.

    Raises
    ------
    InputError
        The value holds something else than the module's docstring allows.
    """
    if isinstance(value, enum.Enum):
        return {"enum": _name(type(value)), "value": value.value}
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, float):
        return {"float": value.hex()}
    if isinstance(value, np.generic):
        return encode(value.item(), arrays)
    if isinstance(value, np.ndarray):
        arrays.append(np.ascontiguousarray(value))
        return {"array": len(arrays) - 1}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {f.name: encode(getattr(value, f.name), arrays) for f in dataclasses.fields(value)}
        return {"record": _name(type(value)), "fields": fields}
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        return {"named": _name(type(value)), "items": [encode(item, arrays) for item in value]}
    if isinstance(value, (tuple, list)):
        return {"tuple": [encode(item, arrays) for item in value]}
    if isinstance(value, dict) and all(isinstance(key, str) for key in value):
        return {"dict": {key: encode(item, arrays) for key, item in value.items()}}
    raise InputError(
        f"a {type(value).__name__} can't be stored", where="result", mend="Use the kinds that `values` lists."
    )


def decode(tree: Tree, array_of: Callable[[int], np.ndarray]) -> Any:
    """The value of a tree; `array_of` gives the array of a number."""
    if not isinstance(tree, dict):
        return tree
    (first, *_) = tree
    if first == "float":
        return float.fromhex(tree["float"])
    if first == "array":
        return array_of(tree["array"])
    if first == "tuple":
        return tuple(decode(item, array_of) for item in tree["tuple"])
    if first == "dict":
        return {key: decode(item, array_of) for key, item in tree["dict"].items()}
    if first == "enum":
        return _kind(tree["enum"])(tree["value"])
    if first == "named":
        return _kind(tree["named"])(*(decode(item, array_of) for item in tree["items"]))
    fields = {name: decode(item, array_of) for name, item in tree["fields"].items()}
    return _kind(tree["record"])(**fields)


def digest(value: Any) -> str:
    """Hex digest of a value: equal values, equal digests."""
    arrays: list[np.ndarray] = []
    tree = encode(value, arrays)
    return digest_encoded(tree, arrays)


def digest_encoded(tree: Tree, arrays: list[np.ndarray]) -> str:
    """Hex digest of an encoded value whose array numbers count from the tree's own first array."""
    found: list[int] = []
    _collect(tree, found)
    renumbered = {number: place for place, number in enumerate(found)}
    result = hashlib.blake2b(digest_size=16)
    result.update(json.dumps(_renumber(tree, renumbered), sort_keys=True, ensure_ascii=True).encode())
    for number in found:
        array = arrays[number]
        result.update(f"{array.dtype.str}{array.shape}".encode())
        result.update(array.reshape(-1).view(np.uint8).data)
    return result.hexdigest()


def _collect(tree: Tree, found: list[int]) -> None:
    if isinstance(tree, dict):
        if "array" in tree and len(tree) == 1:
            found.append(tree["array"])
        else:
            for item in tree.values():
                _collect(item, found)
    elif isinstance(tree, list):
        for item in tree:
            _collect(item, found)


def _renumber(tree: Tree, numbers: dict[int, int]) -> Tree:
    if isinstance(tree, dict):
        if "array" in tree and len(tree) == 1:
            return {"array": numbers[tree["array"]]}
        return {key: _renumber(item, numbers) for key, item in tree.items()}
    if isinstance(tree, list):
        return [_renumber(item, numbers) for item in tree]
    return tree
