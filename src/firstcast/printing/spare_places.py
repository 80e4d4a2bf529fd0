"""Places on a figure's underside where further tips could stand, should those that are there bear too much."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh
from firstcast.printing.tips import DOWN

Floats = npt.NDArray[np.float64]

SPACING_MM = 0.5
"""One place to a cube of this edge: about as near as two stout tips can be snapped off one by one. Chosen, no source."""

MOST_PLACES = 12000
"""Where the underside is so large that there would be more, cubes are larger."""

FINEST = 64
"""Triangles are divided into no more than the square of this."""


@dataclass(frozen=True)
class Spare:
    """Where tips could be added.

    Attributes
    ----------
    places_mm, normals : (n, 3) float64
        On the surface, where it faces the platform; outward.
    """

    places_mm: Floats
    normals: Floats

    def within(self, deep_mm: float) -> Floats:
        """(n, 3) places so deep under the surface: which body they belong to is asked for there."""
        return self.places_mm - deep_mm * self.normals


def spare_places(piece: Mesh) -> Spare:
    """Places spread over all that faces the platform.

    Parameters
    ----------
    piece : Mesh
        Closed and outward, as it stands over the platform.
    """
    corners = piece.corners
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(cross, axis=1)
    normals = cross / np.maximum(size, 1e-30)[:, None]
    down = (normals[:, 2] < DOWN) & (size > 0.0)
    spacing = max(SPACING_MM, float(np.sqrt(0.5 * size[down].sum() / MOST_PLACES)))
    places, of = _spread(corners[down], 0.4 * spacing)
    chosen = _one_to_a_cube(places, spacing)
    return Spare(places[chosen], normals[down][of[chosen]])


def _spread(corners: Floats, apart_mm: float) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Places (n, 3) in triangles (t, 3, 3), about so far apart or nearer, and the triangle (n,) of each."""
    edges = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    parts = np.clip(np.ceil(edges / apart_mm), 1, FINEST).astype(np.int64)
    places, of = [np.zeros((0, 3))], [np.zeros(0, np.int64)]
    for count in np.unique(parts):
        rows = np.flatnonzero(parts == count)
        i, j = np.indices((count, count)).reshape(2, -1)
        i, j = i[i + j < count], j[i + j < count]
        # middles of the small triangles that stand as the large one does
        shares = np.column_stack([i + 1 / 3, j + 1 / 3, count - i - j - 2 / 3]) / count
        places.append(np.einsum("sc,tcx->tsx", shares, corners[rows]).reshape(-1, 3))
        of.append(np.repeat(rows, len(shares)))
    return np.concatenate(places), np.concatenate(of)


def _one_to_a_cube(places: Floats, edge_mm: float) -> npt.NDArray[np.int64]:
    """Of the places in each cube the one nearest to its middle."""
    cube = np.floor(places / edge_mm)
    away = np.linalg.norm(places / edge_mm - cube - 0.5, axis=1)
    order = np.lexsort((away, cube[:, 0], cube[:, 1], cube[:, 2]))
    sorted_ = cube[order]
    first = np.ones(len(order), bool)
    first[1:] = (sorted_[1:] != sorted_[:-1]).any(axis=1)
    return order[first]
