"""The stand station: how a piece stands in the printer, and which flat faces will show its layers there."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import numpy as np
import numpy.typing as npt
from pydantic import AfterValidator, BeforeValidator, Field

from firstcast.errors import InputError
from firstcast.findings import Finding, Measure
from firstcast.geometry.body import Body
from firstcast.geometry.flats import FlatFace, flat_faces
from firstcast.geometry.turns import Turn, leaned, nearest_turn, tilt_deg, turn_about
from firstcast.process.extent_spread import in_figure_axes
from firstcast.process.limits import Limits
from firstcast.process.shrink import SizeStep, chain_matrix
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.vocabulary import ProcessKind, Verdict

FLAT_DEG = 2.0
"""How near to the layers, or to square to them, a face shows their steps far apart: at 2° a 0.05 mm layer makes
terraces 1.4 mm wide. Chosen, no source."""

FLAT_MM2, FLAT_WIDTH_MM = 9.0, 2.0
"""Smallest flat face that is told: chosen, no source. A curve of 28 mm radius keeps within 2° for so wide."""

SIDES = {
    "back": (0.0, 1.0, 0.0),
    "front": (0.0, -1.0, 0.0),
    "left": (1.0, 0.0, 0.0),
    "right": (-1.0, 0.0, 0.0),
}
"""The figure's own sides in figure space: it faces -y, as the pictures show it, so its left hand is at +x."""

Row = tuple[float, float, float]
Rows = tuple[Row, Row, Row]


def _rows(given: Any) -> Any:
    """An axis with an angle in degrees behind it as the rows of its rotation; anything else as it is."""
    if not isinstance(given, list | tuple):
        return given
    numbers = [entry for entry in given if isinstance(entry, int | float) and not isinstance(entry, bool)]
    if len(given) == 4 == len(numbers) and np.isfinite(numbers).all():
        try:
            return _as_rows(turn_about(numbers[:3], numbers[3]))
        except InputError as error:
            raise ValueError(f"{error.what}. {error.mend}") from None
    return tuple(tuple(entry) if isinstance(entry, list) else entry for entry in given)


def _rotation(rows: Rows) -> Rows:
    try:
        return _as_rows(nearest_turn(rows))
    except InputError as error:
        raise ValueError(f"{error.what}. {error.mend}") from None


def _as_rows(turn: Turn) -> Rows:
    first, second, third = (tuple(map(float, row)) for row in turn)
    return first, second, third  # type: ignore[return-value]


class Settings(StationSettings):
    """How a piece stands in the printer: the job file's [stand]."""

    lean_deg: float = Field(default=15.0, ge=0.0, le=90.0)
    """How far it leans from upright; 12 to 17 is common practice (no source), 0 stands it upright."""
    lean_towards: Literal["back", "front", "left", "right"] = "back"
    """The figure's own side that it leans to; it faces -y."""
    turn: Annotated[Rows, BeforeValidator(_rows), AfterValidator(_rotation)] | None = None
    """In place of the lean: the rotation from figure to printer, as rows, or [x, y, z, degrees] about an axis."""


@dataclass(frozen=True, kw_only=True)
class Stood(StationResult):
    """What stand gives.

    Attributes
    ----------
    turn_to_print : (3, 3) float64
        Rotation from figure space to print space; its rows are the printer's axes in figure space, z away from the
        build platform. The identity where nothing is printed.
    """

    turn_to_print: npt.NDArray[np.float64]


def stand(
    *, piece: str, body: Body, limits: Limits, size_steps: tuple[SizeStep, ...], settings: Settings
) -> Stood:
    """The build orientation that the job gives, and what lies along or square to the layers in it.

    Parameters
    ----------
    piece : str
    body : Body
        In figure space, millimetres.
    size_steps : tuple of SizeStep
        From the file to the cast; height and layers are those of the master that they lead to.
    """
    if limits.kind is ProcessKind.HARD_TOOL:
        return Stood(turn_to_print=np.eye(3), says="nothing is printed for a hard tool, so nothing stands")
    turn = _turn(settings)
    height = _height_mm(body, turn, size_steps)
    layers = int(np.ceil(height / limits.layer_mm))
    flats = flat_faces(
        body.mesh, turn[2], within_deg=FLAT_DEG, least_mm2=FLAT_MM2, least_width_mm=FLAT_WIDTH_MM
    )
    return Stood(
        turn_to_print=turn,
        says=f"{_posture(settings)}: {height:.2f} mm high without its tab, {layers} layers of {limits.layer_mm:g} mm",
        findings=tuple(_findings(piece, body, flats, turn[2], limits)),
        measures=(
            Measure("height in the printer", height, "mm", "the master as it stands, without its tab"),
            Measure("layers", float(layers), "count", f"of {limits.layer_mm:g} mm"),
            Measure("lean", tilt_deg(turn), "deg", "between the figure's up and the printer's"),
        ),
    )


def _turn(settings: Settings) -> Turn:
    if settings.turn is not None:
        return np.array(settings.turn, dtype=np.float64)
    return leaned(SIDES[settings.lean_towards], settings.lean_deg)


def _posture(settings: Settings) -> str:
    if settings.turn is not None:
        return "turned as given"
    if settings.lean_deg == 0:
        return "upright"
    to = "to its " if settings.lean_towards in ("left", "right") else ""
    return f"leaned {to}{settings.lean_towards} by {settings.lean_deg:g}°"


def _height_mm(body: Body, turn: Turn, size_steps: tuple[SizeStep, ...]) -> float:
    """Height of the master along the printer's z, after what the maker allows for."""
    if not len(body.mesh.triangles):
        return 0.0
    own = [step for step in in_figure_axes(size_steps, turn) if step.applied_by == "maker"]
    along = np.asarray(body.mesh.points, dtype=np.float64) @ (turn[2] @ chain_matrix(own))
    return float(along.max() - along.min())


def _findings(
    piece: str, body: Body, flats: Sequence[FlatFace], up: npt.NDArray[np.float64], limits: Limits
) -> list[Finding]:
    """One finding per part and way of lying, at the largest face."""
    by_place: dict[tuple[str, str], list[FlatFace]] = {}
    for face in flats:
        by_place.setdefault((_code(face, up), _part(face, body)), []).append(face)
    return [
        Finding(
            "stand",
            code,
            Verdict.WATCH,
            part,
            _says(code, part, faces, up, limits),
            f'Stand it otherwise: [stand.piece."{piece}"] lean_deg, lean_towards or turn; or accept it.',
            place_mm=tuple(float(c) for c in faces[0].middle_mm),  # type: ignore[arg-type]
            measured=sum(face.area_mm2 for face in faces),
            limit=FLAT_MM2,
            unit="mm2",
            worse="high",
        )
        for (code, part), faces in by_place.items()
    ]


def _code(face: FlatFace, up: npt.NDArray[np.float64]) -> str:
    lift = float(face.normal @ up)
    return "flat-top" if lift > 0.5 else "flat-underside" if lift < -0.5 else "flat-square"


def _part(face: FlatFace, body: Body) -> str:
    """The part that most of a face's triangles came from."""
    return body.part_names[int(np.bincount(body.part_of_triangle[face.triangles]).argmax())]


def _says(
    code: str, part: str, faces: Sequence[FlatFace], up: npt.NDArray[np.float64], limits: Limits
) -> str:
    lift = min(abs(float(faces[0].normal @ up)), 1.0)
    number = f"{len(faces)} flat faces" if len(faces) > 1 else "a flat face"
    area = sum(face.area_mm2 for face in faces)
    largest = f", the largest of {faces[0].area_mm2:.0f}" if len(faces) > 1 else ""
    what = f"'{part}' has {number} of {area:.0f} mm²{largest}"
    if code == "flat-square":
        off = float(np.degrees(np.arcsin(lift)))
        steps = _spacing(max(limits.pixel_mm), off)
        return f"{what}, square to the layers within {off:.1f}°: pixels show as steps, {steps} apart."
    off = float(np.degrees(np.arccos(lift)))
    steps = _spacing(limits.layer_mm, off)
    if code == "flat-top":
        return f"{what}, along the layers within {off:.1f}°: they show as terraces, {steps} wide."
    return (
        f"{what}, facing the platform along the layers within {off:.1f}°: light from later layers thickens it, and "
        f"layers show as terraces, {steps} wide."
    )


def _spacing(step_mm: float, off_deg: float) -> str:
    """How far apart steps of a height follow on a face so far off the direction that has none."""
    slope = np.tan(np.radians(off_deg))
    return f"{step_mm / slope:.1f} mm" if slope > 1e-3 * step_mm else "more than its length"
