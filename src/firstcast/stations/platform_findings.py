"""What the platform station says: the sentences on counts, and its findings."""

from collections.abc import Sequence

import numpy as np

from firstcast.findings import Finding
from firstcast.printing.propped import Propped
from firstcast.process.counts import USUAL_RECORD, Generation, Made, Record, Spares
from firstcast.process.materials import Materials, Printer
from firstcast.ranges import Range
from firstcast.stations.platform_settings import Settings
from firstcast.vocabulary import ProcessKind, Verdict

LONGER = 10
"""How many times as long a record is told of, to show what a short one costs."""

BUILD = ("build_x_mm", "build_y_mm", "build_z_mm")


def given_copies(master: str, needed: int, prints: int) -> str:
    """The number as the job file gives it, beside what is needed."""
    return f"{_of(prints, 'print')} of '{master}', as given: {needed} good {_are(needed)} needed."


def filled_copies(master: str, needed: int, prints: int) -> str:
    """What a platform that is filled holds, beside what is needed."""
    return f"{_of(prints, 'print')} of '{master}' fill the platform: {needed} good {_are(needed)} needed."


def reckoned_copies(
    master: str,
    wanted: int,
    made: tuple[Made, ...],
    spares: Spares,
    good: Record | float,
    longer: Spares,
) -> str:
    """How many prints of a master, and why: moulds, generations, spares.

    `longer` is what a record `LONGER` times as long would ask for.
    """
    if spares.spares:
        number = f"{_of(spares.needed, 'master')} of '{master}' and {_of(spares.spares, 'spare')}"
    else:
        number = f"{_of(spares.needed, 'master')} of '{master}'"
    return f"{number}: {_moulds(wanted, made)}; {_good(spares, good, longer)}."


def _moulds(wanted: int, made: tuple[Made, ...]) -> str:
    """The chain from the castings back to the prints."""
    if not made:
        return f"{wanted} wanted, and the prints are the product"
    told = []
    for number, one in enumerate(reversed(made)):
        what = _of(one.castings, "casting" if number == 0 else "cast master")
        gives = f"{one.generation.pulls} from each"
        if one.generation.cavities > 1:
            gives = f"{one.generation.cavities} cavities, {gives}"
        told.append(
            f"{what} {_take(one.castings)} {_of(one.moulds, 'mould')} of {one.generation.mould} ({gives}), made from "
            f"{_of(one.masters, 'master')} ({_of(one.generation.mouldings, 'mould')} from each)"
        )
    return "; ".join(told)


def _good(spares: Spares, good: Record | float, longer: Spares) -> str:
    """With what chance enough prints are good, and what a short record costs."""
    if not isinstance(good, Record):
        known = f"with {100 * good:g} % of prints good"
    elif good is USUAL_RECORD:
        known = f"with no record of yours, reckoned as after {good.good:g} good of {good.tried:g} prints"
    else:
        known = f"after {good.good:g} good of {good.tried:g} prints"
    told = (
        f"{known}, at least {spares.needed} of {spares.prints} come out with a chance of "
        f"{100 * spares.chance:.0f} %"
    )
    if not isinstance(good, Record) or longer.prints >= spares.prints:
        return told
    low, high = good.share()
    long = good.times(LONGER)
    return (
        f"{told} (so short a record leaves the share of good prints between {100 * low:.0f} and {100 * high:.0f} %: "
        f"after {long.good:g} good of {long.tried:g} it would be {_of(longer.prints, 'print')})"
    )


def too_large(
    master: str,
    piece: str,
    propped: Propped,
    build_mm: tuple[float, float, float],
    edge_mm: float,
    printer: Printer,
) -> Finding:
    """A master that no place on the platform holds; it stops the job only if the platform's size is the maker's own.

    One that is smaller than the room by less than the steps in which pieces are moved is left out too, and only told.
    """
    low = np.minimum(*(mesh.bounds[0] for mesh in _bodies(propped)))
    high = np.maximum(*(mesh.bounds[1] for mesh in _bodies(propped)))
    x, y = (high - low)[:2].tolist()
    z = float(high[2])
    room = (build_mm[0] - 2 * edge_mm, build_mm[1] - 2 * edge_mm, build_mm[2])
    over = max(max(x, y) - max(room[:2]), min(x, y) - min(room[:2]), z - room[2])
    close = "" if over > 0.0 else ", and steps finer than those in which pieces are moved would be needed"
    own = all(getattr(printer, name).calibrated for name in BUILD)
    return Finding(
        "platform",
        "too-large",
        Verdict.STOP if own and over > 0.0 else Verdict.WATCH,
        piece,
        f"'{master}' with its props is {x:.1f} × {y:.1f} mm wide and {z:.1f} high: the platform has room for "
        f"{room[0]:.1f} × {room[1]:.1f} × {room[2]:.1f}, {edge_mm:g} mm from its edges{close}. It is left out of the runs.",
        f'Stand it otherwise ([stand.piece."{piece}"]), cut it into pieces, make it smaller, name your printer\'s own '
        "platform in [process.override.printer] (build_x_mm, build_y_mm, build_z_mm), or lower [platform] edge_mm.",
        measured=max(over, 0.0),
        limit=0.0,
        worse="high",
    )


def _bodies(propped: Propped):
    pair = (propped.piece, propped.props if len(propped.props.triangles) else propped.piece)
    return pair


def too_few(piece: str, needed: int, prints: int) -> Finding:
    """A piece of which fewer prints are made than moulds need, as the job file gives them."""
    return Finding(
        "platform",
        "too-few",
        Verdict.WATCH,
        piece,
        f"{_of(prints, 'print')} of '{piece}' {'is' if prints == 1 else 'are'} made, {needed} good {_are(needed)} needed.",
        "Raise its number in [platform] copies, leave it away to have it reckoned, or print the rest later.",
        measured=float(prints),
        limit=float(needed),
        unit="count",
    )


def unsaid(
    kind: ProcessKind, materials: Materials, generations: Sequence[Generation], settings: Settings
) -> list[Finding]:
    """What the numbers rest on that the job file does not say."""
    found = []
    guesses = _guesses(generations, settings)
    if guesses:
        found.append(
            Finding(
                "platform",
                "counts-by-default",
                Verdict.WATCH,
                "",
                f"How many prints are made rests on shipped figures: {'; '.join(guesses)}.",
                "Give what you know in [platform]: good_prints = [good, tried] (the longer your own record, the fewer spares), "
                "castings_per_mould, moulds_per_master; or the numbers themselves in copies.",
            )
        )
    if kind is ProcessKind.SPIN_DISC and settings.cavities is None:
        found.append(
            Finding(
                "platform",
                "cavities-unsaid",
                Verdict.WATCH,
                "",
                "A disc holds several copies of a piece, each from a master of its own; 1 is reckoned with.",
                "Ask the caster how many cavities the disc has, and give [platform] cavities.",
            )
        )
    if not all(getattr(materials.printer, name).calibrated for name in BUILD):
        x, y, z = (getattr(materials.printer, name).likely for name in BUILD)
        found.append(
            Finding(
                "platform",
                "platform-by-default",
                Verdict.WATCH,
                "",
                f"The platform of {x:g} × {y:g} × {z:g} mm is that of a class of printers ({materials.printer.title}).",
                "Give your printer's own in [process.override.printer]: build_x_mm, build_y_mm, build_z_mm.",
            )
        )
    return found


def _guesses(generations: Sequence[Generation], settings: Settings) -> list[str]:
    found = []
    if settings.good_prints is None and settings.good_share is None:
        low, high = (100 * share for share in USUAL_RECORD.share())
        found.append(
            f"spares as after {USUAL_RECORD.good:g} good of {USUAL_RECORD.tried:g} prints, a record so short that the share of good "
            f"ones may be anything from {low:.0f} to {high:.0f} %"
        )
    if generations and settings.castings_per_mould is None:
        last = generations[-1]
        found.append(f"{_of(last.pulls, 'casting')} from each cavity of {last.mould}")
    if generations and settings.moulds_per_master is None:
        found.append(f"{_of(generations[0].mouldings, 'mould')} from each print")
    return found


def summary(
    prints: int, layers: Sequence[int], seconds: Range | None, large: Sequence[str], *, trial: bool = False
) -> str:
    """The station's line on the route card: `layers` of every run, `seconds` for each layer where the job gives them."""
    left = f"; too large for the platform: {', '.join(large)}" if large else ""
    if not layers:
        return f"no runs{left}"
    hours = "" if seconds is None else f", about {seconds.likely * sum(layers) / 3600:.1f} hours"
    first = ", first 1 of each on a trial run" if trial else ""
    return f"{_of(prints, 'print')} in {_of(len(layers), 'run')}{first}, {sum(layers)} layers{hours}{left}"


def _of(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


def _take(count: int) -> str:
    return "takes" if count == 1 else "take"
