"""What a folder of parts lets one guess about the job: ruler, up axis, unit, pieces. Guesses, never facts."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstcast.geometry.extents import PartExtents, turned
from firstcast.io._job_models import LONGEST_NAME_BYTES, is_device
from firstcast.io.meshes import clean_name
from firstcast.process.scale import FIGURES_MM, STATURES_MM, UNITS_MM
from firstcast.tolerances import TOLERANCES

RULER_WORDS = {"ruler", "gauge", "gage", "calibration"}
"""A part with one of these words in its name stands beside the sculpture to tell its size."""

DOUBTFUL_RULER_WORDS = {"rule", "scale"}
"""So may one of these, but only if it touches nothing: armour has scales."""

PIECE_WORDS = {
    *(
        "arm",
        "forearm",
        "lantern",
        "lamp",
        "sword",
        "spear",
        "lance",
        "staff",
        "pole",
        "shield",
        "axe",
        "bow",
    ),
    *(
        "rifle",
        "musket",
        "weapon",
        "banner",
        "flag",
        "standard",
        "wing",
        "wings",
        "base",
        "plinth",
        "backpack",
    ),
}
"""Parts with one of these words in their names are commonly cast apart: common practice, no source."""

TOUCHING_RATIO = 0.01
"""Boxes nearer than this share of the figure's height count as touching: chosen."""

LYING_RATIO = 1.25
"""A figure that is this much longer along y than along z was likely exported with y up: chosen."""

USUAL_HEIGHT_MM = 54.0
"""Height to propose where the files give no hint: a usual scale of the trade."""


LIFE_SIZE_MM = (1000.0, 3000.0)
"""Figures whose files say they are between these were modelled life-size: chosen."""


ROOM_FOR_NUMBER = 8
"""Bytes kept free in a guessed name, for the number that tells it from a second one."""


@dataclass(frozen=True)
class FoundPart:
    """A part's extents in file units, and what its file declares."""

    extents: PartExtents
    unit_mm: float | None = None
    up: str | None = None


@dataclass(frozen=True)
class Guess:
    """One guess and what it rests on."""

    value: object
    why: str


@dataclass(frozen=True)
class PieceGuess:
    """A piece's name and parts, and what they rest on."""

    name: str
    parts: tuple[str, ...]
    why: str


def words_in(name: str) -> set[str]:
    """The words of a name, in small letters: cut at other signs, at digits and at inner capitals."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return {word.lower() for word in re.split(r"[^A-Za-z]+", spaced) if word}


def file_word(name: str, otherwise: str) -> str:
    """A name that can be a file's on any system, as near to `name` as may be; `otherwise` where nothing is left."""
    word = clean_name(name) or otherwise
    if is_device(word):
        word = f"{otherwise} {word}"
    while len(word.encode("utf-8", "replace")) > LONGEST_NAME_BYTES - ROOM_FOR_NUMBER:
        word = word[:-1].rstrip(" ._")
    return word


def guess_ruler(parts: Sequence[FoundPart]) -> str | None:
    """The part that stands beside the sculpture as a ruler, by its name; None if none or several."""
    sure = [part for part in parts if words_in(part.extents.name) & RULER_WORDS]
    doubtful = [part for part in parts if words_in(part.extents.name) & DOUBTFUL_RULER_WORDS]
    if not sure and doubtful:
        near = TOUCHING_RATIO * float(np.linalg.norm(_whole(parts, "z").size))
        sure = [part for part in doubtful if [part] in _groups(parts, near)]
    return sure[0].extents.name if len(sure) == 1 and len(parts) > 1 else None


def ruler_length_mm(name: str) -> float | None:
    """The length that a ruler's name tells, such as `ruler 30mm`."""
    found = re.search(r"(\d+(?:[.,]\d+)?)\s*_?\s*(mm|cm|in|inch)(?![a-z])", name.lower())
    if not found:
        return None
    unit = {"mm": 1.0, "cm": 10.0}.get(found[2], 25.4)
    length = float(found[1].replace(",", ".")) * unit
    return length if length > 0 else None


def guess_up(parts: Sequence[FoundPart]) -> Guess:
    """The axis that points up: what the files' standard says, else the figure's longer one of z and y."""
    declared = {part.up for part in parts if part.up}
    if len(declared) == 1:
        return Guess(declared.pop(), "what the files' standard says")
    _, y, z = _whole(parts, "z").size
    reach = f"the figure reaches {z:.4g} along z and {y:.4g} along y"
    if y > LYING_RATIO * z:
        return Guess("y", reach)
    if z > LYING_RATIO * y:
        return Guess("z", reach)
    return Guess("z", f"many files stand so; that {reach} tells little, so look at it")


def guess_unit(parts: Sequence[FoundPart], up: str) -> tuple[str, Guess]:
    """A scale rule: its key in [size] and its value: unit, real or total_height_mm."""
    height = _whole(parts, up).size[2]
    declared = {part.unit_mm for part in parts if part.unit_mm}
    names = {length: unit for unit, length in UNITS_MM.items()}
    if len(declared) == 1 and next(iter(declared)) in names:
        return _rule_by_declared(height, names[declared.pop()])
    return _rule_by_height(height)


def _rule_by_declared(height: float, unit: str) -> tuple[str, Guess]:
    tall_mm = height * UNITS_MM[unit]
    says = f"the files say {unit}, which makes {tall_mm:.4g} mm"
    if LIFE_SIZE_MM[0] <= tall_mm <= LIFE_SIZE_MM[1]:
        return "real", _life_size(unit, tall_mm, f"{says}: modelled life-size")
    if TOLERANCES.size_least_mm <= tall_mm <= TOLERANCES.size_most_mm:
        return "unit", Guess(unit, f"{says} tall")
    why = f"{says}: neither a figure's size nor life-size; a usual height is proposed"
    return "total_height_mm", Guess(USUAL_HEIGHT_MM, why)


def _rule_by_height(height: float) -> tuple[str, Guess]:
    """What a height without a unit most likely means: millimetres, life-size, else another unit of figures."""
    life = [unit for unit in ("m", "cm", "mm") if STATURES_MM[0] <= height * UNITS_MM[unit] <= STATURES_MM[1]]
    if FIGURES_MM[0] <= height <= FIGURES_MM[1]:
        other = f", unless it is modelled life-size in {life[0]}" if life else ""
        return "unit", Guess("mm", f"{height:.4g} mm would be a usual height{other}")
    if life:
        tall_mm = height * UNITS_MM[life[0]]
        return "real", _life_size(life[0], tall_mm, f"{height:.4g} {life[0]} would be life-size")
    for unit in ("cm", "inch"):
        tall_mm = height * UNITS_MM[unit]
        if FIGURES_MM[0] <= tall_mm <= FIGURES_MM[1]:
            return "unit", Guess(unit, f"{height:.4g} {unit} would be a usual height, {tall_mm:.4g} mm")
    why = f"the files tell no likely unit ({height:.4g} units tall); a usual height is proposed"
    return "total_height_mm", Guess(USUAL_HEIGHT_MM, why)


def _life_size(unit: str, tall_mm: float, why: str) -> Guess:
    """Life-size, with the ratio that makes the figure of a usual height."""
    ratio = float(f"{tall_mm / USUAL_HEIGHT_MM:.3g}")
    return Guess({"unit": unit, "ratio": ratio}, f"{why}; the ratio makes {tall_mm / ratio:.3g} mm of it")


def guess_pieces(parts: Sequence[FoundPart]) -> tuple[PieceGuess, ...]:
    """The pieces: parts that touch belong together, but those that are commonly cast apart stand apart.

    Parts whose names tell of a piece of its own (an arm, a lantern) are grouped where their boxes
    touch; all others are grouped likewise. The largest group is the body and comes first.
    """
    near = TOUCHING_RATIO * float(np.linalg.norm(_whole(parts, "z").size))
    apart = [p for p in parts if words_in(p.extents.name) & PIECE_WORDS]
    if len(apart) == len(parts):
        apart = []
    rest = [p for p in parts if p not in apart]
    bodies = sorted(_groups(rest, near), key=_box_volume, reverse=True)
    guesses = [
        (
            "body" if place == 0 else _main(group).extents.name,
            group,
            "boxes that touch" if place == 0 else "it touches nothing of the body",
        )
        for place, group in enumerate(bodies)
    ]
    for group in _groups(apart, near):
        words = sorted({word for p in group for word in words_in(p.extents.name) & PIECE_WORDS})
        guesses.append((_main(group).extents.name, group, f"commonly cast apart ({', '.join(words)})"))
    taken: set[str] = set()
    pieces = []
    for name, group, why in guesses:
        free = _free(file_word(name.rpartition("/")[2], "piece"), taken)
        taken.add(free.casefold())
        pieces.append(PieceGuess(free, tuple(p.extents.name for p in group), why))
    return tuple(pieces)


def _whole(parts: Sequence[FoundPart], up: str) -> PartExtents:
    boxes = [turned(part.extents, up) for part in parts]
    low = np.min([box.low for box in boxes], axis=0)
    high = np.max([box.high for box in boxes], axis=0)
    return PartExtents("", tuple(map(float, low)), tuple(map(float, high)))  # type: ignore[arg-type]


def _groups(parts: Sequence[FoundPart], near: float) -> list[list[FoundPart]]:
    """Parts whose boxes touch, directly or by others, in the order of their first part."""
    count = len(parts)
    low = np.array([p.extents.low for p in parts]).reshape(count, 3)
    high = np.array([p.extents.high for p in parts]).reshape(count, 3)
    label = np.arange(count)
    for one in range(count):
        gap = np.maximum(low - high[one], low[one] - high).max(axis=1)
        met = np.unique(label[(gap <= near) & (np.arange(count) <= one)])
        label[np.isin(label, met)] = met.min()
    return [
        [parts[i] for i in np.flatnonzero(label == first).tolist()] for first in dict.fromkeys(label.tolist())
    ]


def _box_volume(group: Sequence[FoundPart]) -> float:
    return float(np.prod(_whole(group, "z").size))


def _main(group: Sequence[FoundPart]) -> FoundPart:
    return max(group, key=lambda part: float(np.linalg.norm(part.extents.size)))


def _free(name: str, taken: set[str]) -> str:
    candidate, number = name, 2
    while candidate.casefold() in taken:
        candidate, number = f"{name} {number}", number + 1
    return candidate
