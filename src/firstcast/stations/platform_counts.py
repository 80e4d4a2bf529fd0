"""How often each master is printed: what moulds need, spares, and what the job file says in their place."""

from dataclasses import dataclass, replace

from firstcast.findings import Finding
from firstcast.printing.run import Run
from firstcast.process.counts import (
    USUAL_RECORD,
    Generation,
    Made,
    Record,
    generations_of,
    masters_for,
    prints_for,
)
from firstcast.process.materials import Casting, Materials, Mould
from firstcast.stations import platform_findings as told
from firstcast.stations.platform_settings import Settings
from firstcast.vocabulary import ProcessKind


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


def generations(
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


def copies_of(
    name: str, piece: str, wanted: int, generations: tuple[Generation, ...], settings: Settings
) -> Copies:
    """How often one master is printed, as the job file gives it or as moulds and spares ask for."""
    made = masters_for(wanted, generations)
    needed = made[0].masters if made else wanted
    given = settings.copies.get(name, settings.copies.get(piece))
    if given is not None:
        return Copies(name, piece, needed, given, None, made, told.given_copies(name, needed, given))
    good = settings.good_share or (Record(*settings.good_prints) if settings.good_prints else USUAL_RECORD)
    spares = prints_for(needed, settings.spares_chance, good)
    # a longer record of mostly failures would ask for more, not fewer
    longer = good.times(told.LONGER) if isinstance(good, Record) and 2 * good.good > good.tried else good
    says = told.reckoned_copies(
        name, wanted, made, spares, good, prints_for(needed, settings.spares_chance, longer)
    )
    return Copies(name, piece, needed, spares.prints, spares.chance, made, says)


def too_few(copies: tuple[Copies, ...]) -> list[Finding]:
    """Pieces whose masters together are fewer than needed."""
    prints: dict[str, int] = {}
    for row in copies:
        prints[row.piece] = prints.get(row.piece, 0) + row.prints
    needed = {row.piece: row.needed for row in copies}
    return [told.too_few(piece, needed[piece], n) for piece, n in prints.items() if n < needed[piece]]


def as_filled(copies: tuple[Copies, ...], runs: tuple[Run, ...]) -> tuple[Copies, ...]:
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
