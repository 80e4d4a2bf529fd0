"""The forecast: what is left of a master once it is printed, moulded, cast and painted.

At master size, in the printer's axes. The even part of every film is left out, for it is on the sculpture's painted
ideal as well: what counts is where a film levels.
"""

from collections.abc import Callable, Mapping

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.fields.contour import contour_union
from firstcast.fields.cure import cure
from firstcast.fields.drawn import Drawn, near_of
from firstcast.fields.films import closed_by_ball, opened_by_ball
from firstcast.fields.near import sample
from firstcast.fields.union import Shells, lattice_around, occupy, read_columns
from firstcast.forecast.light import light_of
from firstcast.process.chain import ChainScenario

STEPS: Mapping[str, Callable[[Drawn, float], Drawn]] = {"closed": closed_by_ball, "opened": opened_by_ball}

ROOM_PITCHES = 4.0
"""Margin of the lattice beyond what light and films may add."""


def forecast(points: Points, triangles: Triangles, chain: ChainScenario) -> Drawn:
    """The surface of the painted cast, mapped to the size of its master.

    Parameters
    ----------
    points : (n, 3) float64 or float32
        The master: closed, outward, without crossings; mm, in the printer's axes, z away from the build platform.
    triangles : (m, 3) int32
    chain : ChainScenario
        One scenario's figures.

    Raises
    ------
    InputError
        The mesh isn't closed.
    SizeError
        More than 8192 pixels or layers along an axis.
    """
    pitch = np.array([*chain.pixel_mm, chain.layer_mm])
    margin = max(radius for _, radius in chain.balls) + ROOM_PITCHES * float(pitch.max())
    if chain.prints:
        drawn = cure(points, triangles, light_of(chain), margin_mm=margin)
    else:
        drawn = as_modelled(points, triangles, pitch, margin_mm=margin)
    for step, radius in chain.balls:
        drawn = STEPS[step](drawn, radius)
    return drawn


def grown_mm(drawn: Drawn, places_mm: npt.ArrayLike, reach_mm: float) -> npt.NDArray[np.float64]:
    """(n,) float64: how far a forecast lies outside of places (n, 3) of the master, mm; negative: what was lost.

    Beyond `reach_mm` the length is cut off.
    """
    return -sample(near_of(drawn, reach_mm), np.asarray(places_mm, np.float64))


def as_modelled(points: Points, triangles: Triangles, pitch_mm, *, margin_mm: float) -> Drawn:
    """The master itself on the lattice: a toolmaker's data is cut, not printed."""
    pitch = np.broadcast_to(np.asarray(pitch_mm, np.float64), (3,))
    shells = Shells(np.asarray(points, np.float64), triangles, np.zeros(len(triangles), np.uint16))
    lattice = lattice_around(shells.points, pitch, margin_mm)
    columns = read_columns(shells, lattice)
    occupancy = occupy(columns, lattice, float(pitch.max()))
    surface, traced = contour_union(occupancy, columns, shells.part)
    return Drawn(surface, occupancy, traced)
