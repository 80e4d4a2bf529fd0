"""A small sculpture and its job, made in a moment: a body of two parts, and an arm."""

from pathlib import Path

import numpy as np
import trimesh

JOB = """\
[job]
name = "Marsh marker"
wanted = 40

[folders]
parts = "../sculpture"

[[piece]]
name = "body"
parts = ["post", "knob"]

[[piece]]
name = "arm"
parts = ["arm"]

[size]
total_height_mm = 12.0

[process]
kind = "two-part-block"
pitch_mm = 0.1
layer_mm = 0.1
reduce_tolerance_mm = 0.02

[process.override.printer]
build_x_mm = 40
build_y_mm = 30
build_z_mm = 60

[stand]
directions = 100

[platform]
copies = { body = 1, arm = 1 }

[carry]
forecast = false
"""


def write_small_job(root: Path, *, changes: dict[str, str] | None = None) -> Path:
    """Write the sculpture and its job below `root`; gives the job's folder."""
    sculpture, job = root / "sculpture", root / "job"
    sculpture.mkdir(parents=True)
    job.mkdir()
    post = trimesh.creation.box((2.0, 2.0, 10.0))
    post.apply_translation((0, 0, 5.0))
    knob = trimesh.creation.icosphere(subdivisions=3, radius=2.2)
    knob.apply_translation((0, 0, 9.8))
    arm = trimesh.creation.capsule(height=4.0, radius=0.8)
    arm.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, (0, 1, 0), (0, 0, 0)))
    arm.apply_translation((2.0, 0, 6.0))
    post.export(sculpture / "post.stl")
    knob.export(sculpture / "knob.ply")
    arm.export(sculpture / "arm.obj")
    text = JOB
    for old, new in (changes or {}).items():
        assert old in text, old
        text = text.replace(old, new)
    (job / "job.toml").write_text(text, encoding="utf-8")
    return job
