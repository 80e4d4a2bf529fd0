"""What the layer station finds: cups, bare starts, and layers that pull much harder than those before."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.findings import Finding
from firstcast.printing.cups import CupPixels
from firstcast.printing.layer_measures import CutMeasures
from firstcast.printing.layer_plan import LayerPlan
from firstcast.printing.propped import Propped
from firstcast.printing.run import cosine_sine
from firstcast.process.strength import separation_load_n
from firstcast.ranges import Range
from firstcast.vocabulary import Verdict

JUMP_MM2, JUMP_RATIO = 25.0, 1.5
"""A layer that is larger than the one before by so much and so many times is told: chosen, no source."""

Place = tuple[float, float, float]


@dataclass(frozen=True)
class Cup:
    """A hollow that the film closes while it is printed, of one master.

    Attributes
    ----------
    master : str
    sealed : bool
        Closed for good: what it holds stays in the piece.
    volume_mm3 : float
    mouth_mm2 : float
        Its greatest section against the film, in `layer`.
    layer, first, last : int
    place_mm : 3 floats
        In its mouth, in the frame of `Propped`.
    """

    master: str
    sealed: bool
    volume_mm3: float
    mouth_mm2: float
    layer: int
    first: int
    last: int
    place_mm: Place

    def pull_n(self, pressure_kpa: float) -> float:
        """Load by which it holds to the film at this pressure under that of the air."""
        return separation_load_n(pressure_kpa, self.mouth_mm2)


def cup_of(plan: LayerPlan, cut: int, pixels: CupPixels) -> Cup:
    """A cup in millimetres."""
    volume = pixels.voxels * plan.screen.pixel_mm2 * plan.layers.layer_mm
    mouth = pixels.mouth * plan.screen.pixel_mm2
    place = _in_propped(plan, cut, pixels.middle, pixels.layer)
    master = plan.cuts[cut].master
    return Cup(master, pixels.sealed, volume, mouth, pixels.layer, pixels.first, pixels.last, place)


def findings_of(
    plan: LayerPlan,
    measures: list[CutMeasures],
    cups: tuple[Cup, ...],
    propped: Mapping[str, Propped],
    to_master: Mapping[str, npt.NDArray[np.float64]],
    suction_kpa: Range,
    stress_kpa: Range,
    within: int,
) -> tuple[Finding, ...]:
    """All findings of a run; each master is told of once, at its worst cut."""

    def placed(master: str, place_mm: Place) -> Place:
        return _in_figure(propped[master], to_master.get(master, np.eye(3)), place_mm)

    findings = []
    for cup in cups:
        findings.append(_cup_finding(cup, placed(cup.master, cup.place_mm), suction_kpa))
    for master in dict.fromkeys(cut.master for cut in plan.cuts):
        numbers = [n for n, cut in enumerate(plan.cuts) if cut.master == master]
        failing = {n: [start for start in measures[n].starts if start.joins is None] for n in numbers}
        worst = max(numbers, key=lambda n: len(failing[n]))
        if failing[worst]:
            largest = max(failing[worst], key=lambda start: start.pixels)
            place = placed(master, _in_propped(plan, worst, largest.middle, largest.layer))
            findings.append(
                _start_finding(
                    master, place, len(failing[worst]), largest.layer, largest.pixels, plan, within
                )
            )
        jump = _jump_finding(plan, measures[numbers[0]], master, stress_kpa)
        if jump:
            findings.append(jump)
    return tuple(findings)


def _cup_finding(cup: Cup, place: Place, suction_kpa: Range) -> Finding:
    height = f"layers {cup.first} to {cup.last}"
    if cup.sealed:
        return Finding(
            "layer",
            "sealed-hollow",
            Verdict.WATCH,
            cup.master,
            f"'{cup.master}' has a hollow of {cup.volume_mm3:.1f} mm³ that is closed on all sides ({height}): liquid resin "
            "stays in it, and leaks or bursts it later.",
            "Fill it, or open it to where the mould doesn't see it.",
            place_mm=place,
            measured=cup.volume_mm3,
            unit="mm3",
            worse="high",
        )
    low, likely, high = (cup.pull_n(suction_kpa.scenario(at)) for at in ("low", "likely", "high"))
    return Finding(
        "layer",
        "cup",
        Verdict.WATCH,
        cup.master,
        f"'{cup.master}' has a hollow of {cup.volume_mm3:.1f} mm³ that the film closes like a cup ({height}): with a mouth of "
        f"{cup.mouth_mm2:.1f} mm² in layer {cup.layer} it sucks by about {likely:.1f} N ({low:.1f} to {high:.1f}).",
        "Stand the piece so that the hollow opens sideways or towards the platform, cut a small vent into it where it shows "
        "least, or fill it.",
        place_mm=place,
        measured=cup.mouth_mm2,
        unit="mm2",
        worse="high",
    )


def _start_finding(
    master: str, place: Place, count: int, layer: int, pixels: int, plan: LayerPlan, within: int
) -> Finding:
    number = "a region begins" if count == 1 else f"{count} regions begin"
    return Finding(
        "layer",
        "bare-start",
        Verdict.STOP,
        master,
        f"In '{master}' {number} with nothing under it and nothing holds it within {within} layers; the largest of "
        f"{pixels * plan.screen.pixel_mm2:.3f} mm² in layer {layer}, {layer * plan.layers.layer_mm:.2f} mm above the platform.",
        "Let the prop station hold it, stand the piece otherwise, or thicken what joins it.",
        place_mm=place,
        measured=float(count),
        limit=0.0,
        unit="count",
        worse="high",
    )


def _jump_finding(plan: LayerPlan, measures: CutMeasures, master: str, stress_kpa: Range) -> Finding | None:
    """The layer of a master that is most larger than the one before, where that is much."""
    area = measures.levels * (plan.screen.pixel_mm2 / 255.0)
    if len(area) < 2:
        return None
    rises = np.diff(area)
    layer = int(rises.argmax()) + 1
    before, after = float(area[layer - 1]), float(area[layer])
    if after - before < JUMP_MM2 or after < JUMP_RATIO * before:
        return None
    loads = [separation_load_n(stress_kpa.likely, size) for size in (before, after)]
    return Finding(
        "layer",
        "sudden-area",
        Verdict.WATCH,
        master,
        f"'{master}' grows from {before:.1f} to {after:.1f} mm² in layer {layer}, {layer * plan.layers.layer_mm:.2f} mm above "
        f"the platform: the pull on it from {loads[0]:.2f} to {loads[1]:.2f} N ({stress_kpa.basis}).",
        "Lean the piece so that no broad face lies along the layers.",
        measured=after - before,
        limit=JUMP_MM2,
        unit="mm2",
        worse="high",
    )


def _in_propped(plan: LayerPlan, cut: int, middle: tuple[float, float], layer: int) -> Place:
    """A place of a cut's grid in the frame of `Propped`: its turn undone."""
    grid = plan.cuts[cut].piece.grid
    x = grid.origin_mm[0] + middle[0] * grid.pixel_x_mm
    y = grid.origin_mm[1] + middle[1] * grid.pixel_y_mm
    cosine, sine = cosine_sine(plan.cuts[cut].turn_deg)
    return cosine * x + sine * y, cosine * y - sine * x, plan.layers.middle_mm(layer)


def _in_figure(propped: Propped, to_master: npt.NDArray[np.float64], place_mm: Place) -> Place:
    master = propped.turn.T @ (np.array(place_mm) - propped.offset_mm)
    x, y, z = np.linalg.solve(to_master, master).tolist()
    return x, y, z
