"""The route makes again what depends on a change and nothing else."""

import sys
from collections import Counter
from dataclasses import dataclass, replace
from types import ModuleType

import pytest

from firstcast import route as route_module
from firstcast.errors import InputError, JobError
from firstcast.printing.run import Placement, Run
from firstcast.route import travel
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.steps import Given, Master, Order, Station, masters_of
from firstcast.store import Store
from firstcast.vocabulary import Make

CALLS: Counter = Counter()


class Settings(StationSettings):
    """Settings of every toy station."""

    extra: int = 0


@dataclass(frozen=True, kw_only=True)
class Toy(StationResult):
    """What the toy stations give."""

    whole: int
    rest: int = 0


def trim(*, number: int, settings: Settings) -> Toy:
    CALLS["trim"] += 1
    return Toy(whole=number // 10, rest=number % 10)


def add(*, piece: str, numbers: tuple[int, ...], settings: Settings, less: int = 0) -> Toy:
    CALLS[f"add {piece}"] += 1
    if settings.extra < 0:
        raise InputError("extra is negative", where="add", mend="Give a positive one.")
    return Toy(whole=sum(numbers) + settings.extra - less)


def total(*, sums: tuple[int, ...], settings: Settings) -> Toy:
    CALLS["total"] += 1
    return Toy(whole=sum(sums))


TOYS = (
    Station("trim", "part", {"number": "part.number"}, ""),
    Station("add", "piece", {"piece": "piece.name", "numbers": "trim.whole"}, ""),
    Station("total", "job", {"sums": "add.whole"}, ""),
)


@pytest.fixture(autouse=True)
def toy_stations(monkeypatch):
    CALLS.clear()
    for function in (trim, add, total):
        module = ModuleType(f"firstcast.stations.{function.__name__}")
        setattr(module, function.__name__, function)
        module.Settings = Settings
        monkeypatch.setitem(sys.modules, module.__name__, module)
    monkeypatch.setattr(route_module, "dependency_digest", lambda name: "same")
    # The store finds types by name; this module is not of the package, so let it be found.
    monkeypatch.setattr("firstcast.values._kind", lambda name: Toy)


def order(numbers, extra=0):
    pieces = {"body": ("a", "b"), "arm": ("c",)}
    return Order(
        job={},
        parts={name: {"number": Given(number)} for name, number in numbers.items()},
        pieces=pieces,
        settings=lambda station, subject: Settings(extra=extra if subject == "arm" else 0),
    )


def test_everything_once_then_nothing(tmp_path):
    store = Store(tmp_path)
    numbers = {"a": 12, "b": 25, "c": 31}
    told = []
    outcome = travel(order(numbers), store, tell=told.append, route=TOYS)
    assert outcome.get("total").field("whole") == 1 + 2 + 3
    assert CALLS == {"trim": 3, "add body": 1, "add arm": 1, "total": 1}
    assert [p.done for p in told if p.finished] == [1, 2, 3, 4, 5, 6]
    again = travel(order(numbers), store, route=TOYS, tell=told.append)
    assert sum(CALLS.values()) == 6
    assert again.made == set()
    assert told[-1].left_s is not None


def test_a_changed_part_redoes_its_piece_only(tmp_path):
    store = Store(tmp_path)
    travel(order({"a": 12, "b": 25, "c": 31}), store, route=TOYS)
    CALLS.clear()
    travel(order({"a": 12, "b": 25, "c": 41}), store, route=TOYS)
    assert CALLS == {"trim": 1, "add arm": 1, "total": 1}


def test_what_a_piece_alone_is_given_redoes_that_piece_only(tmp_path):
    store = Store(tmp_path)
    cut = Station("add", "piece", {"piece": "piece.name", "numbers": "trim.whole", "less": "piece.less"}, "")
    route = (TOYS[0], cut, TOYS[2])
    given = order({"a": 12, "b": 25, "c": 31})
    for less, made in ((0, ["add arm", "add body"]), (1, ["add arm"])):
        CALLS.clear()
        own = {"body": {"less": Given(0)}, "arm": {"less": Given(less)}}
        outcome = travel(replace(given, of_pieces=own), store, route=route)
        assert sorted(name for name in CALLS if name.startswith("add")) == made
        assert outcome.get("total").field("whole") == 1 + 2 + 3 - less


def test_a_change_that_changes_nothing_stops_there(tmp_path):
    store = Store(tmp_path)
    travel(order({"a": 12, "b": 25, "c": 31}), store, route=TOYS)
    CALLS.clear()
    travel(order({"a": 13, "b": 25, "c": 31}), store, route=TOYS)
    assert CALLS == {"trim": 1}


def test_settings_and_sources_are_part_of_the_key(tmp_path, monkeypatch):
    store = Store(tmp_path)
    numbers = {"a": 12, "b": 25, "c": 31}
    travel(order(numbers), store, route=TOYS)
    CALLS.clear()
    travel(order(numbers, extra=5), store, route=TOYS)
    assert CALLS == {"add arm": 1, "total": 1}
    CALLS.clear()
    monkeypatch.setattr(route_module, "dependency_digest", lambda name: name if "add" in name else "same")
    travel(order(numbers), store, route=TOYS)
    assert CALLS == {"add body": 1, "add arm": 1}


def test_an_error_keeps_what_was_made(tmp_path):
    store = Store(tmp_path)
    numbers = {"a": 12, "b": 25, "c": 31}
    with pytest.raises(InputError, match="negative"):
        travel(order(numbers, extra=-1), store, route=TOYS)
    CALLS.clear()
    travel(order(numbers), store, route=TOYS)
    assert CALLS == {"add arm": 1, "total": 1}


@dataclass(frozen=True, kw_only=True)
class Told(StationResult):
    """What the toy station named carry gives."""

    makes: tuple[Make, ...]
    whole: int


def carry(*, piece: str, settings: Settings) -> Told:
    makes = (Make.PLAIN, Make.CARRIED) if piece == "body" else (Make.CARRIED,)
    return Told(makes=makes, whole=100)


def finish(*, piece: str, number: int, settings: Settings) -> Toy:
    CALLS[f"finish {piece} {number}"] += 1
    return Toy(whole=number + settings.extra)


MASTERED = (
    *TOYS[:2],
    Station("carry", "piece", {"piece": "piece.name"}, ""),
    Station(
        "finish",
        "master",
        {"piece": "piece.name", "number": "add.whole"},
        "",
        carried={"number": "carry.whole"},
    ),
)


@pytest.fixture
def mastered(monkeypatch):
    for function in (carry, finish):
        module = ModuleType(f"firstcast.stations.{function.__name__}")
        setattr(module, function.__name__, function)
        module.Settings = Settings
        monkeypatch.setitem(sys.modules, module.__name__, module)
    kinds = {"Told": Told, "Make": Make}
    monkeypatch.setattr("firstcast.values._kind", lambda name: kinds.get(name.rpartition(":")[2], Toy))


def test_a_piece_has_the_masters_that_carry_makes_and_each_takes_its_own(tmp_path, mastered):
    told = []
    given = order({"a": 12, "b": 25, "c": 31}, extra=5)
    outcome = travel(given, Store(tmp_path), tell=told.append, route=MASTERED)
    assert masters_of(given, outcome) == [
        Master("body", "body", Make.PLAIN),
        Master("body carried", "body", Make.CARRIED),
        Master("arm", "arm", Make.CARRIED),
    ]
    # plain takes what add gave, carried what carry gave; settings are those of the piece
    assert outcome.get("finish", "body").field("whole") == 3
    assert outcome.get("finish", "body carried").field("whole") == 100
    assert outcome.get("finish", "arm").field("whole") == 105
    assert [(p.done, p.total) for p in told if p.finished][-1] == (10, 10)
    assert [step.subject for step in outcome.steps][-3:] == ["body", "body carried", "arm"]


def test_a_second_master_may_not_be_called_like_another_piece(tmp_path, mastered):
    given = order({"a": 12, "b": 25, "c": 31})
    given = Order(given.job, given.parts, {**given.pieces, "body carried": ("c",)}, given.settings)
    with pytest.raises(JobError, match="second master") as caught:
        travel(given, Store(tmp_path), route=MASTERED)
    assert 'make = "plain"' in caught.value.mend


@dataclass(frozen=True, kw_only=True)
class Stood(StationResult):
    """What the toy station named platform gives."""

    runs: tuple[Run, ...]


class PlatformSettings(Settings):
    """Settings of the toy platform."""

    both: bool = False

    def printed(self, makes):
        return makes if self.both else makes[:1]


def prop(*, master: str, number: int, settings: Settings) -> Toy:
    CALLS[f"prop {master}"] += 1
    return Toy(whole=number, rest=7)


def platform(*, rows: tuple[tuple[int, int], ...], settings: PlatformSettings) -> Stood:
    CALLS["platform"] += 1
    assert rows[:1] == ((3, 7),)
    placed = tuple(Placement("body", float(at), 0.0) for at in range(2))
    return Stood(runs=(Run("run 1", placed), Run("run 2", (Placement("arm", 0.0, 0.0), *placed[:1]))))


def layer(*, run: Run, numbers: tuple[int, ...], settings: Settings) -> Toy:
    CALLS[f"layer {run.name}"] += 1
    return Toy(whole=sum(numbers), rest=len(run.placements))


PRINTED = (
    *MASTERED,
    Station("prop", "print", {"master": "master.name", "number": "finish.whole"}, ""),
    Station("platform", "job", {"rows": ("prop.whole", "prop.rest")}, ""),
    Station("layer", "run", {"run": "run.run", "numbers": "prop.whole"}, ""),
)


@pytest.fixture
def printed(monkeypatch, mastered):
    for function in (prop, platform, layer):
        module = ModuleType(f"firstcast.stations.{function.__name__}")
        setattr(module, function.__name__, function)
        module.Settings = Settings
        monkeypatch.setitem(sys.modules, module.__name__, module)
    kinds = {"Told": Told, "Make": Make, "Stood": Stood, "Run": Run, "Placement": Placement}
    monkeypatch.setattr("firstcast.values._kind", lambda name: kinds.get(name.rpartition(":")[2], Toy))


def printed_order(*, both: bool):
    given = order({"a": 12, "b": 25, "c": 31})

    def settings(station, subject):
        return PlatformSettings(both=both) if station == "platform" else given.settings(station, subject)

    return Order(given.job, given.parts, given.pieces, settings)


def test_runs_take_the_masters_that_stand_on_them(tmp_path, printed):
    store = Store(tmp_path)
    outcome = travel(printed_order(both=False), store, route=PRINTED)
    assert [step.subject for step in outcome.steps if step.station.name == "prop"] == ["body", "arm"]
    assert [step.subject for step in outcome.steps if step.station.name == "layer"] == ["run 1", "run 2"]
    assert outcome.get("layer", "run 1").field("whole") == 3
    assert outcome.get("layer", "run 2").field("whole") == 100 + 3
    assert outcome.get("layer", "run 2").field("rest") == 2
    CALLS.clear()
    travel(printed_order(both=False), store, route=PRINTED)
    assert not CALLS


def test_the_second_master_goes_on_a_platform_where_it_is_asked_for(tmp_path, printed):
    outcome = travel(printed_order(both=True), Store(tmp_path), route=PRINTED)
    found = {step.subject: step.make for step in outcome.steps if step.station.name == "prop"}
    assert found == {"body": Make.PLAIN, "body carried": Make.CARRIED, "arm": Make.CARRIED}
    assert outcome.get("prop", "body carried").field("whole") == 100


def test_a_part_that_is_called_like_its_piece_is_one_of_many(tmp_path):
    given = order({"a": 12, "body": 25, "c": 31})
    given = Order(given.job, given.parts, {"body": ("a", "body"), "arm": ("c",)}, given.settings)
    assert travel(given, Store(tmp_path), route=TOYS).get("add", "body").field("whole") == 3
