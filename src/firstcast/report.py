"""The report of a run, as plain data: `report.json`, the route card and later screens read it.

Schema 1, all lengths in millimetres:

    schema_version, firstcast, job, figure {height_mm, ratio}, verdict, released
    stations   [{name, piece, make, part, run, gives, verdict, seconds, says, findings, measures}]
    findings   every finding once, gravest first
    files      [{path, piece or run, bytes, blake2b}], paths from the job's folder
    proof      {verdict, pieces: [{piece, verdict, rows: [{check, result, measured, limit, unit, verdict}]}],
                runs: [{run, verdict, rows}]}
    error_budget  [{piece, source, mm}]
    cautions   [text], of the process chosen; data sheets, local codes and licensed practice come first

A finding is {id, station, code, verdict, part, says, mend, place_mm, measured, limit, unit, accepted}.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from firstcast import __version__
from firstcast.findings import Finding, Measure, MendOrder, verdict_of
from firstcast.io.job import Acceptance, accepted
from firstcast.steps import Outcome
from firstcast.vocabulary import Verdict, worst

SCHEMA_VERSION = "1"


def folder_of(released: bool) -> str:
    """Where in the job's folder masters lie: those that a finding or the proof stops are kept apart."""
    return "masters" if released else "held"


def unknown_acceptances(findings: Iterable[Finding], acceptances: Sequence[Acceptance]) -> list[Finding]:
    """A `watch` for every acceptance that names no finding of this run."""
    known = {finding.id for finding in findings}
    return [
        _of_no_finding("acceptance-without-finding", "The job file accepts", each.id)
        for each in acceptances
        if each.id not in known
    ]


def unanswered_mends(
    findings: Iterable[Finding], mended: Iterable[str], orders: Sequence[MendOrder]
) -> list[Finding]:
    """A `watch` for every order to mend that no station answered: none of its findings was mended or stands."""
    known = {finding.id for finding in findings} | set(mended)
    return [
        _of_no_finding("mend-without-finding", "The job file wants mended", each.id)
        for each in orders
        if each.id and each.id not in known
    ]


def _of_no_finding(code: str, asks: str, name: str) -> Finding:
    return Finding(
        station="job",
        code=code,
        verdict=Verdict.WATCH,
        part=name,
        says=f"{asks} {name}, which this run did not find.",
        mend="Delete the entry, or correct its id.",
    )


def finding_record(finding: Finding) -> dict[str, Any]:
    """A finding as plain data, its id with it."""
    record = asdict(finding)
    record.pop("worse")
    record["verdict"] = finding.verdict.value
    return {"id": finding.id, **record}


def measure_record(measure: Measure) -> dict[str, Any]:
    """A measure as plain data."""
    return asdict(measure)


def gravest_first(findings: Iterable[Finding]) -> list[Finding]:
    """Standing stops, watches, accepted ones, sound ones; within each by station and id."""
    return sorted(findings, key=lambda f: (-verdict_of([f]).weight, bool(f.accepted), f.station, f.id))


def station_records(outcome: Outcome, acceptances: Sequence[Acceptance]) -> list[dict[str, Any]]:
    """One record per step of the route, in its order."""
    records = []
    for step in outcome.steps:
        name, subject = step.station.name, step.subject
        findings = accepted(outcome.findings(name, subject), acceptances)
        measures = outcome.measures(name, subject)
        verdict = verdict_of(findings)
        says = outcome.get(name, subject).field("says") or step.station.gives
        records.append(
            {
                "name": name,
                "piece": step.piece,
                "make": step.make.value if step.station.per in ("master", "print") else "",
                "part": subject if step.station.per == "part" else "",
                "run": subject if step.station.per == "run" else "",
                "gives": step.station.gives,
                "verdict": verdict.value,
                "seconds": round(outcome.get(name, subject).seconds, 3),
                "says": says,
                "findings": [finding_record(finding) for finding in findings],
                "measures": [measure_record(measure) for measure in measures],
            }
        )
    return records


def is_released(findings: Sequence[Finding], proof: Mapping[str, Any]) -> bool:
    """Whether masters and runs may leave the shop: no finding stands as `stop`, and the proof holds."""
    holds = Verdict(proof.get("verdict", Verdict.STOP)) is not Verdict.STOP
    return holds and not any(finding.stands for finding in findings)


def build_report(
    *,
    job: str,
    figure: Mapping[str, Any],
    stations: list[dict[str, Any]],
    findings: Sequence[Finding],
    proof: Mapping[str, Any],
    files: Sequence[Mapping[str, Any]],
    error_budget: Sequence[Mapping[str, Any]],
    cautions: Sequence[str] = (),
) -> dict[str, Any]:
    """The whole report; see the module's docstring for its keys."""
    proof_verdict = Verdict(proof.get("verdict", Verdict.STOP))
    released = is_released(findings, proof)
    return {
        "schema_version": SCHEMA_VERSION,
        "firstcast": __version__,
        "job": job,
        "figure": dict(figure),
        "verdict": worst([verdict_of(findings), proof_verdict]).value,
        "released": released,
        "stations": stations,
        "findings": [finding_record(finding) for finding in gravest_first(findings)],
        "files": [dict(file) for file in files],
        "proof": dict(proof),
        "error_budget": [dict(entry) for entry in error_budget],
        "cautions": list(cautions),
    }
