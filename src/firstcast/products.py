"""What is made for the maker of a job's results: each kind of it, what it is made from, who writes it and where it goes.

To add a kind: write its products, and add one line to `KINDS`. A product's key holds the content of all that it takes, and
the sources of the module that writes it; that module is imported only where something is to be made.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firstcast import values
from firstcast.findings import Finding
from firstcast.io.job import Job
from firstcast.printing.run import Run
from firstcast.report import folder_of
from firstcast.sources import dependency_digest
from firstcast.steps import Master, Order, Outcome, Station, Step, masters_of, prints_of, runs_of
from firstcast.store import Store

PROOF = Station("proof", "master", {}, "the written files, measured again")
PLATE = Station("pictures", "piece", {}, "plates")
SIDE = Station("side", "piece", {}, "sculpture and cast, side by side")
MOULD = Station("mould page", "piece", {}, "the mould of a piece, drawn")
STANDING = Station("props", "print", {}, "a master on its props, drawn")
RUN = Station("images", "run", {}, "a run's files, written and measured again")
PLATFORM = Station("plan view", "run", {}, "a filled platform, drawn")
MAP = Station("maps", "piece", {}, "coloured meshes")

PIECE_FIELDS = (
    ("fuse", "mended"),
    ("mould", "fills"),
    ("fuse", "findings"),
    ("allow", "matrix"),
    ("allow", "lines"),
    ("carry", "most_mm"),
    ("carry", "made_for"),
)
MASTER_FIELDS = (("join", "mesh"), ("join", "tab"), ("join", "fittings"), ("reduce", "mesh"))
SIDE_FIELDS = (("carry", "forecast"), ("carry", "details"), ("mould", "body"))
MAP_FIELDS = (
    ("carry", "forecast"),
    ("carry", "makes"),
    ("mould", "body"),
    ("read", "walls"),
    ("read", "gaps"),
    ("allow", "matrix"),
    ("reduce", "mesh"),
)
MOULD_FIELDS = tuple(
    ("mould", name)
    for name in (
        "body",
        "parting",
        "knife",
        "directions",
        "locked_mm3",
        "allowed",
        "ways",
        "locks",
        "lock_of_vertex",
        "fills",
    )
)
PROP_FIELDS = tuple(
    ("prop", name)
    for name in ("propped", "says", "feet", "rests", "neck_use", "bending_use", "buckling_use", "sway_use")
)
PLATE_FIELDS = (("allow", "matrix"), ("allow", "measures"), ("reduce", "mesh"), ("reduce", "measures"))
"""What masters with their proof (of their piece, their own), a piece's pictures and its maps are made from. Plate and maps
show the piece's first master."""


@dataclass(frozen=True)
class Outputs:
    """A job on its way out."""

    job: Job
    order: Order
    outcome: Outcome
    store: Store
    findings: tuple[Finding, ...]

    @property
    def masters_folder(self) -> Path:
        """Where released masters lie."""
        return self.job.folder / folder_of(True)

    def digests(self, subject: str, fields: Iterable[tuple[str, str]]) -> list[str]:
        """Digests of fields of stations' results at a subject."""
        return [self.outcome.get(station, subject).digest(name) for station, name in fields]

    def findings_of(self, piece: str) -> tuple[Finding, ...]:
        """What was found of a piece and of its parts."""
        names = {piece, *self.order.pieces[piece]}
        return tuple(finding for finding in self.findings if finding.part in names)


@dataclass(frozen=True)
class Product:
    """One folder of files: what it is about, what it is made from, and what writes them into an empty folder."""

    step: Step
    taken: tuple[Any, ...]
    write: Callable[[Path], None]


@dataclass(frozen=True)
class Kind:
    """Products of one kind.

    `folder` in the job's own is where its files go; those that are `proved` go to another while a finding or the proof
    stops them.
    """

    name: str
    module: str
    folder: str
    each: Callable[[Outputs], Iterator[Product]]
    proved: bool = False

    def folder_if(self, released: bool) -> str:
        """Where its files go."""
        return self.folder if released or not self.proved else folder_of(False)

    def key(self, product: Product) -> str:
        """The key of a product in the store."""
        return values.digest(
            {
                "kind": self.name,
                "subject": product.step.subject,
                "sources": dependency_digest(self.module),
                "taken": product.taken,
            }
        )


def masters(outputs: Outputs) -> Iterator[Product]:
    """Every master, written and proved."""
    order, outcome = outputs.order, outputs.outcome
    for master in masters_of(order, outcome):

        def write(folder: Path, master: Master = master) -> None:
            from firstcast.masters import write_masters

            write_masters(folder, master, order, outcome, job=outputs.job.name)

        taken = (
            outputs.job.name,
            master.make,
            *outputs.digests(master.piece, PIECE_FIELDS),
            *outputs.digests(master.name, MASTER_FIELDS),
            outcome.get("plan").digest("limits"),
            *(outcome.get("intake", part).digest("part") for part in order.pieces[master.piece]),
        )
        yield Product(Step(PROOF, master.name, master.piece, master.make), taken, write)


def plates(outputs: Outputs) -> Iterator[Product]:
    """A plate per piece."""
    for piece in outputs.order.pieces:
        findings = outputs.findings_of(piece)

        def write(folder: Path, piece: str = piece, findings: tuple[Finding, ...] = findings) -> None:
            from firstcast.sheets.files import write_piece

            path = folder / f"{piece}.png"
            write_piece(path, outputs.outcome, job=outputs.job.name, piece=piece, findings=findings)

        taken = (
            outputs.job.name,
            values.digest(findings),
            *outputs.digests(piece, PLATE_FIELDS),
            outputs.outcome.get("plan").digest("limits"),
        )
        yield Product(Step(PLATE, piece, piece), taken, write)


def sides(outputs: Outputs) -> Iterator[Product]:
    """Each piece that was forecast, beside its cast."""
    for piece in outputs.order.pieces:
        if outputs.outcome.get("carry", piece).field("forecast") is None:
            continue

        def write(folder: Path, piece: str = piece) -> None:
            from firstcast.forecast_files import write_side

            path = folder / f"{piece} side by side.png"
            write_side(path, outputs.outcome, job=outputs.job.name, piece=piece)

        taken = (
            outputs.job.name,
            *outputs.digests(piece, SIDE_FIELDS),
            outputs.outcome.get("plan").digest("limits"),
        )
        yield Product(Step(SIDE, piece, piece), taken, write)


def maps(outputs: Outputs) -> Iterator[Product]:
    """Each piece's coloured meshes."""
    for piece in outputs.order.pieces:

        def write(folder: Path, piece: str = piece) -> None:
            from firstcast.forecast_files import write_maps

            write_maps(folder, outputs.outcome, piece=piece)

        taken = (
            *outputs.digests(piece, MAP_FIELDS),
            outputs.outcome.get("plan").digest("limits"),
            outputs.outcome.get("size").digest("matrix_mm"),
        )
        yield Product(Step(MAP, piece, piece), taken, write)


def moulds(outputs: Outputs) -> Iterator[Product]:
    """Each piece's mould: its two halves, or the line along which a block is cut open; what holds it, close up."""
    for piece in outputs.order.pieces:
        moulded = outputs.outcome.get("mould", piece)
        if moulded.field("parting") is None and moulded.field("knife") is None:
            continue

        def write(folder: Path, piece: str = piece) -> None:
            from firstcast.moulds import draw_mould, draw_places

            stem, job = f"{piece} in its mould", outputs.job.name
            draw_mould(folder / f"{stem}.png", piece, outputs.outcome, job=job)
            draw_places(folder / f"{stem}, places.png", piece, outputs.outcome, job=job)

        taken = (
            outputs.job.name,
            *outputs.digests(piece, MOULD_FIELDS),
            outputs.outcome.get("plan").digest("limits"),
        )
        yield Product(Step(MOULD, piece, piece), taken, write)


def standing(outputs: Outputs) -> Iterator[Product]:
    """Each master that is printed, on its props."""
    for master in prints_of(outputs.order, outputs.outcome):
        if outputs.outcome.get("prop", master.name).field("propped") is None:
            continue

        def write(folder: Path, master: Master = master) -> None:
            from firstcast.prints import draw_print

            path = folder / f"{master.name} on its props.png"
            draw_print(path, master.name, master.piece, outputs.outcome, job=outputs.job.name)

        taken = (
            outputs.job.name,
            *outputs.digests(master.name, PROP_FIELDS),
            outputs.outcome.get("stand", master.piece).digest("says"),
            outputs.outcome.get("plan").digest("limits"),
        )
        yield Product(Step(STANDING, master.name, master.piece, master.make), taken, write)


def runs(outputs: Outputs) -> Iterator[Product]:
    """Each run's images, 3MF and STL, written and proved."""
    order, outcome = outputs.order, outputs.outcome
    for name in runs_of(outcome):

        def write(folder: Path, name: str = name) -> None:
            from firstcast.prints import write_run

            write_run(folder, name, order, outcome, job=outputs.job.name)

        yield Product(Step(RUN, name), _taken_by_run(outputs, name), write)


def platforms(outputs: Outputs) -> Iterator[Product]:
    """Each run's platform, from above."""
    for name, run in runs_of(outputs.outcome).items():
        findings = _of_print(outputs, run)

        def write(folder: Path, name: str = name, findings: tuple[Finding, ...] = findings) -> None:
            from firstcast.prints import draw_run

            path = folder / f"{name}.png"
            draw_run(path, name, outputs.order, outputs.outcome, findings, job=outputs.job.name)

        fields = ("outlines", "copies", "build_mm")
        taken = (
            *_taken_by_run(outputs, name),
            *(outputs.outcome.get("platform").digest(each) for each in fields),
            outputs.outcome.get("layer", name).digest("says"),
            values.digest(findings),
            tuple((master.name, master.make) for master in masters_of(outputs.order, outputs.outcome)),
        )
        yield Product(Step(PLATFORM, name), taken, write)


def _of_print(outputs: Outputs, run: Run) -> tuple[Finding, ...]:
    """What was found of a run's masters and their props."""
    masters = {placement.master for placement in run.placements}
    names = masters | {
        each.piece for each in masters_of(outputs.order, outputs.outcome) if each.name in masters
    }
    return tuple(
        finding
        for finding in outputs.findings
        if finding.station in ("prop", "layer") and finding.part in names
    )


def _taken_by_run(outputs: Outputs, name: str) -> tuple[Any, ...]:
    """What a run's files hold."""
    outcome, run = outputs.outcome, runs_of(outputs.outcome)[name]
    masters = dict.fromkeys(placement.master for placement in run.placements)
    return (
        outputs.job.name,
        values.digest(run),
        outputs.order.settings("layer", "").model_dump_json(),
        *(outcome.get("prop", master).digest("propped") for master in masters),
        outcome.get("plan").digest("limits"),
        outcome.get("plan").digest("materials"),
    )


MASTERS = Kind("masters", "firstcast.masters", folder_of(True), masters, proved=True)
RUNS = Kind("runs", "firstcast.prints", "runs", runs, proved=True)
KINDS = (
    MASTERS,
    RUNS,
    Kind("plates", "firstcast.sheets.files", "pictures", plates),
    Kind("moulds", "firstcast.moulds", "pictures", moulds),
    Kind("sides", "firstcast.forecast_files", "pictures", sides),
    Kind("standing", "firstcast.prints", "pictures", standing),
    Kind("platforms", "firstcast.prints", "pictures", platforms),
    Kind("maps", "firstcast.forecast_files", "maps", maps),
)
"""In the order in which they are made."""
