"""Which findings a person should read first, and the one neutral form in which sheets take them."""

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from firstcast.findings import Finding
from firstcast.vocabulary import Verdict

CHOICES = frozenset({("carry", "choose-master")})
"""Findings that leave the maker a choice and no fault to mend: they come before what is to be looked at."""

FAILS = frozenset(
    {
        ("plan", "cure-inhibition"),
        ("prop", "bare-start"),
        ("prop", "weak-post"),
        ("prop", "swaying-tree"),
        ("prop", "weak-tip"),
        ("layer", "bare-start"),
        ("layer", "cup"),
        ("layer", "sealed-hollow"),
    }
)
"""What loses a whole print or a mould, not a detail: next after choices."""


@dataclass(frozen=True)
class Note:
    """A finding as sheets show it; made from a `Finding` or from its record in report.json."""

    id: str
    station: str
    code: str
    verdict: Verdict
    part: str
    says: str
    mend: str
    place_mm: tuple[float, float, float] | None
    measured: float | None
    limit: float | None
    unit: str
    accepted: str

    @property
    def shown(self) -> Verdict:
        """The verdict that counts: an accepted stop is a watch."""
        return Verdict.WATCH if self.accepted and self.verdict is Verdict.STOP else self.verdict

    @property
    def excess(self) -> float:
        """How far the measure lies from its limit, as the logarithm of their ratio; 0 where unknown."""
        if self.measured is None or self.limit is None:
            return 0.0
        if self.measured > 0.0 and self.limit > 0.0:
            return abs(math.log(self.measured / self.limit))
        return abs(self.measured - self.limit)


def note_of(finding: "Finding | Note | Mapping[str, Any]") -> Note:
    """A finding, or its record in report.json, as a note."""
    if isinstance(finding, Note):
        return finding
    record: Mapping[str, Any] = (
        {name: getattr(finding, name) for name in Note.__dataclass_fields__}
        if isinstance(finding, Finding)
        else finding
    )
    place = record.get("place_mm")
    words = {name: str(record.get(name) or "") for name in ("id", "station", "code", "part", "says", "mend")}
    return Note(
        **words,
        verdict=Verdict(record["verdict"]),
        place_mm=None if place is None else (float(place[0]), float(place[1]), float(place[2])),
        measured=record.get("measured"),
        limit=record.get("limit"),
        unit=str(record.get("unit") or ""),
        accepted=str(record.get("accepted") or ""),
    )


def by_urgency(findings: Iterable["Finding | Note | Mapping[str, Any]"]) -> list[Note]:
    """Notes in the order in which a person should read them.

    Graver verdicts first; among equals what nobody has accepted, choices before faults, and faults that lose a whole print or mould
    before others. Then the worst of each kind (station and code)
    before the second worst of any, so that a crowd of one kind hides no other; then by excess and id.
    """
    notes = sorted(
        (note_of(finding) for finding in findings),
        key=lambda note: (-note.shown.weight, bool(note.accepted), -note.excess, note.id),
    )
    met: Counter[tuple[str, str, Verdict]] = Counter()
    ranks = {}
    for index, note in enumerate(notes):
        kind = (note.station, note.code, note.shown)
        ranks[index] = met[kind]
        met[kind] += 1
    order = sorted(
        range(len(notes)),
        key=lambda k: (
            -notes[k].shown.weight,
            bool(notes[k].accepted),
            (notes[k].station, notes[k].code) not in CHOICES,
            ranks[k],
            (notes[k].station, notes[k].code) not in FAILS,
            -notes[k].excess,
            notes[k].id,
        ),
    )
    return [notes[k] for k in order]


def most_urgent(
    findings: Iterable["Finding | Note | Mapping[str, Any]"], count: int = 10
) -> tuple[list[Note], int]:
    """The `count` findings that matter most, and how many are folded away.

    Findings that say `sound` ask for nothing: they are shown only where there is room.
    """
    notes = by_urgency(findings)
    return notes[:count], max(0, len(notes) - count)


def said_value(value: float, unit: str = "") -> str:
    """A figure as sheets say it: four digits, thousands spaced, the unit after it; tiny lengths in µm, counts bare."""
    if unit == "mm" and 0.0 < abs(value) < 1e-3:
        return f"{1e3 * value:.3g} µm"
    unit = unit.replace("mm2", "mm²").replace("mm3", "mm³").replace("degC", "°C")
    if abs(value) >= 1000.0:
        text = f"{value:,.0f}".replace(",", "\u00a0")
    elif value == round(value):
        text = f"{value:.0f}"
    else:
        text = f"{value:.4g}" if abs(value) >= 1e-3 else f"{value:.2e}"
    return f"{text} {unit}" if unit not in ("", "ratio", "count") else text


def folded_says(shown: Sequence[Note], folded: int) -> str:
    """One sentence for what is folded away; empty where nothing is."""
    if not folded:
        return ""
    return f"and {folded} more, all in report.json" if shown else f"{folded} findings, all in report.json"
