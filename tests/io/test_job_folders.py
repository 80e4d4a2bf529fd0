"""The files that a job reads: its own, and the meshes in the folder that it names."""

import os

import pytest

from firstcast.errors import JobError
from firstcast.io.job import read_job
from watchman_job import GOOD, STATIONS, read, refused


def test_files_that_are_no_job_are_refused(folder, tmp_path):
    with pytest.raises(JobError, match=r"no job file job\.toml"):
        read_job(folder, STATIONS)
    with pytest.raises(JobError, match=r"no job file away\.toml"):
        read_job(tmp_path / "away.toml", STATIONS)
    assert "not TOML" in refused(folder, "[job\n").what
    assert "line 3" in refused(folder, '[job]\nname = "a"\nname = "b"\n').what
    (folder / "job.toml").write_bytes(b"[job]\nname = '\xff'\n")
    with pytest.raises(JobError, match=r"line 2 .*not saved as UTF-8 \(byte 14 of the file\)\. Save"):
        read_job(folder, STATIONS)
    (folder / "job.toml").write_bytes("[job]\n".encode("utf-16"))
    with pytest.raises(JobError, match="saved as UTF-16"):
        read_job(folder, STATIONS)
    (folder / "job.toml").write_bytes(b"#" * 1_000_001)
    with pytest.raises(JobError, match="more than 1000000 bytes"):
        read_job(folder, STATIONS)
    (folder / "below").mkdir()
    (folder / "below" / "job.toml").mkdir()
    with pytest.raises(JobError, match="can't be read"):
        read_job(folder / "below", STATIONS)


def test_two_files_of_one_name_are_refused(folder):
    (folder.parent / "sculpture" / "body.obj").write_text("x")
    error = refused(folder, GOOD)
    assert error.where == "folders.parts"
    assert "body.obj and body.stl" in error.what


def test_links_out_of_the_named_folders_are_refused(folder, tmp_path):
    away = tmp_path / "away"
    away.mkdir()
    (away / "secret.stl").write_text("x")
    link = tmp_path / "sculpture" / "cape.stl"
    os.symlink(away / "secret.stl", link)
    error = refused(folder, GOOD)
    assert "cape.stl is a link" in error.what
    link.unlink()
    os.symlink(tmp_path / "sculpture" / "body.stl", link)
    assert "cape" in [f.stem for f in read(folder).part_files]


def test_hidden_files_and_folders_are_no_parts(folder, tmp_path):
    (tmp_path / "sculpture" / ".body.stl").write_text("x")
    (tmp_path / "sculpture" / "old.stl").mkdir()
    assert {f.stem for f in read(folder).part_files} == {"body", "hem_front", "hem_back", "lantern", "ruler"}
