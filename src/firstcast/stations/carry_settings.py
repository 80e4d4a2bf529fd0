"""What the job file may say of carry."""

from pydantic import Field

from firstcast.stations.contract import StationSettings
from firstcast.vocabulary import Make


class Settings(StationSettings):
    """The job file's [carry]. Lengths are those of the master."""

    forecast: bool = True
    """Whether the painted cast is forecast at all; without it nothing is carried."""
    make: Make | None = None
    """Which master is made, "plain" or "carried". Left out: the carried one where every figure of the chain is your own
    or fitted, else both."""
    cap_mm: float = Field(default=0.08, ge=0.0, le=0.08)
    """How far any place is moved at most; walls and gaps are read so far beyond their limits, on both sides, and no more."""
    steps: int = Field(default=2, ge=1, le=20)
    """Steps towards the likely forecast."""
    rounds: int = Field(default=1, ge=0, le=20)
    """Rounds in which what would end worse in any scenario is drawn back."""
    kept_ratio: float = Field(default=0.7, gt=0.0, le=1.0)
    """Share of its depth that a part's detail must keep, or it is told. Chosen, no source."""
    release: tuple[str, ...] = ()
    """Zones marked precious whose detail may be carried all the same."""
