"""What the written files of a run are held against: plain arrays and numbers."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError


@dataclass(frozen=True)
class Standing:
    """One copy on the platform: its master, where its middle stands, and its turn counter-clockwise from above."""

    master: str
    x_mm: float
    y_mm: float
    turn_deg: float = 0.0

    @property
    def matrix(self) -> npt.NDArray[np.float64]:
        """(2, 2) its turn, for columns x, y; exact for quarter turns."""
        cosine, sine = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        if self.turn_deg % 90.0 == 0.0:
            cosine, sine = round(cosine), round(sine)
        return np.array([[cosine, -sine], [sine, cosine]], np.float64)


@dataclass(frozen=True)
class ExpectedRun:
    """One filled build platform.

    Attributes
    ----------
    name : str
    pixels : (int, int)
        Columns along x and rows along y.
    pixel_mm : (float, float)
    layer_mm : float
    layer_count : int
    standing : tuple of Standing
    tips : tuple of (master, (n, 3) float64)
        Where props touch each master, mm, before it is turned and moved; z = 0 is the platform.
    pieces : tuple of (master, (n, 3) float64, (m, 3) int32)
        Points and triangles of each master as it should stand: the released master, turned and lifted.
    mirrored : bool
        Whether columns of the images run against x.
    least_pixels, within : int
        A region of so many cured pixels with nothing beneath is a bare start, and must join held material within so
        many layers.
    level : int
        Of 255, from which on a pixel counts as cured.
    cup_mm3 : float
        Largest hollow that the film may close.
    slices : bool
        Whether the 3MF must hold the outlines of every layer.
    stress_kpa : 3 floats, optional
        What parts a layer from the film, over its area: low, likely, high. Without it loads of layers aren't looked at.

    Raises
    ------
    InputError
        Pixels, layers or counts that are not above 0, or tips of another shape.
    """

    name: str
    pixels: tuple[int, int]
    pixel_mm: tuple[float, float]
    layer_mm: float
    layer_count: int
    standing: tuple[Standing, ...]
    tips: tuple[tuple[str, npt.NDArray[np.float64]], ...] = ()
    pieces: tuple[tuple[str, npt.NDArray[np.float64], npt.NDArray[np.int32]], ...] = ()
    mirrored: bool = False
    least_pixels: int = 4
    within: int = 2
    level: int = 128
    cup_mm3: float = 1.0
    slices: bool = False
    stress_kpa: tuple[float, float, float] | None = None

    def __post_init__(self) -> None:
        where = f"what is expected of run {self.name!r}"
        if min(*self.pixels, *self.pixel_mm, self.layer_mm, self.layer_count) <= 0:
            raise InputError(
                f"{self.pixels} pixels of {self.pixel_mm} mm, {self.layer_count} layers of {self.layer_mm} mm",
                where=where,
                mend="Give more than 0 of each.",
            )
        for master, places in self.tips:
            if np.shape(places)[1:] != (3,):
                raise InputError(
                    f"tips of {master!r} of shape {np.shape(places)}",
                    where=where,
                    mend="Give x, y, z per tip.",
                )

    @property
    def pixel_mm2(self) -> float:
        """Area of a pixel."""
        return self.pixel_mm[0] * self.pixel_mm[1]
