"""Content-addressed results on disk: atomic, and sound after a kill at any moment.

    ROOT/results/KEY/value.json      the result's tree, a digest per field, the seconds it took
    ROOT/results/KEY/NNN.npy         its arrays, read as memory maps
    ROOT/folders/KEY/...             finished files (masters, pictures) made under one key
    ROOT/making/...                  half-made things; swept away by the next run
    ROOT/history.json                the keys that the last runs used; others are pruned

A result is made in ROOT/making and moved to its place in one step, so what stands under
`results` or `folders` is whole after any kill. Arrays are not forced to the disk one by one
(they can be made again); a result that a power cut has shortened is noticed by its size.
"""

import json
import os
import shutil
import sys
import uuid
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import fields
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from firstcast import values
from firstcast.errors import JobError

RUNS_KEPT = 4
"""Results that none of this many last runs used are pruned: going back on one change stays free."""


class Stored:
    """A result on disk; fields are read only when asked for."""

    def __init__(self, folder: Path) -> None:
        self.key = folder.name
        self._folder = folder
        self._record = json.loads((folder / "value.json").read_text(encoding="utf-8"))
        for number, size in enumerate(self._record["sizes"]):
            if (folder / f"{number:03d}.npy").stat().st_size != size:
                raise ValueError(f"{folder.name}: array {number} was cut short")
        self._arrays: dict[int, np.ndarray] = {}

    @property
    def seconds(self) -> float:
        """How long the result took to make."""
        return self._record["seconds"]

    def field(self, name: str) -> Any:
        """One field of the result, its arrays as memory maps (what is written to them stays in memory)."""
        tree = self._record["tree"]["fields"].get(name)
        if tree is None and name not in self._record["tree"]["fields"]:
            return getattr(self.value(), name)
        return values.decode(tree, self._array)

    def digest(self, name: str) -> str:
        """Digest of one field's content."""
        found = self._record["digests"].get(name)
        return found if found is not None else values.digest(self.field(name))

    def value(self) -> Any:
        """The whole result."""
        return values.decode(self._record["tree"], self._array)

    def _array(self, number: int) -> np.ndarray:
        if number not in self._arrays:
            path = self._folder / f"{number:03d}.npy"
            # Copy on write and seen as a plain array: kernels compiled for writable arrays serve it too.
            self._arrays[number] = np.load(path, mmap_mode="c").view(np.ndarray)
        return self._arrays[number]


class Store:
    """Results and finished folders under one root. One run at a time uses it (see `only_one`)."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._making = root / "making"
        for name in ("results", "folders", "making"):
            (root / name).mkdir(parents=True, exist_ok=True)

    def sweep(self) -> None:
        """Remove what a killed run left half made."""
        for left in self._making.iterdir():
            shutil.rmtree(left, ignore_errors=True)

    def get(self, key: str) -> Stored | None:
        """The result under a key, or None where there is none or it can't be read."""
        folder = self.root / "results" / key
        try:
            return Stored(folder)
        except (OSError, ValueError):
            return None

    def put(self, key: str, result: Any, seconds: float) -> Stored:
        """Keep a result (a frozen dataclass) under a key."""
        arrays: list[np.ndarray] = []
        tree = values.encode(result, arrays)
        digests = {f.name: values.digest_encoded(tree["fields"][f.name], arrays) for f in fields(result)}
        record = {"tree": tree, "digests": digests, "seconds": seconds, "sizes": []}

        def write(folder: Path) -> None:
            for number, array in enumerate(arrays):
                path = folder / f"{number:03d}.npy"
                np.save(path, array, allow_pickle=False)
                record["sizes"].append(path.stat().st_size)
            (folder / "value.json").write_text(json.dumps(record), encoding="utf-8")

        return Stored(self._make(self.root / "results" / key, write))

    def folder(self, key: str, write: Callable[[Path], None]) -> Path:
        """The finished folder under a key; `write` fills it if it is not there yet."""
        place = self.root / "folders" / key
        return place if place.exists() else self._make(place, write)

    def _make(self, place: Path, write: Callable[[Path], None]) -> Path:
        half = self._making / uuid.uuid4().hex
        half.mkdir()
        try:
            write(half)
            if place.exists():
                shutil.rmtree(place)
            os.replace(half, place)
        finally:
            shutil.rmtree(half, ignore_errors=True)
        return place

    def remember(self, used: Iterable[str]) -> None:
        """Note the keys that a finished run used, and prune those that no recent run did."""
        path = self.root / "history.json"
        try:
            history = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            history = []
        run = sorted(used)
        history = [run, *(older for older in history if older != run)][:RUNS_KEPT]
        write_atomically(path, json.dumps(history).encode())
        kept = {key for older in history for key in older}
        for kind in ("results", "folders"):
            for place in (self.root / kind).iterdir():
                if place.name not in kept:
                    shutil.rmtree(place, ignore_errors=True)

    def note(self, name: str) -> dict[str, Any]:
        """A small named record (timings of earlier runs, say); empty where there is none."""
        try:
            return json.loads((self.root / f"{name}.json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}

    def set_note(self, name: str, record: dict[str, Any]) -> None:
        """Replace a small named record."""
        write_atomically(self.root / f"{name}.json", json.dumps(record, sort_keys=True).encode())


@contextmanager
def only_one(path: Path) -> Iterator[None]:
    """Hold a lock file while a run works; the system lets go of it when the process ends, however it ends.

    Raises
    ------
    JobError
        Another run holds it.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a+b") as file:
        try:
            _hold(file)
        except OSError:
            raise JobError(
                "another run of this job is at work", where=str(path.parent), mend="Wait for it to end."
            ) from None
        yield


def _hold(file: BinaryIO) -> None:
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def write_atomically(path: Path, data: bytes) -> None:
    """Write a file so that a reader sees the old one or the new one, never a part of it."""
    replace_file(path, lambda stream: stream.write(data))


def copy_atomically(path: Path, source: Path) -> None:
    """Copy a file to a place, so that a reader sees what was there or the whole copy."""

    def fill(stream: BinaryIO) -> None:
        with source.open("rb") as given:
            shutil.copyfileobj(given, stream, 1 << 20)

    replace_file(path, fill)


def replace_file(path: Path, fill: Callable[[BinaryIO], object]) -> None:
    """A file that is there whole or not at all: `fill` writes it beside, a rename puts it in place.

    Its content is on the disk before the rename, and the rename before this returns where the
    system allows it: what a crash or a power cut leaves is the old file or the new one.

    Raises
    ------
    OSError
        The folder can't be written or the disk is full. The old file, if any, is untouched.
    """
    # Not named after the file: a long name with more beside it would be longer than file systems take.
    beside = path.with_name(f".{uuid.uuid4().hex}.part")
    try:
        with beside.open("xb") as stream:
            fill(stream)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    """Flush the rename itself where the system lets one flush a folder: not all do, and the file is whole anyway."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        with suppress(OSError):
            os.fsync(handle)
    finally:
        os.close(handle)
