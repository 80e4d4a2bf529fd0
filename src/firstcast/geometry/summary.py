"""The figures of a part that planning needs, without its triangles."""

from dataclasses import dataclass

from firstcast.vocabulary import ShellKind


@dataclass(frozen=True)
class PartSummary:
    """A part in numbers, after intake. Shells that overlap count each on their own.

    Attributes
    ----------
    extents_mm : ((x, y, z), (x, y, z))
        Least and greatest coordinates.
    volume_mm3 : float
        Of the closed shells, and of the sheets as area times thickness.
    area_mm2 : float
        Of the closed shells, and of both sides of the sheets.
    mean_thickness_mm : float
        2 V / A: the thickness of a plate, two thirds of a ball's radius.
    shell_counts : ((kind, count), ...)
        In the order of `ShellKind`.
    is_sheet : bool
        Whether sheets make up more than half of the area.
    """

    name: str
    extents_mm: tuple[tuple[float, float, float], tuple[float, float, float]]
    volume_mm3: float
    area_mm2: float
    triangle_count: int
    mean_thickness_mm: float
    shell_counts: tuple[tuple[ShellKind, int], ...]
    is_sheet: bool

    @property
    def size_mm(self) -> tuple[float, float, float]:
        """Breadth along x, y and z."""
        low, high = self.extents_mm
        return (high[0] - low[0], high[1] - low[1], high[2] - low[2])
