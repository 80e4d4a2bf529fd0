"""A job from its file to its masters: reads, takes the route, writes, proves, draws, publishes.

    JOB/job.toml                  the maker's recipe
    JOB/masters/PIECE.stl, .3mf   print masters, published only when no finding stops them and the proof holds
    JOB/masters/proof.json        what was measured on those files, and the digest of each
    JOB/runs/RUN layers.zip, .3mf, .stl   a filled platform: the images of its layers, and what stands on it
    JOB/held/...                  the same where a finding stops them: to look at, not to cast from
    JOB/pictures/*.png            a plate per piece, the piece beside its cast, and the route card
    JOB/maps/*.ply, *.glb, *.png  each piece coloured by walls, gaps and kept detail, with the legends
    JOB/report.json               the report of the last run
    JOB/.store/                   kept results; may be deleted at any time

Everything written lies in the job's own folder. Files appear whole or not at all.
"""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firstcast import publishing, values
from firstcast.ahead import compiling_ahead
from firstcast.errors import JobError
from firstcast.findings import Finding
from firstcast.geometry.extents import extents_of
from firstcast.geometry.mesh import Mesh
from firstcast.io.job import Job, accepted, part_name, read_job
from firstcast.io.meshes import read_meshes
from firstcast.io.unheeded import unheeded
from firstcast.products import Outputs
from firstcast.report import (
    build_report,
    gravest_first,
    is_released,
    station_records,
    unanswered_mends,
    unknown_acceptances,
)
from firstcast.route import ROUTE, Progress, travel
from firstcast.sources import dependency_digest
from firstcast.steps import Given, Order, Outcome, Source
from firstcast.store import Store, Stored, only_one
from firstcast.vocabulary import Verdict

STORE = ".store"

OF_MASTERS = ("master", "print", "run")
"""Stations of which two may find the same: of both masters of a piece, or of one master on two runs."""


@dataclass(frozen=True)
class Made:
    """What a run leaves: the report, and the folder it is about."""

    report: dict[str, Any]
    folder: Path


@dataclass(frozen=True)
class ReadFile:
    """The meshes of one file as the store keeps them."""

    meshes: tuple[Mesh, ...]
    names: tuple[str, ...]
    units_mm: tuple[float | None, ...]
    extents: tuple[Any, ...]


@dataclass(frozen=True)
class PartSource:
    """One part's mesh, known by its file's content before it is loaded."""

    file: Stored
    number: int
    digest: str

    def load(self) -> Mesh:
        """The mesh, in file units."""
        return self.file.field("meshes")[self.number]


def new(sculpture: Path, job_folder: Path | None) -> Path:
    """Write a commented job file for a folder of meshes; gives its path."""
    from firstcast.io.new_job import new_job

    return new_job(sculpture, job_folder)


def open_job(path: Path) -> Job:
    """Read and check a job file."""
    return read_job(path, {station.name: station.settings_model for station in ROUTE})


def read_parts(job: Job, store: Store) -> dict[str, tuple[PartSource, ReadFile]]:
    """Every part of the sculpture by name; a file that has not changed is not read again.

    Raises
    ------
    FileError
        A file can't be read as what it claims to be.
    """
    reader = dependency_digest("firstcast.io.meshes")
    parts: dict[str, tuple[PartSource, ReadFile]] = {}
    for path in job.part_files:
        content = hashlib.blake2b(path.read_bytes(), digest_size=16).hexdigest()
        key = values.digest({"file": content, "name": path.name, "reader": reader})
        stored = store.get(key)
        if stored is None:
            stored = store.put(key, _read(path), 0.0)
        names = stored.field("names")
        for number, name in enumerate(names):
            found = part_name(path, name, len(names))
            parts[found] = (PartSource(stored, number, f"{key}/{number}"), stored.value())
    return parts


def _read(path: Path) -> ReadFile:
    meshes = read_meshes(path)
    return ReadFile(
        meshes=tuple(read.mesh for read in meshes),
        names=tuple(read.name for read in meshes),
        units_mm=tuple(read.unit_mm for read in meshes),
        extents=tuple(extents_of(read.name, read.mesh.points) for read in meshes),
    )


def order_of(job: Job, parts: Mapping[str, tuple[PartSource, ReadFile]]) -> Order:
    """The job as the route takes it. Rulers, which belong to no piece, give their extents only."""
    pieces = job.pieces(list(parts))
    used = list(dict.fromkeys(name for piece in pieces for name in piece.parts))
    rulers = [name for name in parts if job.is_ruler(name)]
    extents = tuple(
        parts[name][1].extents[parts[name][0].number]._replace(name=name) for name in [*used, *rulers]
    )
    per = {station.name: station.per for station in ROUTE}

    def settings(station: str, subject: str):
        kind = per[station]
        return job.settings_for(
            station,
            part=subject if kind == "part" else "",
            piece=subject if kind in ("piece", "master", "print") else "",
        )

    given: dict[str, dict[str, Source]] = {
        name: {"name": Given(name), "mesh": parts[name][0]} for name in used
    }
    units = {parts[name][1].units_mm[parts[name][0].number] for name in [*used, *rulers]}
    declared = units.pop() if len(units) == 1 else None
    return Order(
        job={
            "extents": Given(extents),
            "pieces": Given(pieces),
            "joints": Given(job.joints),
            "declared_unit_mm": Given(declared),
            "zones": Given(job.zones),
            "mends": Given(job.mends),
            "wanted": Given(job.wanted),
        },
        parts=given,
        pieces={piece.name: piece.parts for piece in pieces},
        of_pieces={piece.name: {"keep": Given(piece.keep)} for piece in pieces},
        settings=settings,
    )


def run(path: Path, *, tell: Callable[[Progress], None]) -> Made:
    """Take a job along the route, prove what was made, and publish it.

    Raises
    ------
    FirstcastError
        The job, a file or the machine does not allow it; what was made before stays kept.
    """
    job = open_job(path)
    with only_one(job.folder / STORE / "lock"), compiling_ahead():
        store = Store(job.folder / STORE)
        store.sweep()
        parts = read_parts(job, store)
        order = order_of(job, parts)
        outcome = travel(order, store, tell=tell)
        findings = _findings(job, order, outcome, parts)
        outputs = Outputs(job=job, order=order, outcome=outcome, store=store, findings=findings)
        made = publishing.make_all(outputs, tell)
        proof = publishing.joint_proof(made)
        report = build_report(
            job=job.name,
            figure=_figure(outcome),
            stations=station_records(outcome, job.acceptances),
            findings=findings,
            proof=proof,
            files=publishing.file_records(made, released=is_released(findings, proof)),
            error_budget=publishing.error_budget(outcome, order),
            cautions=outcome.get("plan").field("cautions"),
        )
        publishing.publish(outputs, made, report)
        file_keys = {part.file.key for part, _ in parts.values()}
        store.remember([*outcome.keys.values(), *file_keys, *made.keys])
    return Made(report, job.folder)


def _findings(job: Job, order: Order, outcome: Outcome, parts: Mapping[str, Any]) -> tuple[Finding, ...]:
    found = [
        finding
        for step in outcome.steps
        if step.station.per not in OF_MASTERS
        for finding in outcome.findings(step.station.name, step.subject)
    ]
    found += _of_masters(job, outcome)
    left_out = [name for name in parts if name not in order.parts and not job.is_ruler(name)]
    found += [
        Finding(
            station="job",
            code="part-in-no-piece",
            verdict=Verdict.WATCH,
            part=name,
            says=f"Part '{name}' is in no piece, so it will not be cast.",
            mend="Name it in a piece's parts, or take its file out of the sculpture's folder.",
        )
        for name in left_out
    ]
    found += unheeded(job)
    found += unknown_acceptances(found, job.acceptances)
    mended = [mend for piece in order.pieces for mend in outcome.get("mould", piece).field("mended")]
    found += unanswered_mends(found, mended, job.mends)
    return tuple(gravest_first(accepted(found, job.acceptances)))


def _of_masters(job: Job, outcome: Outcome) -> list[Finding]:
    """What was found of masters: what holds of both of a piece, or on two runs, is told once, by the one that is worse."""

    def gravity(finding: Finding) -> tuple[bool, int, float]:
        worse = finding.measured or 0.0
        return finding.stands, finding.verdict.weight, worse if finding.worse == "high" else -worse

    gravest: dict[str, Finding] = {}
    for step in outcome.steps:
        if step.station.per in OF_MASTERS:
            for finding in accepted(outcome.findings(step.station.name, step.subject), job.acceptances):
                other = gravest.get(finding.id)
                if other is None or gravity(finding) > gravity(other):
                    gravest[finding.id] = finding
    return list(gravest.values())


def _figure(outcome: Outcome) -> dict[str, Any]:
    sized = outcome.get("size")
    return {
        "height_mm": sized.field("height_mm"),
        "ratio": sized.field("ratio"),
        "ratio_says": sized.field("ratio_says"),
    }


def last_report(path: Path) -> dict[str, Any]:
    """The report of the last run.

    Raises
    ------
    JobError
        There was no run yet.
    """
    job = open_job(path)
    try:
        return json.loads((job.folder / "report.json").read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise JobError(
            "there is no report yet", where=str(job.folder), mend="Run it first: firstcast run."
        ) from None


def prove(path: Path) -> tuple[dict[str, Any], str]:
    """Measure the published masters once more; gives the proof and its table.

    What the sculptor's parts are is read from the store, or made again where the store was deleted.
    """
    job = open_job(path)
    with only_one(job.folder / STORE / "lock"):
        store = Store(job.folder / STORE)
        order = order_of(job, read_parts(job, store))
        outcome = travel(order, store)
        outputs = Outputs(job=job, order=order, outcome=outcome, store=store, findings=())
        return publishing.prove_published(outputs)
