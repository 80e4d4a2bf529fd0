"""From results to files: masters written and proved, pictures drawn, all of it put in place whole.

Masters and pictures are made in the store under keys of their own, so that an unchanged piece is neither
written nor proved again; then copied to their place one by one, each whole or not at all. Masters that a
finding stops go to `held/`, those of an earlier run stay as they are.
"""

import json
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firstcast import __version__, values
from firstcast.findings import Finding
from firstcast.io.job import Job
from firstcast.report import folder_of
from firstcast.route import Master, Order, Outcome, Progress, Station, Step, masters_of
from firstcast.sources import dependency_digest
from firstcast.store import Store, write_atomically
from firstcast.vocabulary import Verdict, worst

PROOF = Station("proof", "master", {}, "the written files, measured again")
PICTURES = Station("pictures", "piece", {}, "plates")
SIDE = Station("side", "piece", {}, "sculpture and cast, side by side")
MAPS = Station("maps", "piece", {}, "coloured meshes")
PROOF_SCHEMA = "1"
PUBLISHED = "published"
"""The store's note of every file that a run put in place, by its path in the job's folder."""
MASTER_MODULE, PICTURE_MODULE = "firstcast.masters", "firstcast.sheets.files"
FORECAST_MODULE = "firstcast.forecast_files"
"""What makes masters and pictures: imported where called, so that a run that makes nothing does not wait for it."""

PIECE_FIELDS = (
    ("fuse", "mended"),
    ("fuse", "findings"),
    ("allow", "matrix"),
    ("allow", "lines"),
    ("carry", "most_mm"),
    ("carry", "made_for"),
)
MASTER_FIELDS = (("join", "mesh"), ("join", "tab"), ("reduce", "mesh"))
SIDE_FIELDS = (("carry", "forecast"), ("carry", "details"), ("fuse", "body"))
MAP_FIELDS = (
    ("carry", "forecast"),
    ("carry", "makes"),
    ("fuse", "body"),
    ("read", "wall_mm"),
    ("read", "gap_mm"),
    ("allow", "matrix"),
    ("reduce", "mesh"),
)
PLATE_FIELDS = (("allow", "matrix"), ("allow", "measures"), ("reduce", "mesh"), ("reduce", "measures"))
"""What masters with their proof (of their piece, their own), a piece's pictures and its maps are made from: their keys
hold the content of these. Plate and maps show the piece's first master."""


def _digests(outcome: Outcome, subject: str, fields: Iterable[tuple[str, str]]) -> list[str]:
    return [outcome.get(station, subject).digest(name) for station, name in fields]


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

    def key(self, kind: str, piece: str, module: str, taken: Iterable[Any]) -> str:
        """The key of something made for a piece by a module from what it takes."""
        return values.digest(
            {"kind": kind, "piece": piece, "sources": dependency_digest(module), "taken": tuple(taken)}
        )


@dataclass
class Folders:
    """Finished folders by piece or master, and their keys."""

    places: dict[str, Path] = field(default_factory=dict)
    keys: list[str] = field(default_factory=list)


def make_masters(outputs: Outputs, tell: Callable[[Progress], None]) -> Folders:
    """Write and prove every master, in the store."""
    made = Folders()
    order, outcome = outputs.order, outputs.outcome
    for master in masters_of(order, outcome):
        taken = [outputs.job.name, *_digests(outcome, master.piece, PIECE_FIELDS)]
        taken += [master.make, *_digests(outcome, master.name, MASTER_FIELDS)]
        taken.append(outcome.get("plan").digest("limits"))
        taken += [outcome.get("intake", part).digest("part") for part in order.pieces[master.piece]]
        key = outputs.key("masters", master.name, MASTER_MODULE, taken)

        def write(folder: Path, master: Master = master) -> None:
            from firstcast.masters import write_masters

            write_masters(folder, master, order, outcome, job=outputs.job.name)

        step = Step(PROOF, master.name, master.piece, master.make)
        made.places[master.name] = _timed(outputs.store, key, write, step, tell)
        made.keys.append(key)
    return made


def _timed(
    store: Store, key: str, write: Callable[[Path], None], step: Step, tell: Callable[[Progress], None]
) -> Path:
    kept = (store.root / "folders" / key).exists()
    tell(Progress(step, 0, 1, False, kept, 0.0, None))
    start = time.perf_counter()
    place = store.folder(key, write)
    tell(Progress(step, 1, 1, True, kept, time.perf_counter() - start, None))
    return place


def joint_proof(masters: Folders) -> dict[str, Any]:
    """The proof of all pieces."""
    pieces = [json.loads((place / "proof.json").read_text("utf-8")) for place in masters.places.values()]
    return _joint(pieces)


def _joint(pieces: list[dict[str, Any]]) -> dict[str, Any]:
    verdict = worst(Verdict(piece["verdict"]) for piece in pieces)
    return {
        "schema_version": PROOF_SCHEMA,
        "firstcast": __version__,
        "verdict": verdict.value,
        "pieces": pieces,
    }


def file_records(masters: Folders) -> list[dict[str, Any]]:
    """Every master file with its name, size and digest."""
    records = []
    for piece, place in masters.places.items():
        files = json.loads((place / "proof.json").read_text("utf-8"))["files"]
        records += [{"path": name, "piece": piece, **found} for name, found in files.items()]
    return records


def error_budget(outcome: Outcome, order: Order) -> list[dict[str, Any]]:
    """What each step may have added to the surface's place, per master, as reduce states it."""
    return [
        {"piece": master.name, "source": measure.name, "mm": measure.value, "says": measure.says}
        for master in masters_of(order, outcome)
        for measure in outcome.measures("reduce", master.name)
        if measure.unit == "mm"
    ]


def make_pictures(outputs: Outputs, tell: Callable[[Progress], None]) -> Folders:
    """Draw a plate per piece, in the store."""
    made = Folders()
    for piece in outputs.order.pieces:
        findings = _findings_of(outputs, piece)
        taken = [outputs.job.name, values.digest(findings), *_digests(outputs.outcome, piece, PLATE_FIELDS)]
        taken.append(outputs.outcome.get("plan").digest("limits"))
        key = outputs.key("pictures", piece, PICTURE_MODULE, taken)

        def write(folder: Path, piece: str = piece, findings: tuple[Finding, ...] = findings) -> None:
            from firstcast.sheets.files import write_piece

            path = folder / f"{piece}.png"
            write_piece(path, outputs.outcome, job=outputs.job.name, piece=piece, findings=findings)

        made.places[piece] = _timed(outputs.store, key, write, Step(PICTURES, piece), tell)
        made.keys.append(key)
    return made


def make_sides(outputs: Outputs, tell: Callable[[Progress], None]) -> Folders:
    """Draw each piece that was forecast beside its cast, in the store."""
    made = Folders()
    for piece in outputs.order.pieces:
        if outputs.outcome.get("carry", piece).field("forecast") is None:
            continue
        taken = [outputs.job.name, *_digests(outputs.outcome, piece, SIDE_FIELDS)]
        taken.append(outputs.outcome.get("plan").digest("limits"))
        key = outputs.key("side", piece, FORECAST_MODULE, taken)

        def write(folder: Path, piece: str = piece) -> None:
            from firstcast.forecast_files import write_side

            path = folder / f"{piece} side by side.png"
            write_side(path, outputs.outcome, job=outputs.job.name, piece=piece)

        made.places[piece] = _timed(outputs.store, key, write, Step(SIDE, piece, piece), tell)
        made.keys.append(key)
    return made


def make_maps(outputs: Outputs, tell: Callable[[Progress], None]) -> Folders:
    """Write each piece's coloured meshes, in the store."""
    made = Folders()
    for piece in outputs.order.pieces:
        taken = _digests(outputs.outcome, piece, MAP_FIELDS)
        taken += [
            outputs.outcome.get("plan").digest("limits"),
            outputs.outcome.get("size").digest("matrix_mm"),
        ]
        key = outputs.key("maps", piece, FORECAST_MODULE, taken)

        def write(folder: Path, piece: str = piece) -> None:
            from firstcast.forecast_files import write_maps

            write_maps(folder, outputs.outcome, piece=piece)

        made.places[piece] = _timed(outputs.store, key, write, Step(MAPS, piece, piece), tell)
        made.keys.append(key)
    return made


def _findings_of(outputs: Outputs, piece: str) -> tuple[Finding, ...]:
    names = {piece, *outputs.order.pieces[piece]}
    return tuple(finding for finding in outputs.findings if finding.part in names)


def _card_bytes(outputs: Outputs, report: Mapping[str, Any], pictures: Folders) -> bytes:
    """The route card as PNG, kept in the store: drawing it again would give the same bytes."""

    def write(folder: Path) -> None:
        from firstcast.sheets.files import write_card

        write_card(folder / "card.png", report)

    key = outputs.key("card", "", PICTURE_MODULE, [json.dumps(report, sort_keys=True)])
    place = outputs.store.folder(key, write)
    pictures.keys.append(key)
    return (place / "card.png").read_bytes()


@dataclass
class Drawn:
    """What was drawn of the pieces: plates, pictures side by side, maps."""

    plates: Folders
    sides: Folders
    maps: Folders

    @property
    def keys(self) -> list[str]:
        """The keys of all of it."""
        return [*self.plates.keys, *self.sides.keys, *self.maps.keys]


def make_drawn(outputs: Outputs, tell: Callable[[Progress], None]) -> Drawn:
    """Draw all that is drawn of the pieces, in the store."""
    return Drawn(make_pictures(outputs, tell), make_sides(outputs, tell), make_maps(outputs, tell))


def publish(outputs: Outputs, masters: Folders, drawn: Drawn, report: Mapping[str, Any]) -> None:
    """Put everything in place, the report last; each file whole, unchanged files untouched."""
    wanted: dict[Path, bytes] = {}
    released = bool(report["released"])
    folder = outputs.job.folder / folder_of(released)
    pictures, maps = outputs.job.folder / "pictures", outputs.job.folder / "maps"
    for target, made in (
        (folder, masters),
        (pictures, drawn.plates),
        (pictures, drawn.sides),
        (maps, drawn.maps),
    ):
        for place in made.places.values():
            for path in sorted(place.iterdir()):
                if path.name != "proof.json":
                    wanted[target / path.name] = path.read_bytes()
    wanted[folder / "proof.json"] = _json_bytes(report["proof"])
    wanted[pictures / "route card.png"] = _card_bytes(outputs, report, drawn.plates)
    wanted[outputs.job.folder / "report.json"] = _json_bytes(report)
    told_before = _told_before(outputs)
    for path, data in wanted.items():
        path.parent.mkdir(exist_ok=True)
        if not path.exists() or path.read_bytes() != data:
            write_atomically(path, data)
    # what a run that is stopped does not write again stays: masters of an earlier one
    kept_folders = () if released else (outputs.job.folder / folder_of(True),)
    _clear(outputs, set(wanted), kept_folders, told_before)


def _told_before(outputs: Outputs) -> list[str]:
    """The masters that the last report tells of, should the store with its own list have been deleted."""
    try:
        report = json.loads((outputs.job.folder / "report.json").read_text("utf-8"))
        names = [str(file["path"]) for file in report["files"]]
    except (OSError, ValueError, KeyError, TypeError):
        return []
    return [*names, *{f"{name.partition('/')[0]}/proof.json" for name in names}]


def _clear(outputs: Outputs, wanted: set[Path], kept_folders: Iterable[Path], told: Iterable[str]) -> None:
    """Remove what earlier runs published and this one does not make; never a file that no run published."""
    root = outputs.job.folder
    earlier = {root / name for name in [*outputs.store.note(PUBLISHED), *told]}
    stays = {path for path in earlier - wanted if path.parent in set(kept_folders)}
    for path in earlier - wanted - stays:
        path.unlink(missing_ok=True)
        if path.parent != root and path.parent.is_dir() and not any(path.parent.iterdir()):
            path.parent.rmdir()
    names = sorted(path.relative_to(root).as_posix() for path in wanted | stays)
    record = dict.fromkeys(names, 1)
    if record != outputs.store.note(PUBLISHED):
        outputs.store.set_note(PUBLISHED, record)


def _json_bytes(data: Any) -> bytes:
    return (json.dumps(data, indent=1, ensure_ascii=False) + "\n").encode()


def prove_published(outputs: Outputs) -> tuple[dict[str, Any], str]:
    """Measure the published masters again, and hold their bytes against the proof that was published."""
    from firstcast.masters import prove_again

    folder = outputs.masters_folder
    if not folder.is_dir():
        folder = outputs.job.folder / folder_of(False)
    path = folder / "proof.json"
    published = json.loads(path.read_text("utf-8")) if path.exists() else {"pieces": []}
    noted = {name: found for piece in published["pieces"] for name, found in piece["files"].items()}
    order, outcome = outputs.order, outputs.outcome
    masters = masters_of(order, outcome)
    joint = _joint([prove_again(folder, master, order, outcome, noted=noted) for master in masters])
    return joint, proof_text(joint)


def proof_text(proof: Mapping[str, Any]) -> str:
    """The proof as a table for the terminal."""
    lines = []
    for piece in proof["pieces"]:
        lines.append(f"{piece['piece']}: {piece['verdict']}")
        width = max(len(row["check"]) for row in piece["rows"])
        lines += [f"  {row['verdict']:<6} {row['check']:<{width}}  {row['result']}" for row in piece["rows"]]
    return "\n".join(lines)
