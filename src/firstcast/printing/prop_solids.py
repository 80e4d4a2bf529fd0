"""Props as one solid: tips that enter the piece, posts, feet that a scraper gets under."""

import numpy as np
import numpy.typing as npt
from manifold3d import Manifold

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.reduce import reduce_mesh
from firstcast.geometry.solids import from_manifold, union
from firstcast.printing.descent import Place
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.ways import FOOT, HEAD, REST, TIP, Ways

FACETS = 10
"""Sides of a post: a post of 0.7 mm is 0.017 mm off the circle at most, half a pixel."""

SHORTER = 0.85
"""A foot's lowest face over its widest: the chamfer that a scraper enters by. Common practice, no source."""

CHAMFER_MM = 0.3

SLIVER_MM = 2e-3
"""The union leaves slivers that rounding to what files store would turn over: they are reduced away within this."""

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
        Of the post that goes down from each node; feet and rests take that of what comes down to them.
    necks_mm, depth_mm : (c,) float64
        Diameter of each contact's neck, and how deep it enters.

    Returns
    -------
    Mesh
        points (n, 3) float32; empty where there are no props.
    """
    places = np.array(ways.places).reshape(-1, 3)
    at_end = radii_mm.copy()
    for node, below in enumerate(ways.down):
        if below >= 0 and ways.kinds[below] in (FOOT, REST):
            at_end[below] = max(at_end[below], radii_mm[node])
    solids = []
    for node, below in enumerate(ways.down):
        if below < 0:
            continue
        share = (node * GOLDEN) % 1.0
        a, b = places[node], places[below]
        along = (a - b) / np.linalg.norm(a - b)
        tip, rest = ways.kinds[node] == TIP, ways.kinds[below] == REST
        neck = 0.5 * necks_mm[ways.tip_of[node]] if tip else 0.0
        if tip:
            sunk = depth_mm[ways.tip_of[node]]
            upper = _ring(a + sunk * along, along, neck, share)
        else:
            upper = _ball(a, radii_mm[node], share)
        if rest:
            lower = _ring(b - shapes.depth_mm * along, along, neck or 0.5 * shapes.tip_mm)
        elif ways.kinds[below] == FOOT:
            lower = _ball(np.array([*b[:2], min(shapes.foot_height_mm, 0.5 * a[2])]), at_end[below], share)
            solids.append(_foot(b, at_end[below], shapes, 1.0 - share))
        else:
            wide = ways.kinds[node] == TIP or ways.kinds[below] == HEAD
            lower = _ball(b, radii_mm[below] if wide else radii_mm[node], share)
        solids.append(_hull(upper, lower))
    if not solids:
        return Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32))
    # what a union calls one place goes by its own tolerance: without it the slivers stay
    whole = from_manifold(union(solids).set_tolerance(SLIVER_MM).simplify(SLIVER_MM), where="props")
    return reduce_mesh(Mesh(whole.points.astype(np.float32), whole.triangles), tolerance_mm=SLIVER_MM).mesh


def _foot(place: Place, radius: float, shapes: PropShapes, share: float) -> Manifold:
    """A foot wider than its post, chamfered beneath."""
    up = np.array([0.0, 0.0, 1.0])
    wide = max(0.5 * shapes.foot_mm, 1.6 * radius)
    base = np.array([place[0], place[1], 0.0])
    return _hull(
        _ring(base, up, SHORTER * wide, share),
        _ring(base + CHAMFER_MM * up, up, wide, share),
        _ring(base + shapes.foot_height_mm * up, up, radius, share),
    )
