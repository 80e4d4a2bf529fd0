"""The store is atomic, notices what was cut short, and prunes what no recent run used."""

import subprocess
import sys

import numpy as np
import pytest

from firstcast.errors import JobError
from firstcast.geometry.mesh import Mesh
from firstcast.store import RUNS_KEPT, Store, only_one, write_atomically


def mesh(seed):
    rng = np.random.default_rng(seed)
    return Mesh(rng.normal(size=(50, 3)), rng.integers(0, 50, size=(80, 3)).astype(np.int32))


def test_results_come_back_lazily_and_writable_in_memory_only(tmp_path):
    store = Store(tmp_path)
    made = mesh(8731)
    store.put("k", made, 1.5)
    stored = store.get("k")
    assert stored is not None
    assert stored.seconds == 1.5
    points = stored.field("points")
    np.testing.assert_array_equal(points, made.points)
    assert type(points) is np.ndarray
    assert points.flags.writeable
    points[:] = 0
    np.testing.assert_array_equal(Store(tmp_path).get("k").field("points"), made.points)
    np.testing.assert_array_equal(stored.field("bounds"), stored.value().bounds)
    assert store.get("other") is None


def test_a_result_that_was_cut_short_is_no_result(tmp_path):
    store = Store(tmp_path)
    store.put("k", mesh(5), 0.0)
    array = next((tmp_path / "results" / "k").glob("*.npy"))
    array.write_bytes(array.read_bytes()[:-1])
    assert store.get("k") is None
    store.put("k", mesh(5), 0.0)
    assert store.get("k") is not None


def test_a_folder_is_made_once_and_whole(tmp_path):
    store = Store(tmp_path)
    calls = []

    def write(folder):
        calls.append(1)
        (folder / "a.txt").write_text("whole")

    def fail(folder):
        (folder / "b.txt").write_text("half")
        raise OSError("disk full")

    assert (store.folder("k", write) / "a.txt").read_text() == "whole"
    store.folder("k", write)
    assert calls == [1]
    with pytest.raises(OSError, match="disk full"):
        store.folder("q", fail)
    assert not (tmp_path / "folders" / "q").exists()
    assert list((tmp_path / "making").iterdir()) == []


def test_what_a_killed_run_left_is_swept(tmp_path):
    store = Store(tmp_path)
    (tmp_path / "making" / "left" / "deep").mkdir(parents=True)
    store.sweep()
    assert list((tmp_path / "making").iterdir()) == []


def test_results_of_the_last_runs_stay(tmp_path):
    store = Store(tmp_path)
    for run in range(RUNS_KEPT + 2):
        store.put(f"k{run}", mesh(run + 11), 0.0)
        store.remember([f"k{run}"])
    kept = {path.name for path in (tmp_path / "results").iterdir()}
    assert kept == {f"k{run}" for run in range(2, RUNS_KEPT + 2)}


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "report.json"
    write_atomically(path, b"old")

    def refuse(*_):
        raise OSError("no space")

    monkeypatch.setattr("os.replace", refuse)
    with pytest.raises(OSError, match="no space"):
        write_atomically(path, b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_one_run_at_a_time(tmp_path):
    lock = tmp_path / "lock"
    script = (
        "import sys\nfrom pathlib import Path\nfrom firstcast.store import only_one\n"
        "with only_one(Path(sys.argv[1])):\n    print('held', flush=True)\n    sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script, str(lock)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        with pytest.raises(JobError, match="another run"), only_one(lock):
            pass
        other.kill()
    with only_one(lock):
        pass
