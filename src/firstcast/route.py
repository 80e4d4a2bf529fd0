"""The ordered stations, what each takes from which, and what has to be made again.

To add a station: write its file in `firstcast.stations`, and add one line to `ROUTE`. How a line is read, `firstcast.steps`
says.

A result's key is the digest of the station's sources, its settings and the content of what it
takes; so a change upstream that leaves a field as it was (another comment in a mesh file, say)
makes nothing again below it.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass

from firstcast import values
from firstcast.sources import dependency_digest
from firstcast.stations.contract import StationSettings
from firstcast.steps import Order, Outcome, Source, Station, Step, steps_at, taken_by
from firstcast.store import Store

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
        {"piece": "piece.name", "parts": "intake.part", "limits": "plan.limits", "keep": "piece.keep"},
        "one body",
    ),
    Station(
        "mould",
        "piece",
        {
            "piece": "piece.name",
            "body": "fuse.body",
            "limits": "plan.limits",
            "materials": "plan.materials",
            "zones": "job.zones",
            "mends": "job.mends",
            "lattice_mm": "fuse.pitch_mm",
        },
        "how the mould opens, and what it holds",
    ),
    Station(
        "stand",
        "piece",
        {
            "piece": "piece.name",
            "body": "mould.body",
            "limits": "plan.limits",
            "materials": "plan.materials",
            "zones": "job.zones",
            "size_steps": "plan.size_steps",
        },
        "how it stands in the printer",
    ),
    Station(
        "read",
        "piece",
        {
            "piece": "piece.name",
            "body": "mould.body",
            "limits": "plan.limits",
            "materials": "plan.materials",
            "height_mm": "size.height_mm",
            "zones": "job.zones",
            "chain": "plan.chain",
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
            "body": "mould.body",
            "turn_to_print": "stand.turn_to_print",
            "matrix": "allow.matrix",
            "chain": "plan.chain",
            "limits": "plan.limits",
            "pitch_mm": "fuse.pitch_mm",
            "walls": "read.walls",
            "gaps": "read.gaps",
            "wall_spare_mm": "read.wall_spare_mm",
            "gap_spare_mm": "read.gap_spare_mm",
            "pull": "mould.pull",
            "mould_pitch_mm": "mould.pitch_mm",
            "least_mm3": "mould.least_mm3",
            "locks": "mould.locks",
            "tongues": "mould.tongues",
            "materials": "plan.materials",
            "zones": "job.zones",
            "height_mm": "size.height_mm",
            "printed_with": "plan.printed_with",
        },
        "the painted cast, forecast, and what is carried for it",
    ),
    Station(
        "fit",
        "job",
        {
            "joints": "job.joints",
            "pieces": "job.pieces",
            "bodies": "mould.body",
            "matrices": "allow.matrix",
            "turns": "stand.turn_to_print",
            "chain": "plan.chain",
            "size_steps": "plan.size_steps",
            "limits": "plan.limits",
        },
        "pegs and sockets that hold pieces together",
    ),
    Station(
        "join",
        "master",
        {
            "piece": "piece.name",
            "body": "mould.body",
            "matrix": "allow.matrix",
            "limits": "plan.limits",
            "fittings": "fit.fittings",
        },
        "one closed mesh",
        carried={"body": "carry.body"},
    ),
    Station(
        "reduce",
        "master",
        {"piece": "piece.name", "mesh": "join.mesh", "limits": "plan.limits", "pitch_mm": "fuse.pitch_mm"},
        "a light mesh within tolerance",
    ),
    Station(
        "recheck",
        "master",
        {
            "master": "master.name",
            "mesh": "reduce.mesh",
            "matrix": "allow.matrix",
            "body": "mould.body",
            "pull": "mould.pull",
            "pitch_mm": "mould.pitch_mm",
            "least_mm3": "mould.least_mm3",
            "locks": "mould.locks",
            "tongues": "mould.tongues",
            "limits": "plan.limits",
            "materials": "plan.materials",
        },
        "what will be written, read once more",
    ),
    Station(
        "prop",
        "print",
        {
            "master": "master.name",
            "piece": "piece.name",
            "mesh": "reduce.mesh",
            "turn_to_print": "stand.turn_to_print",
            "matrix": "allow.matrix",
            "tab": "join.tab",
            "body": "mould.body",
            "limits": "plan.limits",
            "materials": "plan.materials",
            "zones": "job.zones",
        },
        "what holds it in the printer",
    ),
    Station(
        "platform",
        "job",
        {
            "pieces": ("prop.master", "prop.piece", "prop.propped"),
            "wanted": "job.wanted",
            "limits": "plan.limits",
            "materials": "plan.materials",
            "earlier": "plan.earlier",
        },
        "how many masters, and the platforms that they fill",
    ),
    Station(
        "layer",
        "run",
        {
            "run": "run.run",
            "propped": ("prop.master", "prop.propped"),
            "to_master": ("prop.master", "prop.matrix"),
            "limits": "plan.limits",
            "materials": "plan.materials",
        },
        "the layers of a platform",
    ),
)


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
    earlier: dict[str, float] = store.note("timings")
    for place, station in enumerate(route):
        for step in steps_at(station, order, outcome):
            rest = [step for later in route[place:] for step in steps_at(later, order, outcome)]
            rest = [later for later in rest if (later.station.name, later.subject) not in outcome.results]
            done, total = len(outcome.results), len(outcome.results) + len(rest)
            left = [earlier.get(_step_name(later)) for later in rest]
            left_s = None if None in left else sum(seconds or 0.0 for seconds in left)
            key, taken, settings = _asked(step, order, outcome)
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


def _asked(step: Step, order: Order, outcome: Outcome) -> tuple[str, dict[str, Source], StationSettings]:
    """A step's key, what it takes and its settings."""
    taken = taken_by(step, order, outcome)
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
