"""Compiling ahead: a sound small body, one process where something is to be compiled, none where nothing is."""

import trimesh

from firstcast import ahead


def test_the_small_body_is_closed_and_outward():
    body = ahead.small_body()
    solid = trimesh.Trimesh(body.points, body.triangles, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    assert solid.volume > 0


def test_the_last_stations_run_and_leave_a_stamp(tmp_path, monkeypatch):
    monkeypatch.setattr(ahead, "_stamp", lambda: tmp_path / "stamp")
    ahead.compile_last_stations()
    assert (tmp_path / "stamp").exists()


class Started:
    """Stands for the other process."""

    def __init__(self, command, **_streams):
        self.command, self.ended = command, []
        started.append(self)

    def terminate(self):
        self.ended.append("told")

    def wait(self):
        self.ended.append("awaited")


started: list[Started] = []


def test_a_process_is_started_only_without_a_stamp_and_always_ended(tmp_path, monkeypatch):
    started.clear()
    monkeypatch.setattr(ahead, "_stamp", lambda: tmp_path / "stamp")
    monkeypatch.setattr(ahead.subprocess, "Popen", Started)
    try:
        with ahead.compiling_ahead():
            assert [process.ended for process in started] == [[]]
            raise KeyboardInterrupt
    except KeyboardInterrupt:
        pass
    assert [process.ended for process in started] == [["told", "awaited"]]
    (tmp_path / "stamp").touch()
    with ahead.compiling_ahead():
        assert len(started) == 1
