"""What a body stands on: its section just above its lowest place, and the bar that fits under it."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from manifold3d import CrossSection, JoinType

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.neighbourhood import near_box
from firstcast.geometry.solids import outline_section
from firstcast.geometry.tree import build_tree, closest_points

FOOT_SHARE = 0.1
"""Regions of the section smaller than this share of the largest are no feet."""

ROUND_RATIO = 1.1
"""Second moments that differ by less: the outline has no long axis worth following."""

OUTSIDE_MOST = 0.01
"""Share of a bar's area that may lie outside the feet and the gaps between them."""

FLAT_GRID_MM = 1e-4
"""Regions of a section with less area than this in mm² are rounding; also the step of plain distances."""


class Frame(NamedTuple):
    """Right-handed axes (3,) float64: `along` and `across` lie in the section, `into` points into the body."""

    along: npt.NDArray[np.float64]
    across: npt.NDArray[np.float64]
    into: npt.NDArray[np.float64]

    def flat(self, points_mm: npt.NDArray) -> npt.NDArray[np.float64]:
        """Places (n, 3) as (n, 2) along and across."""
        points = np.asarray(points_mm, dtype=np.float64)
        return np.stack([points @ self.along, points @ self.across], axis=-1)

    def turned(self, angle_rad: float) -> "Frame":
        """The frame turned about `into`."""
        if angle_rad == 0.0:
            return self
        c, s = np.cos(angle_rad), np.sin(angle_rad)
        return Frame(c * self.along + s * self.across, c * self.across - s * self.along, self.into)


class Bar(NamedTuple):
    """A rectangle in a section: middle (along, across), length along, width across."""

    middle: tuple[float, float]
    length: float
    width: float

    @property
    def corners(self) -> npt.NDArray[np.float64]:
        """(4, 2), counter-clockwise."""
        half = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) / 2.0
        return np.asarray(self.middle) + half * (self.length, self.width)


def frame_into(into: npt.NDArray[np.float64]) -> Frame:
    """Axes with a given `into` direction; `along` is x where that is not nearly `into` itself."""
    into = np.asarray(into, dtype=np.float64) / np.linalg.norm(into)
    start = np.array([1.0, 0.0, 0.0]) if abs(into[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    along = start - (start @ into) * into
    along /= np.linalg.norm(along)
    return Frame(along, np.cross(into, along), into)


def nearest_place(mesh: Mesh, place_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """The surface place (3,) nearest to a place, without a search tree of the whole mesh."""
    away = np.sqrt(((mesh.points - place_mm) ** 2).sum(axis=1).min()) * (1.0 + 1e-6) + 1e-9
    near = near_box(mesh.points, mesh.triangles, np.array([place_mm - away, place_mm + away]))
    return closest_points(build_tree(Mesh(mesh.points, mesh.triangles[near])), place_mm[None]).point_mm[0]


def section_at(mesh: Mesh, frame: Frame, level_mm: float) -> CrossSection:
    """The section of a closed outward mesh by the plane `into` · x = level, in the frame's axes."""
    height = np.asarray(mesh.points, dtype=np.float64) @ frame.into - level_mm
    above = height > 0.0
    a, b, c = (above[mesh.triangles[:, k]] for k in range(3))
    cut = np.flatnonzero((a | b | c) & ~(a & b & c))
    if not len(cut):
        return CrossSection()
    start = mesh.triangles[cut].astype(np.int64)
    end = np.roll(start, -1, axis=1)
    rising = ~above[start] & above[end]
    falling = above[start] & ~above[end]
    size = len(mesh.points)
    key = np.minimum(start, end) * size + np.maximum(start, end)
    edges, number = np.unique(np.concatenate([key[falling], key[rising]]), return_inverse=True)
    following = np.empty(len(edges), dtype=np.int64)
    following[number[: len(cut)]] = number[len(cut) :]
    low, high = edges // size, edges % size
    share = (height[low] / (height[low] - height[high]))[:, None]
    points = np.asarray(mesh.points)
    places = frame.flat(points[low] + share * (points[high].astype(np.float64) - points[low]))
    return outline_section([places[loop] for loop in _cycles(following)])


def _cycles(following: np.ndarray) -> list[list[int]]:
    """The cycles of a permutation."""
    after = following.tolist()
    seen = [False] * len(after)
    cycles = []
    for first in range(len(after)):
        cycle = []
        at = first
        while not seen[at]:
            seen[at] = True
            cycle.append(at)
            at = after[at]
        if cycle:
            cycles.append(cycle)
    return cycles


def regions_of(section: CrossSection) -> list[CrossSection]:
    """The section's connected regions, the largest first."""
    regions = [region for region in section.decompose() if region.area() > FLAT_GRID_MM]
    return sorted(regions, key=lambda region: (-region.area(), region.bounds()))


def feet_of(section: CrossSection) -> list[CrossSection]:
    """The section's regions that count as feet, the largest first."""
    regions = regions_of(section)
    return [region for region in regions if region.area() >= FOOT_SHARE * regions[0].area()]


def long_axis(section: CrossSection) -> float:
    """Angle in radians of a section's long axis, in (-pi/2, pi/2]; 0 where it is as good as round."""
    area, first, second = 0.0, np.zeros(2), np.zeros((2, 2))
    for loop in section.to_polygons():
        p, q = np.asarray(loop), np.roll(loop, -1, axis=0)
        cross = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
        area += cross.sum() / 2.0
        first += ((p + q) * cross[:, None]).sum(axis=0) / 6.0
        total = p + q
        for i in range(2):
            for j in range(2):
                mixed = total[:, i] * total[:, j] + p[:, i] * p[:, j] + q[:, i] * q[:, j]
                second[i, j] += (mixed * cross).sum() / 24.0
    moment = second / area - np.outer(first, first) / area**2
    values, axes = np.linalg.eigh(moment)
    if values[1] < ROUND_RATIO * values[0]:
        return 0.0
    axis = axes[:, 1] if axes[0, 1] > 0.0 or (axes[0, 1] == 0.0 and axes[1, 1] > 0.0) else -axes[:, 1]
    return float(np.arctan2(axis[1], axis[0]))


def turned(section: CrossSection, angle_rad: float) -> CrossSection:
    """A section in axes turned by an angle."""
    if angle_rad == 0.0:
        return section
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return section.transform(np.array([[c, s, 0.0], [-s, c, 0.0]]))


def bar_under(
    feet: list[CrossSection],
    *,
    width_mm: float,
    length_mm: float,
    least_width_mm: float,
    least_length_mm: float,
) -> Bar | None:
    """The largest bar up to a width and length that stays under the feet and the gaps between them.

    Wide first, then long; of bars alike the one that meets more of the feet. None if not even the least fits.
    """
    whole = CrossSection.compose(feet)
    ground = whole.hull()
    low_u, low_v, high_u, high_v = whole.bounds()
    middle_u = (low_u + high_u) / 2.0
    shares = (0.5, 0.45, 0.55, 0.4, 0.6, 0.35, 0.65, 0.3, 0.7, 0.25, 0.75)
    width = min(width_mm, high_v - low_v)
    while width >= least_width_mm * (1.0 - 1e-9):
        best: tuple[float, Bar] | None = None
        length = min(length_mm, high_u - low_u)
        while best is None and length >= least_length_mm * (1.0 - 1e-9):
            for share in shares:
                bar = Bar((middle_u, low_v + share * (high_v - low_v)), length, width)
                met = _fit(bar, ground, whole, feet)
                if met is not None and (best is None or met > best[0] * 1.001):
                    best = (met, bar)
            length *= 0.94
        if best is not None:
            return best[1]
        width *= 0.92
    return None


def _fit(bar: Bar, ground: CrossSection, whole: CrossSection, feet: list[CrossSection]) -> float | None:
    """Area of the feet that a bar meets; None if it reaches beyond them or misses one."""
    shape = outline_section([bar.corners])
    area = bar.length * bar.width
    if (shape ^ ground).area() < (1.0 - OUTSIDE_MOST) * area:
        return None
    if any((shape ^ foot).area() < 0.15 * min(foot.area(), area) for foot in feet):
        return None
    return (shape ^ whole).area()


def beyond(bar: Bar, feet: list[CrossSection]) -> float:
    """How far a bar reaches beyond the feet and the gaps between them, to a hundredth of a millimetre."""
    shape = outline_section([bar.corners])
    ground = CrossSection.compose(feet).hull()
    low, high = 0.0, float(np.hypot(bar.length, bar.width))
    if (shape - ground).area() <= OUTSIDE_MOST * bar.length * bar.width:
        return 0.0
    while high - low > 0.01:
        middle = (low + high) / 2.0
        inside = (shape - ground.offset(middle, JoinType.Round)).area() <= FLAT_GRID_MM
        low, high = (low, middle) if inside else (middle, high)
    return high


def middle_of(section: CrossSection) -> tuple[float, float]:
    """The middle of a section's bounds."""
    low_u, low_v, high_u, high_v = section.bounds()
    return (low_u + high_u) / 2.0, (low_v + high_v) / 2.0
