"""A job file with something of everything, as an example to read and to spoil."""

import pytest
from pydantic import Field

from firstcast.errors import JobError
from firstcast.io.job import read_job
from firstcast.stations import allow, plan, size
from firstcast.stations.contract import StationSettings


class IntakeLike(StationSettings):
    """A station's settings as an example."""

    sheet_thickness_mm: float = Field(default=0.6, gt=0)
    close_holes_mm: float = 0.8
    rounds: int = 3


STATIONS = {
    "size": size.Settings,
    "intake": IntakeLike,
    "plan": plan.Settings,
    "allow": allow.Settings,
}

GOOD = """
[job]
name = "watchman"
note = "second try"
wanted = 200

[folders]
parts = "../sculpture"

[[piece]]
name = "body"
parts = ["body", "hem*"]

[[piece]]
name = "arm"
parts = ["lantern/*"]

[size]
total_height_mm = 54
ruler = { part = "ruler", height_mm = 30 }

[intake]
close_holes_mm = 0.5
[intake.part."hem*"]
sheet_thickness_mm = 0.4
[intake.part."hem_back"]
sheet_thickness_mm = 0.9

[process]
kind = "spin-disc"
cast = "tin-lead-free"
[process.override.resin]
shrink_xy_ratio = { likely = 0.004, high = 0.005 }

[allow.piece."arm"]
offset_mm = 0.02

[[zone]]
name = "face"
meaning = "precious"
ball = { centre_mm = [0, 1, 50.0], radius_mm = 4 }

[[accept]]
id = "plan/own-piece/1a2b3c"
reason = "it is glued"
measured = 0.5

[[mend]]
id = "plan/own-piece/1a2b3c"
reason = "as proposed"
"""
FILES = ("body.stl", "hem_front.stl", "hem_back.ply", "lantern.3mf", "ruler.obj", "notes.txt")
PARTS = ["body", "hem_front", "hem_back", "lantern/frame", "lantern/flame", "ruler"]


def read(folder, text=GOOD):
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return read_job(folder, STATIONS)


def refused(folder, text):
    with pytest.raises(JobError) as refusal:
        read(folder, text)
    error = refusal.value
    assert error.what
    assert error.where
    assert error.mend.endswith((".", "?")), error.mend
    assert str(error) == f"{error.where}: {error.what}. {error.mend}"
    return error


def changed(old, new):
    assert GOOD.count(old) == 1, old
    return GOOD.replace(old, new)
