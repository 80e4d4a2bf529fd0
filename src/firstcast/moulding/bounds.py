"""What the places that hold a mould may ask for before they are told."""

from dataclasses import dataclass

from firstcast.moulding.locks import Lock


@dataclass(frozen=True)
class Bounds:
    """What a place may ask for before it is told.

    Attributes
    ----------
    share : float
        Of what the rubber bears, at the high end of the estimate.
    tongue_ratio, tongue_base_mm : float
        Depth over base of a tongue, and the thickest base that counts.
    least_mm3 : float
        Less in one place is not told.
    stretches : bool
        False in a hard tool, in which every lock is told.
    """

    share: float
    tongue_ratio: float
    tongue_base_mm: float
    least_mm3: float
    stretches: bool = True

    def told(self, lock: Lock) -> bool:
        """Whether a lock is beyond them."""
        return not self.stretches or lock.captive or self.overstretched(lock)

    def overstretched(self, lock: Lock) -> bool:
        """Whether a lock asks for more of what the rubber bears."""
        return lock.asks is not None and max(lock.asks.of_break.high, lock.asks.of_tear.high) >= self.share
