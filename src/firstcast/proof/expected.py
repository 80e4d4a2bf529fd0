"""What a master should be, as the proof is told it: plain arrays and numbers."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError

_SLACK_MM = 1e-6
"""How much farther than a region's span along x its points are looked for: more than rounding moves one."""


@dataclass(frozen=True)
class PartShape:
    """One part as the sculptor delivered it, or one fitting that production added.

    Attributes
    ----------
    name : str
    corners : (m, 3, 3) float64
        Triangles in figure mm; outward where `closed`.
    thickness_mm : float
        Of an open sheet: the master's surface should lie half of it from the sheet. 0 for closed parts.
    closed : bool
    role : "sculpted", "taken" or "added"
        What is sculpted makes the body; what is taken, such as a socket or all beyond a cut, is missing from it and from what
        was added before, such as a fill; what is added, such as a peg or the tab, is there whatever was taken before. Sheets
        are sculpted.
    """

    name: str
    corners: npt.NDArray[np.float64]
    thickness_mm: float = 0.0
    closed: bool = True
    role: Literal["sculpted", "taken", "added"] = "sculpted"


@dataclass(frozen=True)
class Ball:
    """A place, in figure mm, where what shows of the parts may be missing from the master, and why."""

    centre_mm: tuple[float, float, float]
    radius_mm: float
    why: str

    @property
    def span_mm(self) -> tuple[float, float]:
        """Its least and greatest x."""
        return self.centre_mm[0] - self.radius_mm, self.centre_mm[0] + self.radius_mm

    def holds(self, points_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
        """(n,) which of the (n, 3) figure points lie in it."""
        squared = ((points_mm - np.asarray(self.centre_mm)) ** 2).sum(axis=1)
        return np.asarray(squared <= self.radius_mm**2)


@dataclass(frozen=True)
class Box:
    """A place between two corners, in figure mm, where what shows of the parts may be missing, and why."""

    low_mm: tuple[float, float, float]
    high_mm: tuple[float, float, float]
    why: str

    @property
    def span_mm(self) -> tuple[float, float]:
        """Its least and greatest x."""
        return self.low_mm[0], self.high_mm[0]

    def holds(self, points_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
        """(n,) which of the (n, 3) figure points lie in it."""
        inside = (points_mm >= np.asarray(self.low_mm)) & (points_mm <= np.asarray(self.high_mm))
        return np.asarray(inside.all(axis=1))


@dataclass(frozen=True)
class Expected:
    """What the written master of one piece is held against.

    Attributes
    ----------
    name : str
        The piece; also the name of its object in the 3MF file.
    extents_mm : 3 floats
        Of the master along its own axes.
    matrix : (3, 3) float64
        From figure to master: master = matrix · figure + offset_mm.
    tolerance_mm : float
        How far the master's smooth surface may lie from the parts.
    pitch_mm : float
        At which the body was sampled: creases are looked for within three pitches.
    parts : tuple of PartShape
        Fittings among them, so that they are proved too. Empty: nothing is compared.
    crease_mm : float or None
        How far the surface may lie from the parts at their creases, which sampling cuts; None: no farther
        than elsewhere.
    exempt : tuple of Ball or Box
        Where hollows were filled and fragments dropped: there the parts may show what the master lacks. What the
        master has is measured everywhere.
    bodies : int
        Separate bodies expected.
    volume_mm3 : float or None
        Of the master, as the stations made it.
    offset_mm : 3 floats

    Raises
    ------
    InputError
        A map that can't be undone, a tolerance or pitch not above 0, parts of another shape.
    """

    name: str
    extents_mm: tuple[float, float, float]
    matrix: npt.NDArray[np.float64]
    tolerance_mm: float
    pitch_mm: float
    parts: tuple[PartShape, ...] = ()
    crease_mm: float | None = None
    exempt: tuple[Ball | Box, ...] = ()
    bodies: int = 1
    volume_mm3: float | None = None
    offset_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def __post_init__(self) -> None:
        matrix = np.asarray(self.matrix, dtype=np.float64)
        where = f"what is expected of {self.name!r}"
        if matrix.shape != (3, 3) or not np.isfinite(matrix).all() or np.linalg.det(matrix) == 0.0:
            raise InputError(
                f"the map from figure to master, of shape {matrix.shape}, can't be undone",
                where=where,
                mend="Give a (3, 3) matrix that flattens nothing.",
            )
        if not (self.tolerance_mm > 0.0 and self.pitch_mm > 0.0):
            raise InputError(
                f"tolerance {self.tolerance_mm} mm and pitch {self.pitch_mm} mm must be above 0",
                where=where,
                mend="Give the tolerance of reduce and the pitch of the field.",
            )
        for part in self.parts:
            shape = np.shape(part.corners)
            if len(shape) != 3 or shape[1:] != (3, 3) or not np.isfinite(part.corners).all():
                raise InputError(
                    f"part {part.name!r}, of shape {shape}, is not (m, 3, 3) finite corners",
                    where=where,
                    mend="Give its triangles as coordinates.",
                )

    @property
    def crease_limit_mm(self) -> float:
        """The limit at creases: never below the limit elsewhere."""
        return max(self.tolerance_mm, self.crease_mm or 0.0)

    def to_master(self, points_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Figure places (..., 3) at master size."""
        flat = np.asarray(points_mm, dtype=np.float64).reshape(-1, 3)
        mapped = flat @ np.asarray(self.matrix, dtype=np.float64).T
        mapped += np.asarray(self.offset_mm)
        return mapped.reshape(points_mm.shape)

    def to_figure(self, points_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Master places (n, 3) in the figure."""
        inverse = np.linalg.inv(np.asarray(self.matrix, dtype=np.float64))
        return (points_mm - np.asarray(self.offset_mm)) @ inverse.T

    def exempts(self, master_points_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
        """(n,) which places of the master (n, 3) lie in an exempt region."""
        inside = np.zeros(len(master_points_mm), dtype=np.bool_)
        if self.exempt:
            figure = self.to_figure(master_points_mm)
            order = np.argsort(figure[:, 0], kind="stable")
            figure = figure[order]
            for region in self.exempt:
                least, most = region.span_mm
                begin, end = np.searchsorted(figure[:, 0], [least - _SLACK_MM, most + _SLACK_MM])
                inside[order[begin:end]] |= region.holds(figure[begin:end])
        return inside
