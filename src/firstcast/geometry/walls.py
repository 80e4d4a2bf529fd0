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

*Tapers.* Where the two sides draw together, they do so along a line; where that leaves the body lies the edge.
If the taper takes at least half of the width on the way there, the place is one beside an edge, and how far off the edge
is stands beside the width. Such places are as thin as one likes however stout the edge, so
`firstcast.geometry.narrow` measures some way behind it. A slot with a floor, a plate's square rim, a rounded crest
whose sides run straight are no tapers.

*Edges.* A vertex on a sharp edge (`BLUNT_DEG`) has no normal: it gets the least reading of those at the middles
of the triangles round it.

The ball is exact for the mesh as given, but for rounding: a search tree finds x. Triangles that meet at p don't
stop it. Of places that face p by a hair's breadth some turn over when the body is turned. Where places may be left
out, each takes the reading of the nearest one that an edge joins it to.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.starred import Starred, starred
from firstcast.geometry.threads import side_by_side
from firstcast.geometry.tree import Tree, build_tree
from firstcast.kernels import facets as facet_kernels
from firstcast.kernels import walls as kernels

MOST_MM = 1.5
"""Greatest width looked for: the greatest least wall of any process is 1.2 mm, the greatest least gap 0.8. Time grows
with it: what is wide is found by looking through all that lies within it."""

REACH_MM = 0.8
"""How far ahead the edge of a taper is looked for: twice the usual least gap, see `firstcast.geometry.narrow`."""

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
    wall_edge_mm, gap_edge_mm : (n,) float32
        How far off the edge is that the wall or gap tapers to; inf where it doesn't, or beyond the reach.
    """

    wall_mm: npt.NDArray[np.float32]
    gap_mm: npt.NDArray[np.float32]
    wall_opposite: npt.NDArray[np.int32]
    gap_opposite: npt.NDArray[np.int32]
    wall_edge_mm: npt.NDArray[np.float32]
    gap_edge_mm: npt.NDArray[np.float32]


def read_widths(
    mesh: Mesh,
    *,
    tree: Tree | None = None,
    most_mm: float = MOST_MM,
    most_gap_mm: float | None = None,
    reach_mm: float = REACH_MM,
    apart_mm: float = 0.0,
    surface: Starred | None = None,
) -> Widths:
    """Thickness of the body and width of the air at every vertex of a closed, outward mesh.

    Parameters
    ----------
    mesh : Mesh
        Closed, outward, without surfaces inside the body. A reading is as fine as the vertices are near each other.
    tree : Tree, optional
        The search tree of the same mesh, if there is one already.
    most_mm, most_gap_mm : float
        Greatest width looked for; that of gaps if it is another.
    reach_mm : float
        How far ahead to look for the edge of a taper.
    apart_mm : float
        Vertices that an edge shorter than this joins need not both be read.
    surface : Starred, optional
        The same mesh with its stars, if it was made already.

    Raises
    ------
    InputError
        A length that is not positive, a tree of another mesh, or no triangles.

    Notes
    -----
    What is measured, and how exactly: see the top of this module.
    """
    mosts = most_mm, most_mm if most_gap_mm is None else most_gap_mm
    _check_lengths(*mosts, reach_mm)
    surface = starred(mesh, where="walls and gaps") if surface is None else surface
    tree = _checked(surface, tree)
    facing = _surroundings(surface, tree)
    visit, stands_for = _places(surface, tree, apart_mm)
    points = surface.points
    sides = []
    for side, most in zip((-1.0, 1.0), mosts, strict=True):
        width, opposite = np.full(len(points), np.inf, np.float32), np.full(len(points), -1, np.int32)
        edge = np.full(len(points), np.inf, np.float32)
        settings = (
            side, most / 2.0, np.cos(np.radians(WEDGE_DEG / 2.0)), np.cos(np.radians(BLUNT_DEG)), reach_mm,
            tree[:6], facing, tuple(surface), width, opposite, edge,
        )  # fmt: skip
        side_by_side(
            lambda first, last, settings=settings: kernels.read_widths(first, last, visit, *settings),
            len(visit),
            SHARE,
        )
        sides.append((width[stands_for], opposite[stands_for], edge[stands_for]))
    (wall, wall_opposite, wall_edge), (gap, gap_opposite, gap_edge) = sides
    return Widths(wall, gap, wall_opposite, gap_opposite, wall_edge, gap_edge)


def _check_lengths(most_mm: float, most_gap_mm: float, reach_mm: float) -> None:
    if not all(0.0 < length < np.inf for length in (most_mm, most_gap_mm, reach_mm)):
        raise InputError(
            f"a greatest width of {most_mm} mm, of gaps {most_gap_mm} mm, {reach_mm} mm towards edges",
            where="walls and gaps",
            mend="Give positive lengths.",
        )


def _checked(surface: Starred, tree: Tree | None) -> Tree:
    """The tree of the mesh."""
    points, triangles = surface.points, surface.triangles
    tree = build_tree(Mesh(points, triangles)) if tree is None else tree
    if len(tree.rows) != len(triangles):
        raise InputError(
            f"the tree holds {len(tree.rows)} triangles, the mesh {len(triangles)}",
            where="walls and gaps",
            mend="Build the tree from the same mesh.",
        )
    return tree


def _places(surface: Starred, tree: Tree, apart_mm: float):
    """The vertices to read (k,), and for each vertex the one whose reading it takes (n,); an unused one its own."""
    count = len(surface.points)
    visit, seen = np.empty(count, np.int32), np.zeros(count, np.bool_)
    visit = visit[: kernels.list_visits(tree.rows, surface.triangles, seen, visit)]
    chosen, stands_for = np.empty(len(visit), np.int32), np.full(count, -1, np.int32)
    taken = kernels.choose_places(visit, tuple(surface), apart_mm, chosen, stands_for)
    return chosen[:taken], np.where(stands_for < 0, np.arange(count, dtype=np.int32), stands_for)


def _surroundings(surface: Starred, tree: Tree):
    """The facets and cones of the tree."""
    points, triangles = surface.points, surface.triangles
    count = len(triangles)
    normals = np.empty((count, 3), np.float32)
    facets = np.zeros((8, count + facet_kernels.TOGETHER), np.float32)
    slack = FACET_SLACK * float(np.abs(tree.boxes[0][np.isfinite(tree.boxes[0])]).max())
    side_by_side(
        lambda first, last: facet_kernels.unit_normals(first, last, points, triangles, normals),
        count,
        FACET_SHARE,
    )
    side_by_side(
        lambda first, last: facet_kernels.list_facets(
            first, last, tree.corners, tree.rows, tree.centre_mm, slack, tuple(surface), normals, facets
        ),
        count,
        FACET_SHARE,
    )
    cones = np.zeros((int(tree.level_base[-1]), 5, 8), np.float32)
    facet_kernels.list_cones(facets[:, :count], tree.boxes, tree.depth, tree.level_base, cones)
    return facets, cones
