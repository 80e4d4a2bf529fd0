"""A small run of two pieces, written and proved, and its files with something wrong in them."""

import hashlib
import io
import json
import zipfile
from dataclasses import replace

import numpy as np
from PIL import Image

from firstcast.io.layer_images import write_layers
from firstcast.io.run_files import write_run_3mf, write_run_stl
from firstcast.printing.layer_measures import layer_table, measure_run
from firstcast.printing.layer_plan import Screen, plan_layers
from firstcast.printing.run import Placement, Run
from firstcast.proof.check_run import prove_run
from firstcast.proof.expected_run import ExpectedRun, Standing
from firstcast.vocabulary import Verdict
from layer_bodies import ball, figure, standing

SCREEN = Screen(260, 200, 0.05, 0.05)


STRESS_KPA = (5.0, 10.0, 20.0)


RUN = Run(
    "first", (Placement("a", 3.0, 2.5), Placement("a", 5.013, 7.0, 180.0), Placement("b", 10.5, 4.0, 90.0))
)


def masters():
    piece, props, tips = figure()
    return {"a": standing(piece, props, tips), "b": standing(ball(1.5, (0, 0, 1.5)))}


def facts_of(plan):
    """What the manifest says of a run and of its layers."""
    found = measure_run(plan)
    peel = np.array(STRESS_KPA)[:, None] * 1e-3 * found.area_mm2
    table = layer_table(
        found.area_mm2, found.regions, found.largest_mm2, found.closed_mm2, peel, plan.layers.layer_mm
    )
    return {"resin_mm3": round(float(found.area_mm2.sum()) * plan.layers.layer_mm, 3)}, table


def written(folder, run=RUN, known=None, screen=SCREEN, layer_mm=0.1, *, slices=False):
    known = known or masters()
    plan = plan_layers(run, known, screen, layer_mm=layer_mm)
    facts, table = facts_of(plan)
    write_layers(folder / "run.zip", plan, facts, table)
    write_run_stl(folder / "run.stl", run, known)
    write_run_3mf(folder / "run.3mf", run, known, slices=plan.layers if slices else None)
    return ExpectedRun(
        run.name,
        (screen.nx, screen.ny),
        (screen.pixel_x_mm, screen.pixel_y_mm),
        layer_mm,
        plan.layers.count,
        tuple(Standing(p.master, p.x_mm, p.y_mm, p.turn_deg) for p in run.placements),
        tuple((name, known[name].tips.places_mm) for name in known),
        mirrored=screen.mirrored,
        stress_kpa=STRESS_KPA,
        slices=slices,
    )


def proved(folder, expected, **changes):
    rows = prove_run(folder / "run.zip", folder / "run.stl", folder / "run.3mf", replace(expected, **changes))
    return {row.check: row for row in rows}


def faults(rows):
    return {check for check, row in rows.items() if row.verdict is not Verdict.SOUND}


def with_images(folder, change, *, seal=True):
    """Draw images anew: change(layer, (h, w) uint8) gives the new one or None; the manifest seals them."""
    path = folder / "run.zip"
    with zipfile.ZipFile(path) as package:
        files = {name: package.read(name) for name in package.namelist()}
    manifest = json.loads(files["manifest.json"])
    for row in manifest["layers"]:
        with Image.open(io.BytesIO(files[row["image"]])) as picture:
            image = change(row["layer"], np.array(picture))
        if image is not None:
            held = io.BytesIO()
            Image.fromarray(image).save(held, "PNG")
            files[row["image"]] = held.getvalue()
            if seal:
                row["blake2b"] = hashlib.blake2b(held.getvalue(), digest_size=16).hexdigest()
    files["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(path, "w") as package:
        for name, data in files.items():
            package.writestr(name, data)


def blanked(low, high, rows, columns):
    def change(layer, image):
        if low <= layer < high:
            image[rows[0] : rows[1], columns[0] : columns[1]] = 0
            return image
        return None

    return change


def pieces_of(known):
    return tuple(
        (name, np.asarray(each.piece.points, np.float64), each.piece.triangles)
        for name, each in known.items()
    )


def with_manifest(folder, change):
    path = folder / "run.zip"
    with zipfile.ZipFile(path) as package:
        files = {name: package.read(name) for name in package.namelist()}
    manifest = json.loads(files["manifest.json"])
    change(manifest)
    files["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(path, "w") as package:
        for name, data in files.items():
            package.writestr(name, data)
