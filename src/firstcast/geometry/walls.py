"""Walls and gaps in millimetres: how thick the body is behind every place of its surface, how wide the air before it.

*The ball.* Through a place p goes a ball, tangent to the surface there, with its middle along the inward normal
(for a gap the outward one). As it grows from nothing it touches the surface here and there: where
r(x) = |x - p|² / (2 (x - p)·d) has a local minimum. The first such x that *faces* p stops it: one that is seen
from p, with nothing between, within half of `WEDGE_DEG` off the normal. The width is the ball's diameter.

Where two surfaces face each other this is the diameter of the medial ball (Ma, Bae and Choi 2012), as
Hildebrand and Rüegsegger's local thickness (1997) is. The medial ball itself is stopped by whatever
comes first: by the other side of an edge, and by roughness beside p, so that it shrinks to nothing
along every edge. Surfaces that draw together at more than `WEDGE_DEG` never stop this one: walls that meet at a
corner, the bottom of a V, grain. A normal that is off by an angle e (in radians) widens the reading between
parallel walls by e² / 4 of itself; in a round pin, where the ball no longer fits, it changes it by up to 0.47 e.

*The rim.* Halfway between p and x the two sides draw together along a line; where that leaves the body
lies the rim. If it is nearer than `behind_rim_mm`, the wall is measured where it is so far away, going back
in strides of twice the width and measuring at each of them, as long as the wall gets thicker. If nothing
faces the place reached, there is no wall. A wedge of an angle a so reads 2 · 0.3 · sin(a / 2) mm at its edge,
a sheet its thickness up to its rim, sharp or round; a ridge or groove that tapers and is shallower than
that is relief rather than a wall or a gap. Where the sides don't draw together, but the ball is smaller than a
quarter of that way, the rim is looked for in eight directions: p may lie on the rounding of a crest.

*Edges.* A vertex on a sharp edge (`BLUNT_DEG`) has no normal: it gets the least reading of those at the middles
of the triangles round it.

The ball is exact for the mesh as given, but for rounding: a search tree finds x. Triangles that meet at p don't
stop it. Of places that face p by a hair's breadth some turn over when the body is turned.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles, check_points, check_triangles
from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.threads import side_by_side
from firstcast.geometry.tree import Tree, build_tree
from firstcast.kernels import facets as facet_kernels
from firstcast.kernels import walls as kernels

MOST_MM = 1.5
"""Greatest width looked for: the greatest least wall of any process is 1.2 mm, the greatest least gap 0.8. Time grows
with it: what is wide is found by looking through all that lies within it."""

BEHIND_RIM_MM = 0.3
"""How far behind its rim a wall or gap is measured: about ten pixels of a printer. Nearer to it every edge is thin."""

WEDGE_DEG = 50.0
"""Surfaces that draw together at this angle or more are an edge or a groove, not a wall or a gap."""

BLUNT_DEG = 35.0
"""Where a triangle's normal is off the mean round a vertex by more, the vertex lies on a sharp edge; a cube's
edge is off by 45 degrees, that of a bar with six sides by 30."""

SHARE = 1 << 12
"""Places that one thread reads in a row. Fixed, as each place is read from its neighbour's answer."""

FACET_SHARE = 1 << 16
FACET_SLACK = 2.0**-21
"""By how much of the body's extent balls round triangles grow: four times what places lose as float32."""


class Widths(NamedTuple):
    """What lies behind and before each of n vertices.

    Attributes
    ----------
    wall_mm, gap_mm : (n,) float32
        Thickness of the body behind the place, width of the air in front of it; inf where nothing faces it
        within the greatest width asked for.
    wall_opposite, gap_opposite : (n,) int32
        The triangle that lies opposite, -1 if none.
    """

    wall_mm: npt.NDArray[np.float32]
    gap_mm: npt.NDArray[np.float32]
    wall_opposite: npt.NDArray[np.int32]
    gap_opposite: npt.NDArray[np.int32]


def read_widths(
    mesh: Mesh,
    *,
    tree: Tree | None = None,
    most_mm: float = MOST_MM,
    behind_rim_mm: float = BEHIND_RIM_MM,
) -> Widths:
    """Thickness of the body and width of the air at every vertex of a closed, outward mesh.

    Parameters
    ----------
    mesh : Mesh
        Closed, outward, without surfaces inside the body. A reading is as fine as the vertices are near each other.
    tree : Tree, optional
        The search tree of the same mesh, if there is one already.
    most_mm : float
        Greatest width looked for.
    behind_rim_mm : float
        How far behind a rim to measure.

    Raises
    ------
    InputError
        A length that is not positive, a tree of another mesh, or no triangles.

    Notes
    -----
    What is measured, and how exactly: see the top of this module.
    """
    points, triangles, tree = _checked(mesh, tree, most_mm, behind_rim_mm)
    stars, facing = _surroundings(points, triangles, tree)
    visit = _visit_order(triangles[tree.rows], len(points))
    sides = []
    for side in (-1.0, 1.0):
        width, opposite = np.full(len(points), np.inf, np.float32), np.full(len(points), -1, np.int32)
        settings = (
            side, most_mm / 2.0, np.cos(np.radians(WEDGE_DEG / 2.0)), np.cos(np.radians(BLUNT_DEG)), behind_rim_mm,
            tree[:6], facing, (points, triangles, *stars), width, opposite,
        )  # fmt: skip
        side_by_side(
            lambda first, last, settings=settings: kernels.read_widths(first, last, visit, *settings),
            len(visit),
            SHARE,
        )
        sides.append((width, opposite))
    (wall, wall_opposite), (gap, gap_opposite) = sides
    return Widths(wall, gap, wall_opposite, gap_opposite)


def _checked(
    mesh: Mesh, tree: Tree | None, most_mm: float, behind_rim_mm: float
) -> tuple[Points, Triangles, Tree]:
    """The mesh as the kernels take it, and its tree."""
    if not (0.0 < most_mm < np.inf and 0.0 < behind_rim_mm < np.inf):
        raise InputError(
            f"a greatest width of {most_mm} mm, {behind_rim_mm} mm behind rims",
            where="walls and gaps",
            mend="Give positive lengths.",
        )
    points = check_points(mesh.points, where="walls and gaps")
    triangles = check_triangles(mesh.triangles, len(points), where="walls and gaps")
    tree = build_tree(Mesh(points, triangles)) if tree is None else tree
    if len(tree.rows) != len(triangles):
        raise InputError(
            f"the tree holds {len(tree.rows)} triangles, the mesh {len(triangles)}",
            where="walls and gaps",
            mend="Build the tree from the same mesh.",
        )
    return points, triangles, tree


def _surroundings(points: Points, triangles: Triangles, tree: Tree):
    """Where each point's triangles start (n + 1,), which they are (3m,), the facets and cones of the tree."""
    stars = np.zeros(len(points) + 1, np.int32), np.empty(triangles.size, np.int32)
    facet_kernels.list_stars(triangles, *stars)
    normals, facets = np.empty((len(triangles), 3), np.float32), np.empty((len(triangles), 8), np.float32)
    slack = FACET_SLACK * float(np.abs(tree.boxes[0][np.isfinite(tree.boxes[0])]).max())
    side_by_side(
        lambda first, last: facet_kernels.unit_normals(first, last, points, triangles, normals),
        len(triangles),
        FACET_SHARE,
    )
    side_by_side(
        lambda first, last: facet_kernels.list_facets(
            first,
            last,
            tree.corners,
            tree.rows,
            tree.centre_mm,
            slack,
            (points, triangles, *stars),
            normals,
            facets,
        ),
        len(triangles),
        FACET_SHARE,
    )
    cones = np.zeros((int(tree.level_base[-1]), 8, 4), np.float32)
    facet_kernels.list_cones(facets, tree.depth, tree.level_base, cones)
    return stars, (facets, cones)


def _visit_order(triangles: npt.NDArray[np.int32], count: int) -> npt.NDArray[np.int32]:
    """The vertices that triangles (m, 3) use, by where they come first: neighbours in the tree's order, neighbours here."""
    corner = triangles.ravel()
    first = np.full(count, corner.size, np.int64)
    first[corner[::-1]] = np.arange(corner.size - 1, -1, -1)
    order = np.argsort(first, kind="stable")
    return order[first[order] < corner.size].astype(np.int32)
