"""Where to cut a block that is poured in one: a line up the figure on the side that shows least, past what holds the rubber.

The knife enters at the block's face and goes down to the figure along this line, from the gate's end to the other. On the face
it runs in waves, so that the block closes only one way; on the figure it runs true.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import KDTree

from firstcast.errors import InputError
from firstcast.geometry.body import Body
from firstcast.geometry.thinned import thinned
from firstcast.geometry.whereabouts import where
from firstcast.geometry.zones import Zone
from firstcast.moulding.skin import Skin, read_skin

MOST_TRIANGLES = 60_000
"""A line on the body is found on about so many."""

SKIN_PITCH_MM = 0.4

DETAIL_COSTS, SEEN_COSTS, PRECIOUS_COSTS = 2.0, 6.0, 60.0
"""How many times its own length more a line costs in relief, where it is seen, in a precious zone. Chosen, no source."""

DETOUR = 0.6
"""The line goes by a place that holds rubber if that makes it costlier by no more than this share. Chosen, no source."""

MOST_PLACES = 6
"""Places that the line tries to pass, the first ones given."""

FREES_MM = 1.5
"""Rubber so near to the cut opens with it. Chosen, no source."""

WAVE_MM, AMPLITUDE_MM = 12.0, 2.5
"""The waves on the block's face. Common practice, no source."""

STEP_MM, EVENED_MM, FACE_EVENED_MM = 0.5, 1.0, 8.0
"""Places along the line; over how much of it each is a mean, on the figure and on the block's face (standard deviations): a
hand leads the blade round no corner of the figure's on the face."""


@dataclass(frozen=True)
class KnifeCut:
    """One line to follow with the knife.

    Attributes
    ----------
    on_body_mm, on_block_mm : (n, 3) float64
        In figure space, from the gate's end: where the blade's tip goes, and where its wave runs on the block's face.
    on_face_mm : (n, 2) float64
        The wave on the block's face rolled out flat, seen from outside: how far round it from the figure's front, towards the
        figure's left where the gate is below; how far from the gate's end of the block.
    face_mm : (float, float)
        All the way round the block's face, and along it.
    length_mm : float
        On the body.
    seen_mm, crosses_detail_mm, crosses_precious_mm : float
    frees : tuple of int
        Which of the places that were given open with it.
    words : tuple of str
    """

    on_body_mm: npt.NDArray[np.float64]
    on_block_mm: npt.NDArray[np.float64]
    on_face_mm: npt.NDArray[np.float64]
    face_mm: tuple[float, float]
    length_mm: float
    seen_mm: float
    crosses_detail_mm: float
    crosses_precious_mm: float
    frees: tuple[int, ...]
    words: tuple[str, ...]


def plan_knife(
    body: Body,
    gate: npt.ArrayLike,
    places_mm: Sequence[npt.ArrayLike] = (),
    *,
    zones: tuple[Zone, ...] = (),
    wall_mm: float = 8.0,
) -> KnifeCut:
    """Find the line.

    Parameters
    ----------
    body : Body
        In figure space, millimetres; closed and outward.
    gate : (3,) float64
        The way the gate leaves the block: the cut begins at that end.
    places_mm : sequence of (3,)
        Where rubber is held, what matters most first.
    zones : tuple of Zone
        Precious ones are kept out of.
    wall_mm : float
        Rubber between the figure and the block's face.

    Raises
    ------
    InputError
        The mesh is empty or isn't closed, or the gate has no direction.
    """
    axis = np.asarray(gate, np.float64)
    if not np.linalg.norm(axis) > 0.0:
        raise InputError(f"gate {gate}", where="knife", mend="Give three numbers that are not all zero.")
    axis = axis / np.linalg.norm(axis)
    light = thinned(body.mesh, MOST_TRIANGLES)
    skin = read_skin(
        light.mesh, SKIN_PITCH_MM, zones,
        part_of_triangle=body.part_of_triangle[light.kept], part_names=body.part_names,
    )  # fmt: skip
    rows = _line(skin, axis, [np.asarray(place, np.float64) for place in places_mm])
    points = np.asarray(skin.mesh.points, np.float64)
    line = _evened(points[rows])
    beside = KDTree(skin.middles).query(line)[1]
    step = np.linalg.norm(np.diff(line, axis=0), axis=1)
    each = 0.5 * (np.append(step, 0.0) + np.insert(step, 0, 0.0))
    block = _Block.about(points, axis, wall_mm)
    on_block = _on_block(line, block)
    on_face, face = _rolled_out(on_block, block)
    frees = tuple(
        n for n, place in enumerate(places_mm) if _distance(line, on_block, np.asarray(place)) <= FREES_MM
    )
    seen, detail, precious = (
        float(each[mask[beside]].sum()) for mask in (skin.in_view, skin.detail >= 0.5, skin.precious)
    )
    length = float(step.sum())
    words = _words(body, line, length, seen, precious, frees, len(places_mm))
    return KnifeCut(line, on_block, on_face, face, length, seen, detail, precious, frees, words)


def _line(skin: Skin, axis, places) -> list[int]:
    """The skin's vertices along the cheapest line from the gate's end to the other, by the places that are worth it."""
    points = np.asarray(skin.mesh.points, np.float64)
    graph = _graph(skin, points)
    used = np.unique(skin.mesh.triangles)
    along = points[used] @ axis
    first, last = int(used[along.argmax()]), int(used[along.argmin()])
    stops = [first, last]
    ways = {n: _ways(graph, n) for n in stops}
    if not np.isfinite(ways[first][0][last]):
        # in more than one shell: the line keeps to the one that the gate is on
        on = used[np.isfinite(ways[first][0][used])]
        last = int(on[(points[on] @ axis).argmin()])
        stops = [first, last]
        ways[last] = _ways(graph, last)
    for place in places[:MOST_PLACES]:
        near = int(used[((points[used] - place) ** 2).sum(axis=1).argmin()])
        if near in ways or not np.isfinite(ways[first][0][near]):
            continue
        ways[near] = _ways(graph, near)
        more = [ways[a][0][near] + ways[near][0][b] - ways[a][0][b] for a, b in pairwise(stops)]
        at = int(np.argmin(more))
        if more[at] <= DETOUR * ways[first][0][last]:
            stops.insert(at + 1, near)
    rows = [first]
    for a, b in pairwise(stops):
        rows += _walked(ways[a][1], a, b)
    return rows


def _graph(skin: Skin, points):
    triangles = skin.mesh.triangles
    cost = 1.0 + DETAIL_COSTS * skin.detail + SEEN_COSTS * skin.seen + PRECIOUS_COSTS * skin.precious
    a, b = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    weight = np.linalg.norm(points[a] - points[b], axis=1) * np.repeat(cost, 3)
    count = len(points)
    # each edge has a triangle on either side: entries add up, so each counts half
    return coo_array((0.5 * np.maximum(weight, 1e-9), (a, b)), shape=(count, count)).tocsr()


def _ways(graph, start: int):
    return dijkstra(graph + graph.T, directed=False, indices=start, return_predecessors=True)


def _walked(before, start: int, end: int) -> list[int]:
    rows = []
    at = end
    while at != start:
        rows.append(at)
        at = int(before[at])
    return rows[::-1]


def _evened(line) -> npt.NDArray[np.float64]:
    """An open line at even steps, each place a mean along it; its ends stay."""
    at = np.insert(np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1)), 0, 0.0)
    count = max(3, int(np.ceil(at[-1] / STEP_MM)) + 1)
    wanted = np.linspace(0.0, at[-1], count)
    even = np.column_stack([np.interp(wanted, at, line[:, k]) for k in range(3)])
    smooth = gaussian_filter1d(even, EVENED_MM / STEP_MM, axis=0, mode="nearest")
    smooth[0], smooth[-1] = even[0], even[-1]
    return smooth


@dataclass(frozen=True)
class _Block:
    """A round block about the figure: its middle, the gate's way, the face's radius, and how long it is."""

    middle: npt.NDArray[np.float64]
    axis: npt.NDArray[np.float64]
    reach_mm: float
    long_mm: float

    @classmethod
    def about(cls, points, axis, wall_mm: float) -> "_Block":
        """The block whose face is `wall_mm` from the figure, its ends too."""
        middle = (points.min(axis=0) + points.max(axis=0)) / 2.0
        aside = (points - middle) @ (np.eye(3) - np.outer(axis, axis))
        along = (points - middle) @ axis
        reach = float(np.linalg.norm(aside, axis=1).max()) + wall_mm
        return cls(middle, axis, reach, 2.0 * (float(np.abs(along).max()) + wall_mm))


def _on_block(line, block: _Block) -> npt.NDArray[np.float64]:
    """Straight out from the line, across the gate, to a round block about the figure; in waves along it."""
    axis, reach, even = block.axis, block.reach_mm, FACE_EVENED_MM / STEP_MM
    from_middle = line - block.middle
    out = from_middle @ (np.eye(3) - np.outer(axis, axis))
    # at the ends the line may pass the middle: far away in steps the way out is that of its neighbours
    out = gaussian_filter1d(out, even, axis=0, mode="nearest")
    out /= np.maximum(np.linalg.norm(out, axis=1), 1e-9)[:, None]
    # on the face it never turns back to the gate, whatever it does on the figure
    along = gaussian_filter1d(np.minimum.accumulate(from_middle @ axis), even, mode="nearest")
    run = np.insert(np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1)), 0, 0.0)
    turn = AMPLITUDE_MM / reach * np.sin(2.0 * np.pi * run / WAVE_MM)
    side = np.cross(axis, out)
    aside = np.cos(turn)[:, None] * out + np.sin(turn)[:, None] * side
    return block.middle + reach * aside + along[:, None] * axis


def _rolled_out(on_block, block: _Block) -> tuple[npt.NDArray[np.float64], tuple[float, float]]:
    """Where the wave runs on the face rolled out flat, and how large the face is, round and along."""
    up = -block.axis
    # the figure faces -y; a gate that leaves that way is seen from above
    front = np.array([0.0, -1.0, 0.0]) if abs(up[1]) < 0.9 else np.array([0.0, 0.0, 1.0])
    front = front - (front @ up) * up
    front /= np.linalg.norm(front)
    from_middle = on_block - block.middle
    turn = np.unwrap(np.arctan2(from_middle @ np.cross(up, front), from_middle @ front))
    turn -= 2.0 * np.pi * np.round(np.median(turn) / (2.0 * np.pi))
    rise = from_middle @ up + block.long_mm / 2.0
    return np.column_stack([block.reach_mm * turn, rise]), (2.0 * np.pi * block.reach_mm, block.long_mm)


def _distance(line, on_block, place) -> float:
    """From a place to the cut between the line and the block's face, without its waves' own turns."""
    ways = on_block - line
    share = ((place - line) * ways).sum(axis=1) / np.maximum((ways**2).sum(axis=1), 1e-12)
    nearest = line + np.clip(share, 0.0, 1.0)[:, None] * ways
    return float(np.linalg.norm(nearest - place, axis=1).min())


def _words(
    body: Body, line, length: float, seen: float, precious: float, frees: tuple[int, ...], places: int
) -> tuple[str, ...]:
    middle = line[len(line) // 2]
    at = where(body.mesh, (float(middle[0]), float(middle[1]), float(middle[2])))
    said = [f"Cut from the gate's end along one line of {length:.0f} mm; half way up the line: {at}."]
    if seen >= 0.5:
        said.append(f"{seen:.1f} mm of it lie in open view from the front.")
    if precious >= 0.5:
        said.append(f"{precious:.1f} mm of it cross places that are precious.")
    if places:
        said.append(f"It opens {len(frees)} of {places} places that hold the rubber.")
    return tuple(said)
