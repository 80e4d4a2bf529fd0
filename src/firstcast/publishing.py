"""From results to files: masters written and proved, pictures drawn, all of it put in place whole.

Masters and pictures are made in the store under keys of their own, so that an unchanged piece is neither
written nor proved again; then copied to their place one by one, each whole or not at all. Masters that a
finding stops go to `held/`, those of an earlier run stay as they are.
"""

import hashlib
import json
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from firstcast import __version__, values
from firstcast.expectations import expected_of
from firstcast.findings import Finding
from firstcast.io.job import Job
from firstcast.io.write import write_3mf, write_json, write_stl
from firstcast.proof.piece import prove_piece
from firstcast.proof.rows import PieceProof, ProofRow
from firstcast.report import folder_of
from firstcast.route import Order, Outcome, Progress, Station, Step
from firstcast.sheets.card_picture import card_picture
from firstcast.sheets.plate import Title, draw_plate, write_picture, write_plate
from firstcast.sources import dependency_digest
from firstcast.store import Store, write_atomically
from firstcast.vocabulary import Verdict, worst

PROOF = Station("proof", "piece", {}, "the written files, measured again")
PICTURES = Station("pictures", "piece", {}, "plates")
PROOF_SCHEMA = "1"

MASTER_FIELDS = (
    ("fuse", "mended"),
    ("fuse", "findings"),
    ("allow", "matrix"),
    ("allow", "lines"),
    ("join", "mesh"),
    ("join", "tab"),
    ("reduce", "mesh"),
)
PLATE_FIELDS = (("allow", "matrix"), ("allow", "measures"), ("reduce", "mesh"), ("reduce", "measures"))
"""What a piece's masters with their proof, and its plate, are made from: their keys hold the content of these."""


def _digests(outcome: Outcome, piece: str, fields: Iterable[tuple[str, str]]) -> list[str]:
    return [outcome.get(station, piece).digest(name) for station, name in fields]


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
    """Finished folders by piece, and their keys."""

    places: dict[str, Path] = field(default_factory=dict)
    keys: list[str] = field(default_factory=list)


def make_masters(outputs: Outputs, tell: Callable[[Progress], None]) -> Folders:
    """Write and prove the masters of every piece, in the store."""
    made = Folders()
    for piece, parts in outputs.order.pieces.items():
        taken = [outputs.job.name, *_digests(outputs.outcome, piece, MASTER_FIELDS)]
        taken.append(outputs.outcome.get("plan").digest("limits"))
        taken += [outputs.outcome.get("intake", part).digest("part") for part in parts]
        key = outputs.key("masters", piece, "firstcast.publishing", taken)

        def write(folder: Path, piece: str = piece) -> None:
            _write_masters(folder, piece, outputs)

        made.places[piece] = _timed(outputs.store, key, write, Step(PROOF, piece), tell)
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


def _write_masters(folder: Path, piece: str, outputs: Outputs) -> None:
    mesh = outputs.outcome.get("reduce", piece).field("mesh")
    lines = outputs.outcome.get("allow", piece).field("lines")
    notes = {
        "job": outputs.job.name,
        "piece": piece,
        "made_with": f"firstcast {__version__}",
        "size_steps": " | ".join(line.says for line in lines),
    }
    write_stl(folder / f"{piece}.stl", mesh)
    write_3mf(folder / f"{piece}.3mf", {piece: mesh}, notes)
    proof = prove_piece(
        folder / f"{piece}.stl", folder / f"{piece}.3mf", expected_of(piece, outputs.order, outputs.outcome)
    )
    write_json(folder / "proof.json", proof_record(proof, [folder / f"{piece}.stl", folder / f"{piece}.3mf"]))


def proof_record(proof: PieceProof, files: Iterable[Path]) -> dict[str, Any]:
    """A piece's proof as plain data, with the digest of each file it was made on."""
    rows = [{**asdict(row), "verdict": row.verdict.value} for row in proof.rows]
    return {
        "piece": proof.name,
        "verdict": proof.verdict.value,
        "rows": rows,
        "files": {path.name: file_digest(path) for path in files},
    }


def file_digest(path: Path) -> dict[str, Any]:
    """A file's size and BLAKE2b digest."""
    data = path.read_bytes()
    return {"bytes": len(data), "blake2b": hashlib.blake2b(data, digest_size=32).hexdigest()}


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
    """What each step may have added to the surface's place, per piece, as reduce states it."""
    return [
        {"piece": piece, "source": measure.name, "mm": measure.value, "says": measure.says}
        for piece in order.pieces
        for measure in outcome.measures("reduce", piece)
        if measure.unit == "mm"
    ]


def make_pictures(outputs: Outputs, tell: Callable[[Progress], None]) -> Folders:
    """Draw a plate per piece, in the store."""
    made = Folders()
    for piece in outputs.order.pieces:
        findings = _findings_of(outputs, piece)
        taken = [outputs.job.name, values.digest(findings), *_digests(outputs.outcome, piece, PLATE_FIELDS)]
        taken.append(outputs.outcome.get("plan").digest("limits"))
        key = outputs.key("pictures", piece, "firstcast.sheets.plate", taken)

        def write(folder: Path, piece: str = piece, findings: tuple[Finding, ...] = findings) -> None:
            _draw(folder, piece, findings, outputs)

        made.places[piece] = _timed(outputs.store, key, write, Step(PICTURES, piece), tell)
        made.keys.append(key)
    return made


def _findings_of(outputs: Outputs, piece: str) -> tuple[Finding, ...]:
    names = {piece, *outputs.order.pieces[piece]}
    return tuple(finding for finding in outputs.findings if finding.part in names)


def _draw(folder: Path, piece: str, findings: tuple[Finding, ...], outputs: Outputs) -> None:
    """The plate of a piece: its master, drawn at the figure's size so that places and measures are the figure's."""
    outcome = outputs.outcome
    matrix = np.asarray(outcome.get("allow", piece).field("matrix"), dtype=np.float64)
    mesh = outcome.get("reduce", piece).field("mesh").mapped(np.linalg.inv(matrix))
    limits = outcome.get("plan").field("limits")
    title = Title(job=outputs.job.name, piece=piece, date="", process=limits.kind.value)
    measures = [*outcome.measures("allow", piece)[:1], *outcome.measures("reduce", piece)[:4]]
    sheet = draw_plate(mesh.points, mesh.triangles, title=title, findings=findings, measures=measures)
    write_plate(folder / f"{piece}.png", sheet)


def _card_bytes(outputs: Outputs, report: Mapping[str, Any], pictures: Folders) -> bytes:
    """The route card as PNG, kept in the store: drawing it again would give the same bytes."""
    key = outputs.key("card", "", "firstcast.sheets.card_picture", [json.dumps(report, sort_keys=True)])
    place = outputs.store.folder(key, lambda folder: write_picture(folder / "card.png", card_picture(report)))
    pictures.keys.append(key)
    return (place / "card.png").read_bytes()


def publish(outputs: Outputs, masters: Folders, pictures: Folders, report: Mapping[str, Any]) -> None:
    """Put everything in place, the report last; each file whole, unchanged files untouched."""
    wanted: dict[Path, bytes] = {}
    released = bool(report["released"])
    folder = outputs.job.folder / folder_of(released)
    for place in masters.places.values():
        for path in sorted(place.iterdir()):
            if path.name != "proof.json":
                wanted[folder / path.name] = path.read_bytes()
    wanted[folder / "proof.json"] = _json_bytes(report["proof"])
    for place in pictures.places.values():
        for path in sorted(place.iterdir()):
            wanted[outputs.job.folder / "pictures" / path.name] = path.read_bytes()
    wanted[outputs.job.folder / "pictures" / "route card.png"] = _card_bytes(outputs, report, pictures)
    wanted[outputs.job.folder / "report.json"] = _json_bytes(report)
    for path, data in wanted.items():
        path.parent.mkdir(exist_ok=True)
        if not path.exists() or path.read_bytes() != data:
            write_atomically(path, data)
    _clear(folder, keep=set(wanted), suffixes=(".stl", ".3mf"))
    if released:
        held = outputs.job.folder / folder_of(False)
        _clear(held, keep=set(), suffixes=(".stl", ".3mf", ".json"))
        if held.is_dir() and not any(held.iterdir()):
            held.rmdir()


def _clear(folder: Path, *, keep: set[Path], suffixes: tuple[str, ...]) -> None:
    """Remove masters of pieces that the job no longer has: only files that an earlier run published."""
    if folder.is_dir():
        for path in folder.iterdir():
            if path.suffix in suffixes and path not in keep:
                path.unlink()


def _json_bytes(data: Any) -> bytes:
    return (json.dumps(data, indent=1, ensure_ascii=False) + "\n").encode()


def prove_published(outputs: Outputs) -> tuple[dict[str, Any], str]:
    """Measure the published masters again, and hold their bytes against the proof that was published."""
    folder = (
        outputs.masters_folder if outputs.masters_folder.is_dir() else outputs.job.folder / folder_of(False)
    )
    path = folder / "proof.json"
    noted = json.loads(path.read_text("utf-8")) if path.exists() else {"pieces": []}
    known = {name: found for piece in noted["pieces"] for name, found in piece["files"].items()}
    pieces = []
    for piece in outputs.order.pieces:
        stl, threemf = folder / f"{piece}.stl", folder / f"{piece}.3mf"
        files = [stl, threemf]
        rows = [_bytes_row(file, known.get(file.name)) for file in files]
        if all(file.exists() for file in files):
            rows += prove_piece(stl, threemf, expected_of(piece, outputs.order, outputs.outcome)).rows
        proof = PieceProof(piece, tuple(rows))
        pieces.append(proof_record(proof, [file for file in files if file.exists()]))
    joint = _joint(pieces)
    return joint, proof_text(joint)


def _bytes_row(file: Path, noted: Mapping[str, Any] | None) -> ProofRow:
    check = f"bytes of {file.name}"
    if not file.exists():
        return ProofRow(check, "the file is missing", None, None, "", Verdict.STOP)
    if noted is None:
        return ProofRow(check, "no proof was published for it", None, None, "", Verdict.STOP)
    same = file_digest(file) == dict(noted)
    text = "as proved" if same else "changed since it was proved"
    return ProofRow(check, text, None, None, "", Verdict.SOUND if same else Verdict.STOP)


def proof_text(proof: Mapping[str, Any]) -> str:
    """The proof as a table for the terminal."""
    lines = []
    for piece in proof["pieces"]:
        lines.append(f"{piece['piece']}: {piece['verdict']}")
        width = max(len(row["check"]) for row in piece["rows"])
        lines += [f"  {row['verdict']:<6} {row['check']:<{width}}  {row['result']}" for row in piece["rows"]]
    return "\n".join(lines)
