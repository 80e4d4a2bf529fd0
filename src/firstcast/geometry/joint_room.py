"""The room that a body has for a peg or a socket: what of it runs on, level by level, from a seat inward."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from manifold3d import CrossSection

from firstcast.geometry.footing import FLAT_GRID_MM, Frame, section_at
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.neighbourhood import with_own_points

FINEST_MM = 0.01
"""The widest place of a section is found to this."""

MOST_PAIRS = 1 << 18
"""Places times edges that are looked at together: some tens of megabytes."""

Values = npt.NDArray[np.float64]


class Column(NamedTuple):
    """What a body has in common at all levels from a seat to some depth: sections along and across, mm.

    Attributes
    ----------
    levels_mm : (n,) float64
        Signed: beneath the seat they are below 0.
    sections : tuple of CrossSection
        The body's section at each level.
    common : tuple of CrossSection
        What it and all before it have in common.
    """

    levels_mm: Values
    sections: tuple[CrossSection, ...]
    common: tuple[CrossSection, ...]


def column_of(body: Mesh, frame: Frame, place_mm: npt.ArrayLike, levels_mm: npt.ArrayLike) -> Column:
    """A body's sections about a place, at levels along the frame's `into`, in the order given.

    Flat coordinates are from the place. It ends where nothing is in common any more.
    """
    levels = np.asarray(levels_mm, np.float64)
    place = np.asarray(place_mm, np.float64)
    seat, origin = float(place @ frame.into), frame.flat(place)
    near = _between(body, frame, seat + levels.min(), seat + levels.max())
    sections, common = [], []
    for level in levels:
        section = section_at(near, frame, seat + float(level)).translate(
            (-float(origin[0]), -float(origin[1]))
        )
        shared = section if not common else common[-1] ^ section
        if shared.area() <= FLAT_GRID_MM:
            break
        sections.append(section)
        common.append(shared)
    return Column(levels[: len(sections)], tuple(sections), tuple(common))


def _between(body: Mesh, frame: Frame, low: float, high: float) -> Mesh:
    """The triangles that reach into some heights, with their own points: every section looks at all of them."""
    heights = np.asarray(body.points, np.float64) @ frame.into
    own = heights[body.triangles]
    chosen = (own.max(axis=1) >= low) & (own.min(axis=1) <= high)
    return with_own_points(body.points, body.triangles[chosen])[0]


def depth_in(section: CrossSection, spots_mm: npt.ArrayLike) -> Values:
    """(k,) how far places (k, 2) lie inside a section's outline; below 0 outside, -inf where there is none."""
    spots = np.atleast_2d(np.asarray(spots_mm, np.float64))
    loops = [np.asarray(loop, np.float64) for loop in section.to_polygons()]
    if not loops:
        return np.full(len(spots), -np.inf)
    start = np.concatenate(loops)
    end = np.concatenate([np.roll(loop, -1, axis=0) for loop in loops])
    found = np.empty(len(spots))
    rows = max(1, MOST_PAIRS // len(start))
    for first in range(0, len(spots), rows):
        found[first : first + rows] = _depths(start, end, spots[first : first + rows])
    return found


def _depths(start: Values, end: Values, spots: Values) -> Values:
    """(k,) signed depth of places among edges (n, 2) from start to end."""
    along, away = end - start, spots[:, None] - start
    long = np.maximum((along * along).sum(axis=1), 1e-300)
    share = np.clip((away * along).sum(axis=2) / long, 0.0, 1.0)
    far = np.sqrt(((away - share[:, :, None] * along) ** 2).sum(axis=2).min(axis=1))
    # crossings of the ray along +x, counted with their direction
    height = spots[:, 1:2]
    up = (start[:, 1] <= height) & (end[:, 1] > height)
    down = (end[:, 1] <= height) & (start[:, 1] > height)
    side = along[:, 0] * away[:, :, 1] - along[:, 1] * away[:, :, 0]
    winds = (up & (side > 0.0)).sum(axis=1) - (down & (side < 0.0)).sum(axis=1)
    return np.where(winds > 0, far, -far)


def widest_place(section: CrossSection) -> tuple[tuple[float, float], float]:
    """The middle and the radius of the largest circle in a section, to a hundredth of a millimetre."""
    return best_place(section.bounds(), lambda spots: depth_in(section, spots))


def best_place(
    bounds: tuple[float, float, float, float], worth_mm: Callable[[Values], Values]
) -> tuple[tuple[float, float], float]:
    """The place of a rectangle that is worth most, and its worth, to a hundredth of a millimetre.

    Squares are halved while one may hold a better place than the best so far: its middle's worth and half its
    diagonal bound it.

    Parameters
    ----------
    bounds : (low, low, high, high)
    worth_mm : callable
        Of places (k, 2), (k,): what differs between two of them by no more than they are apart, as depths do.
    """
    low_u, low_v, high_u, high_v = bounds
    size = max(min(high_u - low_u, high_v - low_v), FINEST_MM) / 2.0
    middles = np.array(
        [
            (u, v)
            for u in np.arange(low_u + size / 2.0, high_u + size, size)
            for v in np.arange(low_v + size / 2.0, high_v + size, size)
        ]
    )
    best, depth = (float(middles[0, 0]), float(middles[0, 1])), -np.inf
    while len(middles):
        depths = worth_mm(middles)
        k = int(depths.argmax())
        if depths[k] > depth:
            best, depth = (float(middles[k, 0]), float(middles[k, 1])), float(depths[k])
        hopeful = middles[depths + size * np.sqrt(0.5) > depth + FINEST_MM]
        size /= 2.0
        quarter = 0.5 * size * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
        middles = (hopeful[:, None] + quarter[None]).reshape(-1, 2)
    return best, depth


def least_wall_mm(column: Column, outlines: Sequence[npt.NDArray[np.float64]]) -> float:
    """The least distance from outlines, one for each of the column's levels, to what bounds the body there."""
    walls = [
        float(depth_in(section, outline).min())
        for section, outline in zip(column.sections, outlines, strict=False)
        if len(outline)
    ]
    if len(column.sections) < len(outlines):
        return 0.0
    return min(walls, default=0.0)
