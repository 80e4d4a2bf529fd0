"""What each place of locked rubber is, and what it asks of the rubber to leave.

Three kinds: a *ring* lies round the body below a bulb and must stretch over it; a *plug* fills a hollow that is wider than its
neck and must squeeze through; a *ledge* is rubber that reaches under something and gets out sideways. Whatever it is, it may be
*captive*: it goes through a hole and links up, and can't leave at all unless it is cut.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.moulding.held import Held, Region, regions_of
from firstcast.moulding.hollows import Hollow, Hollows, Room
from firstcast.moulding.parts import Beside
from firstcast.moulding.rings import Look, ring_of
from firstcast.process.materials import Mould
from firstcast.process.release import Strained, flex_strain, plug_strain, ring_strain, strained

RING, PLUG, LEDGE = "ring", "plug", "ledge"

IN_HOLLOW = 0.5
"""Share of a region's voxels in one hollow from which it counts as that hollow's plug."""

CAPTIVE_WEIGHS = 5.0
"""How much more than its volume captive rubber weighs between pulls: as much as what is stretched to its end. Chosen, no source."""


@dataclass(frozen=True)
class Lock:
    """One place of locked rubber.

    Attributes
    ----------
    kind : str
        "ring", "plug" or "ledge".
    captive : bool
        Whether it links up through a hole.
    part, words : str
        What holds it, and where that is, as "under 'hood'".
    place_mm : (float, float, float)
        In figure space: the voxel of it nearest to its middle.
    volume_mm3, depth_mm : float
        Depth from its way out.
    neck_mm, wide_mm : float
        Diameters: of a ring, of where it sits and of what it must pass; of a plug, of the largest balls that pass its
        neck and lie in it; of a ledge both its thickness.
    neck_mm2, section_mm2 : float
        Sections of a plug's neck and of the plug; of others its way out, twice.
    web_mm2, link_mm : float
        Narrowest section of the rubber that links it up, and the diameter of the largest ball that passes there; 0 where it
        isn't captive.
    parted : bool
        Whether it links up with rubber that the parting crosses, so that the parting has to be led through between the two.
    asks : Strained or None
        The stretch it asks for, against what the rubber bears; None in a hard tool.
    """

    kind: str
    captive: bool
    part: str
    words: str
    place_mm: tuple[float, float, float]
    volume_mm3: float
    depth_mm: float
    neck_mm: float
    wide_mm: float
    neck_mm2: float
    section_mm2: float
    web_mm2: float
    link_mm: float
    parted: bool
    asks: Strained | None

    @property
    def share(self) -> float:
        """What tears first has the greatest: the stretch over what the rubber bears; 0 in a hard tool."""
        return 0.0 if self.asks is None else self.asks.share

    @property
    def weight_mm3(self) -> float:
        """Its volume, weighted by what the rubber can bear: what is stretched to its end counts five times."""
        if self.captive:
            return CAPTIVE_WEIGHS * self.volume_mm3
        return self.volume_mm3 * (1.0 + (CAPTIVE_WEIGHS - 1.0) * min(self.share, 1.0))


def locks_of(
    held: Held,
    room: Room,
    hollows: Hollows,
    parts: Beside,
    mould: Mould,
    *,
    least_mm3: float,
    finer: Look | None = None,
    narrowest: bool = True,
) -> tuple[tuple[Lock, ...], npt.NDArray[np.int32]]:
    """What a pull holds, place by place, what tears first at the front.

    `finer` gives the ring that a region is, or isn't, where it can be told better than by these voxels; `narrowest` is as `regions_of` takes it.

    Returns
    -------
    (locks, number of the lock each voxel of `held` belongs to, from 1; 0 for none)
    """
    regions = [
        region
        for region in regions_of(held, least_mm3, narrowest=narrowest)
        if region.volume_mm3 >= least_mm3
    ]
    ring = finer or (lambda region: ring_of(held, region))
    locks = [_lock(held, room, hollows, parts, mould, region, ring) for region in regions]
    order = sorted(range(len(locks)), key=lambda n: _rank(locks[n]))
    number = np.zeros(held.states.shape, np.int32)
    for row, n in enumerate(order, start=1):
        number[tuple(regions[n].voxels.T)] = row
    return tuple(locks[n] for n in order), number


def _rank(lock: Lock) -> tuple[bool, float, float]:
    """What can't leave first, by volume; then what tears first."""
    return (not lock.captive, 0.0 if lock.captive else -lock.share, -lock.volume_mm3)


def _lock(
    held: Held, room: Room, hollows: Hollows, parts: Beside, mould: Mould, region: Region, ring_in: Look
) -> Lock:
    places = held.places_mm(region.voxels)
    at = tuple(room.voxels_at(places).T)
    thick = max(2.0 * float(room.width_mm[at].max()), held.pitch_mm)
    neck, wide, neck_mm2, section_mm2 = thick, thick, region.mouth_mm2, region.mouth_mm2
    kind, strain = LEDGE, None
    stretches = mould.elongation_ratio.low > 0.0
    hollow = _hollow_of(hollows, at)
    # where the parting crosses its mouth it cuts the ring open
    ring = None if region.crossed else ring_in(region)
    if ring is not None:
        kind, (wide, neck) = RING, ring
        strain = ring_strain(wide, neck, held.pitch_mm)
    elif hollow is not None and hollow.neck_mm2 > 0.0 and hollow.section_mm2 > hollow.neck_mm2:
        kind, neck, wide = PLUG, hollow.neck_mm, hollow.width_mm
        neck_mm2, section_mm2 = hollow.neck_mm2, hollow.section_mm2
        strain = plug_strain(section_mm2, neck_mm2, held.pitch_mm / max(neck, held.pitch_mm))
    elif stretches:
        strain = flex_strain(region.depth_mm, thick, mould.wall_mm.likely)
    middle = int(((places - places.mean(axis=0)) ** 2).sum(axis=1).argmin())
    x, y, z = (float(c) for c in places[middle])
    part, words = parts.beside(places)
    return Lock(
        kind, region.captive, part, words, (x, y, z), region.volume_mm3, region.depth_mm, neck, wide, neck_mm2,
        section_mm2, region.web_mm2, region.link_mm, region.parted,
        strained(strain, mould) if strain is not None and stretches else None,
    )  # fmt: skip


def _hollow_of(hollows: Hollows, at) -> Hollow | None:
    numbers = np.bincount(hollows.number_of_voxel[at], minlength=2)
    most = int(numbers[1:].argmax()) + 1
    return hollows.hollows[most - 1] if numbers[most] >= IN_HOLLOW * numbers.sum() else None
