"""Which way a piece should stand: the search over the sphere, the ways that nothing beats, and when the habit gives way.

The trade's habit, upright on its tab and leaned back a little, is always among the candidates. The weights are not
calibrated, so another way counts as clearly better only by `MARGIN`, and only if it stays better when
any single weight is halved or doubled.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.geometry.turns import Turn, turn_about
from firstcast.printing.standing import CRITERIA, Conditions, read_directions, spread_directions
from firstcast.printing.standing_ground import Ground

DIRECTIONS = 2000
"""Evenly over the sphere: neighbours are some 4.5° apart."""

WEIGHTS = dict(zip(CRITERIA, (1.0, 10.0, 1.0, 1.0, 0.2, 0.5, 0.25, 0.5, 5.0), strict=True))
"""What each reading costs, in mm² of visible surface that has to be mended by hand. Chosen, no source.

A bare start is a tip of its own; a newton that the tab doesn't bear is some tips more; a mm of height is its time.
"""

MARGIN = 0.6
"""Clearly better is at most this share of the other's cost."""

BASINS, APART_DEG = 6, 12.0
"""How many of the best are refined, at least so far apart."""

RINGS_DEG = (3.0, 1.5, 0.75)
"""Round each of the best, eight directions so far away are read, and the best of them taken on."""

SAME_DEG = 6.0
"""Candidates nearer to each other than this are told as one."""


LEAST_COST = "least cost"

SINGLE = {"fewest marks": "marks_mm2", "fewest bare starts": "starts", "smallest section": "section_mm2"}
"""Candidates that are best by one reading."""


@dataclass(frozen=True)
class Candidate:
    """One way of standing.

    Attributes
    ----------
    name : str
        Why it is a candidate: "habit", "given", "least cost", "fewest marks" and so on.
    direction : (3,) float64
        The printer's z, away from the platform, in the figure's axes.
    turn : (3, 3) float64
        Rotation from figure to printer.
    readings : (9,) float64
        One for each of `firstcast.printing.standing.CRITERIA`.
    cost : float
        The readings by `WEIGHTS`, mm² to be mended.
    words : str
        How it stands.
    """

    name: str
    direction: npt.NDArray[np.float64]
    turn: npt.NDArray[np.float64]
    readings: npt.NDArray[np.float64]
    cost: float
    words: str


@dataclass(frozen=True)
class Landscape:
    """What every direction read costs.

    Attributes
    ----------
    directions : (n, 3) float32
        The spread ones, then those of the refinement, then the first candidates.
    readings : (n, 9) float32
    costs : (n,) float32
    unbeaten : (n,) bool
        Whether no other direction is at least as good in every reading and better in one: the Pareto set.
    """

    directions: npt.NDArray[np.float32]
    readings: npt.NDArray[np.float32]
    costs: npt.NDArray[np.float32]
    unbeaten: npt.NDArray[np.bool_]


def cost_of(readings: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """(...,) float64: readings (..., 9) by `WEIGHTS`."""
    weights = np.array(list(WEIGHTS.values()))
    return (np.asarray(readings, np.float64) * weights).sum(axis=-1)


def clearly_better(readings: npt.ArrayLike, than: npt.ArrayLike) -> bool:
    """Whether readings (9,) cost at most `MARGIN` of others, and less whichever weight is halved or doubled."""
    first = np.asarray(readings, np.float64) * list(WEIGHTS.values())
    second = np.asarray(than, np.float64) * list(WEIGHTS.values())
    if not first.sum() <= MARGIN * second.sum():
        return False
    gain = second - first
    return bool(all(gain.sum() + share * each > 0.0 for each in gain for share in (-0.5, 1.0)))


def unbeaten(readings: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
    """(n,) bool: which rows of readings (n, k) no other row beats: at least as low in all, lower in one."""
    free = np.ones(len(readings), np.bool_)
    for row in np.argsort(readings.sum(axis=1), kind="stable"):
        if free[row]:
            worse = (readings >= readings[row]).all(axis=1) & (readings > readings[row]).any(axis=1)
            free &= ~worse
    return free


def upright_turn(direction: npt.ArrayLike) -> Turn:
    """(3, 3) float64: the least rotation that takes a direction (3,) of the figure to the printer's z."""
    way = np.asarray(direction, np.float64)
    axis = np.cross(way, [0.0, 0.0, 1.0])
    if np.linalg.norm(axis) < 1e-9:
        return np.eye(3) if way[2] > 0 else turn_about([1.0, 0.0, 0.0], 180.0)
    return turn_about(axis, float(np.degrees(np.arctan2(np.linalg.norm(axis), way[2]))))


def search(
    ground: Ground, conditions: Conditions, firsts: tuple[Candidate, ...], *, count: int = DIRECTIONS
) -> tuple[Landscape, tuple[Candidate, ...]]:
    """Read `count` directions, refine the best, and pick the candidates.

    Parameters
    ----------
    firsts : tuple of Candidate
        From `candidate`: what the job gives, and the habit. They stay as they are.
    count : int
        0 reads `firsts` alone.

    Returns
    -------
    landscape : Landscape
    candidates : tuple of Candidate
        `firsts`, the one of least cost, then the best of the unbeaten by single readings, where they differ.
    """
    ways, readings = spread_directions(count), np.zeros((0, len(CRITERIA)))
    if count:
        readings = read_directions(ground, ways, conditions)
        around, found = _refined(ground, conditions, ways, readings)
        ways, readings = np.concatenate([ways, around]), np.concatenate([readings, found])
    ways = np.concatenate([ways, *(each.direction[None] for each in firsts)])
    readings = np.concatenate([readings, *(each.readings[None] for each in firsts)])
    costs, free = cost_of(readings), unbeaten(readings)
    landscape = Landscape(
        ways.astype(np.float32), readings.astype(np.float32), costs.astype(np.float32), free
    )
    candidates = list(firsts)
    for name, row in _picked(readings, costs, free):
        least = name == LEAST_COST
        off = np.degrees(np.arccos(np.clip([each.direction @ ways[row] for each in candidates], -1.0, 1.0)))
        if off.min() > SAME_DEG or (least and row < len(ways) - len(firsts)):
            words = posture(ways[row])
            turn = upright_turn(ways[row])
            candidates.append(Candidate(name, ways[row], turn, readings[row], float(costs[row]), words))
    return landscape, tuple(candidates)


def _picked(readings, costs, free) -> list[tuple[str, int]]:
    """Names and rows of the directions that are worth showing: least cost first, then the least of single readings."""
    picked = [(LEAST_COST, int(np.argmin(costs)))]
    for name, criterion in SINGLE.items():
        # Cost decides between equals.
        value = readings[:, CRITERIA.index(criterion)] + 1e-6 * costs
        picked.append((name, int(np.argmin(np.where(free, value, np.inf)))))
    return picked


def candidate(
    name: str, turn: npt.ArrayLike, ground: Ground, conditions: Conditions, words: str
) -> Candidate:
    """The candidate of a rotation (3, 3) from figure to printer."""
    rotation = np.asarray(turn, np.float64)
    readings = read_directions(ground, rotation[2][None], conditions)[0]
    return Candidate(name, rotation[2].copy(), rotation, readings, float(cost_of(readings)), words)


def _refined(ground: Ground, conditions: Conditions, ways, readings):
    """Directions (k, 3) read round the best ones, and their readings (k, 9)."""
    costs = cost_of(readings)
    basins: list[int] = []
    for row in np.argsort(costs, kind="stable"):
        if all(ways[row] @ ways[other] < np.cos(np.radians(APART_DEG)) for other in basins):
            basins.append(int(row))
        if len(basins) == BASINS:
            break
    at, best = ways[basins], costs[basins]
    seen_ways, seen_readings = [], []
    for ring_deg in RINGS_DEG:
        around = np.concatenate([_ring(way, ring_deg) for way in at])
        found = read_directions(ground, around, conditions)
        seen_ways.append(around)
        seen_readings.append(found)
        costs_round = cost_of(found).reshape(len(at), -1)
        least = costs_round.argmin(axis=1)
        for n, k in enumerate(least):
            if costs_round[n, k] < best[n]:
                best[n] = costs_round[n, k]
                at[n] = around[n * costs_round.shape[1] + k]
    return np.concatenate(seen_ways), np.concatenate(seen_readings)


def _ring(way, off_deg: float) -> npt.NDArray[np.float64]:
    """(8, 3) directions an angle off one."""
    side = np.cross(way, np.eye(3)[np.argmin(np.abs(way))])
    side /= np.linalg.norm(side)
    other = np.cross(way, side)
    angle = np.arange(8) * np.pi / 4.0
    level = np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * other
    off = np.radians(off_deg)
    around = np.cos(off) * way + np.sin(off) * level
    return around / np.linalg.norm(around, axis=1, keepdims=True)


def posture(direction: npt.ArrayLike) -> str:
    """How a figure stands, in the maker's words: "leaned back and to its left by 20°", "head down, leaned ..."."""
    x, y, z = np.asarray(direction, np.float64)
    lean = float(np.degrees(np.arctan2(np.hypot(x, y), z)))
    if lean < 0.5:
        return "upright"
    if lean > 179.5:
        return "on its head"
    level = np.hypot(x, y)
    # The top leans away from the side that the printer's z leads to.
    ahead = "forward" if y > 0 else "back"
    beside = f"to its {'right' if x > 0 else 'left'}"
    side = ahead if abs(y) > 0.92 * level else beside if abs(x) > 0.92 * level else f"{ahead} and {beside}"
    if lean <= 120.0:
        return f"leaned {side} by {lean:.0f}°"
    return f"head down, leaned {side} by {180.0 - lean:.0f}° from there"
