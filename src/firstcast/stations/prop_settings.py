"""The job file's [prop]: what holds a piece while it is printed."""

from pydantic import Field

from firstcast.stations.contract import StationSettings


class Settings(StationSettings):
    """What holds a piece while it is printed: the job file's [prop]. Lengths at master size."""

    lift_mm: float = Field(default=4.5, ge=1.0, le=30.0)
    """How far over the platform the piece begins: room for posts, and for a scraper."""
    tip_mm: float = Field(default=0.3, ge=0.15, le=1.0)
    """Neck of a tip on the figure, where it breaks off; thicker where it bears more."""
    fine_tip_mm: float = Field(default=0.2, ge=0.1, le=1.0)
    """Neck on thin points."""
    tip_most_mm: float = Field(default=0.6, ge=0.15, le=2.0)
    """Thickest neck that the figure may get."""
    tab_tip_mm: float = Field(default=0.6, ge=0.2, le=3.0)
    """Neck of a tip on the tab, which holds the whole piece; thicker where it bears more."""
    post_mm: float = Field(default=0.5, ge=0.3, le=3.0)
    """Posts are so thick at least; thicker where bending or buckling asks for it."""
    clearance_mm: float = Field(default=0.4, ge=0.1, le=3.0)
    """Between posts and the figure: nearer, light that spreads would join them."""
    freedom_mm: float = Field(default=0.4, ge=0.0, le=2.0)
    """How far a tip may move aside to a smoother spot."""
    reach_mm: float | None = Field(default=None, gt=0.0, le=5.0)
    """How far a layer may stand out from what bears it. Left out, what the resin bears: bending, and sagging by half a
    layer."""
    bearing_slope_deg: float = Field(default=15.0, gt=1.0, le=80.0)
    """Undersides that rise by this bear themselves, however long. By its strength the resin bears less, 8 degrees; common
    practice asks for 30 and more (no source)."""
    least_pixels: int = Field(default=4, ge=1, le=100)
    """Smaller regions don't cure: they are counted, not held."""
    safety: float = Field(default=2.0, ge=1.0, le=10.0)
    """Between what the weakest resin bears and what it may bear. Chosen, no source."""
    rounds: int = Field(default=5, ge=1, le=10)
    """How often the layers are looked at with props, and tips added where something is still without hold."""
