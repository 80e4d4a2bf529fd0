"""The size chain: from the figure as it should be cast to the file that the printer gets.

Shrinkage by the standard definition (ISO 294-4, ISO 2577): S = (mould - part) / mould, so that
mould = part / (1 - S). Each step shrinks, or grows (S < 0), by its own ratios along its own axes,
which are the columns of R in the figure's frame. The master is

    master = Π R diag(1 / (1 - S)) Rᵀ · figure

with the first step (the print) leftmost: undoing runs backwards from the cast to the print.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.ranges import SCENARIOS, Range
from firstcast.vocabulary import Basis

Matrix = npt.NDArray[np.float64]
Axes = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]

UPRIGHT: Axes = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
"""Axes of a step that are the figure's own."""

_ORTHOGONAL = 1e-9


@dataclass(frozen=True)
class SizeStep:
    """One step of production that changes size.

    Attributes
    ----------
    name : str
        What it is, in the maker's words.
    stage : str
        print, mould, warmth or cast.
    shrink : three Ranges
        S as a ratio along the step's own axes.
    applied_by : str
        Who allows for it: maker, caster, toolmaker or nobody.
    axes : 3 x 3
        Columns are the step's axes in the figure's frame: orthonormal.
    frame : str
        Whose axes these are: figure, printer or mould. `placed` sets them once they are known.
    """

    name: str
    stage: str
    shrink: tuple[Range, Range, Range]
    applied_by: str = "maker"
    axes: Axes = UPRIGHT
    frame: str = "figure"

    def __post_init__(self) -> None:
        turn = np.array(self.axes, dtype=np.float64)
        if turn.shape != (3, 3) or not np.abs(turn @ turn.T - np.eye(3)).max() <= _ORTHOGONAL:
            raise InputError(
                "the axes of the step are not three unit vectors at right angles",
                where=self.name,
                mend="Give a rotation.",
            )
        for ratio in self.shrink:
            if ratio.high >= 1 or ratio.low <= -1:
                raise InputError(
                    f"a shrinkage of {ratio.low:g} to {ratio.high:g} leaves nothing or doubles it",
                    where=self.name,
                    mend="Shrinkage is a ratio: half a per cent is 0.005.",
                )

    def factors(self, scenario: str) -> Matrix:
        """(3,) float64: 1 / (1 - S) along the step's own axes."""
        return np.array([1.0 / (1.0 - ratio.scenario(scenario)) for ratio in self.shrink])

    def matrix(self, scenario: str) -> Matrix:
        """(3, 3) float64: R diag(1 / (1 - S)) Rᵀ, which undoes the step."""
        turn = np.array(self.axes, dtype=np.float64)
        return turn @ np.diag(self.factors(scenario)) @ turn.T

    def placed(self, axes: npt.ArrayLike) -> "SizeStep":
        """The same step with its axes known: columns in the figure's frame."""
        rows = tuple(tuple(float(c) for c in row) for row in np.asarray(axes))
        return SizeStep(self.name, self.stage, self.shrink, self.applied_by, rows, self.frame)  # type: ignore[arg-type]

    @property
    def even(self) -> bool:
        """Whether it is the same along all axes, so that its axes don't matter."""
        first = self.shrink[0]
        return all((r.low, r.likely, r.high) == (first.low, first.likely, first.high) for r in self.shrink)


def even_step(name: str, stage: str, shrink: Range, applied_by: str = "maker") -> SizeStep:
    """A step that shrinks alike along all axes."""
    return SizeStep(name, stage, (shrink, shrink, shrink), applied_by)


def cavity_from_part(part_mm: float, shrink_ratio: float) -> float:
    """The cavity that gives a part of this size: part / (1 - S). 100 mm at 2 % wants 102.0408 mm."""
    return part_mm / (1.0 - shrink_ratio)


def part_from_cavity(cavity_mm: float, shrink_ratio: float) -> float:
    """What comes out of a cavity of this size: cavity · (1 - S)."""
    return cavity_mm * (1.0 - shrink_ratio)


def chain_matrix(steps: Sequence[SizeStep], scenario: str = "likely") -> Matrix:
    """(3, 3) float64: figure → master, all steps undone, the first step leftmost."""
    total = np.eye(3)
    for step in steps:
        total = total @ step.matrix(scenario)
    return total


def made_from(steps: Sequence[SizeStep], scenario: str = "likely") -> Matrix:
    """(3, 3) float64: master → cast, what the steps really do: the inverse of `chain_matrix`."""
    total = np.eye(3)
    for step in steps:
        total = np.linalg.inv(step.matrix(scenario)) @ total
    return total


@dataclass(frozen=True)
class ChainLine:
    """One step written out.

    `factors` are 1 / (1 - S), likely, along the step's own axes; `low` and `high` bound them.
    `after_mm` is the length that the sum started from, after this step is undone too.
    """

    name: str
    stage: str
    applied_by: str
    factors: tuple[float, float, float]
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    after_mm: float
    says: str


def write_out(steps: Sequence[SizeStep], length_mm: float, direction: npt.ArrayLike = (0, 0, 1)) -> tuple:
    """The chain as sums a person can follow: a length of the cast back to the file, the cast first.

    Only steps that the maker allows for change the length; the others are written with who does.

    Parameters
    ----------
    length_mm : float
        A length of the figure, along `direction` (a vector in the figure's frame).

    Returns
    -------
    tuple of ChainLine
        In the order of undoing: the cast first, the print last.
    """
    span = np.asarray(direction, dtype=np.float64)
    span = span / np.linalg.norm(span) * length_mm
    lines: list[ChainLine] = []
    for step in reversed(steps):
        before = float(np.linalg.norm(span))
        own = step.applied_by == "maker"
        if own:
            span = step.matrix("likely") @ span
        after = float(np.linalg.norm(span))
        ends = [tuple(float(f) for f in step.factors(scenario)) for scenario in SCENARIOS]
        lines.append(
            ChainLine(
                step.name,
                step.stage,
                step.applied_by,
                factors=ends[1],  # type: ignore[arg-type]
                low=ends[0],  # type: ignore[arg-type]
                high=ends[2],  # type: ignore[arg-type]
                after_mm=after,
                says=_sum_of(step, before, after, own),
            )
        )
    return tuple(lines)


def _sum_of(step: SizeStep, before_mm: float, after_mm: float, own: bool) -> str:
    low, likely, high = (
        " / ".join(f"{ratio.scenario(s):.4f}" for ratio in (step.shrink[:1] if step.even else step.shrink))
        for s in SCENARIOS
    )
    figure = f"S = {likely} ({low} to {high})"
    if not own:
        return f"{step.name}: {figure}; allowed for by the {step.applied_by}, not in the map"
    if step.even:
        return f"{step.name}: {figure}; {before_mm:.4f} mm / (1 - {likely}) = {after_mm:.4f} mm"
    return f"{step.name}: {figure} along its x / y / z; {before_mm:.4f} mm becomes {after_mm:.4f} mm"


def spread_of(steps: Sequence[SizeStep], direction: npt.ArrayLike, *, only: int | None = None) -> Range:
    """Size of the cast over the wanted size along a direction, when the map is right only if all is likely.

    Parameters
    ----------
    steps : sequence of SizeStep
        All steps, whoever allows for them: each is taken as allowed for at its likely figure.
    direction : (3,)
        In the figure's frame.
    only : int or None
        The one step that errs, to see its own share; None: all err.

    Notes
    -----
    Low is the cast when every step shrinks most. The ends are the worst case, not a likely error.
    """
    span = np.asarray(direction, dtype=np.float64)
    span = span / np.linalg.norm(span)
    wanted = chain_matrix(steps) @ span
    erring = [step for number, step in enumerate(steps) if only in (None, number)]
    sizes: list[float] = []
    for scenario in ("high", "likely", "low"):
        body = wanted
        for number, step in enumerate(steps):
            body = np.linalg.solve(step.matrix(scenario if only in (None, number) else "likely"), body)
        sizes.append(float(body @ span))
    figures = [ratio for step in erring for ratio in step.shrink]
    least_sure = next((f for f in figures if not f.calibrated), figures[0] if figures else None)
    basis = least_sure.basis if least_sure else Basis.STANDARD
    return Range(min(sizes), sizes[1], max(sizes), "ratio", basis)


def root_sum_square(steps: Sequence[SizeStep], direction: npt.ArrayLike) -> float:
    """Half-width of the cast's size as a ratio if the steps err independently: the usual estimate."""
    shares = [spread_of(steps, direction, only=number) for number in range(len(steps))]
    return float(np.sqrt(sum(((share.high - share.low) / 2) ** 2 for share in shares)))
