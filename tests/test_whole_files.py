"""Files that are there whole or not at all, written from a fill or from bytes alike."""

import os
import stat

import pytest

from firstcast.errors import FileError
from firstcast.io.write import write_whole
from firstcast.store import write_atomically


def from_bytes(path, data):
    write_atomically(path, data)


def from_fill(path, data):
    write_whole(path, lambda stream: stream.write(data))


WRITERS = pytest.mark.parametrize("write", [from_bytes, from_fill])


@WRITERS
def test_a_name_as_long_as_file_systems_take_is_no_trouble(tmp_path, write):
    path = tmp_path / ("鷺" * 83 + ".stl")  # 83 · 3 + 4 = 253 of the 255 bytes that most file systems allow
    write(path, b"heron")
    assert path.read_bytes() == b"heron"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(os.name == "nt", reason="file modes are POSIX")
@WRITERS
def test_the_file_is_as_readable_as_any_other(tmp_path, write):
    plain, path = tmp_path / "plain", tmp_path / "written"
    before = os.umask(0o027)
    try:
        plain.write_bytes(b"")
        write(path, b"x")
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)


@WRITERS
def test_a_failure_while_writing_leaves_the_old_file_alone(tmp_path, write, monkeypatch):
    path = tmp_path / "report.json"
    write(path, b"old")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises((OSError, FileError), match="No space left"):
        write(path, b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(not hasattr(os, "O_DIRECTORY"), reason="folders can't be flushed here")
def test_a_file_system_that_flushes_no_folders_is_no_failure(tmp_path, monkeypatch):
    flush = os.fsync

    def files_only(handle):
        if stat.S_ISDIR(os.fstat(handle).st_mode):
            raise OSError(22, "Invalid argument")
        flush(handle)

    monkeypatch.setattr("os.fsync", files_only)
    write_atomically(tmp_path / "a", b"x")
    assert (tmp_path / "a").read_bytes() == b"x"
