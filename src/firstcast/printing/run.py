"""One filled build platform: which masters stand on it, and where."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Placement:
    """Where one copy of a master stands.

    The piece with its props, as `Propped` holds it with its middle at x = y = 0, is turned about z by quarter turns
    counter-clockwise seen from above, then moved.

    Attributes
    ----------
    master : str
    x_mm, y_mm : float
        Where its middle stands, from the platform's corner.
    quarter_turns : int
    """

    master: str
    x_mm: float
    y_mm: float
    quarter_turns: int = 0


@dataclass(frozen=True)
class Run:
    """One filled build platform, by its name."""

    name: str
    placements: tuple[Placement, ...]
