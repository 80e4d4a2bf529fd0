"""A fill that mends what a mould holds, as values and in words."""

from dataclasses import dataclass

from firstcast.geometry.mesh import Mesh
from firstcast.moulding.splits import Split

CAPTIVE, TONGUE = "captive", "tongue"
"""Kinds of findings beside those of locks: ring, plug and ledge."""

LOCK = "lock"
"""What is told is one of the read's locks or one of its tongues: the other word is `TONGUE`."""

Place = tuple[str, int]
"""`LOCK` or `TONGUE`, and the row among them."""

HIDDEN = 0.1
"""With less of its new surface in sight from the front, a fill counts as hidden."""


@dataclass(frozen=True)
class Fill:
    """A fill that mends one finding, or several that hang together.

    Attributes
    ----------
    kinds, rows : tuples
        What it mends: "captive", "ring", "plug", "ledge" with the row among the locks, "tongue" with that among the tongues.
    part, where : str
        What holds the place, and where it is, as "under 'hood'".
    name : str
        Of the fill as a part of the body.
    place_mm : (float, float, float)
    lumps : tuple of Mesh
        In figure space, points float32; closed, each reaches into the body. None where nothing could be done.
    volume_mm3, rise_mm : float
        Rubber that becomes body, and the largest distance of the new surface from the old.
    seen : float
        Share of the new surface that is in sight from the front.
    before, after : float
        Of a tongue depth over base, of captive rubber its mm3; of others the share of what the rubber bears, at the high end.
    why_not : str
        Why it is no mend; "" if it is.
    costly : bool
        Whether it adds or rises so much that the sculpture changes: not to be taken without being asked for.
    split : Split or None
        Proposed instead of no fill or a costly one.
    """

    kinds: tuple[str, ...]
    rows: tuple[int, ...]
    part: str
    where: str
    name: str
    place_mm: tuple[float, float, float]
    lumps: tuple[Mesh, ...]
    volume_mm3: float
    rise_mm: float
    seen: float
    before: float
    after: float
    why_not: str
    costly: bool
    split: Split | None

    @property
    def places(self) -> tuple[Place, ...]:
        """What it mends."""
        return tuple(
            (TONGUE if kind == TONGUE else LOCK, row) for kind, row in zip(self.kinds, self.rows, strict=True)
        )

    @property
    def hidden(self) -> bool:
        """Whether hardly any of it is in sight from the front."""
        return self.seen < HIDDEN

    @property
    def words(self) -> str:
        """What it does, in the maker's words: "Filling 9.1 mm³, at most 1.3 mm high and hidden from the front, frees it." """
        if self.why_not:
            return f"It can't be filled: {self.why_not}.{self._split_words}"
        sight = (
            "hidden from the front"
            if self.hidden
            else f"{100.0 * self.seen:.0f} % of it in sight from the front"
        )
        frees = "frees it" if len(self.rows) == 1 else f"frees {len(self.rows)} places"
        told = f"Filling {self.volume_mm3:.{1 if self.volume_mm3 < 10.0 else 0}f} mm³, at most {self.rise_mm:.1f} mm high and {sight}, {frees}."
        return told + (f" That changes the sculpture.{self._split_words}" if self.costly else "")

    @property
    def _split_words(self) -> str:
        split = self.split
        if split is None:
            return ""
        x, y, z = split.place_mm
        what = f"make '{split.part}' a piece of its own, parted" if split.part else "cut the body in two"
        return f" Or {what} at ({x:.1f}, {y:.1f}, {z:.1f})."
