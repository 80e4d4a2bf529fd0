"""The size station: from scale rules to one factor and one turn, file units to millimetres, z up."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import Field, model_validator

from firstcast.errors import JobError
from firstcast.findings import Finding, Measure
from firstcast.geometry.extents import UP_TURNS, PartExtents, turned
from firstcast.process import scale
from firstcast.process.figures import nearest_word
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.tolerances import TOLERANCES
from firstcast.vocabulary import Verdict

Up = Literal["z", "y", "x", "-z", "-y", "-x"]
RuleName = Literal["ruler", "landmark", "total", "real", "unit"]


class Ruler(StationSettings):
    """A part of known size that stands beside the sculpture; it belongs to no piece."""

    part: str
    """The part's name, or a glob that one part fits."""
    height_mm: float | None = Field(default=None, gt=0)
    """Its extent along up."""
    width_mm: float | None = Field(default=None, gt=0)
    """Its larger extent across up."""

    @model_validator(mode="after")
    def _one_length(self) -> "Ruler":
        if (self.height_mm is None) == (self.width_mm is None):
            raise ValueError("give either height_mm or width_mm")
        return self


class Landmark(StationSettings):
    """A height on the figure that its scale is told by: the eyes, or the top of the head."""

    at: Literal["eyes", "crown"] = "eyes"
    part: str | None = None
    """A part that marks it (an eye, the head)..."""
    edge: Literal["middle", "top", "bottom"] | None = None
    """... by its middle (usual for eyes), top (usual for the crown) or bottom along up."""
    at_file_units: float | None = None
    """Or where it is along the file's up axis, in file units."""
    base_part: str | None = None
    """The part whose bottom the feet stand on; by default the lowest point of all parts but the ruler."""
    base_edge: Literal["top", "bottom"] = "bottom"
    """`top` where `base_part` is the ground that the figure stands on."""
    straightened: float = Field(default=1.0, gt=0.2, lt=10)
    """How many times higher the landmark would be if the figure stood straight, with a usual head."""
    height_mm: float | None = Field(default=None, gt=0)
    """How high it should be over the base, straightened."""
    stature_mm: float | None = Field(default=None, gt=0)
    """Or how tall the whole figure should be, straightened; eyes are at `eyes_share` of it."""
    real_stature_mm: float | None = Field(default=None, gt=0)
    """Or how tall its subject is, with `ratio`."""
    ratio: float | None = Field(default=None, gt=0)
    """56 for 1:56."""
    eyes_share: float | None = Field(default=None, gt=0.5, lt=1)
    """Eye height over stature, where the published 0.93 does not fit."""

    @model_validator(mode="after")
    def _complete(self) -> "Landmark":
        if (self.part is None) == (self.at_file_units is None):
            raise ValueError("give either part or at_file_units")
        wanted = [self.height_mm, self.stature_mm, self.real_stature_mm]
        if sum(w is not None for w in wanted) != 1:
            raise ValueError("give one of height_mm, stature_mm, real_stature_mm with ratio")
        if (self.real_stature_mm is None) != (self.ratio is None):
            raise ValueError("real_stature_mm and ratio go together")
        return self


class Real(StationSettings):
    """The sculpture is modelled at its subject's real size."""

    unit: Literal["mm", "cm", "m", "inch", "foot"]
    """What one unit of the file is."""
    ratio: float = Field(gt=0)
    """56 for 1:56."""


class Settings(StationSettings):
    """How large the figure is: one scale rule, or several that must agree."""

    up: Up = "z"
    """The file's axis that points up; many exports use y."""
    unit: Literal["mm", "cm", "m", "inch", "foot"] | None = None
    """What one unit of the files is, where they are modelled at the figure's own size."""
    ruler: Ruler | None = None
    total_height_mm: float | None = Field(default=None, gt=0)
    """Height of everything but the ruler."""
    landmark: Landmark | None = None
    real: Real | None = None
    use: RuleName | None = None
    """Which rule gives the factor where there are several: else the first of ruler, landmark, total, real, unit."""
    real_stature_mm: float = Field(default=scale.USUAL_STATURE_MM, gt=0)
    """Stature of the subject, for stating the scale where no rule tells it."""


@dataclass(frozen=True)
class AppliedRule:
    """One scale rule and what it gives. `factor_mm`: millimetres for one file unit."""

    name: str
    factor_mm: float
    used: bool
    calibrated: bool
    says: str


@dataclass(frozen=True, kw_only=True)
class Sized(StationResult):
    """The way from file units to millimetres.

    Attributes
    ----------
    factor_mm : float
        Millimetres for one file unit.
    turn : (3, 3) float64
        The quarter turn that brings the file's up axis to +z.
    ratio : float
        43.2 for 1:43.2.
    ratio_says : str
        The scale in words, with what it rests on.
    height_mm : float
        Height of everything but the ruler.
    """

    factor_mm: float
    turn: npt.NDArray[np.float64]
    rules: tuple[AppliedRule, ...]
    ratio: float
    ratio_says: str
    height_mm: float
    ruler_parts: tuple[str, ...] = ()

    @property
    def matrix_mm(self) -> npt.NDArray[np.float64]:
        """(3, 3) float64: factor times turn; what intake receives: point_mm = matrix_mm · point_file."""
        return self.factor_mm * self.turn


def size(
    *, extents: tuple[PartExtents, ...], declared_unit_mm: float | None = None, settings: Settings
) -> Sized:
    """The factor from file units to millimetres by the job's scale rules, and the turn to z up.

    Intake receives `matrix_mm` = factor · turn.

    Parameters
    ----------
    extents : tuple of PartExtents
        All parts of the figure and the ruler, in file units.
    declared_unit_mm : float or None
        Length of the file unit where all files declare it (3MF, glTF); used where the job gives no rule.

    Raises
    ------
    JobError
        A rule names no part or a part without extent, or there are no parts.
    """
    turned_parts = [turned(part, settings.up) for part in extents]
    ruler = _named(turned_parts, settings.ruler.part, "size.ruler.part") if settings.ruler else None
    figure = [part for part in turned_parts if ruler is None or part.name != ruler.name]
    if not figure:
        raise JobError("there is no part to size", where="size", mend="Name the sculpture's parts.")
    low, high = min(p.low[2] for p in figure), max(p.high[2] for p in figure)
    if high <= low:
        raise JobError("the figure has no height", where="size.up", mend="Check the up axis.")

    rules = _applied(settings, figure, ruler, high - low, declared_unit_mm)
    used = next(rule for rule in rules if rule.used)
    height_mm = (high - low) * used.factor_mm
    ratio, ratio_says = _ratio(settings, used, height_mm)
    findings = [
        *_assumed(rules, settings),
        *_disagreements(rules, used),
        *_out_of_range(height_mm),
    ]
    return Sized(
        factor_mm=used.factor_mm,
        turn=np.array(UP_TURNS[settings.up], dtype=np.float64),
        rules=tuple(rules),
        ratio=ratio,
        ratio_says=ratio_says,
        height_mm=height_mm,
        ruler_parts=(ruler.name,) if ruler else (),
        says=f"{height_mm:.4g} mm tall, by the {used.name} rule; {ratio_says}",
        findings=tuple(findings),
        measures=(
            Measure("height", height_mm, "mm", "everything but the ruler"),
            Measure("factor", used.factor_mm, "mm", f"one file unit, by the {used.name} rule"),
            Measure("scale", ratio, "ratio", ratio_says),
        ),
    )


def _named(parts: Sequence[PartExtents], pattern: str, key: str) -> PartExtents:
    found = scale.matching([part.name for part in parts], pattern)
    if len(found) != 1:
        which = f"fits {len(found)} parts: {', '.join(found)}" if found else "fits no part"
        mend = "Name one of them." if found else nearest_word(pattern, [part.name for part in parts])
        raise JobError(f"'{pattern}' {which}", where=key, mend=mend)
    return next(part for part in parts if part.name == found[0])


def _applied(
    settings: Settings,
    figure: Sequence[PartExtents],
    ruler: PartExtents | None,
    height: float,
    declared_unit_mm: float | None,
) -> list[AppliedRule]:
    found: dict[str, tuple[float, bool, str]] = {}
    if settings.ruler and ruler:
        found["ruler"] = _by_ruler(settings.ruler, ruler)
    if settings.landmark:
        found["landmark"] = _by_landmark(settings.landmark, figure, settings.up)
    if settings.total_height_mm:
        factor = settings.total_height_mm / height
        found["total"] = (
            factor,
            True,
            f"{height:g} file units are to be {settings.total_height_mm:g} mm tall",
        )
    if settings.real:
        unit, ratio = settings.real.unit, settings.real.ratio
        found["real"] = (scale.UNITS_MM[unit] / ratio, True, f"modelled life-size in {unit}, at 1:{ratio:g}")
    if settings.unit:
        found["unit"] = (scale.UNITS_MM[settings.unit], True, f"one file unit is 1 {settings.unit}")
    if not found and declared_unit_mm is not None:
        found["declared"] = (declared_unit_mm, False, f"the files declare a unit of {declared_unit_mm:g} mm")
    if not found:
        found["none"] = (1.0, False, "no rule is given: one file unit is taken as 1 mm")
    if settings.use and settings.use not in found:
        raise JobError(
            f"the rule '{settings.use}' is not given",
            where="size.use",
            mend=f"Give it, or use one of: {', '.join(found)}.",
        )
    chosen = settings.use or next(iter(found))
    return [
        AppliedRule(name, factor, name == chosen, calibrated, says)
        for name, (factor, calibrated, says) in found.items()
    ]


def _by_ruler(rule: Ruler, part: PartExtents) -> tuple[float, bool, str]:
    x, y, z = part.size
    length, known, word = (
        (z, rule.height_mm, "tall") if rule.height_mm is not None else (max(x, y), rule.width_mm, "wide")
    )
    if length <= 0 or known is None:
        raise JobError(
            f"the ruler '{part.name}' has no extent", where="size.ruler", mend="Give its other length."
        )
    return known / length, True, f"'{part.name}' is {length:g} file units and {known:g} mm {word}"


def _by_landmark(rule: Landmark, figure: Sequence[PartExtents], up: str) -> tuple[float, bool, str]:
    if rule.part is not None:
        part = _named(figure, rule.part, "size.landmark.part")
        edges = {"bottom": part.low[2], "top": part.high[2], "middle": (part.low[2] + part.high[2]) / 2}
        place = edges[rule.edge or ("middle" if rule.at == "eyes" else "top")]
    else:
        place = (rule.at_file_units or 0.0) * (-1.0 if up.startswith("-") else 1.0)
    if rule.base_part is not None:
        base_part = _named(figure, rule.base_part, "size.landmark.base_part")
        base = base_part.high[2] if rule.base_edge == "top" else base_part.low[2]
    else:
        base = min(part.low[2] for part in figure)
    height = (place - base) * rule.straightened
    if height <= 0:
        raise JobError(
            f"the landmark at {place:g} is not above the base at {base:g} file units",
            where="size.landmark",
            mend="Check the up axis, the landmark's part and the base.",
        )
    share = 1.0 if rule.at == "crown" else (rule.eyes_share or scale.EYES_SHARE)
    needs_share = rule.height_mm is None and rule.at == "eyes" and rule.eyes_share is None
    if rule.height_mm is not None:
        wanted = rule.height_mm
    elif rule.stature_mm is not None:
        wanted = rule.stature_mm * share
    else:
        wanted = (rule.real_stature_mm or 0.0) / (rule.ratio or 1.0) * share
    says = f"the {rule.at} {height:g} file units over the base, straightened, are to be at {wanted:.4g} mm"
    return wanted / height, not needs_share, says


def _ratio(settings: Settings, used: AppliedRule, height_mm: float) -> tuple[float, str]:
    if used.name == "real" and settings.real:
        return settings.real.ratio, f"1:{settings.real.ratio:.4g}, as the rule says"
    landmark = settings.landmark
    if used.name == "landmark" and landmark:
        if landmark.ratio:
            return landmark.ratio, f"1:{landmark.ratio:.4g}, as the rule says"
        share = 1.0 if landmark.at == "crown" else (landmark.eyes_share or scale.EYES_SHARE)
        stature_mm = landmark.stature_mm or (landmark.height_mm or 0.0) / share
        ratio = settings.real_stature_mm / stature_mm
        return ratio, f"1:{ratio:.3g} if the subject is {settings.real_stature_mm:g} mm tall"
    ratio = settings.real_stature_mm / height_mm
    return (
        ratio,
        f"1:{ratio:.3g} if the whole height is the stature of a subject {settings.real_stature_mm:g} mm tall",
    )


def _assumed(rules: Sequence[AppliedRule], settings: Settings) -> list[Finding]:
    if rules[0].name != "none":
        return []
    return [
        Finding(
            "size",
            "no-rule",
            Verdict.WATCH,
            "",
            "No scale rule is given, so one file unit is taken as 1 mm.",
            "Give one in [size]: unit, ruler, total_height_mm, landmark or real.",
        )
    ]


def _disagreements(rules: Sequence[AppliedRule], used: AppliedRule) -> list[Finding]:
    findings = []
    for rule in rules:
        differ = abs(rule.factor_mm / used.factor_mm - 1.0)
        if rule.used or differ <= TOLERANCES.rules_differ_watch:
            continue
        wrong = differ > TOLERANCES.rules_differ_stop and rule.calibrated and used.calibrated
        findings.append(
            Finding(
                "size",
                f"rules-differ-{rule.name}",
                Verdict.STOP if wrong else Verdict.WATCH,
                "",
                f"Two scale rules differ by {100 * differ:.1f} %: {used.name} gives {used.factor_mm:.6g} mm for a "
                f"file unit ({used.says}), {rule.name} gives {rule.factor_mm:.6g} mm ({rule.says}).",
                "Correct one of them, or take it out of [size].",
                measured=differ,
                limit=TOLERANCES.rules_differ_stop if wrong else TOLERANCES.rules_differ_watch,
                unit="ratio",
                worse="high",
            )
        )
    return findings


def _out_of_range(height_mm: float) -> list[Finding]:
    small = height_mm < TOLERANCES.size_least_mm
    if not small and height_mm <= TOLERANCES.size_most_mm:
        return []
    limit = TOLERANCES.size_least_mm if small else TOLERANCES.size_most_mm
    return [
        Finding(
            "size",
            "out-of-range",
            Verdict.STOP,
            "",
            f"The figure is {height_mm:.4g} mm tall, {'below' if small else 'above'} {limit:g} mm. "
            f"{scale.likely_slip(height_mm)}",
            "Correct the rule in [size].",
            measured=height_mm,
            limit=limit,
            worse="low" if small else "high",
        )
    ]
