"""What carry comes to: which masters are made, the carried body, what is left of the relief, and what it was made for."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Triangles
from firstcast.forecast.carry import Carried as Found
from firstcast.forecast.carry_bounds import Lengths
from firstcast.forecast.retention import ReliefWindow, Retention, retention
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.process.chain import ChainScenario
from firstcast.process.limits import Limits
from firstcast.stations.carry_ground import Ground
from firstcast.vocabulary import Make

BOUNDED = 2
"""Amplitude is bounded in so many of the finest windows."""


def left_of(
    windows: Sequence[ReliefWindow], before: Lengths, found: Found | None
) -> tuple[Retention, Retention]:
    """What is left of the relief without and with carry, in all windows: some were read for carry."""
    if found is None:
        plain = retention(windows, before)
        return plain, plain
    coarse = windows[BOUNDED:]
    if not coarse:
        return found.left_before, found.left_after
    read = retention(coarse, np.concatenate([before, found.after_mm]))
    return found.left_before.beyond(read.scenarios(0, 3)), found.left_after.beyond(read.scenarios(3, 6))


def makes_of(chains: Sequence[ChainScenario], make: Make | None, *, moved: bool) -> tuple[Make, ...]:
    """The masters that are made of a piece: both, as long as a figure of its chain is not the maker's own and nothing is said."""
    if not moved or make is Make.PLAIN:
        return (Make.PLAIN,)
    if make is Make.CARRIED or all(chain.calibrated for chain in chains):
        return (Make.CARRIED,)
    return (Make.PLAIN, Make.CARRIED)


def carried_body(ground: Ground, length: npt.NDArray[np.float64]) -> Body:
    """The body moved by its lengths, in figure space."""
    if not length.any():
        return ground.body
    moved = ground.figure_points + length[:, None] * ground.ways
    triangles: Triangles = ground.mesh.triangles
    return Body(Mesh(moved, triangles), ground.body.part_of_triangle[ground.origin], ground.body.part_names)


def made_for(limits: Limits, ground: Ground, printed_with: str) -> str:
    """What the carried master was made for: with anything else it is wrong."""
    wide, high = limits.pixel_mm
    pixel = f"{wide:g} mm" if wide == high else f"{wide:g} by {high:g} mm"
    x, y, z = ground.turn[2]
    along = "" if wide == high else " and its x along ({:.4f}, {:.4f}, {:.4f})".format(*ground.turn[0])
    return (
        f"{printed_with}, pixels of {pixel}, layers of {limits.layer_mm:g} mm, "
        f"the printer's up along ({x:.4f}, {y:.4f}, {z:.4f}){along} of the master"
    )
