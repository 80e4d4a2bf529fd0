"""A piece as it stands on the build platform, with the props that hold it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh


@dataclass(frozen=True)
class Tips:
    """Where props touch the piece, one row per tip.

    Attributes
    ----------
    places_mm : (n, 3) float64
        Middle of each tip's contact, on the piece, in the frame of `Propped`.
    diameters_mm : (n,) float64
        Of the neck, where the tip breaks off.
    loads_n : (n,) float64
        The load along the neck that would stress it as much as likely peel and weight do, which pull and bend it.
    bears_n : (n,) float64
        What the neck bears by the stated factor; utilisation is loads over this.
    on_tab : (n,) bool
        Whether it holds the tab and not the figure.
    """

    places_mm: npt.NDArray[np.float64]
    diameters_mm: npt.NDArray[np.float64]
    loads_n: npt.NDArray[np.float64]
    bears_n: npt.NDArray[np.float64]
    on_tab: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Propped:
    """A piece with its props, standing on the platform.

    Attributes
    ----------
    piece, props : Mesh
        Closed and outward, millimetres at master size in the printer's axes: z = 0 is the platform, and the middle
        of the rectangle around both is x = y = 0. They overlap at tips only.
    turn : (3, 3) float64
        Rotation from the master in the figure's axes to the printer's.
    offset_mm : (3,) float64
        piece = turn · master + offset.
    tips : Tips
    """

    piece: Mesh
    props: Mesh
    turn: npt.NDArray[np.float64]
    offset_mm: npt.NDArray[np.float64]
    tips: Tips

    @property
    def height_mm(self) -> float:
        """From the platform to the highest place."""
        return float(max(self.piece.bounds[1, 2], self.props.bounds[1, 2]))
