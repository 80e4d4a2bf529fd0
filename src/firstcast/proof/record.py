"""The proof as a file beside the masters, the digests that seal them, and the proof as a table."""

import hashlib
import json
import math
import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from firstcast import __version__
from firstcast.errors import FileError
from firstcast.proof.rows import PieceProof
from firstcast.vocabulary import worst

PROOF_NAME = "proof.json"
DIGEST_BYTES = 32
FORMAT = 1


def digest_file(path: Path | str) -> str:
    """BLAKE2b (RFC 7693), 32 bytes, of a file's content, in hexadecimal."""
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, lambda: hashlib.blake2b(digest_size=DIGEST_BYTES)).hexdigest()


def digest_folder(folder: Path | str) -> dict[str, str]:
    """Digest of every file in and below a folder but its proof, by path with forward slashes, sorted."""
    folder = Path(folder)
    names = sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
    return {name: digest_file(folder / name) for name in names if name != PROOF_NAME}


def write_proof(path: Path | str, proofs: Sequence[PieceProof], digests: Mapping[str, str]) -> None:
    """Write the proof of some pieces with the digests of their files: whole or not at all, same bytes again.

    Parameters
    ----------
    path : path
        Usually `proof.json` in the folder of the masters.
    proofs : sequence of PieceProof
    digests : mapping of file name to digest
        See `digest_folder`.

    Raises
    ------
    FileError
        The file can't be written.
    """
    record: dict[str, Any] = {
        "format": FORMAT,
        "firstcast": __version__,
        "verdict": worst(proof.verdict for proof in proofs).value,
        "files": dict(sorted(digests.items())),
        "pieces": [_as_plain(proof) for proof in proofs],
    }
    record["seal"] = _seal(record)
    text = json.dumps(record, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    _replace(Path(path), text.encode())


def read_proof(path: Path | str) -> dict[str, Any]:
    """The proof as plain data, its own seal checked.

    Raises
    ------
    FileError
        It can't be read, or was altered since it was written.
    """
    try:
        record = json.loads(Path(path).read_bytes())
        sealed = isinstance(record, dict) and record.get("seal") == _seal(record)
    except (OSError, ValueError) as error:
        raise FileError(
            f"can't be read ({error})", where=str(path), mend="Make the masters again."
        ) from error
    if not sealed:
        raise FileError(
            "the proof was altered after it was written", where=str(path), mend="Make the masters again."
        )
    return record


def check_digests(folder: Path | str) -> tuple[str, ...]:
    """What changed in a folder of masters since its proof was written; empty where nothing did.

    One sentence for each file altered, missing or added, and for the proof itself.
    """
    folder = Path(folder)
    try:
        sealed = read_proof(folder / PROOF_NAME)["files"]
    except FileError as error:
        return (str(error),)
    here = digest_folder(folder)
    sentences = []
    for name in sorted(sealed.keys() | here.keys()):
        if name not in here:
            sentences.append(f"{name} is missing")
        elif name not in sealed:
            sentences.append(f"{name} was added after the proof")
        elif here[name] != sealed[name]:
            sentences.append(f"{name} was altered after the proof")
    return tuple(sentences)


def table_text(proof: PieceProof) -> str:
    """The proof of a piece as lines of text: verdict, check, result, and the limit where there is one."""
    width = max((len(row.check) for row in proof.rows), default=0)
    lines = [f"{proof.name}: {proof.verdict.value}"]
    for row in proof.rows:
        limit = ""
        if row.limit is not None and row.unit != "count":
            limit = f" (limit {row.limit:.4g} {row.unit.replace('mm2', 'mm²').replace('mm3', 'mm³')})"
        lines.append(f"  {row.verdict.value:<5}  {row.check:<{width}}  {row.result}{limit}")
    return "\n".join(lines) + "\n"


def _as_plain(proof: PieceProof) -> dict[str, Any]:
    return {
        "piece": proof.name,
        "verdict": proof.verdict.value,
        "rows": [
            {
                "check": row.check,
                "result": row.result,
                "measured": _number(row.measured),
                "limit": _number(row.limit),
                "unit": row.unit,
                "verdict": row.verdict.value,
            }
            for row in proof.rows
        ],
    }


def _number(value: float | None) -> float | None:
    """The number, or none where JSON has no word for it."""
    return None if value is None or not math.isfinite(value) else float(value)


def _seal(record: Mapping[str, Any]) -> str:
    """Digest of the record's content without its seal."""
    rest = {key: value for key, value in record.items() if key != "seal"}
    text = json.dumps(rest, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hashlib.blake2b(text.encode(), digest_size=DIGEST_BYTES).hexdigest()


def _replace(path: Path, data: bytes) -> None:
    """Put a file in place whole: written beside, flushed, renamed."""
    beside = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        beside = Path(name)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        beside.chmod(0o644)
        os.replace(beside, path)
        beside = None
    except OSError as error:
        raise FileError(
            f"could not be written ({error.strerror or error})",
            where=str(path),
            mend="Make room on the disk, or choose another folder that you may write to.",
        ) from error
    finally:
        if beside is not None:
            beside.unlink(missing_ok=True)
