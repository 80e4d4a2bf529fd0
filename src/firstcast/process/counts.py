"""How many masters to print: from the castings wanted back through moulds and generations, and spares on top.

Every figure is planned on at its low end: moulds that last longer are a gain, moulds that don't would stop the work.

Spares are a question about the next prints, so the answer is the chance that enough of them are good, given the maker's
record. With s good of n tried and the prior of Jeffreys (Beta(½, ½)), the share of good prints is Beta(s + ½, n - s + ½), and how
many of the next are good is beta-binomial (any textbook of Bayesian statistics; Gelman et al., Bayesian Data Analysis,
section 2.4, for the binomial model - from memory). A small record so asks for more spares than a long one with the same share. The lower
bound of Clopper and Pearson (1934) in its place would set a second safety on top of the chance asked for. Prints
are taken to fail independently; a run that fails as a whole takes all with it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy import special

from firstcast.errors import InputError
from firstcast.process.figures import figure_from, read_data
from firstcast.process.materials import Mould
from firstcast.ranges import Range

JEFFREYS = 0.5

PRINTS_MOST = 100_000
"""More prints than anybody makes: a chance that asks for more is out of reach."""


@dataclass(frozen=True)
class Record:
    """How many of the maker's prints came out good."""

    good: float
    tried: float

    def __post_init__(self) -> None:
        if not (0 <= self.good <= self.tried and math.isfinite(self.tried)):
            raise InputError(
                f"{self.good:g} good of {self.tried:g} prints",
                where="record of prints",
                mend="Give [good, tried], as in [9, 10].",
            )

    def times(self, factor: float) -> "Record":
        """A record so many times as long, with the same share of good prints."""
        return Record(self.good * factor, self.tried * factor)

    def share(self, chance: float = 0.9) -> tuple[float, float]:
        """Between what the share of good prints lies with a chance, as much left out below as above."""
        a, b = self.good + JEFFREYS, self.tried - self.good + JEFFREYS
        low, high = (float(special.betaincinv(a, b, (1.0 + side * chance) / 2.0)) for side in (-1, 1))
        return low, high


USUAL_RECORD = Record(4, 5)
"""Stands for a maker's record where there is none: a wide default, no source. Its share of good prints lies between 0.44 and
0.96 in nine of ten cases."""


@dataclass(frozen=True)
class Generation:
    """One generation of moulds: what is cast in them are the castings, or the next generation's masters.

    Attributes
    ----------
    mould : str
        Its title.
    pulls, mouldings : int
        How many castings each cavity gives; how many moulds are made from one master.
    cavities : int
        Copies of the piece in one mould, each made from a master of its own.
    """

    mould: str
    pulls: int
    mouldings: int
    cavities: int = 1

    def __post_init__(self) -> None:
        for name, count in (
            ("pulls", self.pulls),
            ("mouldings", self.mouldings),
            ("cavities", self.cavities),
        ):
            if count < 1:
                raise InputError(f"{count} {name}", where=self.mould, mend="Give 1 or more.")


@dataclass(frozen=True)
class Made:
    """What one generation comes to: `masters` go into `moulds`, which give `castings` or a few more."""

    generation: Generation
    castings: int
    moulds: int
    masters: int


@dataclass(frozen=True)
class Spares:
    """How many to print so that `needed` are good, and the chance that they are."""

    needed: int
    prints: int
    chance: float

    @property
    def spares(self) -> int:
        """Prints beyond those needed."""
        return self.prints - self.needed


def planned(figure: Range) -> int:
    """The count to plan on: the low end, rounded down, but at least one."""
    return max(math.floor(figure.low), 1)


def mouldings_of(mould: Mould, *, printed: bool) -> Range:
    """How often a master can be moulded, by how this rubber cures; `printed` or cast itself."""
    how = "pressed" if mould.chemistry == "vulcanised" else "poured"
    key = f"{'printed' if printed else 'cast'}-{how}"
    return figure_from(read_data("mouldings")[key]["mouldings"], where=f"mouldings.toml [{key}]")


def generations_of(
    moulds: Sequence[Mould],
    *,
    cavities: int | None = None,
    castings_per_mould: int | None = None,
    moulds_per_master: int | None = None,
) -> tuple[Generation, ...]:
    """The generations of moulds in the order of the work, with the counts to plan on.

    `cavities` and `castings_per_mould` are the maker's own figures of the last mould, `moulds_per_master` of the prints,
    in the first. Earlier moulds have one cavity.
    """
    found = []
    for number, mould in enumerate(moulds):
        last = number == len(moulds) - 1
        pulls = castings_per_mould if last else None
        mouldings = moulds_per_master if number == 0 else None
        found.append(
            Generation(
                mould.title,
                pulls or planned(mould.pulls),
                mouldings or planned(mouldings_of(mould, printed=number == 0)),
                (cavities or 1) if last else 1,
            )
        )
    return tuple(found)


def masters_for(wanted: int, generations: tuple[Generation, ...]) -> tuple[Made, ...]:
    """What each generation comes to, in the order of the work; the first one's masters are printed.

    Parameters
    ----------
    wanted : int
        Castings of the last generation.
    generations : tuple of Generation
        In the order of the work; none if the prints are the product.

    Raises
    ------
    InputError
        Nothing is wanted.

    Notes
    -----
    m moulds with k cavities each are m · k mouldings of k different masters at a time. With n mouldings each, max(k, ⌈m k / n⌉)
    masters do: taken in turn, none comes twice into one mould.
    """
    if wanted < 1:
        raise InputError(f"{wanted} castings wanted", where="counts", mend="Give 1 or more.")
    made: list[Made] = []
    for generation in reversed(generations):
        moulds = -(-wanted // (generation.pulls * generation.cavities))
        masters = max(generation.cavities, -(-moulds * generation.cavities // generation.mouldings))
        made.append(Made(generation, wanted, moulds, masters))
        wanted = masters
    return tuple(reversed(made))


def chance_of_share(prints: int, needed: int, share: float) -> float:
    """The chance that at least `needed` of `prints` are good if each is with probability `share`: a sum of binomials."""
    if needed <= 0:
        return 1.0
    if not 0.0 < share < 1.0:
        return float(share >= 1.0 and needed <= prints)
    terms = (
        _log_choose(prints, k) + k * math.log(share) + (prints - k) * math.log1p(-share)
        for k in range(needed, prints + 1)
    )
    return min(math.fsum(map(math.exp, terms)), 1.0)


def chance_after(prints: int, needed: int, record: Record) -> float:
    """The chance that at least `needed` of the next `prints` are good, after a record: a sum of beta-binomials."""
    if needed <= 0:
        return 1.0
    a, b = record.good + JEFFREYS, record.tried - record.good + JEFFREYS
    none = _log_beta(a, b)
    terms = (
        _log_choose(prints, k) + _log_beta(a + k, b + prints - k) - none for k in range(needed, prints + 1)
    )
    return min(math.fsum(map(math.exp, terms)), 1.0)


def _log_choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


def prints_for(needed: int, chance: float, good: Record | float) -> Spares:
    """The fewest prints of which at least `needed` are good with the chance asked for.

    Parameters
    ----------
    needed : int
    chance : float
        Above 0, below 1.
    good : Record or float
        The maker's record, or the share of good prints where that is known.

    Raises
    ------
    InputError
        The chance is none, or no number of prints that anybody makes reaches it.
    """
    if not 0.0 < chance < 1.0:
        raise InputError(
            f"a chance of {chance:g}", where="spares", mend="Give more than 0 and less than 1, as in 0.95."
        )

    def reached(prints: int) -> float:
        if isinstance(good, Record):
            return chance_after(prints, needed, good)
        return chance_of_share(prints, needed, good)

    low, high = needed - 1, max(needed, 1)
    while reached(high) < chance:
        if high > PRINTS_MOST:
            raise InputError(
                f"not even {high} prints have {needed} good ones with a chance of {chance:g}",
                where="spares",
                mend="Lower spares_chance, or print better: the record is too poor.",
            )
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reached(middle) >= chance else (middle, high)
    return Spares(needed, high, reached(high))
