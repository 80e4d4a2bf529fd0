"""Which way a mould of two halves opens: how much mould material is locked along every pull.

A line along the pull holds locked material from where the body begins to where it ends, but for the body itself: what
lies between can leave neither way. So the locked volume is that between the two shadows of the body, less the body.
Two opposite pulls: P. Ahn and others 2002 give when nothing is locked at all.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.arrays import check_points
from firstcast.errors import InputError
from firstcast.fields.blocks import run_blocks
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.thinned import thinned
from firstcast.kernels.pull import locked_along

MOST_TRIANGLES = 100_000
"""A finer mesh is thinned to about so many for the search; what is told of a pull is measured on the whole mesh."""

LEAST_CELL_MM, MOST_CELLS = 0.15, 400
"""Finest distance of lines, and how many of them across the body at most."""

ASKEW_DEG = 27.0
"""Along a row of lines an edge's error would add up; so far askew it averages out. Neither a half nor a third of a right angle."""

DIRECTION_BLOCK = 8

ROUNDS_DEG = (4.0, 2.0, 1.0, 0.5)
"""How far round a direction the search looks in each of its rounds. The first covers the landscape's own mesh."""

ROUND = 8
"""Directions looked at round one."""

TOLD_DEG = 3.0
"""Smaller angles are not told of a pull."""

APART_DEG = 20.0
"""Pulls nearer to one another than this are one and the same way to open a mould."""


@dataclass(frozen=True)
class PullGround:
    """A body made ready for `locked_mm3`: points (v, 3) float64 about their middle, triangles (m, 3) int32.

    `cell_mm` is the distance of the lines along a pull, `cells` how many there are each way.
    """

    points: npt.NDArray[np.float64]
    triangles: npt.NDArray[np.int32]
    cell_mm: float
    cells: int


def pull_ground(
    mesh: Mesh, *, cell_mm: float | None = None, most_triangles: int = MOST_TRIANGLES
) -> PullGround:
    """Make a closed outward mesh ready for the search.

    Raises
    ------
    InputError
        There are no triangles.
    """
    if not len(mesh.triangles):
        raise InputError("there are no triangles", where="pull", mend="Leave empty meshes out.")
    light = thinned(mesh, most_triangles).mesh
    points = np.asarray(light.points, np.float64)
    points = np.ascontiguousarray(points - (points.min(axis=0) + points.max(axis=0)) / 2.0)
    reach = float(np.linalg.norm(points, axis=1).max())
    cell = cell_mm if cell_mm is not None else max(LEAST_CELL_MM, 2.0 * reach / MOST_CELLS)
    triangles = np.ascontiguousarray(light.triangles, np.int32)
    return PullGround(points, triangles, cell, 2 * int(np.ceil(reach / cell)) + 4)


def frame_of(pull: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """(3, 3) float64: a rotation whose third row is the pull, (3,) of any length.

    The others stand `ASKEW_DEG` to the figure's own axes, so that long straight edges cross rows of lines.
    """
    way = np.asarray(pull, np.float64)
    way = way / np.linalg.norm(way)
    other = np.eye(3)[int(np.argmin(np.abs(way)))]
    across = np.cross(other, way)
    across /= np.linalg.norm(across)
    up = np.cross(way, across)
    cosine, sine = np.cos(np.radians(ASKEW_DEG)), np.sin(np.radians(ASKEW_DEG))
    return np.stack([cosine * across + sine * up, cosine * up - sine * across, way])


def half_sphere(count: int) -> npt.NDArray[np.float64]:
    """(n, 3) float64: unit vectors spread evenly over the half-sphere z > 0 along a Fibonacci spiral (R. Swinbank, J. Purser 2006)."""
    n = np.arange(count)
    z = 1.0 - (n + 0.5) / count
    angle = n * np.pi * (3.0 - np.sqrt(5.0))
    level = np.sqrt(1.0 - z * z)
    return np.column_stack([level * np.cos(angle), level * np.sin(angle), z])


def locked_mm3(ground: PullGround, pulls: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """How much mould material each pull locks, (n,) float64 in mm3.

    Parameters
    ----------
    ground : PullGround
    pulls : (n, 3) float64
        Of length 1; a pull and its opposite are the same.

    Raises
    ------
    InputError
        A pull is not of length 1.

    Notes
    -----
    Lines are exact along the pull; across it they stand `cell_mm` apart. Sealed voids count as locked.
    """
    ways = np.ascontiguousarray(check_points(pulls, where="pulls"), np.float64)
    if len(ways) and not np.abs(np.linalg.norm(ways, axis=1) - 1.0).max() < 1e-6:
        raise InputError("a pull is not of length 1", where="pulls", mend="Divide it by its length.")
    frames = np.ascontiguousarray(np.array([frame_of(way) for way in ways]).reshape(-1, 3, 3))
    locked = np.empty(len(ways))
    shape = np.array([ground.cells, ground.cells], np.int64)
    run_blocks(
        locked_along, len(ways), frames, ground.points, ground.triangles, ground.cell_mm, shape, locked,
        block=DIRECTION_BLOCK,
    )  # fmt: skip
    return locked


@dataclass(frozen=True)
class PullLandscape:
    """What every pull locks, and the ways that lock least.

    Attributes
    ----------
    pulls : (n, 3) float64
    locked_mm3 : (n,) float64
    allowed : (n,) bool
        Whether the gate lies in the parting.
    best : (k, 3) float64
        Refined, least locked first, among the allowed ones; at least `APART_DEG` apart.
    best_mm3 : (k,) float64
    free : (3,) float64
        The best pull wherever the gate lies.
    free_mm3 : float
    """

    pulls: npt.NDArray[np.float64]
    locked_mm3: npt.NDArray[np.float64]
    allowed: npt.NDArray[np.bool_]
    best: npt.NDArray[np.float64]
    best_mm3: npt.NDArray[np.float64]
    free: npt.NDArray[np.float64]
    free_mm3: float


def search_pull(
    ground: PullGround, gate: npt.ArrayLike, *, directions: int, within_deg: float, keep: int
) -> PullLandscape:
    """Read the half-sphere, then refine the `keep` best pulls at right angles to the gate, and the best of all.

    Parameters
    ----------
    gate : (3,) float64
        The axis along which the gate, and the tab with it, leaves the mould; of any length.
    directions : int
        Pulls of the landscape.
    within_deg : float
        How far from a right angle to the gate a pull may be.

    Notes
    -----
    As many directions again, a quarter of them at most, are put on the great circle at right angles to the gate, so that
    a narrow tolerance doesn't leave it bare.
    """
    axis = np.asarray(gate, np.float64) / np.linalg.norm(gate)
    circle = _great_circle(axis, max(directions // 4, 36))
    pulls = np.concatenate([half_sphere(directions), circle])
    locked = locked_mm3(ground, pulls)
    limit = np.sin(np.radians(within_deg)) + 1e-9
    allowed = np.abs(pulls @ axis) <= limit
    best, best_mm3 = _refined(ground, pulls[allowed], locked[allowed], keep, axis, limit)
    free, free_mm3 = _refined(ground, pulls, locked, 1, axis, 1.0)
    return PullLandscape(pulls, locked, allowed, best, best_mm3, free[0], float(free_mm3[0]))


def _great_circle(axis, count: int) -> npt.NDArray[np.float64]:
    across, up, _ = frame_of(axis)
    angle = np.arange(count) * np.pi / count
    return np.cos(angle)[:, None] * across + np.sin(angle)[:, None] * up


def _refined(ground, pulls, locked, keep: int, axis, limit: float):
    """The `keep` least locked ways, each moved downhill within the limit to the gate's axis."""
    ways, values = [], []
    for n in np.argsort(locked, kind="stable"):
        if any(abs(float(pulls[n] @ way)) > np.cos(np.radians(APART_DEG)) for way in ways):
            continue
        ways.append(pulls[n])
        values.append(float(locked[n]))
        if len(ways) == keep:
            break
    ways, values = np.array(ways), np.array(values)
    for reach_deg in ROUNDS_DEG:
        around = np.concatenate([_around(way, reach_deg) for way in ways])
        found = locked_mm3(ground, around)
        found[np.abs(around @ axis) > limit] = np.inf
        rows = found.reshape(len(ways), ROUND)
        at = rows.argmin(axis=1)
        least = rows[np.arange(len(ways)), at]
        better = least < values
        ways = np.where(better[:, None], around.reshape(len(ways), ROUND, 3)[np.arange(len(ways)), at], ways)
        values = np.where(better, least, values)
    kept: list[int] = []
    for n in np.argsort(values, kind="stable"):
        # two may have come down into the same hollow of the landscape
        if all(abs(float(ways[n] @ ways[m])) < np.cos(np.radians(APART_DEG / 2.0)) for m in kept):
            kept.append(int(n))
    return ways[kept], values[kept]


def way_words(pull: npt.ArrayLike) -> str:
    """A pull in the maker's words: "front to back, turned 12° sideways"."""
    way = np.asarray(pull, np.float64) / np.linalg.norm(pull)
    axis = int(np.argmax(np.abs(way)))
    words = [("side to side", "front to back", "up and down")[axis]]
    if axis == 2:
        off = np.degrees(np.arccos(min(abs(way[2]), 1.0)))
        return words[0] + (f", leaned {off:.0f}°" if off >= TOLD_DEG else "")
    turned = np.degrees(np.arctan2(abs(way[1 - axis]), abs(way[axis])))
    tilted = np.degrees(np.arcsin(min(abs(way[2]), 1.0)))
    if turned >= TOLD_DEG:
        # The same for a pull and its opposite.
        same = way[0] * way[1] > 0.0
        end = (
            "left side leaves to the back",
            "left side leaves to the front",
            "back leaves to the left",
            "back leaves to the right",
        )
        words.append(f"turned {turned:.0f}° so that the {end[2 * axis + (0 if same else 1)]}")
    if tilted >= TOLD_DEG:
        words.append(f"tilted {tilted:.0f}°")
    return ", ".join(words)


def _around(way, reach_deg: float) -> npt.NDArray[np.float64]:
    across, up, along = frame_of(way)
    angle = np.arange(ROUND) * 2.0 * np.pi / ROUND
    side = np.cos(angle)[:, None] * across + np.sin(angle)[:, None] * up
    reach = np.radians(reach_deg)
    return np.cos(reach) * along + np.sin(reach) * side
