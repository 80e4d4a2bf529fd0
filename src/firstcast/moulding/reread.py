"""A body read once more as mould read it, after something moved its surface: what it holds more of than before."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh
from firstcast.moulding.locks import Lock
from firstcast.moulding.opening import Along, BodyReading, read_body
from firstcast.moulding.parts import Parts
from firstcast.moulding.worsened import Worse, worse_locks
from firstcast.process.materials import Mould

SLACK_VOXELS = 40.0
"""So many voxels more, and a tenth, are not told of a lock: its border lies on as many. Chosen, no source."""


class AsRead(NamedTuple):
    """What mould read of a body, and how.

    Attributes
    ----------
    pull : (3,) float64
        Zeros where there is no mould.
    pitch_mm, least_mm3 : float
    locks : tuple of Lock
    """

    pull: npt.NDArray[np.float64]
    pitch_mm: float
    least_mm3: float
    locks: tuple[Lock, ...]

    @property
    def slack_mm3(self) -> float:
        """How much more a lock may hold, beside a tenth, before it counts as worse."""
        return max(SLACK_VOXELS * self.pitch_mm**3, self.least_mm3)


class Reread(NamedTuple):
    """The new reading, what it holds along the pull, and the locks that are worse."""

    reading: BodyReading
    along: Along
    worse: tuple[Worse, ...]


def reread(mesh: Mesh, as_read: AsRead, parts: Parts, mould: Mould) -> Reread:
    """Read a closed outward mesh along the pull and at the pitch that its body was read with.

    `parts` name what lies beside a place.
    """
    reading = read_body(mesh, parts, mould, pitch_mm=as_read.pitch_mm, least_mm3=as_read.least_mm3)
    along = reading.along(as_read.pull)
    worse = worse_locks(as_read.locks, along.locks, slack_mm3=as_read.slack_mm3, pitch_mm=as_read.pitch_mm)
    return Reread(reading, along, worse)
