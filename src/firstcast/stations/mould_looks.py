"""A piece's mould as it is looked at: read, filled where the job file asks for it, and read again, until nothing more is asked."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.findings import MendOrder
from firstcast.geometry.body import Body
from firstcast.geometry.zones import Zone
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.draft import undrafted
from firstcast.moulding.fill import Fill
from firstcast.moulding.knife import KnifeCut, plan_knife
from firstcast.moulding.opening import PullWay
from firstcast.moulding.parting import Parting, part_mould
from firstcast.moulding.reading import Read
from firstcast.moulding.relieve import relieve
from firstcast.moulding.tongues_told import MOST_BASE_MM, TONGUE_RATIO, told_of
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials
from firstcast.stations.mould_findings import LEAST_SHARE, Opened, Told, places_asked_for, told_places
from firstcast.stations.mould_settings import Settings
from firstcast.vocabulary import ProcessKind


@dataclass(frozen=True)
class Look:
    """A body as it goes on.

    Attributes
    ----------
    body, read : Body, Read
        With the fills, and what is read of it.
    bounds : Bounds
    opened, told : Opened, list of Told
        What is told of it.
    proposed, taken : tuples of Fill
        What would mend it, and what was filled; that adds up to `added_mm3`.
    mended : tuple of str
        Ids that were told of the body as it came and are not any more.
    """

    body: Body
    read: Read
    bounds: Bounds
    opened: Opened
    told: list[Told]
    proposed: tuple[Fill, ...]
    taken: tuple[Fill, ...]
    added_mm3: float
    mended: tuple[str, ...]


@dataclass(frozen=True)
class Bench:
    """What every look at a piece's mould is made with."""

    piece: str
    limits: Limits
    materials: Materials
    zones: tuple[Zone, ...]
    lattice_mm: npt.NDArray[np.float64]
    settings: Settings
    ways: tuple[PullWay, ...]
    mends: tuple[MendOrder, ...]

    @property
    def bounds(self) -> Bounds:
        """What a place may ask for before it is told."""
        return Bounds(
            LEAST_SHARE, self.settings.tongue_ratio or TONGUE_RATIO, MOST_BASE_MM, self.settings.least_mm3,
            stretches=self.limits.locks_allowed,
        )  # fmt: skip

    def looked_at(self, body: Body, read: Read) -> Look:
        """Fill what is asked for, look again, and fill what is asked for then, until nothing is."""
        limits = self.limits
        came = {told.finding.id for told in self._told(body, read)[1]}
        found = relieve(
            body, read, self.materials.mould, self.zones, bounds=self.bounds, wall_mm=limits.wall_mm.likely,
            lattice_mm=self.lattice_mm, draft_deg=0.0 if limits.locks_allowed else limits.draft_deg.likely,
            released=self.settings.release,
            asked=lambda body, read: places_asked_for(self._told(body, read)[1], self.mends),
        )  # fmt: skip
        opened, told = self._told(found.body, found.read)
        left = {each.finding.id for each in told}
        return Look(
            found.body, found.read, self.bounds, opened, told, found.proposed, found.taken, found.added_mm3,
            tuple(sorted(came - left)),
        )  # fmt: skip

    def _told(self, body: Body, read: Read) -> tuple[Opened, list[Told]]:
        limits, settings = self.limits, self.settings
        drafts = () if limits.locks_allowed else undrafted(body, self.ways[0].pull, limits.draft_deg.likely)
        opened = Opened(
            self.piece, body, self.ways, read.locks, told_of(read.tongues, read.room, read.parts), drafts,
            self.bounds, settings.tongue_ratio is not None, read.held.pitch_mm,
        )  # fmt: skip
        return opened, told_places(opened, limits, self.materials)

    def parted(self, look: Look) -> tuple[Parting | None, KnifeCut | None]:
        """Where the halves meet; of a block that is cut open the line for the knife instead."""
        if self.limits.kind is ProcessKind.CUT_BLOCK:
            places = [told.finding.place_mm for told in look.told if told.finding.place_mm is not None]
            return None, plan_knife(look.body, self.settings.gate, places, zones=self.zones)
        return part_mould(
            look.body, self.ways[0].pull, pitch_mm=look.read.held.pitch_mm, zones=self.zones,
            draft_deg=self.limits.draft_deg.likely,
        ), None  # fmt: skip
