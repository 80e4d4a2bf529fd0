"""The play of a peg in its socket once both pieces have gone through their own print, mould and cast.

What must fit is the castings. On its way every face of either moves outward by light and by a primer on the master, and
everything shrinks a little more or less than was allowed for. The likely part of that is taken off beforehand; what is left
is how far the low and the high figures lie from the likely ones. Play is reckoned for the worst of all combinations, each
piece with any of its three growths and three sizes: two pieces come from two moulds and maybe two days, and a peg that
does not go in is worth more than a hair of play. Errors added by root sum of squares would let one in some peg jam.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.process.chain import ChainScenario
from firstcast.process.shrink import SizeStep, chain_matrix, made_from
from firstcast.ranges import LIKELY, SCENARIOS

Values = npt.NDArray[np.float64]


class Faces(NamedTuple):
    """How far faces of one piece move outward on their way to the cast, in millimetres of the figure.

    Attributes
    ----------
    moves_mm : (3, n) float64
        Low, likely and high.
    """

    moves_mm: Values

    @property
    def likely_mm(self) -> Values:
        """(n,) what is taken off beforehand."""
        return self.moves_mm[LIKELY]

    @property
    def left_mm(self) -> Values:
        """(3, n) what is left of it once the likely part is taken off."""
        return self.moves_mm - self.moves_mm[LIKELY]


def faces_of(grown_mm: npt.ArrayLike, chain: Sequence[ChainScenario], stretch: npt.ArrayLike) -> Faces:
    """The moves of faces from what the print grows them by.

    Parameters
    ----------
    grown_mm : (3, n)
        Low, likely, high, at master size, along outward normals.
    chain : (low, likely, high)
        Their primer lies on the master's faces and goes into the mould with them; paint is kept off joints.
    stretch : (n,)
        Millimetres of the figure per millimetre of the master, along each normal: see `stretch_along`.
    """
    films = np.array([[scenario.primer.thickness_mm] for scenario in chain])
    return Faces((np.asarray(grown_mm, np.float64) + films) * np.asarray(stretch, np.float64))


def stretch_along(matrix: npt.ArrayLike, normals: npt.ArrayLike) -> Values:
    """(n,) by how much a plane of the figure moves when its image in the master moves by 1: |M⁻ᵀ n|.

    Parameters
    ----------
    matrix : (3, 3)
        From figure to master.
    normals : (n, 3)
        Unit normals of planes in the figure.
    """
    back = np.linalg.inv(np.asarray(matrix, np.float64))
    return np.linalg.norm(np.asarray(normals, np.float64) @ back, axis=1)


def normals_in_print(matrix: npt.ArrayLike, turn_to_print: npt.ArrayLike, normals: npt.ArrayLike) -> Values:
    """(n, 3) unit normals, in the printer's axes, of planes of the figure as they stand in the master."""
    back = np.linalg.inv(np.asarray(matrix, np.float64))
    there = np.asarray(normals, np.float64) @ back @ np.asarray(turn_to_print, np.float64).T
    return there / np.linalg.norm(there, axis=1)[:, None]


def size_errors(steps: Sequence[SizeStep]) -> tuple[Values, Values, Values]:
    """(3, 3) each: figure → cast where the steps are low, likely, high, and were allowed for as likely.

    All steps count, whoever allows for them, each at its likely figure; the likely one is the identity.
    """
    wanted = chain_matrix(steps)
    low, likely, high = (made_from(steps, scenario) @ wanted for scenario in SCENARIOS)
    return low, likely, high


class Gaps(NamedTuple):
    """The gap that is left between the sides of a peg and its socket in the likely case, each side its own.

    Attributes
    ----------
    sides_mm : (n,) float64
    end_mm : float
        Between the peg's end and the socket's floor.
    wanted_mm : (n,) float64
        What each side would take to keep the least play at worst; more than `sides_mm` where that is capped.
    """

    sides_mm: Values
    end_mm: float
    wanted_mm: Values


def gaps_for(
    peg: Faces,
    socket: Faces,
    reach_mm: npt.ArrayLike,
    size_spread: float,
    *,
    least_mm: float,
    most_mm: float,
    given_mm: float | None,
    end_mm: float,
) -> Gaps:
    """The gaps that keep the least play in the worst case, as far as they may be that wide.

    Parameters
    ----------
    peg, socket : Faces
        Of the n sides, then of the peg's end and the socket's floor.
    reach_mm : (n + 1,)
        How far the farthest corner of each lies from the middle of the seat.
    size_spread : float
        How much larger than the socket's the peg's size may come, as a ratio.
    least_mm, most_mm : float
        Least play of each side at worst; widest gap that is left for it.
    given_mm : float or None
        The gap of every side, where the maker gives it.
    end_mm : float
        Least gap at the end.
    """
    spread = (
        peg.left_mm.max(axis=0) + socket.left_mm.max(axis=0) + size_spread * np.asarray(reach_mm, np.float64)
    )
    wanted = least_mm + spread[:-1]
    sides = np.minimum(wanted, most_mm) if given_mm is None else np.full(len(wanted), given_mm)
    return Gaps(sides, end_mm + float(spread[-1]), wanted)


def size_spread_of(peg: Sequence[Values], socket: Sequence[Values]) -> float:
    """The most by which the peg's cast may be larger than the socket's, as a ratio, over all axes and scenarios."""
    largest = max(float(np.linalg.norm(size, 2)) for size in peg)
    least = min(float(np.linalg.svd(size, compute_uv=False)[-1]) for size in socket)
    return largest - least
