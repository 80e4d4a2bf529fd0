"""The job file: the recipe of one figure, read, checked and resolved.

    [job]        name, note, wanted castings
    [folders]    parts: the folder of the sculpture
    [[piece]]    name, parts (names or globs; a part is FILE or FILE/OBJECT, without suffix), keep
    [[joint]]    name, peg and socket (the pieces), kind, place_mm, toward, sizes
    [size]       scale rules                 [process]  kind, printer, resin, mould, cast, paint, ...
    [STATION]    settings of any other station; [STATION.part."NAME"] and [STATION.piece."NAME"]
                 change them for the parts and pieces that the name or glob fits
    [[zone]]     name, meaning, and a part, ball, box or outline
    [[accept]]   id of a finding, reason, measured
    [[mend]]     id of a mend, reason

Every error names the key, what is wrong and the mend.
"""

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from firstcast.errors import JobError
from firstcast.findings import Finding, MendOrder
from firstcast.geometry.pieces import JointWanted, Piece, Side
from firstcast.geometry.zones import Zone
from firstcast.io._job_errors import dotted, job_error
from firstcast.io._job_folders import check_pattern, fits, part_files_in, parts_folder_of
from firstcast.io._job_models import OWN_TABLES, JobTables
from firstcast.io._job_names import check_joints, check_unique, parts_fitting, pieces_of
from firstcast.io._job_toml import read_tables
from firstcast.io.process_file import with_fitted
from firstcast.process.figures import nearest_word
from firstcast.route import ROUTE
from firstcast.stations.contract import StationSettings

JOB_FILE = "job.toml"

OWN_ENDS = (" props", " on its props", " side by side", " in its mould", " in its mould, places")
"""What is made of a piece is called like it, with one of these behind."""

TABLE_OF_STATION = {"plan": "process"}
"""Stations whose table has a name of its own."""


@dataclass(frozen=True)
class PieceSpec:
    """A piece as the job file has it: names or globs of parts, and the side of a plane that it is cut to."""

    name: str
    patterns: tuple[str, ...]
    keep: Side | None = None


@dataclass(frozen=True)
class Acceptance:
    """A finding that the maker accepts; it lapses when the measure worsens by a tenth."""

    id: str
    reason: str
    measured: float | None = None


@dataclass(frozen=True)
class SettingsFor:
    """Settings that hold for some parts or pieces only."""

    station: str
    subject: str
    pattern: str
    settings: StationSettings

    @property
    def where(self) -> str:
        """The table in the job file."""
        return dotted([TABLE_OF_STATION.get(self.station, self.station), self.subject, self.pattern])


@dataclass(frozen=True)
class Job:
    """One figure to be made. Paths are absolute; `part_files` are sorted by name."""

    path: Path
    name: str
    note: str
    wanted: int
    parts_folder: Path
    part_files: tuple[Path, ...]
    piece_specs: tuple[PieceSpec, ...]
    settings: Mapping[str, StationSettings]
    exceptions: tuple[SettingsFor, ...] = ()
    joints: tuple[JointWanted, ...] = ()
    zones: tuple[Zone, ...] = ()
    acceptances: tuple[Acceptance, ...] = ()
    mends: tuple[MendOrder, ...] = ()

    @property
    def folder(self) -> Path:
        """The job's own folder."""
        return self.path.parent

    def settings_for(self, station: str, *, part: str = "", piece: str = "") -> StationSettings:
        """A station's settings for one part or piece: the last exception that fits it, else the table."""
        for exception in reversed(self.exceptions):
            subject = part if exception.subject == "part" else piece
            if exception.station == station and subject and fits(subject, exception.pattern):
                return exception.settings
        return self.settings[station]

    def is_ruler(self, part: str) -> bool:
        """Whether a part is the ruler of [size], which belongs to no piece."""
        ruler = getattr(self.settings.get("size"), "ruler", None)
        return ruler is not None and fits(part, ruler.part)

    def pieces(self, part_names: Sequence[str]) -> tuple[Piece, ...]:
        """The pieces with the names of their parts, in the order of the job file.

        Parameters
        ----------
        part_names : sequence of str
            All parts of the sculpture: see `part_name`.

        Raises
        ------
        JobError
            A name or glob anywhere in the job file fits no part, or a part is in two pieces that are not two sides of
            one cut.
        """
        rulers = [name for name in part_names if self.is_ruler(name)]
        names = [name for name in part_names if name not in rulers]
        for number, zone in enumerate(self.zones):
            if zone.part is not None:
                parts_fitting(zone.part, names, dotted(["zone", number, "part"]))
        for exception in self.exceptions:
            if exception.subject == "part":
                parts_fitting(exception.pattern, part_names, exception.where)
        return pieces_of([(spec.name, spec.patterns, spec.keep) for spec in self.piece_specs], names, rulers)


def part_name(file: Path, object_name: str, objects_in_file: int) -> str:
    """A part's name: its file without suffix, and `/OBJECT` where the file holds several."""
    return file.stem if objects_in_file == 1 else f"{file.stem}/{object_name}"


def read_job(path: Path, station_settings: Mapping[str, type[StationSettings]]) -> Job:
    """The job of a job file, or of the folder that holds one.

    Parameters
    ----------
    path : Path
        The job file, or its folder.
    station_settings : mapping
        Each station's name and its settings model.

    Raises
    ------
    JobError
        Anything that the job file says and can't be.
    """
    path = Path(path)
    if path.is_dir():
        path = path / JOB_FILE
    path = path.absolute()
    tables = read_tables(path)
    stations = {TABLE_OF_STATION.get(name, name): name for name in station_settings}
    _check_tables(tables, stations)
    own = _filled(JobTables, {key: value for key, value in tables.items() if key in OWN_TABLES}, ())
    settings: dict[str, StationSettings] = {}
    exceptions: list[SettingsFor] = []
    for table, station in stations.items():
        model = station_settings[station]
        content = dict(tables.get(table, {}))
        if station == "plan":
            content = with_fitted(content, path.parent)
        extra = {s: content.pop(s) for s in ("part", "piece") if s in content and s not in model.model_fields}
        settings[station] = _filled(model, content, (table,))
        for subject, changes in extra.items():
            exceptions += _exceptions(model, station, table, subject, content, changes)
    parts_folder = parts_folder_of(path, own.folders.parts)
    job = Job(
        path=path,
        name=own.job.name,
        note=own.job.note,
        wanted=own.job.wanted,
        parts_folder=parts_folder,
        part_files=part_files_in(parts_folder, path.parent),
        piece_specs=tuple(PieceSpec(piece.name, piece.parts, piece.side()) for piece in own.piece),
        settings=settings,
        exceptions=tuple(exceptions),
        joints=tuple(joint.wanted() for joint in own.joint),
        zones=tuple(zone.zone() for zone in own.zone),
        acceptances=tuple(Acceptance(a.id, a.reason, a.measured) for a in own.accept),
        mends=tuple(MendOrder(m.reason, m.id or "", m.part or "") for m in own.mend),
    )
    _check_names(job)
    return job


def accepted(findings: Iterable[Finding], acceptances: Iterable[Acceptance]) -> tuple[Finding, ...]:
    """The findings, those that the maker accepts marked so, unless they have worsened by a tenth since."""
    by_id = {acceptance.id: acceptance for acceptance in acceptances}
    return tuple(
        f.with_acceptance(by_id[f.id].reason, by_id[f.id].measured) if f.id in by_id else f for f in findings
    )


def _check_tables(tables: Mapping[str, Any], stations: Mapping[str, str]) -> None:
    known = [*OWN_TABLES, *stations]
    for key, value in tables.items():
        if key in TABLE_OF_STATION:
            own = TABLE_OF_STATION[key]
            raise JobError("the table is not known", where=dotted([key]), mend=f"Its name is [{own}].")
        if key not in known:
            raise JobError("the table is not known", where=dotted([key]), mend=nearest_word(key, known))
        if key in stations and not isinstance(value, dict):
            raise JobError("it is not a table", where=dotted([key]), mend=f"Write [{key}] above its keys.")


def _filled(model: type[Any], content: Mapping[str, Any], prefix: tuple[str, ...]) -> Any:
    # By way of JSON, whose strict reading takes lists for tuples and words for enums, but no "4" for 4.
    text = json.dumps(content, default=str)
    try:
        return model.model_validate_json(text, strict=True)
    except ValidationError as error:
        raise job_error(error, model, prefix) from None


def _exceptions(
    model: type[StationSettings],
    station: str,
    table: str,
    subject: str,
    content: Mapping[str, Any],
    changes: Any,
) -> list[SettingsFor]:
    """The settings below [TABLE.part."NAME"] or [TABLE.piece."NAME"]: the table's own with changes."""
    _check_subject(station, table, subject)
    if not isinstance(changes, dict):
        raise JobError(
            "it is not a table", where=dotted([table, subject]), mend=f'Write [{table}.{subject}."NAME"].'
        )
    found = []
    for pattern, values in changes.items():
        if not isinstance(values, dict):
            name = "NAME" if pattern in model.model_fields else pattern
            raise JobError(
                f"settings stand below the name of a {subject}",
                where=dotted([table, subject, pattern]),
                mend=f'Write them below [{table}.{subject}."{name}"].',
            )
        settings = _filled(model, {**content, **values}, (table, subject, pattern))
        found.append(SettingsFor(station, subject, pattern, settings))
    return found


def _check_subject(station: str, table: str, subject: str) -> None:
    """That a station which is to differ by part or piece works by it: else nobody would ever ask."""
    per = next((line.per for line in ROUTE if line.name == station), subject)
    per = "piece" if per in ("master", "print") else per
    if per == subject:
        return
    works = "for the whole job at once" if per == "job" else f"{per} by {per}"
    instead = f"[{table}]" if per == "job" else f'[{table}.{per}."NAME"]'
    raise JobError(
        f"{station} works {works}, so it can't differ by {subject}",
        where=dotted([table, subject]),
        mend=f"Write its settings below {instead}.",
    )


def _check_own_names(pieces: Sequence[str]) -> None:
    """That no piece is called like a file or object that is made beside those of pieces."""
    lower = {name.casefold(): name for name in pieces}
    for name in pieces:
        taken = next((lower[own] for end in OWN_ENDS if (own := f"{name}{end}".casefold()) in lower), None)
        if re.fullmatch(r"run \d+|trial run( \d+)?|route card|proof", name.casefold()):
            taken = name
        if taken is not None:
            raise JobError(
                f"a piece may not be called '{taken}': something that is made has this name",
                where=f"piece '{taken}'",
                mend="Call it otherwise.",
            )


def _check_names(job: Job) -> None:
    """What can be said about names before any mesh file is opened."""
    check_unique([spec.name for spec in job.piece_specs], "piece", "name", capitals=False)
    check_joints(job.joints, {spec.name: spec.keep for spec in job.piece_specs})
    check_unique([zone.name for zone in job.zones], "zone", "name")
    check_unique([acceptance.id for acceptance in job.acceptances], "accept", "id")
    check_unique([mend.id for mend in job.mends if mend.id], "mend", "id")
    stems = [file.stem for file in job.part_files]
    for number, spec in enumerate(job.piece_specs):
        for place, pattern in enumerate(spec.patterns):
            check_pattern(pattern, stems, dotted(["piece", number, "parts", place]))
    for number, zone in enumerate(job.zones):
        if zone.part is not None:
            check_pattern(zone.part, stems, dotted(["zone", number, "part"]))
    piece_names = [spec.name for spec in job.piece_specs]
    _check_own_names(piece_names)
    for exception in job.exceptions:
        if exception.subject == "part":
            check_pattern(exception.pattern, stems, exception.where)
        elif not any(fits(name, exception.pattern) for name in piece_names):
            raise JobError(
                f"no piece is named '{exception.pattern}'",
                where=exception.where,
                mend=nearest_word(exception.pattern, piece_names),
            )
