"""Stations and their steps: at which subjects each works, and where its arguments come from.

A station works per part, per piece, per master, per print (a master that goes on a platform), per run (a filled platform) or
for the whole job. Its arguments come from the job ("part.mesh", "piece.name", "piece.keep", "job.pieces", "master.name", "run.run") or
from a field of an earlier result ("mould.body"). Where a result of many subjects is taken by fewer, it arrives as a
tuple: per-part results taken per piece are those of the piece's parts in the job file's order, per-print results taken per run
those of the masters that stand on it.

A piece has one master or two, a plain and a carried one: as carry says. What a carried master takes from elsewhere than
a plain one stands in the station's `carried`. How many runs there are, the station platform says.
"""

import importlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from importlib.util import find_spec
from types import ModuleType
from typing import Any, Protocol

from firstcast import values
from firstcast.errors import JobError
from firstcast.findings import Finding, Measure
from firstcast.printing.run import Run
from firstcast.stations.contract import StationSettings
from firstcast.store import Stored
from firstcast.vocabulary import Make

PER = ("part", "piece", "master", "print", "run", "job")
"""What a station may work at, one step each."""


@dataclass(frozen=True)
class Station:
    """One line of the route. `per` is one of `PER`; `carried` replaces in `takes` for a carried master.

    Several addresses for one argument, each of many results, arrive as rows: a tuple per result, in their order.
    """

    name: str
    per: str
    takes: Mapping[str, str | tuple[str, ...]]
    gives: str
    carried: Mapping[str, str | tuple[str, ...]] = field(default_factory=dict)

    @property
    def module_name(self) -> str:
        """Where its function and its settings live."""
        return f"firstcast.stations.{self.name}"

    @property
    def module(self) -> ModuleType:
        """The station's module, imported when first needed."""
        return importlib.import_module(self.module_name)

    @property
    def settings_model(self) -> type[StationSettings]:
        """The model of the job file's table of the same name: of a module of its own where there is one.

        To open a job takes the models alone; what a station needs to work is slow to import.
        """
        own = f"{self.module_name}_settings"
        return importlib.import_module(own if find_spec(own) else self.module_name).Settings


class Source(Protocol):
    """A value from outside the route: its digest is known before it is loaded."""

    @property
    def digest(self) -> str:
        """Digest of the value's content."""
        ...

    def load(self) -> Any:
        """The value."""
        ...


@dataclass(frozen=True)
class Given:
    """A source that is at hand already."""

    value: Any

    @property
    def digest(self) -> str:
        """Digest of the value's content."""
        return values.digest(self.value)

    def load(self) -> Any:
        """The value."""
        return self.value


@dataclass(frozen=True)
class Order:
    """A job as the route sees it.

    Attributes
    ----------
    job : sources taken as "job.NAME"
    parts : per part name, sources taken as "part.NAME"
    pieces : per piece name, the names of its parts
    settings : settings of a station for a subject (part or piece name, "" for the job)
    of_pieces : per piece name, sources taken as "piece.NAME" beside its name
    """

    job: Mapping[str, Source]
    parts: Mapping[str, Mapping[str, Source]]
    pieces: Mapping[str, tuple[str, ...]]
    settings: Callable[[str, str], StationSettings]
    of_pieces: Mapping[str, Mapping[str, Source]] = field(default_factory=dict)


@dataclass(frozen=True)
class Master:
    """One master of a piece. Its name is the piece's, or, of the second, the piece's and which it is."""

    name: str
    piece: str
    make: Make


@dataclass(frozen=True)
class Step:
    """One station at one subject, the piece it belongs to ("" of none), and which master it is of."""

    station: Station
    subject: str
    piece: str = ""
    make: Make = Make.PLAIN


@dataclass
class Outcome:
    """What a run made: a stored result per station and subject."""

    results: dict[tuple[str, str], Stored] = field(default_factory=dict)
    keys: dict[tuple[str, str], str] = field(default_factory=dict)
    made: set[tuple[str, str]] = field(default_factory=set)
    steps: list[Step] = field(default_factory=list)

    def get(self, station: str, subject: str = "") -> Stored:
        """The result of a station at a subject."""
        return self.results[station, subject]

    def findings(self, station: str, subject: str) -> tuple[Finding, ...]:
        """What a station found at a subject."""
        return self.results[station, subject].field("findings")

    def measures(self, station: str, subject: str) -> tuple[Measure, ...]:
        """What a station measured at a subject."""
        return self.results[station, subject].field("measures")


def masters_of(order: Order, outcome: Outcome) -> list[Master]:
    """Every master of the job: one of a piece until carry says that it makes two.

    Raises
    ------
    JobError
        The second master of a piece would be called like another piece.
    """
    masters = []
    for piece in order.pieces:
        told = outcome.results.get(("carry", piece))
        makes = (Make.PLAIN,) if told is None else told.field("makes")
        masters.append(Master(piece, piece, makes[0]))
        masters += [Master(f"{piece} {make}", piece, make) for make in makes[1:]]
    # file systems of some machines don't tell capitals apart
    pieces = {piece.casefold() for piece in order.pieces}
    for master in masters:
        if master.name != master.piece and master.name.casefold() in pieces:
            raise JobError(
                f"piece '{master.piece}' has a second master of this name",
                where=f"piece '{master.name}'",
                mend='Call the piece otherwise, or settle [carry] make = "plain" or "carried".',
            )
    return masters


def prints_of(order: Order, outcome: Outcome) -> list[Master]:
    """The masters that go on a platform: of a piece with two, those that the job's [platform] asks for."""
    asked = getattr(order.settings("platform", ""), "printed", lambda makes: makes[:1])
    masters = masters_of(order, outcome)
    makes: dict[str, tuple[Make, ...]] = {}
    for master in masters:
        makes[master.piece] = (*makes.get(master.piece, ()), master.make)
    return [master for master in masters if master.make in asked(makes[master.piece])]


def runs_of(outcome: Outcome) -> dict[str, Run]:
    """The runs by name, as the station platform filled them; none before it has."""
    filled = outcome.results.get(("platform", ""))
    return {} if filled is None else {run.name: run for run in filled.field("runs")}


def steps_at(station: Station, order: Order, outcome: Outcome) -> list[Step]:
    """The steps of one station, in the order of work."""
    if station.per in ("master", "print"):
        found = masters_of(order, outcome) if station.per == "master" else prints_of(order, outcome)
        return [Step(station, each.name, each.piece, each.make) for each in found]
    if station.per == "piece":
        return [Step(station, piece, piece) for piece in order.pieces]
    if station.per == "run":
        return [Step(station, name) for name in runs_of(outcome)]
    return [Step(station, part) for part in (order.parts if station.per == "part" else [""])]


def taken_by(step: Step, order: Order, outcome: Outcome) -> dict[str, Source]:
    """What a step takes, by the names of its station's arguments."""
    addresses = {**step.station.takes, **(step.station.carried if step.make is Make.CARRIED else {})}
    return {
        argument: _take(address, step, order, outcome)
        if isinstance(address, str)
        else _Rows(tuple(_take(each, step, order, outcome) for each in address))
        for argument, address in addresses.items()
    }


@dataclass(frozen=True)
class _Field:
    result: Stored
    name: str

    @property
    def digest(self) -> str:
        return self.result.digest(self.name)

    def load(self) -> Any:
        return self.result.field(self.name)


@dataclass(frozen=True)
class _Many:
    items: tuple[Source, ...]

    @property
    def digest(self) -> str:
        return values.digest(tuple(item.digest for item in self.items))

    def load(self) -> Any:
        return tuple(item.load() for item in self.items)


@dataclass(frozen=True)
class _Rows:
    columns: tuple[Source, ...]

    @property
    def digest(self) -> str:
        return values.digest(tuple(column.digest for column in self.columns))

    def load(self) -> Any:
        return tuple(zip(*(column.load() for column in self.columns), strict=True))


def _take(address: str, step: Step, order: Order, outcome: Outcome) -> Source:
    giver, _, name = address.partition(".")
    if giver == "job":
        return order.job[name]
    if giver == "part":
        return order.parts[step.subject][name]
    if giver == "piece":
        return Given(step.piece) if name == "name" else order.of_pieces[step.piece][name]
    if giver == "master":
        return Given(step.subject)
    if giver == "run":
        return Given(runs_of(outcome)[step.subject])
    given = [earlier for earlier in outcome.steps if earlier.station.name == giver]
    for earlier in given:
        if _is_about(earlier, step):
            return _Field(outcome.results[giver, earlier.subject], name)
    wanted = _narrower(step, order, outcome)
    subjects = [earlier.subject for earlier in given]
    chosen = subjects if wanted is None else [subject for subject in wanted if subject in subjects]
    return _Many(tuple(_Field(outcome.results[giver, subject], name) for subject in chosen))


def _is_about(earlier: Step, step: Step) -> bool:
    """Whether one earlier step is all that a step takes of its station, rather than one of many."""
    per, own = earlier.station.per, step.station.per
    if per == own or {per, own} == {"master", "print"}:
        return earlier.subject == step.subject
    return per == "job" or (per == "piece" and earlier.subject == step.piece)


def _narrower(step: Step, order: Order, outcome: Outcome) -> tuple[str, ...] | None:
    """Of whose results a step takes many: its piece's parts, its run's masters; None: of all."""
    if step.piece:
        return order.pieces[step.piece]
    if step.station.per == "run":
        placed = runs_of(outcome)[step.subject].placements
        return tuple(dict.fromkeys(placement.master for placement in placed))
    return None
