"""The stand station: how a piece stands in the printer, beside what else it could do, and where layers will show.

The trade's habit, upright on its tab and leaned back a little, holds unless the job gives another way, or one
is clearly better (`firstcast.printing.standing_choice`).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from firstcast.findings import Measure
from firstcast.geometry.body import Body
from firstcast.geometry.flats import flat_faces
from firstcast.geometry.terraces import showing_mm, terrace_deg, terraces
from firstcast.geometry.turns import Turn, leaned, tilt_deg
from firstcast.geometry.zones import Zone
from firstcast.printing.standing import CRITERIA, FLAT_DEG, Conditions, find_lows
from firstcast.printing.standing_choice import (
    LEAST_COST,
    Candidate,
    Landscape,
    candidate,
    clearly_better,
    posture,
    search,
)
from firstcast.printing.standing_ground import stand_ground
from firstcast.process.extent_spread import in_figure_axes
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials
from firstcast.process.shrink import SizeStep, chain_matrix
from firstcast.stations.contract import StationResult
from firstcast.stations.stand_findings import (
    FLAT_MM2,
    FLAT_WIDTH_MM,
    Standing,
    compared,
    stand_findings,
)
from firstcast.stations.stand_settings import Settings
from firstcast.vocabulary import ProcessKind

HABIT_DEG, HABIT_TOWARDS = 15.0, "back"
"""The trade's habit: 12 to 17 is common practice, no source."""

SIDES = {
    "back": (0.0, 1.0, 0.0),
    "front": (0.0, -1.0, 0.0),
    "left": (1.0, 0.0, 0.0),
    "right": (-1.0, 0.0, 0.0),
}
"""The figure's own sides in figure space: it faces -y, as the pictures show it, so its left hand is at +x."""


@dataclass(frozen=True, kw_only=True)
class Stood(StationResult):
    """What stand gives.

    Attributes
    ----------
    turn_to_print : (3, 3) float64
        Rotation from figure space to print space; its rows are the printer's axes in figure space, z away from the
        build platform. The identity where nothing is printed.
    directions : (n, 3) float32
        Build directions that were read: the printer's z in figure space.
    scores : (n,) float32
        What each costs, mm² of surface to be mended by hand: less is better.
    readings : (n, 9) float32
        By what: one column for each of `criteria`.
    unbeaten : (n,) bool
        Whether no other direction is at least as good by every reading and better by one.
    criteria : tuple of str
        Names with units, as in `firstcast.printing.standing.CRITERIA`.
    candidates : tuple of Candidate
        Ways of standing that are worth showing, the chosen one and the habit among them.
    chosen : int
        Which of the candidates; -1 where nothing stands.
    """

    turn_to_print: npt.NDArray[np.float64]
    directions: npt.NDArray[np.float32]
    scores: npt.NDArray[np.float32]
    readings: npt.NDArray[np.float32]
    unbeaten: npt.NDArray[np.bool_]
    criteria: tuple[str, ...] = CRITERIA
    candidates: tuple[Candidate, ...] = ()
    chosen: int = -1


def stand(
    *,
    piece: str,
    body: Body,
    limits: Limits,
    materials: Materials,
    zones: tuple[Zone, ...],
    size_steps: tuple[SizeStep, ...],
    settings: Settings,
) -> Stood:
    """The build orientation: the one that the job gives, the habit, or a better one; with its readings and what shows in it.

    Parameters
    ----------
    piece : str
    body : Body
        In figure space, millimetres; without its tab, which is taken to end towards the figure's -z.
    materials : Materials
        The printer's build size and the stress that parts a layer from the film.
    zones : tuple of Zone
        Precious ones are kept free of marks.
    size_steps : tuple of SizeStep
        From the file to the cast; height and layers are those of the master that they lead to. Readings of
        directions are of the figure's own size.
    """
    if limits.kind is ProcessKind.HARD_TOOL:
        return _nothing(np.eye(3), "nothing is printed for a hard tool, so nothing stands")
    if not len(body.mesh.triangles):
        turn = _given(settings)
        return _nothing(
            turn, "there is nothing to stand", Measure("layers", 0.0, "count", f"of {limits.layer_mm:g} mm")
        )
    apart_mm = showing_mm(limits.film_mm.likely)
    conditions = Conditions(
        limits.layer_mm,
        terrace_deg(limits.layer_mm, apart_mm),
        materials.printer.separation_stress_kpa.likely,
    )
    ground = stand_ground(body, zones)
    firsts = _firsts(settings, lambda name, turn, words: candidate(name, turn, ground, conditions, words))
    landscape, candidates = search(ground, conditions, firsts, count=settings.directions)
    chosen = _chosen(settings, candidates)
    turn = candidates[chosen].turn
    extents = _extents_mm(body, turn, size_steps)
    flats = flat_faces(
        body.mesh, turn[2], within_deg=FLAT_DEG, least_mm2=FLAT_MM2, least_width_mm=FLAT_WIDTH_MM
    )
    told = [face.triangles for face in flats if abs(float(face.normal @ turn[2])) > 0.5]
    steps = terraces(
        body.mesh,
        turn[2],
        layer_mm=limits.layer_mm,
        apart_mm=apart_mm,
        left_out=np.concatenate(told) if told else None,
    )
    standing = Standing(
        piece,
        body,
        turn,
        flats,
        steps,
        find_lows(ground, turn[2], conditions),
        candidates,
        chosen,
        extents,
        _outline_mm(ground.points, turn, size_steps),
    )
    layers = int(np.ceil(extents[2] / limits.layer_mm))
    return Stood(
        turn_to_print=turn,
        **_fields(landscape),
        candidates=candidates,
        chosen=chosen,
        says=f"{candidates[chosen].words}: {extents[2]:.2f} mm high without its tab, {layers} layers of "
        f"{limits.layer_mm:g} mm{_reason(candidates, chosen)}",
        findings=tuple(stand_findings(standing, limits, materials)),
        measures=(
            Measure("height in the printer", extents[2], "mm", "the master as it stands, without its tab"),
            Measure("layers", float(layers), "count", f"of {limits.layer_mm:g} mm"),
            Measure("lean", tilt_deg(turn), "deg", "between the figure's up and the printer's"),
            *_measures(candidates, chosen),
        ),
    )


def _nothing(turn: Turn, says: str, *measures: Measure) -> Stood:
    none = Landscape(
        np.zeros((0, 3), np.float32),
        np.zeros((0, len(CRITERIA)), np.float32),
        np.zeros(0, np.float32),
        np.zeros(0, np.bool_),
    )
    return Stood(turn_to_print=turn, **_fields(none), says=says, measures=measures)


def _fields(landscape: Landscape) -> dict[str, Any]:
    return {
        "directions": landscape.directions,
        "scores": landscape.costs,
        "readings": landscape.readings,
        "unbeaten": landscape.unbeaten,
    }


def _is_given(settings: Settings) -> bool:
    return not (settings.turn is None and settings.lean_deg is None and settings.lean_towards is None)


def _given(settings: Settings) -> Turn:
    """The turn that the job gives; the habit where it gives none."""
    if settings.turn is not None:
        return np.array(settings.turn, dtype=np.float64)
    lean_deg = HABIT_DEG if settings.lean_deg is None else settings.lean_deg
    return leaned(SIDES[settings.lean_towards or HABIT_TOWARDS], lean_deg)


def _firsts(settings: Settings, as_candidate) -> tuple[Candidate, ...]:
    """What the job gives, if it does and it is not the habit, and the habit."""
    habit_turn = leaned(SIDES[HABIT_TOWARDS], HABIT_DEG)
    habit = as_candidate("habit", habit_turn, posture(habit_turn[2]))
    given = _given(settings)
    if not _is_given(settings) or np.allclose(given, habit_turn, rtol=0.0, atol=1e-9):
        return (habit,)
    as_given = "turned as given" if settings.turn is not None else posture(given[2])
    return as_candidate("given", given, as_given), habit


def _chosen(settings: Settings, candidates: tuple[Candidate, ...]) -> int:
    """Which candidate it is: the first, unless the job leaves the choice and another one is better."""
    if _is_given(settings) or settings.search == "habit":
        return 0
    best = _best(candidates)
    if settings.search == "best" or clearly_better(candidates[best].readings, candidates[0].readings):
        return best
    return 0


def _best(candidates: tuple[Candidate, ...]) -> int:
    return min(range(len(candidates)), key=lambda n: candidates[n].cost)


def _reason(candidates: tuple[Candidate, ...], chosen: int) -> str:
    """What speaks for the choice, against the habit, or for the best against a choice that is kept."""
    habit = next(each for each in candidates if each.name == "habit")
    mine, best = candidates[chosen], candidates[_best(candidates)]
    if mine.name == LEAST_COST:
        return f"; against the habit: {compared(habit, mine)}"
    if best is mine:
        return "; no other direction was found to cost less" if len(candidates) > 2 else ""
    clear = "clearly" if clearly_better(best.readings, mine.readings) else "not clearly"
    return f"; {best.words} would be better, {clear}: {compared(mine, best)}"


def _measures(candidates: tuple[Candidate, ...], chosen: int) -> tuple[Measure, ...]:
    """Readings of the choice, and what it and the best cost."""
    mine = dict(zip(CRITERIA, candidates[chosen].readings.tolist(), strict=True))
    best = candidates[_best(candidates)]
    return (
        Measure("surface to be propped", mine["marks_mm2"], "mm2", "weighed by how it is seen and how rough"),
        Measure("bare starts", mine["starts"], "count", "lows of the surface, the lowest place among them"),
        Measure("largest section", mine["section_mm2"], "mm2", "of one layer"),
        Measure("cost of standing so", candidates[chosen].cost, "mm2", "surface to be mended by hand; not calibrated"),
        Measure("least cost of standing", best.cost, "mm2", best.words),
    )  # fmt: skip


def _own_matrix(turn: Turn, size_steps: tuple[SizeStep, ...]) -> npt.NDArray[np.float64]:
    """(3, 3): from the figure to its master in the printer's axes, after what the maker allows for."""
    own = [step for step in in_figure_axes(size_steps, turn) if step.applied_by == "maker"]
    return turn @ chain_matrix(own)


def _extents_mm(body: Body, turn: Turn, size_steps: tuple[SizeStep, ...]) -> tuple[float, float, float]:
    """Extents of the master along the printer's x, y, z."""
    points = np.asarray(body.mesh.points, dtype=np.float64)
    along = [points @ row for row in _own_matrix(turn, size_steps)]
    x, y, z = (float(each.max() - each.min()) for each in along)
    return x, y, z


def _outline_mm(points, turn: Turn, size_steps: tuple[SizeStep, ...]) -> npt.NDArray[np.float64]:
    """(n, 2) the master's places as seen from above, in the printer's axes."""
    return points @ _own_matrix(turn, size_steps)[:2].T
