"""What the job file may say of recheck."""

from pydantic import Field

from firstcast.stations.contract import StationSettings


class Settings(StationSettings):
    """What is told: limits are those of plan, pitch and pull those of mould."""

    most_findings: int = Field(default=5, ge=1, le=100)
    """How many findings of a kind are told one by one; the measures count all."""
