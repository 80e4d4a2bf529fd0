"""What read tells the maker: one finding for each pair of parts and kind, the gravest dozen, the rest in one line."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from firstcast.findings import Finding
from firstcast.geometry.body import Body
from firstcast.geometry.whereabouts import where
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials
from firstcast.process.strength import BladeSection, Stuff, bears, cast, cured
from firstcast.ranges import Range
from firstcast.vocabulary import Verdict

MOST_RATIO = 2.5
"""A figure larger by more than this is no mend."""


class Kind(StrEnum):
    """What is too narrow."""

    WALL = "thin-wall"
    PIN = "thin-pin"
    GAP = "narrow-gap"
    GROOVE = "narrow-groove"
    RIDGE = "low-ridge"

    @property
    def one(self) -> str:
        """One of them, in the maker's words."""
        return self.value.partition("-")[2]

    @property
    def many(self) -> str:
        """Several of them."""
        return f"{self.one}s"

    def limit(self, limits: Limits) -> Range:
        """What it is held against: a ridge's height, of the others how narrow they are.

        A pin thinner than the least wall is told; one that is thicker is not looked for.
        """
        return {
            Kind.WALL: limits.wall_mm,
            Kind.PIN: limits.pin_mm,
            Kind.GAP: limits.gap_mm,
            Kind.GROOVE: limits.engraved_mm,
            Kind.RIDGE: limits.raised_mm,
        }[self]


@dataclass(frozen=True)
class Reading:
    """A region narrower than its limit.

    Attributes
    ----------
    part, across : str
        The parts on either side of the wall or gap: the same one, or two.
    place_mm : (float, float, float)
    least_mm, middle_mm, area_mm2 : float
        As in `firstcast.geometry.narrow.NarrowRegion`; the least of a ridge is its height.
    length_mm, width_mm : float
        Of a pin or blade; of a ridge only its width; else 0.
    """

    kind: Kind
    part: str
    across: str
    place_mm: tuple[float, float, float]
    least_mm: float
    middle_mm: float
    area_mm2: float
    length_mm: float
    width_mm: float


@dataclass(frozen=True)
class Figure:
    """Whose readings they are: the piece's name and body, and the height of the whole figure."""

    piece: str
    body: Body
    height_mm: float


def findings_of(
    figure: Figure, readings: Sequence[Reading], limits: Limits, materials: Materials, *, most: int
) -> tuple[Finding, ...]:
    """The findings of a piece's readings."""
    found = []
    for kind in Kind:
        together: dict[tuple[str, str], list[Reading]] = {}
        for reading in sorted((r for r in readings if r.kind is kind), key=lambda r: r.least_mm):
            together.setdefault((reading.part, reading.across), []).append(reading)
        told = list(together.values())
        found += [_finding(figure, group, kind.limit(limits), materials) for group in told[:most]]
        if len(told) > most:
            found.append(_rest(figure.piece, kind, told[most:], kind.limit(limits)))
    return tuple(found)


def _finding(figure: Figure, group: Sequence[Reading], limit: Range, materials: Materials) -> Finding:
    """One finding for what is narrow between the same two parts, at the gravest place."""
    gravest = group[0]
    others = len(group) - 1
    more = {0: "", 1: "; so is one more of them"}.get(others, f"; so are {others} more of them")
    return Finding(
        station="read",
        code=gravest.kind.value,
        verdict=_verdict(gravest.least_mm, limit),
        part=gravest.part,
        says=f"{_subject(gravest)}, {where(figure.body.mesh, gravest.place_mm)}: {_measured(gravest)}{more}. "
        f"At least {limit.likely:.2f} mm is wanted.{_load(gravest, materials)}",
        mend=_mend(gravest, limit.likely, figure.height_mm),
        place_mm=gravest.place_mm,
        measured=gravest.least_mm,
        limit=limit.likely,
    )


def _verdict(measured_mm: float, limit: Range) -> Verdict:
    """Stop only where the limit is the maker's own or fitted, and even its low end is not kept."""
    return Verdict.STOP if limit.calibrated and measured_mm < limit.low else Verdict.WATCH


def _subject(reading: Reading) -> str:
    if reading.part == reading.across:
        return f"'{reading.part}'"
    return f"'{reading.part}' and '{reading.across}'"


def _measured(reading: Reading) -> str:
    if reading.kind is Kind.GAP:
        apart = "two faces" if reading.part == reading.across else "they stand"
        return f"{apart} {reading.least_mm:.2f} mm apart over {_area(reading)} mm²"
    if reading.kind is Kind.GROOVE:
        return f"grooves or clefts {reading.least_mm:.2f} mm wide over {_area(reading)} mm²"
    if reading.kind is Kind.RIDGE:
        return f"raised lines {reading.width_mm:.2f} mm wide stand {reading.least_mm:.2f} mm high"
    if reading.kind is Kind.PIN:
        return f"{reading.least_mm:.2f} mm thick and {reading.length_mm:.1f} mm long"
    return f"{reading.least_mm:.2f} mm thin, {reading.middle_mm:.2f} mm over half of {_area(reading)} mm²"


def _area(reading: Reading) -> str:
    """Surface of one side."""
    area = reading.area_mm2 / 2.0
    return f"{area:.0f}" if area >= 10 else f"{area:.1f}"


def _load(reading: Reading, materials: Materials) -> str:
    """What a pin or blade bears across its tip: the print, and the cast where there is one."""
    if reading.kind is not Kind.PIN:
        return ""
    section = BladeSection(max(reading.width_mm, reading.middle_mm), reading.middle_mm)
    told = []
    for word, stuff in (("print", cured(materials.resin)), ("cast", cast(materials.cast))):
        if stuff.modulus_mpa.low > 0:
            told.append(f"the {word} {_breaks(stuff, section, reading.length_mm)}")
    return f" A push across its tip breaks or bends it for good: {', '.join(told)}." if told else ""


def _breaks(stuff: Stuff, section: BladeSection, length_mm: float) -> str:
    breaks = bears(stuff, section, length_mm).breaks_n
    return f"at {breaks.likely:.2g} N ({breaks.low:.2g} to {breaks.high:.2g})"


def _mend(reading: Reading, limit_mm: float, height_mm: float) -> str:
    verb = {
        Kind.WALL: "Thicken it to",
        Kind.PIN: "Thicken it to",
        Kind.GAP: "Close it, or open it to",
        Kind.GROOVE: "Fill them, or widen them to",
        Kind.RIDGE: "Raise them to",
    }[reading.kind]
    ratio = limit_mm / reading.least_mm
    larger = f"; or make the figure {height_mm * ratio:.0f} mm high" if ratio <= MOST_RATIO else ""
    return f"{verb} {limit_mm:.2f} mm{larger}."


def _rest(piece: str, kind: Kind, groups: Sequence[Sequence[Reading]], limit: Range) -> Finding:
    """One line for all that is not told one by one, of the same code: where kinds are picked, it never stands beside them."""
    count = sum(len(group) for group in groups)
    names = sorted({name for group in groups for name in (group[0].part, group[0].across)})
    least = min(group[0].least_mm for group in groups)
    return Finding(
        station="read",
        code=kind.value,
        verdict=_verdict(least, limit),
        part=piece,
        says=f"{count} more {kind.many} are below {limit.likely:.2f} mm, the least {least:.2f} mm: {', '.join(names)}.",
        mend="They come up one by one as the graver ones are mended; all are in the readings of this station.",
        measured=least,
        limit=limit.likely,
    )
