"""Figures that are not one number: low, likely, high, with where they come from."""

from dataclasses import dataclass

from firstcast.errors import InputError
from firstcast.vocabulary import Basis

SCENARIOS = ("low", "likely", "high")

LIKELY = SCENARIOS.index("likely")
"""Row of the likely scenario, where scenarios are rows."""


@dataclass(frozen=True)
class Range:
    """A figure as low ≤ likely ≤ high, with its unit and its origin.

    `unit` is "mm", "degC", "ratio" and so on; `source` names the published source where there is one.
    """

    low: float
    likely: float
    high: float
    unit: str = "mm"
    basis: Basis = Basis.DEFAULT
    source: str = ""

    def __post_init__(self) -> None:
        if not self.low <= self.likely <= self.high:
            raise InputError(
                f"low {self.low}, likely {self.likely}, high {self.high} are not in order",
                where="range",
                mend="Give low ≤ likely ≤ high.",
            )

    @classmethod
    def exactly(cls, value: float, unit: str = "mm", basis: Basis = Basis.MAKER, source: str = "") -> "Range":
        """A figure without spread: all three are `value`."""
        return cls(value, value, value, unit, basis, source)

    def scenario(self, name: str) -> float:
        """The figure in scenario `low`, `likely` or `high`."""
        return {"low": self.low, "likely": self.likely, "high": self.high}[name]

    @property
    def calibrated(self) -> bool:
        """Whether the figure is the maker's own or fitted, so that a `stop` may rest on it."""
        return self.basis in (Basis.MAKER, Basis.GAUGE, Basis.STANDARD)

    def map(self, function) -> "Range":
        """The range of a monotone function of this figure; a falling one turns the ends round."""
        low, likely, high = function(self.low), function(self.likely), function(self.high)
        return Range(min(low, high), likely, max(low, high), self.unit, self.basis, self.source)

    def __str__(self) -> str:
        if self.low == self.high:
            return f"{self.likely:g} {self.unit}"
        return f"{self.likely:g} {self.unit} ({self.low:g} to {self.high:g})"
