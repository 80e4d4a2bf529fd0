"""The route card: each station with its verdict, the ten findings that matter most, the proof.

`card_text` sets it for a terminal, without colour; `card_picture.card_picture` draws it.
"""

import textwrap
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from firstcast.sheets.card import SHAPES, Card, Stop, card_of, where_and_measure
from firstcast.vocabulary import Verdict

COLUMNS = 92


def _rule(sign: str = "─") -> str:
    return sign * COLUMNS


def _folded(text: str, indent: int, first: str | None = None) -> list[str]:
    """A text as lines within the card's width, all indented; `first` leads the first line."""
    lead = " " * indent if first is None else first
    return textwrap.wrap(
        text, COLUMNS, initial_indent=lead, subsequent_indent=" " * indent, break_long_words=True
    ) or ([lead.rstrip()] if lead.strip() else [])


def _verdict(verdict: Verdict) -> str:
    return f"{SHAPES[verdict]} {verdict.value:<5}"


def _said_time(seconds: float) -> str:
    """Seconds as people say them: 0.4 s, 12 s, 3 min 20 s."""
    if seconds < 9.95:
        return f"{seconds:.1f} s"
    if seconds < 99.5:
        return f"{seconds:.0f} s"
    return f"{int(seconds + 0.5) // 60} min {int(seconds + 0.5) % 60} s"


def _heading(card: Card) -> list[str]:
    height = f", {card.height_mm:.1f} mm tall" if card.height_mm is not None else ""
    left = f"{card.job}{height}"
    right = f"{SHAPES[card.verdict]} {card.verdict.value}, {card.release}"
    if len(left) + len(right) + 2 > COLUMNS:
        return [*_folded(left, 2, ""), right.rjust(COLUMNS), _rule("━")]
    return [left + right.rjust(COLUMNS - len(left)), _rule("━")]


def _alike(card: Card) -> list[Stop]:
    """The stops, those of one station that say the same made one: "3 pieces"."""
    groups: dict[tuple[str, str, str], list[Stop]] = {}
    for stop in card.stops:
        groups.setdefault((stop.station, stop.verdict.value, stop.says), []).append(stop)
    return [
        group[0]
        if len(group) == 1
        else replace(group[0], piece=f"{len(group)} pieces", seconds=sum(stop.seconds for stop in group))
        for group in groups.values()
    ]


def _route(card: Card) -> list[str]:
    """The stations: shape, word, name, piece, time, and what each says."""
    stops = _alike(card)
    name_wide = max([7, *(len(stop.station) for stop in stops)])
    piece_wide = min(18, max([5, *(len(stop.piece) for stop in stops)]))
    lines = []
    for stop in stops:
        piece = stop.piece if len(stop.piece) <= piece_wide else stop.piece[: piece_wide - 1] + "…"
        lead = f"{_verdict(stop.verdict)}  {stop.station:<{name_wide}}  {piece:<{piece_wide}}  {_said_time(stop.seconds):>10}  "
        lines += _folded(stop.says, len(lead), lead) if stop.says else [lead.rstrip()]
    return lines


def _findings(card: Card) -> list[str]:
    """The notes: number, verdict and id; what; where and how much; the mend."""
    if not card.notes:
        return ["Nothing was found that asks for a look."]
    lines = ["What matters most"]
    for number, note in enumerate(card.notes, start=1):
        lines += ["", f"{number:>2}  {_verdict(note.shown)}  {note.id}"]
        lines += _folded(note.says, 4)
        where = where_and_measure(note)
        if where:
            lines += _folded(where, 4)
        if note.mend:
            lines += _folded(note.mend, 10, "    mend: ")
        if note.accepted:
            lines += _folded(note.accepted, 14, "    accepted: ")
    return [*lines, *(["", card.folded] if card.folded else [])]


def _proof(card: Card) -> list[str]:
    """The proof on the files as written, row by row."""
    if card.proof_verdict is None:
        return ["No proof yet: nothing has been read back and measured."]
    lines = [f"Proof of what was written: {SHAPES[card.proof_verdict]} {card.proof_verdict.value}"]
    many = len({row.piece for row in card.proof}) > 1
    for row in card.proof:
        check = f"{row.piece}: {row.check}" if many else row.check
        lead = f"{_verdict(row.verdict)}  {check}: "
        lines += _folded(row.result, 9, lead) if row.result else [lead.rstrip(": ")]
    return lines


def card_text(report: Mapping[str, Any]) -> str:
    """The route card of a report as text, 92 columns wide at most, without colour.

    Raises
    ------
    KeyError, ValueError
        What was given is no report; see `firstcast.sheets.card.card_of`.
    """
    card = card_of(report)
    lines = [*_heading(card), *_route(card), _rule(), *_findings(card), _rule(), *_proof(card)]
    if card.budget:
        lines += ["", "Error budget"]
        for line in card.budget:
            lines += _folded(line, 4, "  ")
    if card.files:
        lines += ["", "Written"]
        for line in card.files:
            lines += _folded(line, 4, "  ")
    if card.cautions:
        lines += ["", "Cautions"]
        for line in card.cautions:
            lines += _folded(line, 4, "  ")
    return "\n".join(line.rstrip() for line in lines)
