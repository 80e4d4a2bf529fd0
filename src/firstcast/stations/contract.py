"""What every station shares: how its settings and its result look.

A station is one file with

- `Settings`, a frozen pydantic model (subclass of `StationSettings`): the table of the same name in the
  job file, each field with a default and a sentence;
- a result, a frozen dataclass (subclass of `StationResult`) of arrays, numbers, strings, tuples and
  further frozen dataclasses, so that the store can keep it;
- one function of values to values named like the station, e.g. `fuse(*, parts, limits, settings, piece)`.

One line in `firstcast.route` then says from which stations the function's arguments come.
"""

from dataclasses import dataclass, field

from pydantic import BaseModel, ConfigDict
from pydantic_core import PydanticCustomError

from firstcast.errors import FirstcastError
from firstcast.findings import Finding, Measure

FAULT = "firstcast_fault"
"""Type of the validation errors that `fault` makes."""


def fault(error: FirstcastError) -> PydanticCustomError:
    """An error of ours as one that a settings validator may raise; `where` is a key below the model's."""
    told = {"what": error.what, "where": error.where, "mend": error.mend}
    return PydanticCustomError(FAULT, "{where}: {what}. {mend}", told)


class StationSettings(BaseModel):
    """Base of every station's settings: frozen, no unknown keys, no NaN or infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


@dataclass(frozen=True, kw_only=True)
class StationResult:
    """Base of every station's result: its line on the route card, what was found and what was measured."""

    says: str = ""
    findings: tuple[Finding, ...] = field(default=())
    measures: tuple[Measure, ...] = field(default=())
