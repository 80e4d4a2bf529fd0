"""The job file's [stand]: how a piece stands in the printer, if the maker says it."""

from typing import Annotated, Any, Literal

import numpy as np
from pydantic import AfterValidator, BeforeValidator, Field

from firstcast.errors import InputError
from firstcast.geometry.turns import Turn, nearest_turn, turn_about
from firstcast.stations.contract import StationSettings

Row = tuple[float, float, float]
Rows = tuple[Row, Row, Row]


def _rows(given: Any) -> Any:
    """An axis with an angle in degrees behind it as the rows of its rotation; anything else as it is."""
    if not isinstance(given, list | tuple):
        return given
    numbers = [entry for entry in given if isinstance(entry, int | float) and not isinstance(entry, bool)]
    if len(given) == 4 == len(numbers) and np.isfinite(numbers).all():
        try:
            return _as_rows(turn_about(numbers[:3], numbers[3]))
        except InputError as error:
            raise ValueError(f"{error.what}. {error.mend}") from None
    return tuple(tuple(entry) if isinstance(entry, list) else entry for entry in given)


def _rotation(rows: Rows) -> Rows:
    try:
        return _as_rows(nearest_turn(rows))
    except InputError as error:
        raise ValueError(f"{error.what}. {error.mend}") from None


def _as_rows(turn: Turn) -> Rows:
    first, second, third = (tuple(map(float, row)) for row in turn)
    return first, second, third  # type: ignore[return-value]


class Settings(StationSettings):
    """How a piece stands in the printer: the job file's [stand]. A lean or turn that is given is kept, whatever `search` says."""

    lean_deg: float | None = Field(default=None, ge=0.0, le=90.0)
    """How far it leans from upright; 12 to 17 is common practice (no source), 0 stands it upright. 15 if only a side is given."""
    lean_towards: Literal["back", "front", "left", "right"] | None = None
    """The figure's own side that it leans to; it faces -y. Back if only an angle is given."""
    turn: Annotated[Rows, BeforeValidator(_rows), AfterValidator(_rotation)] | None = None
    """In place of the lean: the rotation from figure to printer, as rows, or [x, y, z, degrees] about an axis."""
    search: Literal["habit", "clearly better", "best"] = "clearly better"
    """Whether it stands by habit, leaned back by 15°, in any case; unless another way is clearly better; or in the best way found."""
    directions: int = Field(default=2000, ge=0, le=20000)
    """How many build directions are read; 0 reads only the one that is given and the habit."""
