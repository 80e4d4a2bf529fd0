"""The body of a piece: its sculpted solid, and which part each place of it came from."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh


@dataclass(frozen=True)
class Body:
    """One closed mesh per piece, and the part that each triangle came from.

    Attributes
    ----------
    mesh : Mesh
        points (n, 3) float32, mm; triangles (m, 3) int32; closed and outward.
    part_of_triangle : (m,) uint16
        Index into `part_names`.
    part_names : tuple of str
        The piece's parts, in the order of the job file; fittings added by production follow them.
    """

    mesh: Mesh
    part_of_triangle: npt.NDArray[np.uint16]
    part_names: tuple[str, ...]
