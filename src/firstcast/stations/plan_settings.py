"""The job file's [process]: how the figure is printed, moulded, cast and painted, and what its words stand for."""

from typing import Any, Literal

from pydantic import Field, model_validator

from firstcast.errors import FirstcastError, InputError
from firstcast.process import kinds
from firstcast.process.chain import ChainScenario, chain_scenarios
from firstcast.process.figures import nearest_word
from firstcast.process.filling import USUAL_SHOT, Shot, shot_of
from firstcast.process.limits import Limits
from firstcast.process.materials import (
    CATALOGUES,
    Casting,
    Materials,
    Mould,
    Paint,
    Record,
    choose,
    overridden,
)
from firstcast.ranges import SCENARIOS
from firstcast.stations.contract import StationSettings, fault
from firstcast.tolerances import TOLERANCES
from firstcast.vocabulary import ProcessKind

PITCH_LEAST_MM, PITCH_MOST_MM = 0.02, 0.05
"""Pitch follows the pixel between these: finer costs memory that no print shows, coarser loses detail."""

OVERRIDES = (*CATALOGUES, "primer", "shot", "limits")
"""The tables that may stand below [process.override]."""

Giver = Literal["maker", "caster", "toolmaker", "nobody"]


class Generation(StationSettings):
    """A generation of masters between the print and the castings: a mould, and what is cast in it."""

    mould: str
    cast: str


class Who(StationSettings):
    """Who allows for which shrinkage. What is not said falls to the kind's custom, and is asked about."""

    print: Giver | None = None
    mould: Giver | None = None
    cast: Giver | None = None


class Settings(StationSettings):
    """How the figure is printed, moulded, cast and painted: the job file's [process]."""

    kind: ProcessKind = ProcessKind.CUT_BLOCK
    printer: str = "mono-35"
    resin: str = "tough"
    mould: str | None = None
    """By default what the kind usually takes."""
    cast: str | None = None
    """By default what the kind usually takes."""
    paint: str = "brushed"
    primer: str | None = None
    """The paint class whose primer lies on the printed master before it is moulded; by default it stays bare."""
    shot: str | None = None
    """What pushes the casting material into the last mould; by default what the kind usually has."""
    light: Literal["gaussian", "heavy-tailed"] = "gaussian"
    """How light spreads sideways in the resin: two shapes of the same edge."""
    grey_edges: bool = True
    """Whether the printer draws a pixel as grey as it is covered (8 bits), or fully from half its area on."""
    generation: tuple[Generation, ...] = ()
    """Generations of masters before the production mould."""
    who: Who = Who()
    fitted: str | None = None
    """The process file that `firstcast fit` wrote; its figures are laid under `override` when the job is read."""
    override: dict[str, dict[str, Any]] = Field(default_factory=dict)
    """Figures of the maker's own: printer, resin, mould, cast, paint, primer, shot or limits, then the figure's
    name; a number, or a table of low, likely, high."""
    pitch_mm: float | None = Field(default=None, gt=0.005, le=0.2)
    """Near-field pitch; by default the printer's pixel between 0.02 and 0.05."""
    layer_mm: float | None = Field(default=None, gt=0.005, le=0.3)
    """Layer thickness; by default the printer's usual one."""
    reduce_tolerance_mm: float | None = Field(default=None, gt=0, le=0.1)
    """How far the written mesh may lie from the contour; by default a quarter pixel."""

    @model_validator(mode="after")
    def _known(self) -> "Settings":
        try:
            materials = materials_of(self)
            _check_mould(self.kind, materials)
            chain_of(self, materials, limits_of(self, materials))
        except FirstcastError as error:
            raise fault(error) from None
        return self


def materials_of(settings: Settings) -> Materials:
    """The materials that the settings name, with the maker's own figures in place.

    Raises
    ------
    InputError
        A name or a figure is not known.
    """
    usual = kinds.kind_of(settings.kind)
    keys = {
        "printer": settings.printer,
        "resin": settings.resin,
        "mould": settings.mould or usual.mould,
        "cast": settings.cast or usual.cast,
        "paint": settings.paint,
    }
    for word in settings.override:
        if word not in OVERRIDES:
            raise InputError(
                f"there is no table '{word}'", where="override", mend=nearest_word(word, OVERRIDES)
            )
    for name in settings.override.get("limits", {}):
        if name not in kinds.LIMIT_NAMES:
            raise InputError(
                f"there is no limit '{name}'",
                where="override.limits",
                mend=nearest_word(name, kinds.LIMIT_NAMES),
            )
    records = {word: _own(settings, word, choose(word, key)) for word, key in keys.items()}
    return Materials(**records)


def _own(settings: Settings, word: str, record: Record) -> Record:
    """The record with what stands below [process.override.WORD] in place."""
    return overridden(record, settings.override.get(word, {}), where=f"override.{word}")


def _check_mould(kind: ProcessKind, materials: Materials) -> None:
    """That the mould is one that the kind of process has."""
    chemistry = materials.mould.chemistry
    wanted = {ProcessKind.HARD_TOOL: "metal", ProcessKind.PRINT_ONLY: "none"}.get(kind, "rubber")
    given = chemistry if chemistry in ("metal", "none") else "rubber"
    if given != wanted:
        usual = kinds.kind_of(kind).mould
        raise InputError(
            f"{kind.value} has no mould '{materials.mould.key}'",
            where="mould",
            mend=f"Leave the key away for the usual one, '{usual}', or change kind.",
        )
    if (materials.cast.family == "none") != (kind is ProcessKind.PRINT_ONLY):
        raise InputError(
            f"{kind.value} has no cast '{materials.cast.key}'",
            where="cast",
            mend=f"Leave the key away for the usual one, '{kinds.kind_of(kind).cast}', or change kind.",
        )


def earlier_of(settings: Settings) -> list[tuple[Mould, Casting]]:
    """Mould and casting of every generation before the last."""
    found = []
    for number, generation in enumerate(settings.generation, start=1):
        where = f"generation.{number}"
        mould = choose("mould", generation.mould, where=f"{where}.mould")
        found.append((mould, choose("cast", generation.cast, where=f"{where}.cast")))
    return found


def primer_of(settings: Settings) -> Paint | None:
    """The paint whose primer lies on the master; None: it stays bare.

    Raises
    ------
    InputError
        There is no such paint, no print that could be primed, or figures of a primer that is not named.
    """
    if settings.primer is None:
        if "primer" in settings.override:
            raise InputError(
                "no primer lies on the master, so it has no figures",
                where="override.primer",
                mend='Name its class: primer = "primer".',
            )
        return None
    if settings.kind is ProcessKind.HARD_TOOL:
        raise InputError(
            "hard-tool has no printed master that a primer could lie on",
            where="primer",
            mend="Leave the key away, or change kind.",
        )
    return _own(settings, "primer", choose("paint", settings.primer, where="primer"))


def shot_with(settings: Settings) -> Shot | None:
    """What pushes the casting material into the last mould; None where nothing is cast.

    Raises
    ------
    InputError
        There is no such shot, or none is made.
    """
    usual = USUAL_SHOT.get(settings.kind)
    if usual is None:
        if settings.shot is None and "shot" not in settings.override:
            return None
        raise InputError(
            f"{settings.kind.value} casts nothing, so it has no shot",
            where="override.shot" if settings.shot is None else "shot",
            mend="Leave the key away, or change kind.",
        )
    return _own(settings, "shot", shot_of(settings.shot or usual))


def chain_of(
    settings: Settings, materials: Materials, limits: Limits
) -> tuple[ChainScenario, ChainScenario, ChainScenario]:
    """The chain of the forecast as low (changes least), likely and high, the cast as large as the master.

    Raises
    ------
    InputError
        A primer, shot or generation is not known, nothing pushes the cast into the mould, or light too weak to
        cure a body.
    """
    found = chain_scenarios(
        materials,
        limits,
        earlier=earlier_of(settings),
        shot=shot_with(settings),
        primer=primer_of(settings),
        heavy_tails=settings.light == "heavy-tailed",
        grey_edges=settings.grey_edges,
    )
    low, likely, high = (found[scenario] for scenario in SCENARIOS)
    return low, likely, high


def limits_of(settings: Settings, materials: Materials) -> Limits:
    """The limits that later stations obey.

    Raises
    ------
    InputError
        A limit's own figure is none, or the printer's pixel or layer is not above 0.
    """
    kind = kinds.kind_of(settings.kind)
    printer = materials.printer
    pixel = (printer.pixel_x_mm.likely, printer.pixel_y_mm.likely)
    layer = settings.layer_mm or printer.layer_mm.likely
    for name, length in (("pixel_x_mm", pixel[0]), ("pixel_y_mm", pixel[1]), ("layer_mm", layer)):
        if length <= 0:
            raise InputError(
                f"{length:g} mm is no length",
                where=f"override.printer.{name}",
                mend="Give a number above 0.",
            )
    pitch = settings.pitch_mm or min(max(min(pixel), PITCH_LEAST_MM), PITCH_MOST_MM)
    return Limits(
        kind=settings.kind,
        pixel_mm=pixel,
        layer_mm=layer,
        pitch_mm=(pitch, pitch, pitch),
        reduce_tolerance_mm=settings.reduce_tolerance_mm or TOLERANCES.reduce_pixels * min(pixel),
        locks_allowed=kind.locks,
        carries_print=kind.carry,
        **kinds.limit_figures(kind, materials, settings.override.get("limits", {})),
    )
