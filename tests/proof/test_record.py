"""The proof on disk: sealed, repeatable, and it notices every change."""

import json

import pytest

from firstcast.errors import FileError
from firstcast.proof import (
    PieceProof,
    ProofRow,
    check_digests,
    digest_folder,
    read_proof,
    table_text,
    write_proof,
)
from firstcast.vocabulary import Verdict


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "body.stl").write_bytes(bytes(range(256)) * 40)
    (tmp_path / "arm").mkdir()
    (tmp_path / "arm" / "arm.3mf").write_bytes(b"arm" * 99)
    write_proof(tmp_path / "proof.json", PROOFS, digest_folder(tmp_path))
    return tmp_path


PROOFS = (
    PieceProof(
        "body",
        (
            ProofRow("volume", "12.5 mm³", 12.5, None, "mm3", Verdict.SOUND),
            ProofRow("master to parts: greatest, smooth", "9.1 µm", 9.1, 8.0, "µm", Verdict.STOP),
            ProofRow("self-crossings", "none", 0.0, 0.0, "count", Verdict.SOUND),
            ProofRow("bound", "not a number", float("inf"), None, "mm", Verdict.WATCH),
        ),
    ),
)


def test_an_unchanged_folder_has_nothing_to_say(folder):
    assert check_digests(folder) == ()
    record = read_proof(folder / "proof.json")
    assert record["verdict"] == "stop"
    assert list(record["files"]) == ["arm/arm.3mf", "body.stl"]
    assert record["pieces"][0]["rows"][3]["measured"] is None


def test_the_same_proof_has_the_same_bytes(folder):
    first = (folder / "proof.json").read_bytes()
    write_proof(folder / "proof.json", PROOFS, digest_folder(folder))
    assert (folder / "proof.json").read_bytes() == first


@pytest.mark.parametrize("position", [0, 5000, -1])
def test_one_byte_altered_is_noticed(folder, position):
    data = bytearray((folder / "body.stl").read_bytes())
    data[position] ^= 1
    (folder / "body.stl").write_bytes(data)
    assert check_digests(folder) == ("body.stl was altered after the proof",)


def test_a_file_missing_or_added_is_noticed(folder):
    (folder / "arm" / "arm.3mf").unlink()
    (folder / "arm" / "notes.txt").write_text("x")
    assert check_digests(folder) == ("arm/arm.3mf is missing", "arm/notes.txt was added after the proof")


def test_the_proof_itself_is_sealed(folder):
    path = folder / "proof.json"
    text = path.read_text("utf-8")
    path.write_text(text.replace('"verdict": "stop"', '"verdict": "sound"', 1), "utf-8")
    (sentence,) = check_digests(folder)
    assert "altered" in sentence
    path.write_text("{", "utf-8")
    with pytest.raises(FileError, match="can't be read"):
        read_proof(path)
    path.unlink()
    assert len(check_digests(folder)) == 1
    path.write_text(json.dumps([1]), "utf-8")
    assert len(check_digests(folder)) == 1


def test_the_table_shows_verdicts_checks_and_limits():
    text = table_text(PROOFS[0])
    lines = text.splitlines()
    assert lines[0] == "body: stop"
    assert lines[2].startswith("  stop   master to parts: greatest, smooth")
    assert lines[2].endswith("(limit 8 µm)")
    assert len({line.index(row.result) for line, row in zip(lines[1:], PROOFS[0].rows, strict=True)}) == 1


def test_a_crash_leaves_the_old_proof(folder, monkeypatch):
    old = (folder / "proof.json").read_bytes()

    def crash(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("firstcast.proof.record.os.replace", crash)
    with pytest.raises(FileError, match="No space left"):
        write_proof(folder / "proof.json", (), {})
    assert (folder / "proof.json").read_bytes() == old
    assert check_digests(folder) == ()
