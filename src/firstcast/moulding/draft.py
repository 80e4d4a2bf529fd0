"""Walls that stand too nearly along the pull for a hard tool to let go."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.geometry.body import Body


class Undrafted(NamedTuple):
    """What of a part has less draft than asked for: mm² of surface, and a place on it in figure space."""

    part: str
    area_mm2: float
    place_mm: tuple[float, float, float]


def undrafted(body: Body, pull: npt.ArrayLike, draft_deg: float) -> tuple[Undrafted, ...]:
    """Surface that leans less than `draft_deg` from the pull, part by part, the largest first."""
    corners = body.mesh.corners
    normal = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    way = np.asarray(pull, np.float64) / np.linalg.norm(pull)
    steep = np.abs(normal @ way) < np.sin(np.radians(draft_deg)) * area
    found = []
    for number, name in enumerate(body.part_names):
        mine = np.flatnonzero(steep & (body.part_of_triangle == number))
        if len(mine):
            middles = corners[mine].mean(axis=1)
            middle = np.average(middles, axis=0, weights=area[mine])
            x, y, z = middles[int(((middles - middle) ** 2).sum(axis=1).argmin())].tolist()
            found.append(Undrafted(name, float(area[mine].sum()), (x, y, z)))
    return tuple(sorted(found, key=lambda each: -each.area_mm2))
