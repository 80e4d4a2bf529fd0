"""What the proof says: rows of measure against limit, each with its verdict."""

from dataclasses import dataclass

import numpy.typing as npt

from firstcast.vocabulary import Verdict, worst


@dataclass(frozen=True)
class ProofRow:
    """One measurement: what was checked, what it came to in a sentence, the measure, its limit, the verdict.

    `measured` and `limit` are in `unit`; either is None where there is none.
    """

    check: str
    result: str
    measured: float | None
    limit: float | None
    unit: str
    verdict: Verdict


@dataclass(frozen=True)
class PieceProof:
    """All measurements of one piece's written files."""

    name: str
    rows: tuple[ProofRow, ...]

    @property
    def verdict(self) -> Verdict:
        """The gravest of the rows' verdicts."""
        return worst(row.verdict for row in self.rows)

    def row(self, check: str) -> ProofRow:
        """The row of a check, by its name. KeyError if it wasn't made."""
        for row in self.rows:
            if row.check == check:
                return row
        raise KeyError(check)


def counted(check: str, result: str, count: int, limit: int = 0, bad: Verdict = Verdict.STOP) -> ProofRow:
    """A row that counts faults: `bad` above the limit."""
    return ProofRow(
        check, result, float(count), float(limit), "count", bad if count > limit else Verdict.SOUND
    )


def measured(
    check: str, result: str, value: float, limit: float | None, unit: str, bad: Verdict = Verdict.STOP
) -> ProofRow:
    """A row that measures: `bad` above the limit, or where the measure is not a number."""
    over = limit is not None and not value <= limit
    return ProofRow(check, result, float(value), limit, unit, bad if over else Verdict.SOUND)


def place(point_mm: npt.ArrayLike) -> str:
    """A place as text, in mm."""
    return "(" + ", ".join(f"{float(x):.3f}" for x in point_mm) + ")"  # type: ignore[union-attr]


def many(count: int, one: str, more: str | None = None) -> str:
    """A count with its noun: `1 edge`, `12,000 edges`."""
    return f"{count:,} {one if count == 1 else more or one + 's'}"
