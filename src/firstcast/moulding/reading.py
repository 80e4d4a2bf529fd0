"""What is read of a mould that opens along one pull."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.geometry.body import Body
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.held import Held
from firstcast.moulding.hollows import Hollows, Room
from firstcast.moulding.locks import Lock
from firstcast.moulding.opening import Along, BodyReading, read_body
from firstcast.moulding.parts import Parts
from firstcast.moulding.tongues import Tongue, find_tongues
from firstcast.process.materials import Mould


@dataclass(frozen=True)
class Read:
    """What is read of a mould that opens along one pull: as the functions of `moulding` give it."""

    held: Held
    room: Room
    hollows: Hollows
    parts: Parts
    locks: tuple[Lock, ...]
    numbers: npt.NDArray[np.int32]
    tongues: tuple[Tongue, ...]


def read_mould(body: Body, pull: npt.ArrayLike, pitch_mm: float, mould: Mould, bounds: Bounds) -> Read:
    """Read what a pull holds and which tongues there are.

    Raises
    ------
    InputError
        The body is empty or isn't closed.
    SizeError
        The voxels would not fit this machine.
    """
    reading = read_body(body.mesh, Parts(body), mould, pitch_mm=pitch_mm, least_mm3=bounds.least_mm3)
    return read_of(reading, reading.along(pull), bounds)


def read_of(reading: BodyReading, along: Along, bounds: Bounds) -> Read:
    """All that is read of a body along one of its pulls."""
    tongues = find_tongues(
        reading.room, least_ratio=bounds.tongue_ratio, most_base_mm=bounds.tongue_base_mm,
        least_mm3=bounds.least_mm3,
    )  # fmt: skip
    return Read(
        along.held, reading.room, reading.hollows, reading.parts, along.locks, along.numbers, tuple(tongues)
    )
