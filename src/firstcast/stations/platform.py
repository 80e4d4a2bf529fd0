"""The platform station: how many masters to print, how they stand on the build platform, and in how many runs."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.findings import Finding, Measure
from firstcast.printing.arranging import Ground, Group, Laid, ground_of, lay_out, paired
from firstcast.printing.nesting_search import Effort
from firstcast.printing.propped import Propped
from firstcast.printing.run import Run
from firstcast.printing.shadows import Shadow, outline_of, shadow_of
from firstcast.process.counts import (
    USUAL_RECORD,
    Generation,
    Made,
    Record,
    generations_of,
    masters_for,
    prints_for,
)
from firstcast.process.figures import nearest_word
from firstcast.process.limits import Limits
from firstcast.process.materials import Casting, Materials, Mould
from firstcast.ranges import Range
from firstcast.stations import platform_findings as told
from firstcast.stations.contract import StationResult
from firstcast.stations.platform_settings import Settings
from firstcast.vocabulary import Basis, Make, ProcessKind

SECONDS_PER_LAYER = Range(4.0, 9.0, 20.0, "s", Basis.DEFAULT, "no source: time one of your own prints")

CELLS_MOST, BANDS_MOST = 160, 48
"""Cells along the widest piece and bands up the tallest. With more of them the maps of pairs cost much time and memory;
beside a piece so large the steps are as small as 0.2 mm are beside one of 32 mm."""

HALVINGS = 2
"""How often cells are halved for a master that they alone refuse: maps of pairs grow to four times each time."""


@dataclass(frozen=True)
class Copies:
    """How often a master is printed.

    Attributes
    ----------
    needed, prints : int
        Good prints that are needed, and prints to make of it.
    chance : float or None
        That enough of them are good; None where the job file gives the number.
    says : str
        All of it in a sentence.
    """

    master: str
    piece: str
    needed: int
    prints: int
    chance: float | None
    made: tuple[Made, ...]
    says: str


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
    """

    runs: tuple[Run, ...] = ()
    sizes: tuple[RunSize, ...] = ()
    copies: tuple[Copies, ...] = ()
    outlines: tuple[Outline, ...] = ()
    build_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    left_out: tuple[str, ...] = ()


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
    generations = _generations(limits.kind, materials, settings, earlier)
    chosen = _chosen(pieces, settings)
    ground, shadows = _shadows(chosen, limits, materials, settings)
    turns = ground.turns(settings.turns)
    large = [name for name, _, _ in chosen if name not in shadows]
    copies = tuple(
        _copies(name, piece, settings.wanted or wanted, generations, settings) for name, piece, _ in chosen
    )
    laid = lay_out(
        _groups(chosen, shadows, copies, ground, settings), ground, clearance_mm=settings.clearance_mm,
        turns=turns, effort=Effort(settings.tries, settings.sweeps), fill=settings.fill,
    )  # fmt: skip
    runs = tuple(one.run for one in laid)
    sizes = tuple(_size(one, limits, _seconds_per_layer(settings)) for one in laid)
    if settings.fill:
        copies = _as_filled(copies, runs)
    findings = (
        *(told.too_large(name, piece, propped, ground.build_mm, settings.edge_mm, materials.printer)
          for name, piece, propped in chosen if name in large),
        *_too_few(copies),
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
        says=told.summary(
            prints,
            [size.layers for size in sizes],
            _seconds_per_layer(settings) if settings.seconds_per_layer else None,
            large,
        ),
        findings=findings,
        measures=_measures(runs, sizes),
    )


def _generations(
    kind: ProcessKind,
    materials: Materials,
    settings: Settings,
    earlier: tuple[tuple[Mould, Casting], ...],
) -> tuple[Generation, ...]:
    """The generations of moulds with the counts to plan on; none where the prints are the product."""
    if kind is ProcessKind.PRINT_ONLY:
        return ()
    return generations_of(
        (*(mould for mould, _ in earlier), materials.mould),
        cavities=settings.cavities,
        castings_per_mould=settings.castings_per_mould,
        moulds_per_master=settings.moulds_per_master,
    )


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


def _shadows(
    chosen: list[tuple[str, str, Propped]], limits: Limits, materials: Materials, settings: Settings
) -> tuple[Ground, dict[str, Shadow]]:
    """The platform's cells, and the shadow of every master that has room on it.

    Shadows are rounded outward to cells and the room inward: where that alone leaves no room for a master, cells are halved, as far
    as memory bears.
    """
    printer = materials.printer
    build = (printer.build_x_mm.likely, printer.build_y_mm.likely, printer.build_z_mm.likely)
    wide = {name: _wide_mm(propped) for name, _, propped in chosen}
    cell = max(settings.cell_mm, max(float(each.max()) for each in wide.values()) / CELLS_MOST)
    band = max(settings.band_mm, max(p.height_mm for _, _, p in chosen) / BANDS_MOST)
    for last in (False,) * HALVINGS + (True,):
        ground = ground_of(build, limits.pixel_mm, edge_mm=settings.edge_mm, cell_mm=cell)
        turns = ground.turns(settings.turns)
        shadows = {
            name: shadow_of([p.piece, p.props], cell_mm=ground.cell_mm, band_mm=band) for name, _, p in chosen
        }
        held = {name: shadow for name, shadow in shadows.items() if ground.has_room(shadow, turns)}
        room = np.array(build[:2]) - 2.0 * settings.edge_mm
        refused = [
            name
            for name, _, propped in chosen
            if name not in held and propped.height_mm <= build[2] and _goes_in(wide[name], room, turns)
        ]
        if not refused or last:
            break
        cell *= 0.5
    return ground, held


def _wide_mm(propped: Propped) -> npt.NDArray[np.float64]:
    """(2,) width and depth of a piece with its props."""
    bounds = [mesh.bounds[:, :2] for mesh in (propped.piece, propped.props) if len(mesh.triangles)]
    return np.max(bounds, axis=0)[1] - np.min(bounds, axis=0)[0]


def _goes_in(wide: npt.NDArray[np.float64], room: npt.NDArray[np.float64], turns: Sequence[int]) -> bool:
    """Whether a rectangle goes into another, as it is or by a quarter turn."""
    return bool((wide <= room).all() or (1 in turns and (wide[::-1] <= room).all()))


def _copies(
    name: str, piece: str, wanted: int, generations: tuple[Generation, ...], settings: Settings
) -> Copies:
    made = masters_for(wanted, generations)
    needed = made[0].masters if made else wanted
    given = settings.copies.get(name, settings.copies.get(piece))
    if given is not None:
        return Copies(name, piece, needed, given, None, made, told.given_copies(name, needed, given))
    good = settings.good_share or Record(*(settings.good_prints or (USUAL_RECORD.good, USUAL_RECORD.tried)))
    spares = prints_for(needed, settings.spares_chance, good)
    says = told.reckoned_copies(name, wanted, made, spares, settings.good_share, settings.good_prints)
    return Copies(name, piece, needed, spares.prints, spares.chance, made, says)


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


def _too_few(copies: tuple[Copies, ...]) -> list[Finding]:
    """Pieces whose masters together are fewer than needed."""
    prints: dict[str, int] = {}
    for row in copies:
        prints[row.piece] = prints.get(row.piece, 0) + row.prints
    needed = {row.piece: row.needed for row in copies}
    return [told.too_few(piece, needed[piece], n) for piece, n in prints.items() if n < needed[piece]]


def _as_filled(copies: tuple[Copies, ...], runs: tuple[Run, ...]) -> tuple[Copies, ...]:
    """What a platform filled to the brim holds, in place of what was reckoned."""
    count: dict[str, int] = {}
    for run in runs:
        for placement in run.placements:
            count[placement.master] = count.get(placement.master, 0) + 1
    return tuple(
        replace(row, prints=count.get(row.master, 0), chance=None,
                says=told.filled_copies(row.master, row.needed, count.get(row.master, 0)))
        for row in copies
    )  # fmt: skip


def _measures(runs: tuple[Run, ...], sizes: tuple[RunSize, ...]) -> tuple[Measure, ...]:
    return (
        Measure("runs", float(len(runs)), "count"),
        Measure("prints", float(sum(len(run.placements) for run in runs)), "count", "with spares"),
        *(
            Measure(f"{size.name} covered", size.covered_ratio, "ratio", "of the platform, seen from above")
            for size in sizes
        ),
    )
