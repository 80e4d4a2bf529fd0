"""The plan station: what the chosen process asks of every later station, and whether the master survives it."""

from collections.abc import Sequence
from dataclasses import dataclass

from firstcast.findings import Finding, Measure
from firstcast.geometry.pieces import Piece
from firstcast.geometry.summary import PartSummary
from firstcast.process import kinds, survive
from firstcast.process.chain import ChainScenario
from firstcast.process.limits import Limits
from firstcast.process.materials import Casting, Materials, Mould
from firstcast.process.shrink import SizeStep
from firstcast.ranges import Range
from firstcast.stations.contract import StationResult
from firstcast.stations.plan_settings import (
    Settings,
    Who,
    chain_of,
    earlier_of,
    limits_of,
    materials_of,
    primer_of,
)
from firstcast.vocabulary import ProcessKind, Verdict

SLENDER_RATIO = 8.0
"""Length over mean thickness from which a thin part is worth a piece of its own: chosen, no source."""

MOST_OWN_PIECES = 5
"""So many of them are told, the most slender; a measure names the rest. Most lie against others, and read finds what stands free."""


@dataclass(frozen=True)
class Allowance:
    """Who allows for one size step. `settled`: the job file says so, rather than custom."""

    step: str
    stage: str
    who: str
    settled: bool
    shrink: tuple[Range, Range, Range]


@dataclass(frozen=True, kw_only=True)
class Planned(StationResult):
    """What later stations obey.

    Attributes
    ----------
    size_steps : tuple of SizeStep
        From the file to the cast, in the order in which they happen.
    who_allows : tuple of Allowance
        One per size step.
    materials : Materials
        Printer, resin, mould, cast and paint with the maker's own figures in them.
    chain : (ChainScenario, ChainScenario, ChainScenario)
        What the forecast reckons with from master to painted cast: low (changes least), likely, high. The cast is
        taken to be as large as the master.
    printed_with : str
        Printer and resin, in the job's words.
    cautions : tuple of str
        To be shown with the dossier; data sheets, local codes and licensed practice come first.
    earlier : tuple of (Mould, Casting)
        Generations before the production mould.
    """

    limits: Limits
    size_steps: tuple[SizeStep, ...]
    who_allows: tuple[Allowance, ...]
    materials: Materials
    chain: tuple[ChainScenario, ChainScenario, ChainScenario]
    printed_with: str
    cautions: tuple[str, ...]
    earlier: tuple[tuple[Mould, Casting], ...] = ()


def plan(*, summaries: tuple[PartSummary, ...], pieces: tuple[Piece, ...], settings: Settings) -> Planned:
    """The limits, the size steps and who allows for them; what the mould's making does to the masters.

    Parameters
    ----------
    summaries : tuple of PartSummary
        All parts, in millimetres.
    pieces : tuple of Piece

    Raises
    ------
    InputError
        A material or figure is not known, or the chain holds none that could be made.
    """
    materials = materials_of(settings)
    kind = kinds.kind_of(settings.kind)
    limits = limits_of(settings, materials)
    chain = chain_of(settings, materials, limits)
    who = {stage: getattr(settings.who, stage) or kind.who(stage) for stage in kinds.STAGES}
    earlier = earlier_of(settings)
    steps = kinds.size_steps(settings.kind, materials, earlier, who)
    allowances = tuple(_allowance(step, settings.who) for step in steps)
    in_pieces = {name for piece in pieces for name in piece.parts}
    parts = [summary for summary in summaries if summary.name in in_pieces]

    tags = kinds.tags_of(settings.kind, materials, earlier)
    if primer := primer_of(settings):
        tags.add(primer.key)

    findings: list[Finding] = []
    first_mould = earlier[0][0] if earlier else materials.mould
    if settings.kind not in (ProcessKind.HARD_TOOL, ProcessKind.PRINT_ONLY):
        findings += _survival(materials, first_mould, parts, limits)
    findings += _unsettled(allowances)
    slender = _slender(parts, pieces, limits)
    findings += _own_pieces(slender[:MOST_OWN_PIECES], limits)
    return Planned(
        limits=limits,
        size_steps=steps,
        who_allows=allowances,
        materials=materials,
        chain=chain,
        printed_with=f"{settings.printer}, {settings.resin} resin",
        earlier=tuple(earlier),
        cautions=kinds.cautions(tags),
        says=f"{settings.kind.value} on {settings.printer}; least wall {limits.wall_mm.likely:g} mm, "
        f"least gap {limits.gap_mm.likely:g} mm, lattice {limits.pitch_mm[0]:g} mm",
        findings=tuple(findings),
        measures=(
            Measure("pitch", limits.pitch_mm[0], "mm", "near field"),
            Measure("least wall", limits.wall_mm.likely, "mm", str(limits.wall_mm)),
            Measure("least gap", limits.gap_mm.likely, "mm", str(limits.gap_mm)),
            Measure("reduce tolerance", limits.reduce_tolerance_mm, "mm", ""),
            *_chain_measures(chain),
            *_more_slender(slender[MOST_OWN_PIECES:]),
        ),
    )


def _chain_measures(chain: tuple[ChainScenario, ChainScenario, ChainScenario]) -> tuple[Measure, ...]:
    """What the forecast will reckon with, in the likely scenario, with the two others beside it."""
    low, likely, high = chain
    found = []
    if likely.prints:
        ends = f"{low.edge_growth_mm:.3f} to {high.edge_growth_mm:.3f}, for {likely.layer_mm:g} mm layers"
        found.append(Measure("upright wall grows", likely.edge_growth_mm, "mm", ends))
    ends = f"{low.paint.thickness_mm:.3f} to {high.paint.thickness_mm:.3f} on each face"
    return (*found, Measure("paint", likely.paint.thickness_mm, "mm", ends))


def _allowance(step: SizeStep, who: Who) -> Allowance:
    stage = "mould" if step.stage == "warmth" else step.stage
    settled = getattr(who, stage) is not None
    return Allowance(step.name, step.stage, step.applied_by, settled, step.shrink)


def _unsettled(allowances: Sequence[Allowance]) -> list[Finding]:
    findings = []
    for stage in ("mould", "cast"):
        open_ones = [a for a in allowances if not a.settled and (a.stage == stage)]
        if not open_ones or open_ones[0].who == "nobody":
            continue
        size = max(abs(end) for a in open_ones for end in (a.shrink[0].low, a.shrink[0].high))
        if size == 0:
            continue
        findings.append(
            Finding(
                "plan",
                f"who-allows-{stage}",
                Verdict.WATCH,
                "",
                f"Nobody has said who allows for the shrinkage of the {stage}, up to {100 * size:.2g} %; by custom "
                f"it is the {open_ones[0].who}. Doubled allowance is the classic error.",
                f'Ask, and write [process.who] {stage} = "maker" or "caster".',
                measured=size,
                limit=0.0,
                unit="ratio",
                worse="high",
            )
        )
    return findings


def _survival(
    materials: Materials, mould: Mould, parts: Sequence[PartSummary], limits: Limits
) -> list[Finding]:
    findings = [*_heat(materials, mould), *_inhibition(materials, mould)]
    strength = materials.resin.strength_mpa
    for part in parts:
        if part.mean_thickness_mm <= 0:
            continue
        stress = survive.pressing_stress_mpa(mould, max(part.size_mm), part.mean_thickness_mm)
        if stress.low <= strength.low:
            continue
        # Neither the uneven share nor a mean thickness is ever exact, so this asks for a look and no more.
        findings.append(
            Finding(
                "plan",
                "master-pressed",
                Verdict.WATCH,
                part.name,
                f"'{part.name}' is {max(part.size_mm):.1f} mm long and {part.mean_thickness_mm:.2f} mm thick on "
                f"average: pressing the rubber may bend it with {stress.likely:.3g} MPa ({stress.low:.3g} to "
                f"{stress.high:.3g}), its resin bears {strength.likely:.3g}.",
                "Cast it as a piece of its own, pack rubber under it by hand, or mould the masters in poured silicone.",
                measured=stress.likely,
                limit=strength.likely,
                unit="MPa",
                worse="high",
            )
        )
    return findings


def _degrees(figure: Range) -> str:
    return f"{figure.likely:g} °C ({figure.low:g} to {figure.high:g})"


def _heat(materials: Materials, mould: Mould) -> list[Finding]:
    resin = materials.resin
    margin = survive.heat_margin_degC(resin, mould)
    if margin.low >= 0:
        return []
    sure = margin.high < 0 and resin.heat_deflection_degC.calibrated and mould.cure_degC.calibrated
    cure, sag = _degrees(mould.cure_degC), _degrees(resin.heat_deflection_degC)
    measured, limit = mould.cure_degC.high, resin.heat_deflection_degC.low
    if margin.likely < 0:
        measured, limit = mould.cure_degC.likely, resin.heat_deflection_degC.likely
        says = f"The mould cures at {cure}, the {resin.title} sags from {sag} on: the master likely won't survive."
    else:
        says = f"The mould cures at {cure}; the {resin.title} may sag there, from {sag} on."
    return [
        Finding(
            "plan",
            "master-heat",
            Verdict.STOP if sure else Verdict.WATCH,
            "",
            says,
            "Cast metal masters from a poured silicone mould first ([[process.generation]]), use a high-temperature "
            "resin by its data sheet, or a rubber that cures cooler.",
            measured=measured,
            limit=limit,
            unit="degC",
            worse="high",
        )
    ]


def _inhibition(materials: Materials, mould: Mould) -> list[Finding]:
    if not survive.inhibits(materials.resin, mould):
        return []
    return [
        Finding(
            "plan",
            "cure-inhibition",
            Verdict.WATCH,
            "",
            "Addition-cure silicone stays liquid on photopolymer that isn't fully cured, and on sulphur, amines and tin.",
            "Wash and cure the masters fully, seal them with a barrier coat, and try the silicone on a hidden spot; or "
            "use tin-cure silicone. The data sheets decide.",
        )
    ]


def _slender(parts: Sequence[PartSummary], pieces: Sequence[Piece], limits: Limits) -> list[PartSummary]:
    """Parts of larger pieces that are thinner than what stands free may be, the most slender first."""
    alone = {piece.parts[0] for piece in pieces if len(piece.parts) == 1}
    found = [
        part
        for part in parts
        if part.name not in alone
        and 0 < part.mean_thickness_mm < limits.pin_mm.likely
        and max(part.size_mm) >= SLENDER_RATIO * part.mean_thickness_mm
    ]
    return sorted(found, key=lambda part: -max(part.size_mm) / part.mean_thickness_mm)


def _own_pieces(parts: Sequence[PartSummary], limits: Limits) -> list[Finding]:
    return [
        Finding(
            "plan",
            "own-piece",
            Verdict.WATCH,
            part.name,
            f"'{part.name}' is {part.mean_thickness_mm:.2f} mm thick on average and {max(part.size_mm):.1f} mm long; what stands "
            f"free wants {limits.pin_mm.likely:g} mm.",
            "Make it a piece of its own in [[piece]], lay it against the body, or accept it.",
            measured=part.mean_thickness_mm,
            limit=limits.pin_mm.likely,
        )
        for part in parts
    ]


def _more_slender(parts: Sequence[PartSummary]) -> list[Measure]:
    """How many more slender parts there are, by name."""
    if not parts:
        return []
    return [Measure("more slender parts", float(len(parts)), "count", ", ".join(part.name for part in parts))]
