"""The allow station: one linear map from the figure to its master, written out, with its uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field, model_validator

from firstcast.errors import InputError
from firstcast.findings import Finding, Measure
from firstcast.process.clearance import clearances_mm
from firstcast.process.extent_spread import ExtentSpread, in_figure_axes, mean_scale, spread_along
from firstcast.process.grades import casting_tolerance_mm
from firstcast.process.shrink import ChainLine, SizeStep, chain_matrix, write_out
from firstcast.ranges import SCENARIOS
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.vocabulary import Verdict

LARGEST_STEP_RATIO = 0.1
"""More than twice what any class of material shrinks by: a slip of a hundred shows, a high figure does not."""


class Fit(StationSettings):
    """Two things that must go together: a tab of this piece in a slot."""

    name: str
    tab_mm: float = Field(gt=0)
    """Nominal width of the tab."""
    slot_mm: float = Field(gt=0)
    """Nominal width of the slot."""
    least_mm: float = Field(default=0.05, ge=0)
    """Least clearance, both sides together."""
    most_mm: float = Field(default=0.4, gt=0)
    """Most clearance, both sides together."""
    slot: Literal["cast", "fixed"] = "cast"
    """Whether the slot is cast like the tab, or comes at its size from elsewhere (a bought base)."""
    film_mm: float = Field(default=0.0, ge=0)
    """Paint on each of the faces that meet."""

    @model_validator(mode="after")
    def _in_order(self) -> "Fit":
        if self.least_mm > self.most_mm:
            raise ValueError("give least_mm ≤ most_mm")
        return self


class Settings(StationSettings):
    """What must fit, and what others do to the size."""

    fit: tuple[Fit, ...] = ()
    offset_mm: float = Field(default=0.0, ge=-0.5, le=0.5)
    """What every outer length of a cast gains whatever its size (the gauge's o in L = S·N + o)."""
    caster_adds_ratio: float | None = Field(default=None, ge=0, lt=0.2)
    """What the caster says he adds to the masters' size, as a ratio."""
    grade: int | None = Field(default=None, ge=1, le=10)
    """Casting tolerance grade of ISO 8062-3 that the castings must keep."""


@dataclass(frozen=True, kw_only=True)
class Allowed(StationResult):
    """The map from the figure to its master.

    Attributes
    ----------
    matrix, matrix_low, matrix_high : (3, 3) float64
        Figure → master where every step is likely, shrinks least, shrinks most; only the steps that the maker
        allows for.
    lines : tuple of ChainLine
        The chain written out along the piece's longest extent, the cast first.
    spreads : tuple of ExtentSpread
        What the uncertainty of all steps comes to on the piece's own extents.
    """

    matrix: npt.NDArray[np.float64]
    matrix_low: npt.NDArray[np.float64]
    matrix_high: npt.NDArray[np.float64]
    lines: tuple[ChainLine, ...]
    spreads: tuple[ExtentSpread, ...]


def allow(
    *,
    piece: str,
    size_steps: tuple[SizeStep, ...],
    extents_mm: npt.ArrayLike,
    settings: Settings,
    turn_to_print: npt.ArrayLike | None = None,
) -> Allowed:
    """The size chain of one piece as a matrix, written out step by step.

    Parameters
    ----------
    piece : str
    size_steps : tuple of SizeStep
        From the file to the cast.
    extents_mm : (3,) or (2, 3)
        The piece's extents along the figure's x, y, z, or its least and greatest coordinates.
    turn_to_print : (3, 3) or None
        Rotation from figure space to print space, once it is known how the piece stands; its rows are
        the printer's axes. None: upright.

    Raises
    ------
    InputError
        The extents are not three lengths.
    """
    extents = _extents(extents_mm, piece)
    steps = in_figure_axes(size_steps, turn_to_print)
    own = [step for step in steps if step.applied_by == "maker"]
    matrix = chain_matrix(own)
    scale = mean_scale(own)
    spreads = tuple(spread_along(steps, matrix, axis, float(extents[axis])) for axis in range(3))
    longest = int(np.argmax(extents))
    return Allowed(
        matrix=matrix,
        matrix_low=chain_matrix(own, "low"),
        matrix_high=chain_matrix(own, "high"),
        lines=write_out(steps, float(extents[longest]), np.eye(3)[longest]),
        spreads=spreads,
        says=_says(scale, spreads),
        findings=(
            *_slips(piece, own),
            *_by_caster(piece, steps, settings.caster_adds_ratio),
            *_graded(piece, spreads, steps, settings),
            *(found for fit in settings.fit for found in _fitting(piece, fit, steps, settings.offset_mm)),
        ),
        measures=_measures(scale, spreads),
    )


def _extents(extents_mm: npt.ArrayLike, piece: str) -> npt.NDArray[np.float64]:
    """(3,) lengths along x, y, z, from lengths or from least and greatest coordinates."""
    extents = np.asarray(extents_mm, dtype=np.float64)
    if extents.shape == (2, 3):
        extents = extents[1] - extents[0]
    if extents.shape != (3,) or not np.isfinite(extents).all() or (extents < 0).any():
        raise InputError(f"{extents_mm} are not three lengths", where=piece, mend="Give x, y, z in mm.")
    return extents


def _says(scale: float, spreads: Sequence[ExtentSpread]) -> str:
    """The station's line on the route card."""
    master = " × ".join(f"{spread.master_mm:.2f}" for spread in spreads)
    casting = " × ".join(f"{spread.cast_mm.likely:.2f}" for spread in spreads)
    return f"master {100 * (scale - 1):+.2f} %, {master} mm, for a casting of {casting}"


def _measures(scale: float, spreads: Sequence[ExtentSpread]) -> tuple[Measure, ...]:
    """The mean oversize, and how large the casting may come along each axis."""
    return (
        Measure("oversize", scale, "ratio", "mean of the map over the three axes"),
        *(
            Measure(
                f"cast {s.axis}",
                s.cast_mm.likely,
                "mm",
                f"{s.cast_mm.low:.3f} to {s.cast_mm.high:.3f} at worst, ± {s.likely_error_mm:.3f} if steps err apart; "
                f"{s.master_mm:.3f} in the master",
            )
            for s in spreads
        ),
    )


def _slips(piece: str, own: Sequence[SizeStep]) -> list[Finding]:
    """The step that shrinks most, where it does by so much that a per cent was surely written for a ratio."""
    figures = [(abs(ratio.likely), ratio, step) for step in own for ratio in step.shrink]
    shrinks, ratio, step = max(figures, key=lambda figure: figure[0], default=(0.0, None, None))
    if ratio is None or step is None or shrinks <= LARGEST_STEP_RATIO:
        return []
    return [
        Finding(
            "allow",
            "large-step",
            Verdict.STOP if ratio.calibrated else Verdict.WATCH,
            piece,
            f"'{step.name}' is to change the size by {100 * shrinks:.3g} %, which no material of ours comes near.",
            f"Shrinkage is a ratio: {shrinks:g} % is {shrinks / 100:g}. Correct it in [process.override].",
            measured=shrinks,
            limit=LARGEST_STEP_RATIO,
            unit="ratio",
            worse="high",
        )
    ]


def _by_caster(piece: str, steps: Sequence[SizeStep], adds_ratio: float | None) -> list[Finding]:
    """Whether the caster adds what is in the map already, or says another figure than ours."""
    if adds_ratio is None:
        return []
    after = [step for step in steps if step.stage != "print"]
    ours = [step for step in after if step.applied_by == "maker"]
    theirs = [step for step in after if step.applied_by in ("caster", "toolmaker")]
    if ours and adds_ratio > 0:
        return [_doubled(piece, ours, adds_ratio)]
    return _differs(piece, theirs, adds_ratio) if theirs else []


def _doubled(piece: str, ours: Sequence[SizeStep], adds_ratio: float) -> Finding:
    return Finding(
        "allow",
        "doubled-allowance",
        Verdict.STOP,
        piece,
        f"The map allows {100 * (mean_scale(ours) - 1):.2f} % for {', '.join(step.name for step in ours)}, and the caster adds "
        f"{100 * adds_ratio:.2f} % as well.",
        'Settle it: [process.who] mould = "caster" and cast = "caster", or caster_adds_ratio = 0.',
        measured=adds_ratio,
        limit=0.0,
        unit="ratio",
        worse="high",
    )


def _differs(piece: str, theirs: Sequence[SizeStep], adds_ratio: float) -> list[Finding]:
    low, likely, high = (mean_scale(theirs, scenario) - 1.0 for scenario in SCENARIOS)
    if low <= adds_ratio <= high:
        return []
    return [
        Finding(
            "allow",
            "caster-differs",
            Verdict.WATCH,
            piece,
            f"The caster adds {100 * adds_ratio:.2f} %; our figures for {', '.join(step.name for step in theirs)} say "
            f"{100 * likely:.2f} % ({100 * low:.2f} to {100 * high:.2f}).",
            "Ask which material the figure is for.",
            measured=adds_ratio,
            limit=likely,
            unit="ratio",
            worse="high" if adds_ratio > high else "low",
        )
    ]


def _graded(
    piece: str, spreads: Sequence[ExtentSpread], steps: Sequence[SizeStep], settings: Settings
) -> list[Finding]:
    if settings.grade is None:
        return []
    findings = []
    for spread in spreads:
        if not 0 < spread.wanted_mm <= 160:
            continue
        half = casting_tolerance_mm(spread.wanted_mm, settings.grade) / 2
        worst = max(spread.wanted_mm - spread.cast_mm.low, spread.cast_mm.high - spread.wanted_mm)
        if worst <= half:
            continue
        sure = _calibrated(steps)
        findings.append(
            Finding(
                "allow",
                f"grade-{spread.axis}",
                Verdict.STOP if sure else Verdict.WATCH,
                piece,
                f"The casting may be {worst:.2f} mm off along {spread.axis} ({spread.wanted_mm:.1f} mm); grade "
                f"{settings.grade} allows ± {half:.2f} mm.",
                "Print and cast a gauge, and give its shrinkage in [process.override].",
                measured=worst,
                limit=half,
                worse="high",
            )
        )
    return findings


def _fitting(piece: str, fit: Fit, steps: tuple[SizeStep, ...], offset_mm: float) -> list[Finding]:
    """The fit at both ends of the chain along its least favourable axis."""
    widths = (fit.tab_mm, fit.slot_mm)
    ends = clearances_mm(steps, *widths, slot_is_cast=fit.slot == "cast", offset_mm=offset_mm)
    least, most = (end - 4 * fit.film_mm for end in ends)
    sure = _calibrated(steps)
    findings = []
    for bad, code, measured, limit, word in (
        (least < fit.least_mm, "fit-tight", least, fit.least_mm, "too tight"),
        (most > fit.most_mm, "fit-loose", most, fit.most_mm, "too loose"),
    ):
        if not bad:
            continue
        findings.append(
            Finding(
                "allow",
                code,
                Verdict.STOP if sure and code == "fit-tight" else Verdict.WATCH,
                f"{piece}/{fit.name}",
                f"'{fit.name}': a tab of {fit.tab_mm:g} mm in a slot of {fit.slot_mm:g} mm may come {word}: clearance "
                f"{least:.3f} to {most:.3f} mm, wanted {fit.least_mm:g} to {fit.most_mm:g}.",
                "Change the tab or the slot, or narrow the shrinkage with a gauge.",
                measured=measured,
                limit=limit,
                worse="low" if code == "fit-tight" else "high",
            )
        )
    return findings


def _calibrated(steps: Sequence[SizeStep]) -> bool:
    return all(ratio.calibrated for step in steps for ratio in step.shrink)
