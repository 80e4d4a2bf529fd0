"""Where a part could be made a piece of its own, if to fill what holds the mould costs too much."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.geometry.body import Body

LEAST_SEAM = 8
"""Points on which a part meets the rest of the body; with fewer there is no seam to split along."""


@dataclass(frozen=True)
class Split:
    """A plane that would part a body in two.

    Attributes
    ----------
    part : str
        What would become a piece of its own; "" where the body is cut, since it has one part only.
    place_mm, normal : (float, float, float)
        Of the plane; the normal, of length 1, leads into the part.
    spread_mm : float
        How far the seam lies from the plane, root mean square: a seam that is not flat takes more than a plane.
    """

    part: str
    place_mm: tuple[float, float, float]
    normal: tuple[float, float, float]
    spread_mm: float


def split_at(
    body: Body, part: str, place_mm: tuple[float, float, float], pull: npt.NDArray[np.float64]
) -> Split:
    """Split a part off along its seam; a body of one part across the pull, through the place that is held."""
    triangles, parts = body.mesh.triangles, body.part_of_triangle
    mine = parts == body.part_names.index(part)
    points = np.asarray(body.mesh.points, np.float64)
    of_part, of_rest = np.zeros(len(points), np.bool_), np.zeros(len(points), np.bool_)
    of_part[triangles[mine]] = True
    of_rest[triangles[~mine]] = True
    seam = points[of_part & of_rest]
    if len(seam) < LEAST_SEAM:
        x, y, z = (float(c) for c in pull)
        return Split("", place_mm, (x, y, z), 0.0)
    middle = seam.mean(axis=0)
    _, _, ways = np.linalg.svd(seam - middle, full_matrices=False)
    normal = ways[2]
    if (points[of_part].mean(axis=0) - middle) @ normal < 0.0:
        normal = -normal
    off = float(np.sqrt((((seam - middle) @ normal) ** 2).mean()))
    (x, y, z), (a, b, c) = middle.tolist(), normal.tolist()
    return Split(part, (x, y, z), (a, b, c), off)
