"""The job file's [layer]: the images of a run, and what it costs."""

from pydantic import Field

from firstcast.stations.contract import StationSettings


class Settings(StationSettings):
    """The layers and what they cost: the job file's [layer]."""

    mirrored: bool = False
    """Whether columns of the images run against the platform's x, for a printer that asks for it."""
    exposure_s: float | None = Field(default=None, gt=0, le=600)
    """Seconds of light per layer; without it the time is told as a wide range."""
    bottom_layers: int = Field(default=5, ge=0, le=100)
    """First layers that are exposed longer so that they hold to the platform."""
    bottom_exposure_s: float | None = Field(default=None, gt=0, le=600)
    """Seconds of light per first layer; without it the time is told as a wide range."""
    lift_s: float | None = Field(default=None, gt=0, le=600)
    """Seconds per layer for lifting, sinking and waiting; without it the time is told as a wide range."""
    resin_price_per_litre: float | None = Field(default=None, ge=0)
    """What a litre of resin costs the maker; without it no cost of resin is told."""
    machine_rate_per_hour: float | None = Field(default=None, ge=0)
    """What an hour of the printer costs the maker; without it no cost of the machine is told."""
    currency: str = Field(default="", max_length=8)
    """In which both are given."""
    cup_mm3: float = Field(default=1.0, gt=0)
    """Smallest hollow closed by the film that is told: chosen, no source."""
    bare_start_pixels: int = Field(default=4, ge=1)
    """A region of so many pixels that begins with nothing under it is a bare start; a smaller one doesn't cure."""
    joins_within: int = Field(default=2, ge=0)
    """Layers within which a bare start must join held material."""
    slices: bool = False
    """Whether the run's 3MF holds the outlines of every layer too (3MF slice extension)."""
