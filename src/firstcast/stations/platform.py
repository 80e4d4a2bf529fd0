"""The platform station: how many masters to print, how they stand on the build platform, and in how many runs."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.findings import Measure
from firstcast.printing.arranging import Group, Laid, lay_out, paired
from firstcast.printing.ground import Ground, quarter_steps, shade
from firstcast.printing.nesting_search import Effort
from firstcast.printing.propped import Propped
from firstcast.printing.run import Run
from firstcast.printing.shadows import Shadow, outline_of
from firstcast.process.counts import (
    Record,
)
from firstcast.process.figures import nearest_word
from firstcast.process.limits import Limits
from firstcast.process.materials import UNKNOWN, Casting, Materials, Mould
from firstcast.ranges import Range
from firstcast.stations import platform_counts as counts
from firstcast.stations import platform_findings as told
from firstcast.stations.contract import StationResult
from firstcast.stations.platform_counts import Copies
from firstcast.stations.platform_settings import Settings
from firstcast.vocabulary import Basis, Make, ProcessKind

SECONDS_PER_LAYER = Range(4.0, 9.0, 20.0, "s", Basis.DEFAULT, "no source: time one of your own prints")


@dataclass(frozen=True)
class RunSize:
    """What a run takes: `covered_ratio` is the share of the platform that lies under pieces and props."""

    name: str
    height_mm: float
    layers: int
    covered_ratio: float
    seconds: Range


@dataclass(frozen=True)
class Outline:
    """What a master with its props covers seen from above: loops (n, 2) float64, mm from its middle."""

    master: str
    loops_mm: tuple[npt.NDArray[np.float64], ...]


@dataclass(frozen=True, kw_only=True)
class Filled(StationResult):
    """What platform gives.

    Attributes
    ----------
    runs : tuple of Run
    sizes : tuple of RunSize
        One per run.
    copies : tuple of Copies
        One per master that is printed.
    outlines : tuple of Outline
        The same masters, for drawings of the platform.
    build_mm : (float, float, float)
        Width, depth and height of the platform.
    left_out : tuple of str
        Masters too large for the platform.
    front : str
        Which edge of the platform is the printer's front, as `firstcast.process.materials.Printer` has it.
    """

    runs: tuple[Run, ...] = ()
    sizes: tuple[RunSize, ...] = ()
    copies: tuple[Copies, ...] = ()
    outlines: tuple[Outline, ...] = ()
    build_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    left_out: tuple[str, ...] = ()
    front: str = UNKNOWN


def platform(
    *,
    pieces: tuple[tuple[str, str, Propped], ...],
    wanted: int,
    limits: Limits,
    materials: Materials,
    settings: Settings,
    earlier: tuple[tuple[Mould, Casting], ...] = (),
) -> Filled:
    """How many of each master are printed, and where they stand.

    Parameters
    ----------
    pieces : tuple of (master, piece, Propped)
        A piece's second master is the carried one.
    wanted : int
        Castings of every piece.
    earlier : tuple of (Mould, Casting)
        Generations before the last mould.

    Raises
    ------
    InputError
        A setting names no piece, or the platform is smaller than its edges.
    """
    if limits.kind is ProcessKind.HARD_TOOL or not pieces:
        return Filled(says="nothing is printed, so no platform is filled")
    _check_names(pieces, settings)
    generations = counts.generations(limits.kind, materials, settings, earlier)
    chosen = _chosen(pieces, settings)
    printer = materials.printer
    steps = _steps(len(chosen), limits, settings)
    ground, shadows = shade(
        {name: propped for name, _, propped in chosen},
        (printer.build_x_mm.likely, printer.build_y_mm.likely, printer.build_z_mm.likely), limits.pixel_mm,
        edge_mm=settings.edge_mm, cell_mm=settings.cell_mm, band_mm=settings.band_mm, turned=settings.turns,
        steps=steps,
    )  # fmt: skip
    turns = ground.turns(settings.turns, steps)
    large = [name for name, _, _ in chosen if name not in shadows]
    copies = tuple(
        counts.copies_of(name, piece, settings.wanted or wanted, generations, settings)
        for name, piece, _ in chosen
    )
    laid = lay_out(
        _groups(chosen, shadows, copies, ground, settings), ground, clearance_mm=settings.clearance_mm,
        turns=turns, effort=Effort(settings.tries, settings.sweeps), fill=settings.fill, trial=settings.trial,
    )  # fmt: skip
    runs = tuple(one.run for one in laid)
    sizes = tuple(_size(one, limits, _seconds_per_layer(settings)) for one in laid)
    if settings.fill:
        copies = counts.as_filled(copies, runs)
    findings = (
        *(told.too_large(name, piece, propped, ground.build_mm, settings.edge_mm, materials.printer)
          for name, piece, propped in chosen if name in large),
        *counts.too_few(copies),
        *told.unsaid(limits.kind, materials, generations, settings),
    )  # fmt: skip
    prints = sum(len(run.placements) for run in runs)
    return Filled(
        runs=runs,
        sizes=sizes,
        copies=copies,
        outlines=tuple(
            Outline(name, outline_of([p.piece, p.props])) for name, _, p in chosen if name in shadows
        ),
        build_mm=ground.build_mm,
        left_out=tuple(large),
        front=printer.front,
        says=told.summary(
            prints,
            [size.layers for size in sizes],
            _seconds_per_layer(settings) if settings.seconds_per_layer else None,
            large,
            trial=settings.trial,
        ),
        findings=findings,
        measures=_measures(runs, sizes),
    )


def _steps(masters: int, limits: Limits, settings: Settings) -> int:
    """In which a quarter turn is divided; two masters that stand side by side turn together, by quarters."""
    free = settings.turns and settings.free_turns and not settings.side_by_side
    return quarter_steps(masters, limits.pixel_mm) if free else 1


def _check_names(pieces: tuple[tuple[str, str, Propped], ...], settings: Settings) -> None:
    masters, of = {name for name, _, _ in pieces}, {piece for _, piece, _ in pieces}
    given = (("separate", settings.separate, of), ("copies", settings.copies, masters | of))
    for key, names, known in given:
        for name in names:
            if name not in known:
                raise InputError(
                    f"no '{name}' is printed",
                    where=f"platform.{key}",
                    mend=f"{nearest_word(name, sorted(known))} Of two masters [platform] masters says which is printed.",
                )
    if any(count < 0 for count in settings.copies.values()):
        raise InputError("fewer than no copies", where="platform.copies", mend="Give 0 or more.")
    if settings.good_prints is not None:
        Record(*settings.good_prints)


def _chosen(
    pieces: tuple[tuple[str, str, Propped], ...], settings: Settings
) -> list[tuple[str, str, Propped]]:
    """The masters that are printed: of a piece with two, plain and carried, those that the job asks for."""
    names: dict[str, list[str]] = {}
    for name, piece, _ in pieces:
        names.setdefault(piece, []).append(name)
    both = (Make.PLAIN, Make.CARRIED)
    asked = settings.printed(both)
    return [
        (name, piece, propped)
        for name, piece, propped in pieces
        if len(names[piece]) == 1 or both[names[piece].index(name)] in asked
    ]


def _groups(
    chosen: list[tuple[str, str, Propped]],
    shadows: dict[str, Shadow],
    copies: tuple[Copies, ...],
    ground: Ground,
    settings: Settings,
) -> list[Group]:
    """Masters as they are placed: each alone, or the two of a piece as one where they are to stand side by side."""
    prints = {row.master: row.prints for row in copies}
    by_piece: dict[str, list[Group]] = {}
    for name, piece, _ in chosen:
        if name in shadows:
            lot = piece if piece in settings.separate else ""
            group = Group(shadows[name], ((name, 0, 0),), prints[name], lot)
            by_piece.setdefault(piece, []).append(group)
    found: list[Group] = []
    for groups in by_piece.values():
        if settings.side_by_side and len(groups) == 2:
            groups = paired(groups[0], groups[1], ground, ground.turns(settings.turns), settings.clearance_mm)
        found += groups
    return found


def _size(laid: Laid, limits: Limits, seconds: Range) -> RunSize:
    layers = math.ceil(laid.height_mm / limits.layer_mm - 1e-6)
    return RunSize(
        laid.run.name, laid.height_mm, layers, laid.covered_ratio, seconds.map(lambda each: each * layers)
    )


def _seconds_per_layer(settings: Settings) -> Range:
    own = settings.seconds_per_layer
    return SECONDS_PER_LAYER if own is None else Range.exactly(own, "s", source="the job file")


def _measures(runs: tuple[Run, ...], sizes: tuple[RunSize, ...]) -> tuple[Measure, ...]:
    return (
        Measure("runs", float(len(runs)), "count"),
        Measure("prints", float(sum(len(run.placements) for run in runs)), "count", "with spares"),
        *(
            Measure(f"{size.name} covered", size.covered_ratio, "ratio", "of the platform, seen from above")
            for size in sizes
        ),
    )
