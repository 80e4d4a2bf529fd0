"""Walls and gaps of a changed mesh, held against the body that it came from, at the same places."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.narrow import NarrowRegion, Places, narrow_regions
from firstcast.geometry.normals import vertex_normals
from firstcast.geometry.tree import Dipoles, Tree, build_dipoles, build_tree, signed_distances

MOST_PLACES = 100
"""So many places of a region are compared, evenly taken."""

ASKEW = 0.2
"""A place whose other end lies off the surface by more of the width was read askew: it is left out."""

MOST_MOVED_MM = 0.2
"""Nothing is moved so far but for what was added: carry's cap is 0.08."""

NARROWER_SHARE, NARROWER_MM = 0.9, 0.02
"""A tenth narrower, and less than this on top, is let pass. Chosen, no source: reduce may move each side by 12.5 µm on a pixel of
0.05 mm."""

LEAST_SHARE = 0.3
"""A region of which fewer places than this can be compared belongs to what production added, or lay askew as a whole."""


class Narrowed(NamedTuple):
    """A narrow region of the changed mesh: how narrow it is there, and how wide the body is at the same place."""

    region: NarrowRegion
    now_mm: float
    before_mm: float


@dataclass(frozen=True)
class Solid:
    """A closed outward mesh, ready to be asked how far its surface is."""

    mesh: Mesh
    tree: Tree
    dipoles: Dipoles

    @classmethod
    def of(cls, mesh: Mesh) -> "Solid":
        """Make a mesh ready."""
        tree = build_tree(mesh)
        return cls(mesh, tree, build_dipoles(tree))

    def away_mm(self, places_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """(n,) distance of places (n, 3) from the surface, negative inside."""
        return signed_distances(self.tree, self.dipoles, places_mm)


def narrowed(changed: Solid, places: Places, body: Solid, *, inside: bool, limit_mm: float) -> list[Narrowed]:
    """Regions below the limit that are narrower than the body by more than is let pass, the worst first.

    Parameters
    ----------
    changed, body : Solid
        Both in the figure's millimetres.
    places : Places
        The changed mesh's walls, or its gaps.
    inside : bool
        Whether they are walls.
    limit_mm : float

    Notes
    -----
    At both ends of a wall of the changed mesh it is measured how far the body's surface is, and on which side. So both are
    measured at one place along one line, and neither a coarser mesh nor its edges make a difference. What lies farther
    off than anything is moved belongs to what production added, and is left out.
    """
    normals = vertex_normals(changed.mesh)
    sign = -1.0 if inside else 1.0
    found = []
    for region in narrow_regions(changed.mesh, places, limit_mm=limit_mm):
        rows = region.vertices[:: max(1, len(region.vertices) // MOST_PLACES)]
        width = places.width_mm[rows].astype(np.float64)
        here = np.asarray(changed.mesh.points, np.float64)[rows]
        across = here + sign * width[:, None] * normals[rows]
        # by how much the surface of the body lies on the other side of that of the changed mesh, at either end
        moved_here, moved_across = body.away_mm(here), body.away_mm(across)
        askew = changed.away_mm(across)
        more = sign * (moved_here + moved_across - askew)
        fair = (np.abs(askew) <= ASKEW * width) & (
            np.maximum(np.abs(moved_here), np.abs(moved_across)) < MOST_MOVED_MM
        )
        if fair.mean() < LEAST_SHARE:
            continue
        now_mm = float(np.median(width[fair]))
        before_mm = now_mm + float(np.median(more[fair]))
        if now_mm < NARROWER_SHARE * before_mm - NARROWER_MM:
            found.append(Narrowed(region, now_mm, before_mm))
    return sorted(found, key=lambda each: each.now_mm - each.before_mm)
