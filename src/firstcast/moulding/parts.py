"""Which parts of the body some places lie beside, in the maker's words."""

from collections.abc import Sequence
from typing import Protocol

import numpy as np
import numpy.typing as npt
from scipy.spatial import KDTree

from firstcast.geometry.body import Body

MOST_TRIANGLES, MOST_PLACES = 200_000, 400
"""So many of each are looked at, evenly taken: a place lies beside some tens of them."""

UNDER, MOSTLY = 0.5, 0.75
"""Shares of the places: what faces down over so many is what they lie under; what so many lie beside is the only one named."""


class Beside(Protocol):
    """Says beside which part some places (n, 3) lie: its name, and words."""

    def beside(self, places_mm: npt.NDArray[np.floating]) -> tuple[str, str]:
        """The part, and words such as "under 'hood'"."""
        ...


class Parts:
    """The parts of a body, to be asked what lies beside a place."""

    def __init__(self, body: Body) -> None:
        corners = body.mesh.corners[:: max(1, len(body.mesh.triangles) // MOST_TRIANGLES)]
        self._names = body.part_names
        self._part = body.part_of_triangle[:: max(1, len(body.mesh.triangles) // MOST_TRIANGLES)]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        self._down = normal[:, 2] < -0.5 * np.linalg.norm(normal, axis=1)
        self._tree = KDTree(corners.mean(axis=1))

    def beside(self, places_mm: npt.NDArray[np.floating]) -> tuple[str, str]:
        """The part that holds what lies at some places, (n, 3), and words such as "under 'hood'"."""
        some = np.asarray(places_mm, np.float64)[:: max(1, len(places_mm) // MOST_PLACES)]
        rows = np.asarray(self._tree.query(some)[1], np.int64)
        down = self._down[rows]
        if down.mean() >= UNDER:
            name = self._most(rows[down])[0]
            return name, f"under '{name}'"
        first, *others = self._most(rows)
        return (first, f"between '{first}' and '{others[0]}'") if others else (first, f"in '{first}'")

    def numbers_beside(self, places_mm: npt.NDArray[np.floating]) -> npt.NDArray[np.int64]:
        """(n,) int64: for each place (n, 3) the number of the part it lies beside."""
        rows = np.asarray(self._tree.query(np.asarray(places_mm, np.float64), workers=-1)[1], np.int64)
        return np.asarray(self._part[rows], np.int64)

    @property
    def names(self) -> tuple[str, ...]:
        """The parts' names, by their numbers."""
        return self._names

    def _most(self, rows: Sequence[int] | npt.NDArray[np.integer]) -> tuple[str, ...]:
        counts = np.bincount(self._part[rows], minlength=len(self._names))
        order = [int(n) for n in np.argsort(-counts, kind="stable")]
        if counts[order[0]] >= MOSTLY * counts.sum() or len(order) < 2 or not counts[order[1]]:
            return (self._names[order[0]],)
        return self._names[order[0]], self._names[order[1]]
