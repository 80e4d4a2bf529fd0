"""Findings and measures: what a station says beside what it makes."""

import hashlib
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase

from firstcast.tolerances import TOLERANCES
from firstcast.vocabulary import Verdict, worst

PLACE_GRID_MM = 2.0
"""Places are rounded to this grid in a finding's id, so that the id survives small edits."""


@dataclass(frozen=True)
class Finding:
    """One thing found: verdict, where, measured, limit, mend.

    Attributes
    ----------
    station, code : str
        Who found it and what it is, e.g. "fuse", "thin-wall". Codes are kebab-case.
    verdict : Verdict
    part : str
        The part (or piece, or file) it is about; "" where it is about the whole job.
    says : str
        One plain sentence in the maker's words, with the numbers.
    mend : str
        What the maker can do about it.
    place_mm : tuple of 3 floats or None
        Where, in figure space.
    measured, limit : float or None
        The measure and what it was held against, both in `unit`.
    worse : "low" or "high"
        Which way the measure worsens: decides when an acceptance lapses.
    """

    station: str
    code: str
    verdict: Verdict
    part: str
    says: str
    mend: str
    place_mm: tuple[float, float, float] | None = None
    measured: float | None = None
    limit: float | None = None
    unit: str = "mm"
    worse: str = "low"
    accepted: str = ""

    @property
    def id(self) -> str:
        """Station, code, part and a hash of the rounded place: the same after small edits.

        What is of one kind, on one part and in one cell of the grid has one id: an acceptance or a mend is meant for all of it.
        """
        place = (
            "" if self.place_mm is None else ",".join(str(round(c / PLACE_GRID_MM)) for c in self.place_mm)
        )
        tag = hashlib.blake2b(f"{self.part}|{place}".encode(), digest_size=3).hexdigest()
        return f"{self.station}/{self.code}/{tag}"

    def with_acceptance(self, reason: str, accepted_measure: float | None) -> "Finding":
        """This finding as accepted by the maker, unless it has worsened by a tenth since."""
        if accepted_measure is not None and self.measured is not None:
            lapse = TOLERANCES.acceptance_lapse_ratio * abs(accepted_measure)
            drift = self.measured - accepted_measure
            if (drift if self.worse == "high" else -drift) > lapse:
                return self
        return replace(self, accepted=reason)

    @property
    def stands(self) -> bool:
        """Whether it still asks for something: a `stop` that nobody accepted."""
        return self.verdict is Verdict.STOP and not self.accepted


@dataclass(frozen=True)
class MendOrder:
    """Mends that the maker wants made: of one finding by its id, of those of a part, or of all.

    A part may be a pattern with * and ?.
    """

    reason: str
    id: str = ""
    part: str = ""

    def asks_for(self, finding: Finding) -> bool:
        """Whether a finding's mend is to be made."""
        if self.id:
            return finding.id == self.id
        return not self.part or fnmatchcase(finding.part, self.part)


@dataclass(frozen=True)
class Measure:
    """A named figure that a station or the proof reports."""

    name: str
    value: float
    unit: str
    says: str = ""


def verdict_of(findings) -> Verdict:
    """The gravest verdict of some findings; accepted stops count as `watch`."""
    return worst(Verdict.WATCH if f.accepted and f.verdict is Verdict.STOP else f.verdict for f in findings)
