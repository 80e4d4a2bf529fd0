"""From results to files: masters written and proved, pictures drawn, all of it put in place whole.

What is made is kept in the store under keys of its own, so that an unchanged piece is neither written nor proved again;
then it is copied to its place file by file, each whole or not at all. Masters that a finding stops go to `held/`, those of
an earlier run stay as they are.
"""

import filecmp
import json
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firstcast import __version__
from firstcast.products import KINDS, MASTERS, RUNS, Kind, Outputs, Product
from firstcast.report import folder_of
from firstcast.route import Progress
from firstcast.sources import dependency_digest
from firstcast.steps import Order, Outcome, masters_of, runs_of
from firstcast.store import copy_atomically, write_atomically
from firstcast.values import digest
from firstcast.vocabulary import Verdict, worst

PROOF_SCHEMA = "1"
PUBLISHED = "published"
"""The store's note of every file that a run put in place, by its path in the job's folder."""

CARD_MODULE = "firstcast.sheets.files"
PROOF_FILE = "proof.json"


@dataclass
class Made:
    """Finished folders by kind and subject, and their keys."""

    places: dict[str, dict[str, Path]] = field(default_factory=dict)
    keys: list[str] = field(default_factory=list)


def make_all(outputs: Outputs, tell: Callable[[Progress], None]) -> Made:
    """Make, in the store, all that is made of a job's results."""
    made = Made()
    for kind in KINDS:
        made.places[kind.name] = {}
        for product in kind.each(outputs):
            key = kind.key(product)
            made.places[kind.name][product.step.subject] = _make(outputs, kind, product, tell)
            made.keys.append(key)
    return made


def _make(outputs: Outputs, kind: Kind, product: Product, tell: Callable[[Progress], None]) -> Path:
    key = kind.key(product)
    kept = (outputs.store.root / "folders" / key).exists()
    tell(Progress(product.step, 0, 1, False, kept, 0.0, None))
    start = time.perf_counter()
    place = outputs.store.folder(key, product.write)
    tell(Progress(product.step, 1, 1, True, kept, time.perf_counter() - start, None))
    return place


def joint_proof(made: Made) -> dict[str, Any]:
    """The proof of all masters and runs."""
    return _joint(_proofs(made, MASTERS), _proofs(made, RUNS))


def _proofs(made: Made, kind: Kind) -> list[dict[str, Any]]:
    return [json.loads((place / PROOF_FILE).read_text("utf-8")) for place in made.places[kind.name].values()]


def _joint(pieces: list[dict[str, Any]], runs: list[dict[str, Any]]) -> dict[str, Any]:
    verdict = worst(Verdict(each["verdict"]) for each in [*pieces, *runs])
    return {
        "schema_version": PROOF_SCHEMA,
        "firstcast": __version__,
        "verdict": verdict.value,
        "pieces": pieces,
        "runs": runs,
    }


def file_records(made: Made, *, released: bool) -> list[dict[str, Any]]:
    """Every proved file with its place, what it is of, its size and its digest."""
    records = []
    for kind, about in ((MASTERS, "piece"), (RUNS, "run")):
        for proof in _proofs(made, kind):
            for name, found in proof["files"].items():
                path = f"{kind.folder_if(released)}/{name}"
                records.append({"path": path, about: proof[about], **found})
    return records


def error_budget(outcome: Outcome, order: Order) -> list[dict[str, Any]]:
    """What each step may have added to the surface's place, per master, as reduce states it."""
    return [
        {"piece": master.name, "source": measure.name, "mm": measure.value, "says": measure.says}
        for master in masters_of(order, outcome)
        for measure in outcome.measures("reduce", master.name)
        if measure.unit == "mm"
    ]


def publish(outputs: Outputs, made: Made, report: Mapping[str, Any]) -> None:
    """Put everything in place, the report last; each file whole, unchanged files untouched."""
    wanted: dict[Path, bytes | Path] = {}
    root, released = outputs.job.folder, bool(report["released"])
    masters = root / folder_of(released)
    for kind in KINDS:
        for place in made.places[kind.name].values():
            for path in sorted(place.iterdir()):
                if path.name != PROOF_FILE:
                    target = root / kind.folder_if(released) / path.name
                    assert target not in wanted, target  # names of pieces are checked when the job is read
                    wanted[target] = path
    wanted[masters / PROOF_FILE] = _json_bytes(report["proof"])
    wanted[root / "pictures" / "route card.png"] = _card(outputs, report, made)
    wanted[root / "report.json"] = _json_bytes(report)
    told_before = _told_before(outputs)
    for path, content in wanted.items():
        _put(path, content)
    # what a run that is stopped does not write again stays: masters of an earlier one
    kept_folders = () if released else tuple(root / kind.folder for kind in KINDS if kind.proved)
    _clear(outputs, set(wanted), kept_folders, told_before)


def _card(outputs: Outputs, report: Mapping[str, Any], made: Made) -> Path:
    """The route card as PNG, kept in the store: drawing it again would give the same bytes."""

    def write(folder: Path) -> None:
        from firstcast.sheets.files import write_card

        write_card(folder / "card.png", report)

    taken = json.dumps(report, sort_keys=True)
    key = digest({"kind": "card", "sources": dependency_digest(CARD_MODULE), "taken": taken})
    made.keys.append(key)
    return outputs.store.folder(key, write) / "card.png"


def _put(path: Path, content: bytes | Path) -> None:
    """A file in its place, from bytes or from another file; left alone where it is the same already."""
    path.parent.mkdir(exist_ok=True)
    if isinstance(content, Path):
        if not path.exists() or not filecmp.cmp(path, content, shallow=False):
            copy_atomically(path, content)
    elif not path.exists() or path.read_bytes() != content:
        write_atomically(path, content)


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
    """Measure the published masters and runs again, and hold their bytes against the proof that was published."""
    from firstcast.masters import prove_again
    from firstcast.prints import prove_run_again

    released = outputs.masters_folder.is_dir()
    masters, runs = (outputs.job.folder / kind.folder_if(released) for kind in (MASTERS, RUNS))
    path = masters / PROOF_FILE
    published = json.loads(path.read_text("utf-8")) if path.exists() else {}
    proofs = [*published.get("pieces", ()), *published.get("runs", ())]
    noted = {name: found for proof in proofs for name, found in proof["files"].items()}
    order, outcome = outputs.order, outputs.outcome
    joint = _joint(
        [prove_again(masters, master, order, outcome, noted=noted) for master in masters_of(order, outcome)],
        [prove_run_again(runs, name, order, outcome, noted=noted) for name in runs_of(outcome)],
    )
    return joint, proof_text(joint)


def proof_text(proof: Mapping[str, Any]) -> str:
    """The proof as a table for the terminal."""
    lines = []
    for each in [*proof["pieces"], *proof["runs"]]:
        lines.append(f"{each.get('piece') or each.get('run')}: {each['verdict']}")
        width = max(len(row["check"]) for row in each["rows"])
        lines += [f"  {row['verdict']:<6} {row['check']:<{width}}  {row['result']}" for row in each["rows"]]
    return "\n".join(lines)
