"""Props as one solid: tips that enter the piece, posts, feet that a scraper gets under."""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from manifold3d import Manifold

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.reduce import reduce_mesh
from firstcast.geometry.solids import from_manifold, union
from firstcast.printing.descent import Place
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.ways import FOOT, JOINT, REST, TIP, Ways

FACETS = 10
"""Sides of a post: a post of 0.7 mm is 0.017 mm off the circle at most, half a pixel."""

SHORTER = 0.85
"""A foot's lowest face over its widest: the chamfer that a scraper enters by. Common practice, no source."""

CHAMFER_MM = 0.3

LOWEST_MM = 0.01
"""No post reaches lower: within the first layer, and not in one plane with the feet, of which a union would make crossings."""

SLIVER_MM = 2e-3
"""The union leaves slivers that rounding to what files store would turn over: they are reduced away within this."""

ALIKE = 0.03
"""Parts of a post whose radii differ by less are made as one, as thick as the thickest."""

HAIR_RATIO, GOLDEN = 0.02, 0.6180339887498949
"""Each solid's rings are turned and widened by its own share of this, so that solids that meet in a joint have no face, edge
or corner in common: out of faces that coincide, the union makes crossings."""


def _ring(middle: Place, along: Place, radius: float, share: float = 0.0) -> Place:
    """(FACETS, 3) a circle about a direction whose polygon has the circle's area."""
    side = np.array([1.0, 0.0, 0.0]) if abs(along[0]) < 0.7 else np.array([0.0, 1.0, 0.0])
    u = np.cross(along, side)
    u /= np.linalg.norm(u)
    v = np.cross(along, u)
    angle = 2.0 * np.pi * (np.arange(FACETS) + share) / FACETS
    radius = (
        (1.0 + HAIR_RATIO * share) * radius * np.sqrt(2.0 * np.pi / FACETS / np.sin(2.0 * np.pi / FACETS))
    )
    return middle + radius * (np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * v)


def _ball(middle: Place, radius: float, share: float) -> Place:
    """(m, 3) points of a ball: two poles and three rings."""
    up = np.array([0.0, 0.0, 1.0])
    radius = (1.0 + HAIR_RATIO * share) * radius
    rings = [_ring(middle + radius * np.sin(t) * up, up, radius * np.cos(t), share) for t in (-0.8, 0.0, 0.8)]
    return np.concatenate([*rings, [middle + radius * up, middle - radius * up]])


def _hull(*points: Place) -> Manifold:
    return Manifold.hull_points(np.concatenate(points))


def solid_of(
    ways: Ways,
    radii_mm: npt.NDArray[np.float64],
    necks_mm: npt.NDArray[np.float64],
    shapes: PropShapes,
    *,
    depth_mm: npt.NDArray[np.float64],
) -> Mesh:
    """One closed, manifold mesh of all props.

    Parameters
    ----------
    ways : Ways
    radii_mm : (n,) float64
        Of the part of a post that goes down from each node.
    necks_mm, depth_mm : (c,) float64
        Diameter of each contact's neck, also where its prop stands on the figure, and how deep it enters.

    Returns
    -------
    Mesh
        points (n, 3) float32; empty where there are no props.
    """
    solids = _parts(ways, radii_mm, necks_mm, shapes, depth_mm)
    if not solids:
        return Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32))
    # what a union calls one place goes by its own tolerance: without it the slivers stay
    whole = from_manifold(union(solids).set_tolerance(SLIVER_MM).simplify(SLIVER_MM), where="props")
    return reduce_mesh(Mesh(whole.points.astype(np.float32), whole.triangles), tolerance_mm=SLIVER_MM).mesh


def volume_of(
    ways: Ways,
    radii_mm: npt.NDArray[np.float64],
    necks_mm: npt.NDArray[np.float64],
    shapes: PropShapes,
    *,
    depth_mm: npt.NDArray[np.float64],
) -> float:
    """Volume in mm3 of what `solid_of` makes, without making it fit for files."""
    solids = _parts(ways, radii_mm, necks_mm, shapes, depth_mm)
    return float(union(solids).volume()) if solids else 0.0


def _parts(
    ways: Ways,
    radii_mm: npt.NDArray[np.float64],
    necks_mm: npt.NDArray[np.float64],
    shapes: PropShapes,
    depth_mm: npt.NDArray[np.float64],
) -> list[Manifold]:
    """Tips, parts of posts and feet, each by itself."""
    places = np.array(ways.places).reshape(-1, 3)
    row = {ways.end_of(tip): row for tip, row in ways.tip_of.items()}
    solids = []
    for node, below, radius in _straight_parts(ways, places, radii_mm):
        share = (node * GOLDEN) % 1.0
        a, b = places[node], places[below]
        along = (a - b) / np.linalg.norm(a - b)
        if ways.kinds[node] == TIP:
            contact = ways.tip_of[node]
            upper = _ring(a + depth_mm[contact] * along, along, 0.5 * necks_mm[contact], share)
        else:
            upper = _ball(a, radius, share)
        if ways.kinds[below] == REST:
            lower = _ring(b - shapes.depth_mm * along, along, 0.5 * necks_mm[row[below]])
        elif ways.kinds[below] == FOOT:
            lower = _ball(np.array([*b[:2], min(shapes.foot_height_mm, 0.5 * a[2])]), radius, share)
            solids.append(_foot(b, radius, shapes, 1.0 - share))
        else:
            lower = _ball(b, radii_mm[below] if ways.kinds[node] == TIP else radius, share)
        # a post that is thicker than its foot is high would reach through the platform
        solids.append(_hull(*(np.maximum(end, [-np.inf, -np.inf, LOWEST_MM]) for end in (upper, lower))))
    return solids


def _straight_parts(
    ways: Ways, places: Place, radii_mm: npt.NDArray[np.float64]
) -> Iterator[tuple[int, int, float]]:
    """Upper node, lower node and radius of all parts, those that go straight on about as thick taken as one."""
    above = np.bincount(ways.edges[:, 1], minlength=len(places))

    def goes_on(node: int, below: int, thinnest: float, thickest: float) -> bool:
        """Whether the part under a node is another's lower half, about as thick as all that is taken as one with it."""
        under = ways.down[below]
        if ways.kinds[below] != JOINT or above[below] != 1 or under < 0 or ways.kinds[node] == TIP:
            return False
        a, b = places[below] - places[node], places[under] - places[below]
        straight = a @ b > (1.0 - 1e-9) * np.linalg.norm(a) * np.linalg.norm(b)
        mine = float(radii_mm[below])
        return bool(straight) and max(mine, thickest) <= (1.0 + ALIKE) * min(mine, thinnest)

    taken = np.zeros(len(places), bool)
    order = np.argsort(-places[:, 2], kind="stable") if len(places) else []
    for top in order:
        if taken[top] or ways.down[top] < 0:
            continue
        node, radius = int(top), float(radii_mm[top])
        thinnest = radius
        while goes_on(node, ways.down[node], thinnest, radius):
            node = ways.down[node]
            taken[node] = True
            radius, thinnest = max(radius, float(radii_mm[node])), min(thinnest, float(radii_mm[node]))
        yield int(top), ways.down[node], radius


def _foot(place: Place, radius: float, shapes: PropShapes, share: float) -> Manifold:
    """A foot wider than its post, chamfered beneath."""
    up = np.array([0.0, 0.0, 1.0])
    wide = shapes.foot_radius_mm(radius)
    base = np.array([place[0], place[1], 0.0])
    return _hull(
        _ring(base, up, SHORTER * wide, share),
        _ring(base + CHAMFER_MM * up, up, wide, share),
        _ring(base + shapes.foot_height_mm * up, up, radius, share),
    )
