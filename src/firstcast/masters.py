"""A master: written, measured, and measured again later."""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from firstcast import __version__
from firstcast.expectations import expected_of
from firstcast.io.write import write_3mf, write_json, write_stl
from firstcast.proof.piece import prove_piece
from firstcast.proof.rows import PieceProof, ProofRow
from firstcast.steps import Master, Order, Outcome
from firstcast.vocabulary import Make, Verdict


def write_masters(folder: Path, master: Master, order: Order, outcome: Outcome, *, job: str) -> None:
    """Write a master's STL and 3MF into a folder, and beside them the proof of what they hold."""
    mesh = outcome.get("reduce", master.name).field("mesh")
    lines = outcome.get("allow", master.piece).field("lines")
    notes = {
        "job": job,
        "piece": master.piece,
        "made_with": f"firstcast {__version__}",
        "size_steps": " | ".join(line.says for line in lines),
    }
    if master.make is Make.CARRIED:
        # with another printer, resin, layer or orientation it is wrong
        notes["carried for"] = outcome.get("carry", master.piece).field("made_for")
    stl, threemf = _files(folder, master.name)
    write_stl(stl, mesh)
    write_3mf(threemf, {master.name: mesh}, notes)
    proof = prove_piece(stl, threemf, expected_of(master, order, outcome))
    write_json(folder / "proof.json", proof_record(proof, [stl, threemf]))


def prove_again(
    folder: Path, master: Master, order: Order, outcome: Outcome, *, noted: Mapping[str, Any]
) -> dict[str, Any]:
    """Measure a master once more, and hold its bytes against those `noted` by file name."""
    files = _files(folder, master.name)
    rows = [bytes_row(file, noted.get(file.name)) for file in files]
    if all(file.exists() for file in files):
        rows += prove_piece(*files, expected_of(master, order, outcome)).rows
    return proof_record(PieceProof(master.name, tuple(rows)), [file for file in files if file.exists()])


def _files(folder: Path, name: str) -> tuple[Path, Path]:
    return folder / f"{name}.stl", folder / f"{name}.3mf"


def proof_record(proof: PieceProof, files: Iterable[Path], *, about: str = "piece") -> dict[str, Any]:
    """A proof as plain data, with the digest of each file it was made on; `about` names what it is of."""
    rows = [{**asdict(row), "verdict": row.verdict.value} for row in proof.rows]
    return {
        about: proof.name,
        "verdict": proof.verdict.value,
        "rows": rows,
        "files": {path.name: _file_digest(path) for path in files},
    }


def _file_digest(path: Path) -> dict[str, Any]:
    """A file's size and BLAKE2b digest."""
    data = path.read_bytes()
    return {"bytes": len(data), "blake2b": hashlib.blake2b(data, digest_size=32).hexdigest()}


def bytes_row(file: Path, noted: Mapping[str, Any] | None) -> ProofRow:
    """Whether a file's bytes are those that were noted when it was proved."""
    check = f"bytes of {file.name}"
    if not file.exists():
        return ProofRow(check, "the file is missing", None, None, "", Verdict.STOP)
    if noted is None:
        return ProofRow(check, "no proof was published for it", None, None, "", Verdict.STOP)
    same = _file_digest(file) == dict(noted)
    text = "as proved" if same else "changed since it was proved"
    return ProofRow(check, text, None, None, "", Verdict.SOUND if same else Verdict.STOP)
