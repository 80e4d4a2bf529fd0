"""One filled build platform: which masters stand on it, and where."""

import math
from dataclasses import dataclass

QUARTERS = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))


@dataclass(frozen=True)
class Placement:
    """Where one copy of a master stands.

    The piece with its props, as `Propped` holds it with its middle at x = y = 0, is turned about z, then moved.

    Attributes
    ----------
    master : str
    x_mm, y_mm : float
        Where its middle stands, from the platform's corner.
    turn_deg : float
        Counter-clockwise seen from above.
    """

    master: str
    x_mm: float
    y_mm: float
    turn_deg: float = 0.0

    @property
    def cosine_sine(self) -> tuple[float, float]:
        """Of its turn: exactly 0, 1 and -1 for quarter turns."""
        return cosine_sine(self.turn_deg)


def cosine_sine(turn_deg: float) -> tuple[float, float]:
    """Of a turn, so that quarter turns only change places and signs of coordinates."""
    quarters, rest = divmod(turn_deg % 360.0, 90.0)
    if rest == 0.0:
        return QUARTERS[int(quarters) % 4]
    return math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))


@dataclass(frozen=True)
class Run:
    """One filled build platform, by its name."""

    name: str
    placements: tuple[Placement, ...]
