"""Tongues of mould material with the part that they stand at, as they are told."""

from collections.abc import Iterable
from dataclasses import dataclass

from firstcast.moulding.hollows import Room
from firstcast.moulding.parts import Parts
from firstcast.moulding.tongues import Tongue

TONGUE_RATIO = 4.0
"""Depth over base from which a tongue of rubber is told. Common practice, no source."""

MOST_BASE_MM = 3.0
"""Thicker tongues are no tongues. Chosen, no source."""


@dataclass(frozen=True)
class TongueTold:
    """A thin deep projection of mould material: where, thickness at its base, depth, volume."""

    part: str
    words: str
    place_mm: tuple[float, float, float]
    base_mm: float
    depth_mm: float
    volume_mm3: float

    @property
    def ratio(self) -> float:
        """Depth over base."""
        return self.depth_mm / self.base_mm


def told_of(tongues: Iterable[Tongue], room: Room, parts: Parts) -> tuple[TongueTold, ...]:
    """Tongues with the part that they stand at, in the same order."""
    return tuple(_told(tongue, room, parts) for tongue in tongues)


def _told(tongue: Tongue, room: Room, parts: Parts) -> TongueTold:
    part, words = parts.beside(room.origin_mm + tongue.voxels * room.pitch_mm)
    return TongueTold(part, words, tongue.place_mm, tongue.base_mm, tongue.depth_mm, tongue.volume_mm3)
