"""What each kind of process asks of a piece, and what its size steps are."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from firstcast.process.figures import figure_from, override_figure, read_data
from firstcast.process.materials import Casting, Materials, Mould
from firstcast.process.shrink import SizeStep, even_step
from firstcast.process.survive import warm_growth_ratio
from firstcast.ranges import SCENARIOS, Range
from firstcast.vocabulary import ProcessKind

STAGES = ("print", "mould", "cast")
"""The stages for which somebody must allow."""


@dataclass(frozen=True)
class Kind:
    """One kind of process: usual materials, limits, and who by default allows for what."""

    title: str
    mould: str
    cast: str
    locks: bool
    carry: bool
    who_print: str
    who_mould: str
    who_cast: str
    wall_mm: Range
    gap_mm: Range
    pin_mm: Range
    engraved_mm: Range
    raised_mm: Range
    draft_deg: Range

    def who(self, stage: str) -> str:
        """Who by default allows for a stage."""
        return {"print": self.who_print, "mould": self.who_mould, "cast": self.who_cast}[stage]


@cache
def kind_of(kind: ProcessKind) -> Kind:
    """The data of one kind of process."""
    table = read_data("kinds")[kind.value]
    values: dict[str, Any] = {
        name: figure_from(value, where=f"kinds.toml [{kind}] {name}") if isinstance(value, dict) else value
        for name, value in table.items()
    }
    return Kind(**values)


def largest(*figures: Range) -> Range:
    """The largest of some figures, scenario by scenario; its origin is that of the largest likely one."""
    main = max(figures, key=lambda figure: figure.likely)
    low, likely, high = (max(figure.scenario(s) for figure in figures) for s in SCENARIOS)
    return Range(low, likely, high, main.unit, main.basis, main.source)


def added(figure: Range, other: Range, times: float) -> Range:
    """`figure` + times · `other`, ends with ends; uncalibrated if either is."""
    low, likely, high = (figure.scenario(s) + times * other.scenario(s) for s in SCENARIOS)
    worse = other if figure.calibrated and not other.calibrated else figure
    return Range(low, likely, high, figure.unit, worse.basis, worse.source)


def limit_figures(kind: Kind, materials: Materials, overrides: Mapping[str, Any]) -> dict[str, Range]:
    """Walls, gaps and the like: the kind's own, raised to what printer, casting and paint ask for.

    A wall must also satisfy the casting material and two pixels of the printer; a gap must stay open
    between its two painted faces. What the maker gives in [process.override.limits] holds as given.

    Raises
    ------
    InputError
        An override is no figure.
    """
    printer, paint = materials.printer, materials.paint
    two_pixels = Range.exactly(2.0 * max(printer.pixel_x_mm.likely, printer.pixel_y_mm.likely))
    # A printed master's coarseness counts where there is a print; a toolmaker works from data.
    floor = (two_pixels,) if kind.carry else ()
    figures = {
        "wall_mm": largest(kind.wall_mm, materials.cast.least_wall_mm, *floor),
        "gap_mm": added(largest(kind.gap_mm, *floor), paint.film_mm, 2.0),
        "pin_mm": largest(kind.pin_mm, *floor),
        "engraved_mm": largest(kind.engraved_mm, *floor),
        "raised_mm": kind.raised_mm,
        "draft_deg": kind.draft_deg,
        "film_mm": paint.film_mm,
        "parting_opening_mm": materials.mould.parting_opening_mm,
    }
    for name, value in overrides.items():
        figures[name] = override_figure(figures[name], value, where=f"override.limits.{name}")
    return figures


LIMIT_NAMES = (
    "wall_mm",
    "gap_mm",
    "pin_mm",
    "engraved_mm",
    "raised_mm",
    "draft_deg",
    "film_mm",
    "parting_opening_mm",
)
"""The limits that [process.override.limits] may name."""


def size_steps(
    kind: ProcessKind,
    materials: Materials,
    earlier: Sequence[tuple[Mould, Casting]],
    who: Mapping[str, str],
) -> tuple[SizeStep, ...]:
    """The steps from file to cast: the print, then mould, warmth and cast of every generation.

    Parameters
    ----------
    earlier : sequence of (mould, casting)
        Generations before the last one, such as metal masters cast from a first mould.
    who : mapping
        For print, mould and cast: who allows.
    """
    steps: list[SizeStep] = []
    if kind is not ProcessKind.HARD_TOOL:
        resin = materials.resin
        xy, z = resin.shrink_xy_ratio, resin.shrink_z_ratio
        steps.append(SizeStep(f"print in {resin.title}", "print", (xy, xy, z), who["print"], frame="printer"))
    if kind is ProcessKind.PRINT_ONLY:
        return tuple(steps)
    generations = [*earlier, (materials.mould, materials.cast)]
    for number, (mould, cast) in enumerate(generations, start=1):
        tag = f", generation {number} of {len(generations)}" if len(generations) > 1 else ""
        steps.append(even_step(f"mould of {mould.title}{tag}", "mould", mould.shrink_ratio, who["mould"]))
        if mould.chemistry != "metal":
            # Moulding shrinkage of plastics is defined against the cold tool, so warmth is in it already.
            steps.append(
                even_step(f"mould warm when cast in{tag}", "warmth", warm_growth_ratio(mould), who["mould"])
            )
        steps.append(even_step(f"cast in {cast.title}{tag}", "cast", cast.shrink_ratio, who["cast"]))
    return tuple(steps)


def cautions(tags: set[str]) -> tuple[str, ...]:
    """The cautions that apply to a plan with these tags; that of the data sheet first."""
    return tuple(
        entry["says"]
        for entry in read_data("cautions")["caution"]
        if tags & {*entry["when"]} or "always" in entry["when"]
    )


def tags_of(
    kind: ProcessKind, materials: Materials, earlier: Sequence[tuple[Mould, Casting]] = ()
) -> set[str]:
    """Words by which cautions are chosen: of the process, and of every generation's mould and casting."""
    tags = {kind.value, materials.paint.key}
    for mould, cast in (*earlier, (materials.mould, materials.cast)):
        tags |= {mould.chemistry, cast.key, cast.family}
    if "metal-lead" in tags:
        tags.add("metal")
    if kind is not ProcessKind.HARD_TOOL:
        tags.add("photopolymer")
    return tags
