"""Lettering: what read measures in a zone that means letters, and what it tells of it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstcast.findings import Finding
from firstcast.geometry.body import Body
from firstcast.geometry.letters import Lettering, Unread, read_letters
from firstcast.geometry.zones import Zone
from firstcast.process.limits import Limits
from firstcast.ranges import Range
from firstcast.stations.read_findings import MOST_RATIO, Figure
from firstcast.vocabulary import Verdict, ZoneMeaning

TALL_IN_STROKES = 10
"""Height of letters in widths of their stroke, ISO 3098 lettering type B (type A: 14). From memory."""


@dataclass(frozen=True)
class LetterReading:
    """A zone's letters, or why they are not measured.

    `part` is that which has most of the zone's surface, `place_mm` a place in it.
    """

    zone: str
    part: str
    place_mm: tuple[float, float, float]
    found: Lettering | Unread


@dataclass(frozen=True)
class _Held:
    """A measure of letters against its limit."""

    what: str
    verb: str
    measured_mm: float
    limit: Range

    @property
    def ratio(self) -> float:
        """How much larger it should be; up to 1 it passes."""
        return self.limit.likely / max(self.measured_mm, 1e-6)


def letters_in(body: Body, zones: Sequence[Zone]) -> tuple[LetterReading, ...]:
    """Every zone of letters that the body has a share of, read."""
    asked = [zone for zone in zones if zone.meaning is ZoneMeaning.LETTERS]
    if not asked:
        return ()
    middles = np.asarray(body.mesh.points, np.float64)[body.mesh.triangles].mean(axis=1)
    found = []
    for zone in asked:
        mine = zone.contains(middles, part_of_point=body.part_of_triangle, part_names=body.part_names)
        if not mine.any():
            continue
        letters = read_letters(body.mesh, mine)
        part = body.part_names[int(np.bincount(body.part_of_triangle[mine]).argmax())]
        x, y, z = middles[mine][0].tolist()
        place = letters.place_mm if isinstance(letters, Lettering) else (x, y, z)
        found.append(LetterReading(zone.name, part, place, letters))
    return tuple(found)


def about_letters(figure: Figure, readings: Sequence[LetterReading], limits: Limits) -> tuple[Finding, ...]:
    """One finding for each zone of letters: what they measure, and what is too fine."""
    return tuple(
        _unread(reading, reading.found)
        if isinstance(reading.found, Unread)
        else _finding(figure, reading, reading.found, limits)
        for reading in readings
    )


def _unread(reading: LetterReading, why: Unread) -> Finding:
    mend = {
        Unread.TURNED: "Make a zone of each face, or of each few letters round a bend, that takes in one side only.",
        Unread.CUT: "Make the zone larger, so that it takes in some ground all round the letters.",
    }.get(why, "Look where the zone lies: it should take in the letters and some ground all round them.")
    return Finding(
        station="read",
        code="letters-unread",
        verdict=Verdict.WATCH,
        part=reading.part,
        says=f"Letters of zone '{reading.zone}' are not measured: {why.value}.",
        mend=mend,
        place_mm=reading.place_mm,
    )


def _finding(figure: Figure, reading: LetterReading, found: Lettering, limits: Limits) -> Finding:
    held = _held(found, limits)
    fine = [one for one in held if one.ratio > 1.0]
    worst = max(held, key=lambda one: one.ratio)
    says = f"Letters of zone '{reading.zone}': {_measured(found)}."
    if fine:
        told = "; ".join(
            f"{one.what} {one.measured_mm:.2f} mm where {one.limit.likely:.2f} mm is wanted" for one in fine
        )
        says += f" Too fine: {told}."
    else:
        says += " They keep to the limits."
    return Finding(
        station="read",
        code="fine-letters" if fine else "letters",
        verdict=_verdict(fine),
        part=reading.part,
        says=says,
        mend=_mend(fine, worst, found, figure.height_mm) if fine else "Nothing to do.",
        place_mm=reading.place_mm,
        measured=worst.measured_mm,
        limit=worst.limit.likely,
    )


def _held(found: Lettering, limits: Limits) -> list[_Held]:
    """What is held against what: a sunk stroke is a groove; so is the space between raised ones, which has a floor."""
    if found.raised:
        held = [
            _Held("strokes", "widen the strokes", found.stroke_fine_mm, limits.raised_mm),
            _Held("the spaces", "open the spaces", found.space_fine_mm, limits.engraved_mm),
            _Held("their height", "raise them", found.step_mm, limits.raised_mm),
        ]
    else:
        held = [
            _Held("strokes", "widen the strokes", found.stroke_fine_mm, limits.engraved_mm),
            _Held("the spaces", "open the spaces", found.space_fine_mm, limits.raised_mm),
        ]
    return [one for one in held if np.isfinite(one.measured_mm)]


def _verdict(fine: Sequence[_Held]) -> Verdict:
    """Stop only where a limit is the maker's own or fitted, and even its low end is not kept."""
    if not fine:
        return Verdict.SOUND
    below = any(one.limit.calibrated and one.measured_mm < one.limit.low for one in fine)
    return Verdict.STOP if below else Verdict.WATCH


def _measured(found: Lettering) -> str:
    way, step = ("raised", "high") if found.raised else ("sunk", "deep")
    spaces = (
        f", spaces {found.space_fine_mm:.2f} mm at the finest and {found.space_mm:.2f} mm at the middle"
        if np.isfinite(found.space_mm)
        else ""
    )
    return (
        f"{way}, {found.letter_mm:.1f} mm tall and {found.step_mm:.2f} mm {step}; strokes {found.stroke_fine_mm:.2f} mm "
        f"at the finest tenth and {found.stroke_mm:.2f} mm at the middle{spaces}"
    )


def _mend(fine: Sequence[_Held], worst: _Held, found: Lettering, height_mm: float) -> str:
    """What to widen, how tall letters with such strokes are, and the figure at which these would pass."""
    told = ", ".join(f"{one.verb} to {one.limit.likely:.2f} mm" for one in fine)
    mend = told[0].upper() + told[1:]
    stroke = next((one for one in fine if one.what == "strokes"), None)
    tall_mm = 0.0 if stroke is None else TALL_IN_STROKES * stroke.limit.likely
    if tall_mm > found.letter_mm:
        mend += f" (plain letters are about ten strokes tall: {tall_mm:.1f} mm)"
    if worst.ratio <= MOST_RATIO:
        mend += f"; or make the figure {height_mm * worst.ratio:.0f} mm high"
    return f"{mend}."
