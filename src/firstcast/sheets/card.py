"""The route card as a neutral structure: what both the text and the picture say."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from firstcast.sheets.urgent import Note, folded_says, most_urgent, said_value
from firstcast.vocabulary import Verdict, worst

SHAPES = {Verdict.SOUND: "○", Verdict.WATCH: "△", Verdict.STOP: "■"}
"""The verdict's shape where only letters can be set; the word always stands beside it."""


@dataclass(frozen=True)
class Stop:
    """One line of the route: a station's work on a piece, on the parts, or on the whole job."""

    station: str
    piece: str
    verdict: Verdict
    seconds: float
    says: str


@dataclass(frozen=True)
class ProofRow:
    """One check of the proof on one piece."""

    piece: str
    check: str
    verdict: Verdict
    result: str


@dataclass(frozen=True)
class Card:
    """Everything on a route card."""

    job: str
    height_mm: float | None
    verdict: Verdict
    released: bool
    stops: tuple[Stop, ...]
    notes: tuple[Note, ...]
    folded: str
    proof_verdict: Verdict | None
    proof: tuple[ProofRow, ...]
    files: tuple[str, ...]
    budget: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def pieces(self) -> tuple[str, ...]:
        """The pieces on the route, in its order."""
        return tuple(dict.fromkeys(stop.piece for stop in self.stops if stop.piece))

    @property
    def stations(self) -> tuple[str, ...]:
        """The stations on the route, in its order."""
        return tuple(dict.fromkeys(stop.station for stop in self.stops))

    @property
    def release(self) -> str:
        """Whether masters may go to the caster, in words."""
        return "masters released" if self.released else "masters held back"


def _stops(records: Sequence[Mapping[str, Any]]) -> tuple[Stop, ...]:
    """Lines of the route; a station that works by part or master becomes one line, its gravest speaking."""
    grouped: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for record in records:
        grouped.setdefault((record["name"], record.get("piece") or ""), []).append(record)
    stops = []
    for (name, piece), group in grouped.items():
        verdicts = [Verdict(record["verdict"]) for record in group]
        verdict = worst(verdicts)
        says = str(group[verdicts.index(verdict)].get("says") or "")
        if len(group) > 1:
            counts = Counter(verdicts)
            said = ", ".join(f"{counts[v]} {v.value}" for v in reversed(Verdict) if counts[v])
            gravest = group[verdicts.index(verdict)]
            part = gravest.get("part") or ""
            if make := gravest.get("make"):
                says = f"{len(group)} masters; {make}: {says}"
            else:
                says = f"{len(group)} parts: {said}" + (
                    f"; {part}: {says}" if says and verdict is not Verdict.SOUND else ""
                )
        seconds = sum(float(record.get("seconds") or 0.0) for record in group)
        stops.append(Stop(name, piece, verdict, seconds, says))
    return tuple(stops)


SPEAKING_CHECKS = ("self-crossings", "surface proved within the limit", "master to parts: greatest, smooth")
"""Sound rows of the proof that stand on the card by themselves; the others are counted."""


def _proof_row(piece: str, row: Mapping[str, Any]) -> ProofRow:
    result = str(row.get("result") or "")
    measured, limit, unit = row.get("measured"), row.get("limit"), str(row.get("unit") or "")
    if measured is not None and not result:
        result = said_value(float(measured), unit)
    if limit is not None and unit != "count":
        result += f", limit {said_value(float(limit), unit)}"
    return ProofRow(piece, str(row.get("check")), Verdict(row["verdict"]), result)


def _proof_rows(proof: Mapping[str, Any]) -> tuple[ProofRow, ...]:
    """Per master and run: what is not sound, then the checks that speak for the rest, then how many more are sound."""
    rows = []
    for each in [*(proof.get("pieces") or ()), *(proof.get("runs") or ())]:
        name = str(each.get("piece") or each.get("run") or "")
        found = [_proof_row(name, row) for row in each.get("rows") or ()]
        shown = [row for row in found if row.verdict is not Verdict.SOUND]
        shown += [row for row in found if row.verdict is Verdict.SOUND and row.check in SPEAKING_CHECKS]
        rows += shown
        if len(found) > len(shown):
            more = len(found) - len(shown)
            rows.append(ProofRow(name, f"{more} more checks", Verdict.SOUND, "all sound; see proof.json"))
    return tuple(rows)


def _budget(entries: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """One line per piece: what each step may add to the error, largest first."""
    by_piece: dict[str, list[tuple[float, str]]] = {}
    for entry in entries:
        by_piece.setdefault(str(entry.get("piece") or ""), []).append(
            (float(entry["mm"]), str(entry["source"]))
        )
    lines = []
    for piece, sources in by_piece.items():
        said = ", ".join(
            f"{source} {said_value(mm, 'mm')}" for mm, source in sorted(sources, key=lambda s: (-s[0], s[1]))
        )
        lines.append(f"{piece}: {said}" if piece else said)
    return tuple(lines)


def _files(files: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """What was written: path, size and, where known, triangles."""
    lines = []
    for file in files:
        size = float(file.get("bytes") or 0)
        said = f"{size / 1e6:.1f} MB" if size >= 1e6 else f"{size / 1e3:.0f} kB"
        triangles = file.get("triangles")
        lines.append(
            f"{file['path']}  {said}" + (f", {said_value(float(triangles))} triangles" if triangles else "")
        )
    return tuple(lines)


def where_and_measure(note: Note) -> str:
    """Part, place, measure and limit of a finding, as one line."""
    said = []
    if note.part:
        said.append(note.part)
    if note.place_mm is not None:
        said.append("at ({:.1f}, {:.1f}, {:.1f}) mm".format(*note.place_mm))
    where = " ".join(said)
    figures = []
    if note.measured is not None:
        figures.append(f"measured {said_value(note.measured, note.unit)}")
    if note.limit is not None:
        figures.append(f"limit {said_value(note.limit, note.unit)}")
    return "; ".join(text for text in (where, ", ".join(figures)) if text)


def card_of(report: Mapping[str, Any]) -> Card:
    """The card of a report (see `firstcast.report` for its keys); what a report lacks is left out.

    Raises
    ------
    KeyError, ValueError
        A report without job, stations or findings, or with a verdict that is none.
    """
    notes, folded = most_urgent(report["findings"])
    proof = report.get("proof") or {}
    figure = report.get("figure") or {}
    height = figure.get("height_mm")
    return Card(
        job=str(report["job"]),
        height_mm=None if height is None else float(height),
        verdict=Verdict(report["verdict"]),
        released=bool(report.get("released")),
        stops=_stops(report["stations"]),
        notes=tuple(notes),
        folded=folded_says(notes, folded),
        proof_verdict=Verdict(proof["verdict"]) if proof.get("verdict") else None,
        proof=_proof_rows(proof),
        files=_files(report.get("files") or ()),
        budget=_budget(report.get("error_budget") or ()),
        cautions=tuple(map(str, report.get("cautions") or ())),
    )
