"""The print as files: a run's layer images, STL and 3MF, written and proved; its page, and each piece on its props."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from firstcast import __version__
from firstcast.findings import Finding
from firstcast.io.layer_images import write_layers
from firstcast.io.run_files import write_run_3mf, write_run_stl
from firstcast.io.write import write_json
from firstcast.masters import bytes_row, proof_record
from firstcast.printing.layer_plan import LayerPlan
from firstcast.printing.propped import Propped
from firstcast.process.materials import UNKNOWN
from firstcast.proof.check_run import prove_run
from firstcast.proof.expected_run import ExpectedRun, Standing
from firstcast.proof.rows import PieceProof
from firstcast.ranges import SCENARIOS
from firstcast.sheets.plate import Title
from firstcast.sheets.platform_page import draw_platform_page, write_platform_page
from firstcast.sheets.print_page import Fact, draw_print_page, write_print_page
from firstcast.sheets.urgent import most_urgent
from firstcast.stations import layer as layer_station
from firstcast.steps import Master, Order, Outcome, masters_of, runs_of
from firstcast.store import Stored

OVERLOADED = 1.0 + 1e-9
"""Sizing ends at 1 where there is room: this is what rounding leaves."""

MOST_TOLD = 4
"""Findings that stand on a run's page."""


def write_run(folder: Path, name: str, order: Order, outcome: Outcome, *, job: str) -> None:
    """Write a run's layer images, 3MF and STL into a folder, and beside them the proof of what they hold."""
    layered = outcome.get("layer", name).value()
    plan, propped = _plan(name, order, outcome)
    images, threemf, stl = _files(folder, name)
    write_layers(images, plan, {"job": job, **layered.facts()}, layered.table())
    settings = order.settings("layer", "")
    assert isinstance(settings, layer_station.Settings)
    notes = {"job": job, "made_with": f"firstcast {__version__}"}
    write_run_3mf(threemf, plan.run, propped, notes, slices=plan.layers if settings.slices else None)
    write_run_stl(stl, plan.run, propped)
    rows = prove_run(images, stl, threemf, expected_run(name, order, outcome))
    write_json(
        folder / "proof.json", proof_record(PieceProof(name, rows), [images, threemf, stl], about="run")
    )


def prove_run_again(
    folder: Path, name: str, order: Order, outcome: Outcome, *, noted: Mapping[str, Any]
) -> dict[str, Any]:
    """Measure a run's files once more, and hold their bytes against those `noted` by file name."""
    files = _files(folder, name)
    rows = [bytes_row(file, noted.get(file.name)) for file in files]
    if all(file.exists() for file in files):
        images, threemf, stl = files
        rows += prove_run(images, stl, threemf, expected_run(name, order, outcome))
    return proof_record(PieceProof(name, tuple(rows)), [file for file in files if file.exists()], about="run")


def expected_run(name: str, order: Order, outcome: Outcome) -> ExpectedRun:
    """What a run's written files must be."""
    plan, propped = _plan(name, order, outcome)
    settings = order.settings("layer", "")
    assert isinstance(settings, layer_station.Settings)
    pieces = {master.name: master.piece for master in masters_of(order, outcome)}
    stand_so = []
    for master, found in propped.items():
        # from what was released and how it stands, not from the piece that prop gives
        light = outcome.get("reduce", master).field("mesh")
        turn = np.asarray(outcome.get("stand", pieces[master]).field("turn_to_print"), np.float64)
        points = np.asarray(light.points, np.float64) @ turn.T + found.offset_mm
        stand_so.append((master, points, np.asarray(light.triangles)))
    stress = outcome.get("plan").field("materials").printer.separation_stress_kpa
    low, likely, high = (stress.scenario(at) for at in SCENARIOS)
    expected = expected_of_plan(plan, propped, settings)
    return replace(expected, pieces=tuple(stand_so), stress_kpa=(low, likely, high))


def expected_of_plan(
    plan: LayerPlan, propped: Mapping[str, Propped], settings: layer_station.Settings
) -> ExpectedRun:
    """What the files of a run that is made ready must be."""
    screen = plan.screen
    return ExpectedRun(
        name=plan.run.name,
        pixels=(screen.nx, screen.ny),
        pixel_mm=(screen.pixel_x_mm, screen.pixel_y_mm),
        layer_mm=plan.layers.layer_mm,
        layer_count=plan.layers.count,
        standing=tuple(
            Standing(each.master, each.x_mm, each.y_mm, each.turn_deg) for each in plan.run.placements
        ),
        tips=tuple((master, np.asarray(found.tips.places_mm)) for master, found in propped.items()),
        mirrored=screen.mirrored,
        least_pixels=settings.bare_start_pixels,
        within=settings.joins_within,
        cup_mm3=settings.cup_mm3,
        slices=settings.slices,
    )


def _plan(name: str, order: Order, outcome: Outcome) -> tuple[LayerPlan, dict[str, Propped]]:
    """A run made ready for its layers, and its masters on their props."""
    run = runs_of(outcome)[name]
    masters = dict.fromkeys(placement.master for placement in run.placements)
    propped = {master: outcome.get("prop", master).field("propped") for master in masters}
    settings = order.settings("layer", "")
    assert isinstance(settings, layer_station.Settings)
    planned = outcome.get("plan")
    plan = layer_station.plan_of(
        run, tuple(propped.items()), planned.field("limits"), planned.field("materials"), settings
    )
    return plan, propped


def _files(folder: Path, name: str) -> tuple[Path, Path, Path]:
    return folder / f"{name} layers.zip", folder / f"{name}.3mf", folder / f"{name}.stl"


def draw_print(path: Path, master: str, piece: str, outcome: Outcome, *, job: str) -> None:
    """The page of a master on its props."""
    held, stood = outcome.get("prop", master), outcome.get("stand", piece)
    propped: Propped = held.field("propped")
    limits = outcome.get("plan").field("limits")
    layers = int(np.ceil(propped.height_mm / limits.layer_mm - 1e-6))
    stands, _, other = stood.field("says").partition("; ")
    drawn = draw_print_page(
        propped.piece,
        propped.props,
        title=Title(job=job, piece=master, date=""),
        facts=[
            Fact("stands", stands),
            Fact("on the platform", f"{layers} layers of {limits.layer_mm:g} mm with its props"),
            Fact("props", held.field("says")),
            Fact("standing", _standing(held)),
            Fact("marks", _marks(held)),
            Fact("of what the weakest resin may bear", _loads(held)),
        ],
        reasons=[f"{other[:1].upper()}{other[1:]}."] if other else [],
        foot="Loads rest on figures of printer and resin; until those are yours they are wide ranges.",
    )
    write_print_page(path, drawn)


def _standing(held: Stored) -> str:
    """Where props end."""
    feet, rests = held.field("feet"), held.field("rests")
    return f"{feet} on the platform" + (
        f", {rests} on the figure itself" if rests else ", none on the figure"
    )


def _marks(held: Stored) -> str:
    """What tips leave on the figure."""
    tips = held.field("propped").tips
    on_figure = int((~tips.on_tab).sum())
    widest = float(tips.diameters_mm[~tips.on_tab].max(initial=0.0))
    return f"{on_figure} on the figure, up to {widest:.2f} mm wide; {int(tips.on_tab.sum())} on the tab"


def _loads(held: Stored) -> str:
    """How full tips and posts are."""
    neck, bending = held.field("neck_use"), held.field("bending_use")
    buckling = max(held.field("buckling_use"), held.field("sway_use"))
    over = " OVERLOADED: see the findings." if max(neck, bending, buckling) > OVERLOADED else ""
    return f"tips {100 * neck:.0f} %, posts {100 * bending:.0f} % bending and {100 * buckling:.0f} % buckling, at most.{over}"


def draw_run(
    path: Path, name: str, order: Order, outcome: Outcome, findings: Sequence[Finding], *, job: str
) -> None:
    """The page of a run: the platform from above, what it holds and why, and what a person should look at first."""
    filled = outcome.get("platform")
    run, outlines = runs_of(outcome)[name], {each.master: each.loops_mm for each in filled.field("outlines")}
    width, depth, _ = filled.field("build_mm")
    standing = dict.fromkeys(placement.master for placement in run.placements)
    copies = [each for each in filled.field("copies") if each.master in standing]
    masters = [master for master in masters_of(order, outcome) if master.name in standing]
    looked = most_urgent(findings, MOST_TOLD)[0]
    drawn = draw_platform_page(
        run,
        outlines,
        (width, depth),
        title=Title(job=job, piece=name, date=""),
        facts=[
            *(Fact("which master", told) for told in _which(masters, order, outcome)),
            Fact("this run", outcome.get("layer", name).field("says")),
            Fact(
                "files",
                f"{name}.3mf or .stl, props and all, for another program; {name} layers.zip has the images: their first row "
                f"is y = 0, the lower edge here{_front(filled.field('front'))}",
            ),
            *(Fact(f"how many of {each.master}", each.says) for each in copies),
        ],
        reasons=[f"Look at: {note.says}" for note in looked],
        foot="Where one stands above another the tone is darker. Figures of printer and resin that are not yours are wide ranges.",
        front=filled.field("front"),
    )
    write_platform_page(path, drawn)


def _front(front: str) -> str:
    """The printer's front, or how to have it told."""
    if front == UNKNOWN:
        return "; which edge is your printer's front you can say in [process.override.printer] front"
    return f"; your printer's front is the images' {front}, drawn broad"


def _which(masters: Sequence[Master], order: Order, outcome: Outcome) -> list[str]:
    """Of each master that is one of two of its piece: which it is."""
    told = []
    for master in masters:
        others = [
            f"'{each.name}'"
            for each in masters_of(order, outcome)
            if each.piece == master.piece and each.name != master.name
        ]
        if others:
            told.append(f"{master.name} is the {master.make} one; {', '.join(others)} is made too")
    return told
