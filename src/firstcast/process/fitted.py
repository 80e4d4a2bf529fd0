"""What a fit comes to: figures, refusals, and how the readings scatter."""

from dataclasses import dataclass

from firstcast.ranges import Range


@dataclass(frozen=True)
class Figure:
    """A fitted figure: `table` printer or resin where materials have it, else "" for what is only told."""

    table: str
    name: str
    range: Range
    rows: int
    says: str

    @property
    def told(self) -> str:
        """How well the data tell it: by half of its interval against itself."""
        if self.name.startswith("least_"):
            return "to one step"
        share = (
            (self.range.high - self.range.low) / (2.0 * abs(self.range.likely)) if self.range.likely else 1.0
        )
        word = "well" if share <= 0.1 else "fairly" if share <= 0.25 else "poorly"
        return f"{word}: ±{100 * share:.2g} %, {self.rows} rows"


@dataclass(frozen=True)
class Refusal:
    """A figure that the data don't tell, why, and which rows to add or measure better."""

    name: str
    why: str
    rows: tuple[str, ...]

    @property
    def says(self) -> str:
        """In one sentence."""
        return f"{self.why}; add {', '.join(self.rows)}"


@dataclass(frozen=True)
class Scatter:
    """How readings of one kind lie about the fit: `widened` is what their errors were multiplied by."""

    kind: str
    chi2: float
    spare: int
    widened: float


@dataclass(frozen=True)
class Fitted:
    """All that the gauge tells."""

    figures: tuple[Figure, ...]
    refusals: tuple[Refusal, ...]
    scatters: tuple[Scatter, ...]
    notes: tuple[str, ...]

    def figure(self, name: str) -> Figure | None:
        """The figure of that name, if it was told."""
        return next((figure for figure in self.figures if figure.name == name), None)
