"""Lines with sloping sides: which of them are too fine, what films leave of them, and what read tells of them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstcast.findings import Finding, Measure
from firstcast.geometry.body import Body
from firstcast.geometry.lines import Line, LinePlaces, joined, read_lines
from firstcast.geometry.starred import Starred
from firstcast.geometry.whereabouts import where
from firstcast.geometry.zones import Zone
from firstcast.process.chain import ChainScenario
from firstcast.process.films import v_groove_left_mm, v_groove_size_ratio, v_groove_width_mm
from firstcast.process.limits import Limits
from firstcast.ranges import LIKELY, Range
from firstcast.stations.read_findings import MOST_RATIO, Figure
from firstcast.vocabulary import Verdict, ZoneMeaning, worst

MOST_LIMITS = 3.0
"""A line's mouth is at most so many least grooves wide: what is wider is a form of the figure. Chosen, no source."""

KEPT_RATIO = 0.5
"""A line of which likely less than this share of the depth is left is too fine, however wide. Chosen, no source."""

LEAST_LENGTH_MM = 1.0
"""A shorter line isn't told: as of gaps, which count from 1 mm where they are 0.25 mm deep."""


@dataclass(frozen=True)
class LineReading:
    """A line with sloping sides that is too fine, or as much of it as is.

    Attributes
    ----------
    raised : bool
        A ridge; else a groove.
    part : str
    place_mm : (float, float, float)
        Near the middle of it, at its bottom or crest.
    width_mm, depth_mm, opening_deg : float
        At the mouth or foot; from there to the bottom or crest; between the flanks. The middle of the sections that are too
        fine.
    length_mm : float
        Of what is too fine.
    left_mm : (float, float, float)
        Of the depth under the chain's films and fills: low (changes least), likely, high.
    size_ratio : float
        How much larger it would have to be, in width and depth, to keep to the limits.
    """

    raised: bool
    part: str
    place_mm: tuple[float, float, float]
    width_mm: float
    depth_mm: float
    opening_deg: float
    length_mm: float
    left_mm: tuple[float, float, float]
    size_ratio: float


def rolled_mm(chain: Sequence[ChainScenario], *, raised: bool) -> tuple[float, ...]:
    """Radii of the greatest ball, on the figure, that closes grooves or opens (cuts down) ridges: low, likely, high.

    Of several closings the one by the greatest ball holds; that an opening between them rounds the lips is left out. No
    chain changes nothing.
    """
    way = "opened" if raised else "closed"
    if not chain:
        return 0.0, 0.0, 0.0
    return tuple(
        max((radius for word, radius in one.balls if word == way), default=0.0) / one.mean_size_ratio
        for one in chain
    )


def lines_in(
    body: Body,
    limits: Limits,
    chain: Sequence[ChainScenario],
    zones: Sequence[Zone] = (),
    *,
    surface: Starred | None = None,
) -> tuple[LineReading, ...]:
    """The lines of a body that are too fine, grooves first, those first that would have to be most larger.

    A line lies within one part: where two parts meet there is a crease between forms. Strokes of letters are none, in
    the zones that mean letters. `surface`: the body's mesh with its stars, if it was made already.
    """
    most_mm = MOST_LIMITS * max(limits.engraved_mm.likely, limits.raised_mm.likely)
    if not most_mm > 0.0:
        return ()
    places = read_lines(body.mesh, most_mm=most_mm, surface=surface)
    parts = np.asarray(body.part_of_triangle)[places.triangles]
    own = (parts == parts[:, 1:2]).all(axis=1)
    for zone in zones:
        if zone.meaning is ZoneMeaning.LETTERS:
            own &= ~zone.contains(places.place_mm, part_of_point=parts[:, 1], part_names=body.part_names)
    places, parts = places.only(own), parts[own, 1]
    radii = {raised: rolled_mm(chain, raised=raised) for raised in (False, True)}
    fine = np.array([_ratio(places, row, limits, radii) > 1.0 for row in range(len(parts))], np.bool_)
    found = []
    for line in joined(places, parts):
        rows = line.rows[fine[line.rows]]
        length = line.length_mm * len(rows) / len(line.rows)
        if length >= LEAST_LENGTH_MM:
            reading = _reading(places, Line(rows, length), body.part_names[parts[rows[0]]], limits, radii)
            found.append(reading)
    return tuple(sorted(found, key=lambda line: (line.raised, -line.size_ratio)))


def _ratio(places: LinePlaces, row: int, limits: Limits, radii) -> float:
    """How much larger the line would have to be at one section."""
    return _size_ratio(
        bool(places.raised[row]),
        float(places.width_mm[row]),
        float(places.depth_mm[row]),
        float(places.opening_deg[row]),
        limits,
        radii,
    )


def _size_ratio(
    raised: bool, width_mm: float, depth_mm: float, opening_deg: float, limits: Limits, radii
) -> float:
    """A groove is held by the width of its mouth, a ridge by its height, both by what is likely left of the depth."""
    limit = limits.raised_mm.likely / depth_mm if raised else limits.engraved_mm.likely / width_mm
    film = v_groove_size_ratio(
        width_mm, depth_mm, radii[raised][LIKELY], share=KEPT_RATIO, opening_deg=opening_deg
    )
    return max(limit, film)


def _reading(places: LinePlaces, line: Line, part: str, limits: Limits, radii) -> LineReading:
    """What the sections of a line that are too fine come to."""
    own = places.place_mm[line.rows]
    middle = line.rows[np.argmin(np.linalg.norm(own - own.mean(axis=0), axis=1))]
    x, y, z = (float(value) for value in places.place_mm[middle])
    raised = bool(places.raised[middle])
    width, depth, opening = (
        float(np.median(values[line.rows]))
        for values in (places.width_mm, places.depth_mm, places.opening_deg)
    )
    low, likely, high = (
        v_groove_left_mm(width, depth, radius, opening_deg=opening) for radius in radii[raised]
    )
    return LineReading(
        raised,
        part,
        (x, y, z),
        width,
        depth,
        opening,
        line.length_mm,
        (low, likely, high),
        _size_ratio(raised, width, depth, opening, limits, radii),
    )


def measures_of(lines: Sequence[LineReading]) -> tuple[Measure, ...]:
    """How many lines are too fine, and the least of each kind."""
    found = []
    for raised, name in ((False, "sloping grooves"), (True, "sloping ridges")):
        mine = [_held(line) for line in lines if line.raised is raised]
        found.append(Measure(name, float(len(mine)), "count", "Lines that are too fine."))
        if mine:
            found.append(
                Measure(f"least of {name}", min(mine), "mm", "Height." if raised else "Width at the mouth.")
            )
    return tuple(found)


def about_lines(
    figure: Figure, lines: Sequence[LineReading], limits: Limits, chain: Sequence[ChainScenario], *, most: int
) -> tuple[Finding, ...]:
    """One finding for each part with grooves, or ridges, that are too fine, at the worst; the rest in one line of each."""
    found = []
    for raised in (False, True):
        together: dict[str, list[LineReading]] = {}
        for line in lines:
            if line.raised is raised:
                together.setdefault(line.part, []).append(line)
        groups = list(together.values())
        found += [_finding(figure, group, limits, chain) for group in groups[:most]]
        if len(groups) > most:
            found.append(_rest(figure.piece, groups[most:], limits))
    return tuple(found)


def _code(raised: bool) -> str:
    return "sloping-ridge" if raised else "sloping-groove"


def _finding(
    figure: Figure, group: Sequence[LineReading], limits: Limits, chain: Sequence[ChainScenario]
) -> Finding:
    gravest = group[0]
    others, length = len(group) - 1, sum(line.length_mm for line in group)
    more = (
        f" {others} more {'is' if others == 1 else 'are'} too fine, {length:.0f} mm in all." if others else ""
    )
    measured = _held(gravest)
    return Finding(
        station="read",
        code=_code(gravest.raised),
        verdict=_verdict(gravest, limits),
        part=gravest.part,
        says=f"'{gravest.part}', {where(figure.body.mesh, gravest.place_mm)}: {_measured(gravest)}.{_left(gravest)}{more}",
        mend=_mend(gravest, limits, chain, figure.height_mm),
        place_mm=gravest.place_mm,
        measured=measured,
        limit=measured * gravest.size_ratio,
    )


def _held(line: LineReading) -> float:
    """What a line is held by: a groove's mouth, a ridge's height."""
    return line.depth_mm if line.raised else line.width_mm


def _limit(raised: bool, limits: Limits) -> Range:
    return limits.raised_mm if raised else limits.engraved_mm


def _verdict(line: LineReading, limits: Limits) -> Verdict:
    """Stop only where the limit is the maker's own or fitted, and even its low end is not kept."""
    limit = _limit(line.raised, limits)
    return Verdict.STOP if limit.calibrated and _held(line) < limit.low else Verdict.WATCH


def _measured(line: LineReading) -> str:
    opening = f"its sides {round(line.opening_deg)}° apart, {line.length_mm:.1f} mm long"
    if line.raised:
        return f"a ridge {line.depth_mm:.2f} mm high on a foot of {line.width_mm:.2f} mm, {opening}"
    return f"a groove {line.width_mm:.2f} mm wide at its mouth and {line.depth_mm:.2f} mm deep, {opening}"


def _left(line: LineReading) -> str:
    """What films, or the cast, leave of the depth; nothing is said where none does anything."""
    most, likely, least = line.left_mm
    if least == line.depth_mm:
        return ""
    by = "The cast keeps" if line.raised else "Films and mould leave"
    return f" {by} {likely:.2f} mm of that ({least:.2f} to {most:.2f})."


def _mend(line: LineReading, limits: Limits, chain: Sequence[ChainScenario], height_mm: float) -> str:
    """What would do: the same line larger, a wider one of the same depth, a larger figure."""
    ratio = line.size_ratio
    wide, deep = ratio * line.width_mm, ratio * line.depth_mm
    larger = f"; or make the figure {height_mm * ratio:.0f} mm high" if ratio <= MOST_RATIO else ""
    if line.raised:
        return f"Raise such a line to {deep:.2f} mm on a foot of {wide:.2f} mm{larger}."
    open_mm = max(
        limits.engraved_mm.likely,
        v_groove_width_mm(line.depth_mm, rolled_mm(chain, raised=False)[LIKELY], share=KEPT_RATIO),
    )
    flatter = (
        f"Open such a line to {open_mm:.2f} mm at this depth, or cut it"
        if open_mm < wide - 0.005
        else "Cut such a line"
    )
    return f"{flatter} {wide:.2f} mm wide and {deep:.2f} mm deep{larger}."


def _rest(piece: str, groups: Sequence[Sequence[LineReading]], limits: Limits) -> Finding:
    """One line for all parts that are not told one by one."""
    raised = groups[0][0].raised
    least = min(_held(line) for group in groups for line in group)
    ratio = max(line.size_ratio for group in groups for line in group)
    count = sum(len(group) for group in groups)
    what = f"{'ridge' if raised else 'groove'}{'s' if count > 1 else ''} with sloping sides"
    held = "high" if raised else "wide"
    return Finding(
        station="read",
        code=_code(raised),
        verdict=worst(_verdict(line, limits) for group in groups for line in group),
        part=piece,
        says=f"{count} more {what} are too fine, the least {least:.2f} mm {held}: "
        f"{', '.join(sorted(group[0].part for group in groups))}.",
        mend="They come up one by one as the worse ones are mended; all are in the readings of this station.",
        measured=least,
        limit=least * ratio,
    )
