"""A body read once more as mould read it, after something moved its surface: what it holds more of than before."""

from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh
from firstcast.moulding.locks import Lock
from firstcast.moulding.opening import Along, BodyReading, read_body
from firstcast.moulding.parts import Parts
from firstcast.moulding.tongues import find_tongues
from firstcast.moulding.tongues_told import MOST_BASE_MM, TONGUE_RATIO, TongueTold, told_of
from firstcast.moulding.worsened import Worse, worse_locks, worse_tongues
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
    locks, tongues : tuples
    """

    pull: npt.NDArray[np.float64]
    pitch_mm: float
    least_mm3: float
    locks: tuple[Lock, ...]
    tongues: tuple[TongueTold, ...] = ()

    @property
    def slack_mm3(self) -> float:
        """How much more a lock may hold, beside a tenth, before it counts as worse."""
        return SLACK_VOXELS * self.pitch_mm**3


class Reread(NamedTuple):
    """The new reading, what it holds along the pull, the locks that are worse, and the tongues that are more slender."""

    reading: BodyReading
    along: Along
    worse: tuple[Worse, ...]
    slender: tuple[TongueTold, ...]


def reread(mesh: Mesh, as_read: AsRead, parts: Parts, mould: Mould, *, used: float = 1.0) -> Reread:
    """Read a closed outward mesh along the pull and at the pitch that its body was read with.

    `parts` name what lies beside a place. From `used` on of what is let pass, a share, things count as worse.
    """
    reading = read_body(mesh, parts, mould, pitch_mm=as_read.pitch_mm, least_mm3=as_read.least_mm3)
    # beside one another: either waits for distances of the whole grid, which let other threads run
    with ThreadPoolExecutor(1) as pool:
        finding = pool.submit(
            find_tongues, reading.room, least_ratio=TONGUE_RATIO, most_base_mm=MOST_BASE_MM, least_mm3=as_read.least_mm3
        )  # fmt: skip
        along = reading.along(as_read.pull)
        tongues = finding.result()
    worse = worse_locks(
        as_read.locks, along.locks, slack_mm3=as_read.slack_mm3, least_mm3=as_read.least_mm3, pitch_mm=as_read.pitch_mm, used=used,
        voxels_of=along.voxels_mm,
    )  # fmt: skip
    told = told_of(tongues, reading.room, reading.parts)
    return Reread(
        reading, along, worse, worse_tongues(as_read.tongues, told, pitch_mm=as_read.pitch_mm, used=used)
    )
