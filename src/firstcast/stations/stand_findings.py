"""What stand tells the maker: flat faces, terraces, hollows that suck, what doesn't fit the printer, a clearly better way."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial import ConvexHull, QhullError

from firstcast.findings import Finding
from firstcast.geometry.body import Body
from firstcast.geometry.flats import FlatFace
from firstcast.geometry.terraces import LEAST_MM2, Terraces
from firstcast.geometry.whereabouts import where
from firstcast.printing.standing import CRITERIA, CUP_MM, Lows
from firstcast.printing.standing_choice import WEIGHTS, Candidate, clearly_better
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials
from firstcast.ranges import Range
from firstcast.vocabulary import Verdict

FLAT_MM2, FLAT_WIDTH_MM = 9.0, 2.0
"""Smallest flat face that is told: chosen, no source. A curve of 28 mm radius keeps within 2° for so wide."""

CUP_MM2 = 3.0
"""Mouth of the smallest hollow that is told: chosen, no source."""

COUNTS = 0.05
"""A reading is named in a comparison if it makes so much of a difference, of what the first of the two costs."""

MOST_NAMED = 3

NAMES = {
    "marks_mm2": "{:.0f} mm² to be propped (weighed by how it is seen) instead of {:.0f}",
    "precious_mm2": "{:.1f} mm² of precious places to be propped instead of {:.1f}",
    "starts": "{:.0f} bare starts instead of {:.0f}",
    "cups_mm2": "hollows of {:.0f} mm² open to the film instead of {:.0f}",
    "section_mm2": "a largest layer of {:.0f} mm² instead of {:.0f}",
    "terraces_mm2": "{:.0f} mm² in terraces instead of {:.0f}",
    "flats_mm2": "{:.0f} mm² of flats along or square to the layers instead of {:.0f}",
    "height_mm": "{:.0f} mm high instead of {:.0f}",
    "load_n": "{:.1f} N on props that the tab doesn't bear instead of {:.1f}",
}


@dataclass(frozen=True)
class Standing:
    """A piece as it stands, and what was read of it.

    Attributes
    ----------
    turn : (3, 3) float64
    extents_mm : (float, float, float)
        Of the master in the printer's axes.
    outline_mm : (n, 2) float64
        The master's places as seen from above.
    """

    piece: str
    body: Body
    turn: npt.NDArray[np.float64]
    flats: Sequence[FlatFace]
    terraces: Sequence[Terraces]
    lows: Lows
    candidates: tuple[Candidate, ...]
    chosen: int
    extents_mm: tuple[float, float, float]
    outline_mm: npt.NDArray[np.float64]

    @property
    def otherwise(self) -> str:
        """The mend of most findings."""
        return (
            f'Stand it otherwise: [stand.piece."{self.piece}"] lean_deg, lean_towards or turn; or accept it.'
        )


def stand_findings(standing: Standing, limits: Limits, materials: Materials) -> Iterator[Finding]:
    """All findings of one piece."""
    yield from _too_large(standing, materials)
    yield from _better(standing)
    yield from _flats(standing, limits)
    yield from _terraces(standing, limits)
    yield from _cups(standing)


def compared(first: Candidate, second: Candidate) -> str:
    """What sets the second apart from the first, in words, the weightiest first."""
    weights = np.array(list(WEIGHTS.values()))
    gain = (first.readings - second.readings) * weights
    told = [n for n in np.argsort(-np.abs(gain), kind="stable") if abs(gain[n]) > COUNTS * first.cost]
    if not told:
        return "by a little of everything"
    return ", ".join(
        NAMES[CRITERIA[n]].format(second.readings[n], first.readings[n]) for n in told[:MOST_NAMED]
    )


def _better(standing: Standing) -> Iterator[Finding]:
    mine = standing.candidates[standing.chosen]
    best = min(standing.candidates, key=lambda each: each.cost)
    if not clearly_better(best.readings, mine.readings):
        return
    rows = ", ".join("[" + ", ".join(f"{c:.4f}" for c in row) + "]" for row in best.turn)
    yield Finding(
        "stand",
        "better-stand",
        Verdict.WATCH,
        standing.piece,
        f"It would stand clearly better {best.words} than {mine.words}: {compared(mine, best)}. How much each of "
        f"these weighs is not calibrated: look at both.",
        f'[stand.piece."{standing.piece}"] turn = [{rows}] stands it so; search = "best" without a lean or turn does, too.',
        measured=mine.cost,
        limit=best.cost,
        unit="mm2",
        worse="high",
    )


def _too_large(standing: Standing, materials: Materials) -> Iterator[Finding]:
    printer = materials.printer
    x, y, z = standing.extents_mm
    if z > printer.build_z_mm.likely:
        yield _beyond(
            standing,
            "too-tall",
            f"It stands {z:.1f} mm high without tab and props; the printer builds {printer.build_z_mm}.",
            z,
            printer.build_z_mm,
        )
    wide, narrow = (
        (printer.build_x_mm, printer.build_y_mm)
        if printer.build_x_mm.likely >= printer.build_y_mm.likely
        else (printer.build_y_mm, printer.build_x_mm)
    )
    sides = _turned_sides(standing.outline_mm) if max(x, y) > narrow.likely else np.array([[x, y]])
    over = np.maximum(sides.max(axis=1) - wide.likely, sides.min(axis=1) - narrow.likely)
    at = int(np.argmin(over))
    if over[at] > 0:
        longer, shorter = float(sides[at].max()), float(sides[at].min())
        beyond = longer - wide.likely >= shorter - narrow.likely
        measured, limit = (longer, wide) if beyond else (shorter, narrow)
        yield _beyond(
            standing,
            "too-wide",
            f"Turned on the platform as fits it best it takes {longer:.1f} by {shorter:.1f} mm without props; the "
            f"platform is {wide} by {narrow}.",
            measured,
            limit,
        )


def _turned_sides(outline_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """(180, 2) the sides of the rectangle around some places, for every degree that they may be turned by."""
    try:
        places = outline_mm[ConvexHull(outline_mm).vertices]
    except QhullError:  # all on one line
        places = outline_mm
    angle = np.radians(np.arange(180))
    along = places @ np.stack([np.cos(angle), np.sin(angle)])
    extent = along.max(axis=0) - along.min(axis=0)
    return np.column_stack([extent, np.roll(extent, -90)])


def _beyond(standing: Standing, code: str, says: str, measured: float, limit: Range) -> Finding:
    """Stop only where the printer's size is the maker's own or fitted, and even its high end is passed."""
    stops = limit.calibrated and measured > limit.high
    return Finding(
        "stand",
        code,
        Verdict.STOP if stops else Verdict.WATCH,
        standing.piece,
        says,
        "Lean it more, cut the piece in two, or give your printer's own size: [process.override.printer] "
        "build_x_mm, build_y_mm, build_z_mm.",
        measured=measured,
        limit=limit.likely,
        worse="high",
    )


def _part(body: Body, triangles: npt.NDArray[np.integer]) -> str:
    """The part that most of some triangles came from."""
    return body.part_names[int(np.bincount(body.part_of_triangle[triangles]).argmax())]


def _place(place_mm: npt.NDArray[np.floating]) -> tuple[float, float, float]:
    x, y, z = (float(c) for c in place_mm)
    return x, y, z


def _flats(standing: Standing, limits: Limits) -> Iterator[Finding]:
    """One finding per part and way of lying, at the largest face."""
    up = standing.turn[2]
    by_place: dict[tuple[str, str], list[FlatFace]] = {}
    for face in standing.flats:
        lift = float(face.normal @ up)
        code = "flat-top" if lift > 0.5 else "flat-underside" if lift < -0.5 else "flat-square"
        by_place.setdefault((code, _part(standing.body, face.triangles)), []).append(face)
    for (code, part), faces in by_place.items():
        yield Finding(
            "stand",
            code,
            Verdict.WATCH,
            part,
            _flat_says(code, part, faces, up, limits),
            standing.otherwise,
            place_mm=_place(faces[0].middle_mm),
            measured=sum(face.area_mm2 for face in faces),
            limit=FLAT_MM2,
            unit="mm2",
            worse="high",
        )


def _flat_says(
    code: str, part: str, faces: Sequence[FlatFace], up: npt.NDArray[np.float64], limits: Limits
) -> str:
    lift = min(abs(float(faces[0].normal @ up)), 1.0)
    number = f"{len(faces)} flat faces" if len(faces) > 1 else "a flat face"
    area = sum(face.area_mm2 for face in faces)
    largest = f", the largest of {faces[0].area_mm2:.0f}" if len(faces) > 1 else ""
    what = f"'{part}' has {number} of {area:.0f} mm²{largest}"
    if code == "flat-square":
        off = float(np.degrees(np.arcsin(lift)))
        steps = _spacing(max(limits.pixel_mm), off, faces[0])
        return f"{what}, square to the layers within {off:.1f}°: pixels show as steps, {steps} apart."
    off = float(np.degrees(np.arccos(lift)))
    steps = _spacing(limits.layer_mm, off, faces[0])
    if code == "flat-top":
        return f"{what}, along the layers within {off:.1f}°: they show as terraces, {steps} wide."
    return (
        f"{what}, facing the platform along the layers within {off:.1f}°: light from later layers thickens it, and "
        f"layers show as terraces, {steps} wide."
    )


def _spacing(step_mm: float, off_deg: float, face: FlatFace) -> str:
    """How far apart steps of a height follow on a face so far off the direction that has none."""
    slope = np.tan(np.radians(off_deg))
    length_mm = face.area_mm2 / face.width_mm
    return f"{step_mm / slope:.1f} mm" if step_mm < slope * length_mm else "more than its length"


def _terraces(standing: Standing, limits: Limits) -> Iterator[Finding]:
    """One finding per part and side, at the largest region."""
    by_place: dict[tuple[str, bool], list[Terraces]] = {}
    for region in standing.terraces:
        by_place.setdefault((_part(standing.body, region.triangles), region.top), []).append(region)
    for (part, top), regions in by_place.items():
        area = sum(region.area_mm2 for region in regions)
        within = np.degrees(np.arctan(limits.layer_mm / min(region.narrow_mm for region in regions)))
        more = (
            f" in {len(regions)} places, the largest of {regions[0].area_mm2:.0f}" if len(regions) > 1 else ""
        )
        side = "" if top else " facing the platform"
        yield Finding(
            "stand",
            "terraces",
            Verdict.WATCH,
            part,
            f"'{part}', {where(standing.body.mesh, _place(regions[0].place_mm))}: {area:.0f} mm²{side}{more} lie "
            f"within {within:.0f}° of the layers: they show as terraces {_widths(regions)} wide, "
            f"{limits.layer_mm:g} mm high.",
            standing.otherwise,
            place_mm=_place(regions[0].place_mm),
            measured=area,
            limit=LEAST_MM2,
            unit="mm2",
            worse="high",
        )


def _widths(regions: Sequence[Terraces]) -> str:
    narrow, wide = min(region.narrow_mm for region in regions), max(region.wide_mm for region in regions)
    return f"{narrow:.2f} to {wide:.2g} mm" if wide > 1.05 * narrow else f"{narrow:.2f} mm"


def _cups(standing: Standing) -> Iterator[Finding]:
    """One finding for all hollows that open to the film, at the largest."""
    lows = standing.lows
    told = np.argsort(-lows.mouths_mm2, kind="stable")
    told = told[lows.mouths_mm2[told] >= CUP_MM2]
    if not len(told):
        return
    place, mouth = _place(lows.cups_mm[told[0]]), float(lows.mouths_mm2[told[0]])
    points = np.asarray(standing.body.mesh.points, np.float64)
    vertex = int(np.argmin(((points - place) ** 2).sum(axis=1)))
    near = np.flatnonzero((standing.body.mesh.triangles == vertex).any(axis=1))
    part = _part(standing.body, near)
    more = f", and {len(told) - 1} more" if len(told) > 1 else ""
    yield Finding(
        "stand",
        "cup",
        Verdict.WATCH,
        part,
        f"'{part}', {where(standing.body.mesh, place)}: a hollow opens away from the platform, {mouth:.0f} mm² across "
        f"at {CUP_MM:g} mm above its bottom{more}: each layer of its rim shuts it against the film, and it sucks.",
        f"Lean it so that the hollow drains, or give it a vent near its bottom; {standing.otherwise[0].lower()}"
        f"{standing.otherwise[1:]}",
        place_mm=place,
        measured=float(lows.mouths_mm2[told].sum()),
        limit=CUP_MM2,
        unit="mm2",
        worse="high",
    )
