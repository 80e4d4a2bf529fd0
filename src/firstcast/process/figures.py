"""Reading figures (low, likely, high, unit, basis, source) out of the packaged data files."""

import difflib
import math
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from importlib import resources
from typing import Any

from firstcast.errors import InputError
from firstcast.ranges import Range
from firstcast.vocabulary import Basis

_FIGURE_KEYS = {"low", "likely", "high", "unit", "basis", "source"}


@cache
def read_data(name: str) -> dict[str, Any]:
    """The packaged file `process/data/<name>.toml` as a dictionary. Callers must not change it."""
    text = (resources.files("firstcast.process") / "data" / f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def figure_from(table: Mapping[str, Any], *, where: str) -> Range:
    """One figure of a data file as a `Range`.

    Parameters
    ----------
    table : mapping
        Keys low, likely, high, unit, basis (a name of `Basis`, lower case) and source, all of them.

    Raises
    ------
    InputError
        A key is missing or unknown, the basis is not a word of ours, or low ≤ likely ≤ high fails.
    """
    if set(table) != _FIGURE_KEYS:
        raise InputError(
            f"a figure has the keys {', '.join(sorted(table))}",
            where=where,
            mend=f"Give exactly {', '.join(sorted(_FIGURE_KEYS))}.",
        )
    try:
        basis = Basis[str(table["basis"]).upper()]
    except KeyError:
        raise InputError(
            f"basis '{table['basis']}' is not known",
            where=where,
            mend=f"Use one of {', '.join(b.name.lower() for b in Basis)}.",
        ) from None
    low, likely, high = (float(table[key]) for key in ("low", "likely", "high"))
    return Range(low, likely, high, table["unit"], basis, table["source"])


def override_figure(figure: Range, value: Any, *, where: str) -> Range:
    """`figure` as the maker gives it: one number, or a mapping of low, likely and high.

    A mapping may leave ends out; an end that is left out is `likely`.
    The basis becomes the maker's own, or the gauge's where the mapping says `fitted = true`.

    Raises
    ------
    InputError
        Not a number nor such a mapping, or low ≤ likely ≤ high fails.
    """
    ends = dict(value) if isinstance(value, Mapping) else {"likely": value}
    fitted = ends.pop("fitted", False) is True
    if "likely" in ends and set(ends) <= {"low", "likely", "high"} and all(map(_is_number, ends.values())):
        likely = float(ends["likely"])
        low, high = float(ends.get("low", likely)), float(ends.get("high", likely))
        if low <= likely <= high:
            if fitted:
                return Range(low, likely, high, figure.unit, Basis.GAUGE, "fitted to the gauge")
            return Range(low, likely, high, figure.unit, Basis.MAKER, "the job file")
    raise InputError(
        f"{value!r} is no figure ({figure.unit})",
        where=where,
        mend="Give one number, or { low = …, likely = …, high = … } in that order.",
    )


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def nearest_word(word: str, known: Iterable[str]) -> str:
    """A mend for an unknown word: the nearest known one, or all of them where none is near."""
    words = sorted(known)
    near = difflib.get_close_matches(word.lower(), words, n=1, cutoff=0.6)
    if near:
        return f"Did you mean '{near[0]}'?"
    return f"Use one of: {', '.join(words)}." if words else "There is nothing to choose from."
