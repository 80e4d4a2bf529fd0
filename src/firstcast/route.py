"""The ordered stations, what each takes from which, and what has to be made again.

To add a station: write its file in `firstcast.stations`, and add one line to `ROUTE`.

A station works per part, per piece, per master or for the whole job. Its arguments come from the job
("part.mesh", "piece.name", "job.pieces") or from a field of an earlier result ("fuse.body").
Where a result of many subjects is taken by fewer, it arrives as a tuple: per-part results taken per piece
are those of the piece's parts, in the job file's order.

A piece has one master or two, a plain and a carried one: as carry says. What a carried master takes from elsewhere than
a plain one stands in the station's `carried`.

A result's key is the digest of the station's sources, its settings and the content of what it
takes; so a change upstream that leaves a field as it was (another comment in a mesh file, say)
makes nothing again below it.
"""

import importlib
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import ModuleType
from typing import Any, Protocol

from firstcast import values
from firstcast.errors import JobError
from firstcast.findings import Finding, Measure
from firstcast.sources import dependency_digest
from firstcast.stations.contract import StationSettings
from firstcast.store import Store, Stored
from firstcast.vocabulary import Make


@dataclass(frozen=True)
class Station:
    """One line of the route. `per` is "part", "piece", "master" or "job"; `carried` replaces in `takes`."""

    name: str
    per: str
    takes: Mapping[str, str]
    gives: str
    carried: Mapping[str, str] = field(default_factory=dict)

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
        """The model of the job file's table of the same name."""
        return self.module.Settings


ROUTE: tuple[Station, ...] = (
    Station(
        "size",
        "job",
        {"extents": "job.extents", "declared_unit_mm": "job.declared_unit_mm"},
        "the factor from file units to millimetres",
    ),
    Station(
        "intake",
        "part",
        {"name": "part.name", "mesh": "part.mesh", "matrix_mm": "size.matrix_mm"},
        "parts in millimetres, mended",
    ),
    Station("plan", "job", {"summaries": "intake.summary", "pieces": "job.pieces"}, "the process's limits"),
    Station(
        "fuse",
        "piece",
        {"piece": "piece.name", "parts": "intake.part", "limits": "plan.limits"},
        "one body",
    ),
    Station(
        "stand",
        "piece",
        {
            "piece": "piece.name",
            "body": "fuse.body",
            "limits": "plan.limits",
            "size_steps": "plan.size_steps",
        },
        "how it stands in the printer",
    ),
    Station(
        "read",
        "piece",
        {
            "piece": "piece.name",
            "body": "fuse.body",
            "limits": "plan.limits",
            "materials": "plan.materials",
            "height_mm": "size.height_mm",
        },
        "walls and gaps, read",
    ),
    Station(
        "allow",
        "piece",
        {
            "piece": "piece.name",
            "size_steps": "plan.size_steps",
            "extents_mm": "fuse.extents_mm",
            "turn_to_print": "stand.turn_to_print",
        },
        "the map from figure to master",
    ),
    Station(
        "carry",
        "piece",
        {
            "piece": "piece.name",
            "body": "fuse.body",
            "turn_to_print": "stand.turn_to_print",
            "matrix": "allow.matrix",
            "chain": "plan.chain",
            "limits": "plan.limits",
            "pitch_mm": "fuse.pitch_mm",
            "wall_spare_mm": "read.wall_spare_mm",
            "gap_spare_mm": "read.gap_spare_mm",
            "zones": "job.zones",
            "height_mm": "size.height_mm",
            "printed_with": "plan.printed_with",
        },
        "the painted cast, forecast, and what is carried for it",
    ),
    Station(
        "join",
        "master",
        {"piece": "piece.name", "body": "fuse.body", "matrix": "allow.matrix", "limits": "plan.limits"},
        "one closed mesh",
        carried={"body": "carry.body"},
    ),
    Station(
        "reduce",
        "master",
        {"piece": "piece.name", "mesh": "join.mesh", "limits": "plan.limits", "pitch_mm": "fuse.pitch_mm"},
        "a light mesh within tolerance",
    ),
)


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
    """

    job: Mapping[str, Source]
    parts: Mapping[str, Mapping[str, Source]]
    pieces: Mapping[str, tuple[str, ...]]
    settings: Callable[[str, str], StationSettings]


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


@dataclass(frozen=True)
class Progress:
    """Told before and after each step. `left_s` is an estimate, None while there is nothing to go by."""

    step: Step
    done: int
    total: int
    finished: bool
    kept: bool
    seconds: float
    left_s: float | None


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


def steps_at(station: Station, order: Order, outcome: Outcome) -> list[Step]:
    """The steps of one station, in the order of work."""
    if station.per == "master":
        return [Step(station, found.name, found.piece, found.make) for found in masters_of(order, outcome)]
    if station.per == "piece":
        return [Step(station, piece, piece) for piece in order.pieces]
    return [Step(station, part) for part in (order.parts if station.per == "part" else [""])]


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


def _take(address: str, step: Step, order: Order, outcome: Outcome, per: Mapping[str, str]) -> Source:
    giver, _, name = address.partition(".")
    if giver == "job":
        return order.job[name]
    if giver == "part":
        return order.parts[step.subject][name]
    if giver == "piece":
        return Given(step.piece)
    if per[giver] == "job":
        return _Field(outcome.results[giver, ""], name)
    if per[giver] == step.station.per:
        return _Field(outcome.results[giver, step.subject], name)
    if per[giver] == "piece" and step.piece:
        return _Field(outcome.results[giver, step.piece], name)
    if step.piece:
        subjects: tuple[str, ...] = order.pieces[step.piece]
    else:
        subjects = tuple(order.parts if per[giver] == "part" else order.pieces)
    return _Many(tuple(_Field(outcome.results[giver, subject], name) for subject in subjects))


def _step_name(step: Step) -> str:
    return f"{step.station.name} {step.subject}".strip()


def travel(
    order: Order,
    store: Store,
    *,
    tell: Callable[[Progress], None] = lambda progress: None,
    route: tuple[Station, ...] = ROUTE,
) -> Outcome:
    """Take a job along the route: keep what is there, make what is not.

    Parameters
    ----------
    order : Order
    store : Store
    tell : function of Progress
        Called before and after every step.

    Raises
    ------
    FirstcastError
        A station can't do its work; what was made before stays kept.
    """
    outcome = Outcome()
    per = {station.name: station.per for station in route}
    earlier: dict[str, float] = store.note("timings")
    for place, station in enumerate(route):
        for step in steps_at(station, order, outcome):
            rest = [step for later in route[place:] for step in steps_at(later, order, outcome)]
            rest = [later for later in rest if (later.station.name, later.subject) not in outcome.results]
            done, total = len(outcome.results), len(outcome.results) + len(rest)
            left = [earlier.get(_step_name(later)) for later in rest]
            left_s = None if None in left else sum(seconds or 0.0 for seconds in left)
            key, taken, settings = _asked(step, order, outcome, per)
            stored = store.get(key)
            kept = stored is not None
            tell(Progress(step, done, total, False, kept, 0.0, left_s))
            if stored is None:
                start = time.perf_counter()
                work = getattr(step.station.module, step.station.name)
                result = work(
                    **{argument: source.load() for argument, source in taken.items()}, settings=settings
                )
                stored = store.put(key, result, time.perf_counter() - start)
                del result  # the store has it; the next station may need the room
                outcome.made.add((step.station.name, step.subject))
                earlier[_step_name(step)] = round(stored.seconds, 3)
            outcome.results[step.station.name, step.subject] = stored
            outcome.keys[step.station.name, step.subject] = key
            outcome.steps.append(step)
            tell(Progress(step, done + 1, total, True, kept, stored.seconds, left_s))
    if outcome.made:
        store.set_note("timings", earlier)
    return outcome


def _asked(
    step: Step, order: Order, outcome: Outcome, per: Mapping[str, str]
) -> tuple[str, dict[str, Source], StationSettings]:
    """A step's key, what it takes and its settings."""
    addresses = {**step.station.takes, **(step.station.carried if step.make is Make.CARRIED else {})}
    taken = {argument: _take(address, step, order, outcome, per) for argument, address in addresses.items()}
    settings = order.settings(step.station.name, step.piece or step.subject)
    key = values.digest(
        {
            "station": step.station.name,
            "sources": dependency_digest(step.station.module_name),
            "settings": settings.model_dump_json(),
            "taken": {argument: source.digest for argument, source in taken.items()},
        }
    )
    return key, taken, settings
