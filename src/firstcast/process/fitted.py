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
        """How well the data tell it: by half of its interval, against itself or, of sizes, as it is."""
        if self.name.startswith("least_"):
            return "to one step"
        half = 0.5 * (self.range.high - self.range.low)
        if self.name.startswith(("scale_", "shrink_")):
            limits, measure, said = (0.001, 0.0025), half, f"±{100 * half:.2g} % of the length"
        elif self.name.startswith("offset_"):
            limits, measure, said = (0.01, 0.025), half, f"±{1000 * half:.2g} µm"
        else:
            limits, measure = (0.1, 0.25), half / abs(self.range.likely)
            said = f"±{100 * measure:.2g} %"
        word = "well" if measure <= limits[0] else "fairly" if measure <= limits[1] else "poorly"
        return f"{word}: {said}, {self.rows} rows"


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
