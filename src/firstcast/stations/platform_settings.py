"""The job file's [platform]: how many masters are printed, and how the platform is filled."""

from typing import Literal

from pydantic import Field

from firstcast.stations.contract import StationSettings
from firstcast.vocabulary import Make


class Settings(StationSettings):
    """How many masters are printed, and how the platform is filled: the job file's [platform]."""

    wanted: int | None = Field(default=None, ge=1, le=1_000_000)
    """Castings wanted of every piece; by default the job's."""
    castings_per_mould: int | None = Field(default=None, ge=1)
    """How many castings each cavity of the last mould gives; by default the low end of the mould's life."""
    moulds_per_master: int | None = Field(default=None, ge=1)
    """How many moulds are made from one print; by default the low end of a wide range."""
    cavities: int | None = Field(default=None, ge=1, le=1000)
    """Copies of a piece in the last mould; by default 1."""
    spares_chance: float = Field(default=0.95, ge=0.5, lt=1.0)
    """The chance with which enough prints of a piece come out good."""
    good_prints: tuple[int, int] | None = None
    """Your record of prints like these: [good, tried]."""
    good_share: float | None = Field(default=None, gt=0.0, le=1.0)
    """In place of a record: the share of prints that come out good, where you know it."""
    copies: dict[str, int] = Field(default_factory=dict)
    """Prints of a piece or master, in place of what is reckoned: { body = 4, "body carried" = 1 }."""
    masters: Literal["each", "plain", "carried"] = "plain"
    """Which masters are printed of a piece that has two."""
    side_by_side: bool = False
    """Whether the two masters of a piece stand beside each other on the same run."""
    separate: tuple[str, ...] = ()
    """Pieces that get runs of their own."""
    fill: bool = False
    """Whether one platform is filled with as many of each as it takes, whatever is wanted."""
    clearance_mm: float = Field(default=1.5, ge=0.0, le=20.0)
    """How far pieces and their props stay apart at every height; common practice is 1 to 3 (no source)."""
    edge_mm: float = Field(default=2.0, ge=0.0, le=50.0)
    """How far they stay from the platform's edge."""
    turns: bool = True
    """Whether pieces may be turned by quarters about z; by halves where pixels are not square."""
    free_turns: bool = False
    """Whether by steps of 15° too (30° or 45° where there are many masters), where pixels are square."""
    trial: bool = False
    """Whether one of each is printed first, on a run of its own, before the others."""
    cell_mm: float = Field(default=0.2, gt=0.0, le=5.0)
    """Steps in which pieces are moved, rounded to whole pixels; wider beside pieces of more than 160 of them."""
    band_mm: float = Field(default=1.5, gt=0.0, le=20.0)
    """Height of the bands in which pieces are kept apart; higher under pieces of more than 48 of them."""
    tries: int = Field(default=4, ge=2, le=1000)
    """Orders and searches that are tried for places."""
    sweeps: int = Field(default=100, ge=0, le=100_000)
    """How long each search goes on; 0 only places pieces one after the other."""
    seconds_per_layer: float | None = Field(default=None, gt=0.0)
    """Of your printer, from one layer to the next; by default a wide range."""

    def printed(self, makes: tuple[Make, ...]) -> tuple[Make, ...]:
        """Which of a piece's masters are printed: the only one, or those that are asked for."""
        if len(makes) == 1 or self.masters == "each" or self.side_by_side:
            return makes
        return (Make(self.masters),)
