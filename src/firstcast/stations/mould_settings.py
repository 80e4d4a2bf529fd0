"""What the job file may say of the mould: which way it opens, where its gate is, what counts."""

import numpy as np
from pydantic import Field, field_validator

from firstcast.stations.contract import StationSettings

Way = tuple[float, float, float]


class Settings(StationSettings):
    """Which way the mould opens: the job file's [mould]."""

    pull: Way | None = None
    """The pull in the figure's axes, [x, y, z] of any length, in place of the search; [0, 1, 0] opens it front to back."""
    gate: Way = (0.0, 0.0, -1.0)
    """The way the gate, and the tab with it, leaves the mould. The pull is at right angles to it."""
    gate_within_deg: float = Field(default=10.0, ge=0.0, le=90.0)
    """How far from a right angle to the gate the pull may be; 90 leaves it free."""
    directions: int = Field(default=600, ge=100, le=5000)
    """How many pulls of the half-sphere are read."""
    pitch_mm: float | None = Field(default=None, ge=0.05, le=1.0)
    """Side of the voxels in which locked rubber is read; left out, 0.2 mm, or more for a large figure."""
    least_mm3: float = Field(default=0.5, gt=0.0)
    """Less locked rubber in one place is counted, not told: it flexes out, or tears off once as flash."""
    tongue_ratio: float | None = Field(default=None, gt=0.0)
    """Depth over base from which a tongue of rubber is a stop. Left out, tongues are told from 4 on and watched."""
    release: tuple[str, ...] = ()
    """Names of precious zones in which fills may be made all the same."""
    most_findings: int = Field(default=8, ge=1, le=100)
    """How many findings of a kind are told one by one; the rest are counted in one."""

    @field_validator("pull", "gate")
    @classmethod
    def _has_a_direction(cls, way: Way | None) -> Way | None:
        if way is not None and not np.linalg.norm(way) > 0.0:
            raise ValueError("it has no direction. Give [x, y, z] that are not all zero.")
        return way
