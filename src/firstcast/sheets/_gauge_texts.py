"""What the gauge's sheet says about each place: its name, what to measure there and with what, what it tells."""

from collections.abc import Sequence
from typing import NamedTuple

from firstcast import gauge_design as numbers
from firstcast.gauge_design import GaugeDesign


class PlaceText(NamedTuple):
    """One numbered place of the sheet."""

    group: str
    title: str
    how: str
    tells: str


def place_texts(design: GaugeDesign) -> tuple[PlaceText, ...]:
    """All places in the order of their numbers."""
    return (*_lengths(design), *_heights(design), *_lines(design), *_round(design))


def _lengths(design: GaugeDesign) -> list[PlaceText]:
    found = []
    for axis, letter in enumerate("xy"):
        pixel = design.pixel_mm[axis]
        edge = design.plaque_px[axis] * pixel
        (over, one), names = design.lugs_px[axis], ("left", "right") if axis == 0 else ("front", "back")
        found += [
            PlaceText(
                f"length-{letter}",
                f"Length in {letter}, {edge:.3f} mm",
                f"Callipers, {names[0]} edge to {names[1]} edge, at half the plaque's thickness, off the bevel.",
                "scale and offset, together with the lugs",
            ),
            PlaceText(
                f"lugs-{letter}",
                f"Lugs in {letter}, {over * pixel:.3f} mm over, {(over - 2 * one) * pixel:.3f} between",
                "Callipers, outer jaws over both, inner jaws between them, near the foot.",
                "the offset: it makes outer lengths longer, inner ones shorter",
            ),
        ]
    return found


def _heights(design: GaugeDesign) -> list[PlaceText]:
    heights = ", ".join(f"{design.layers(h) * design.layer_mm:g}" for h in numbers.HEIGHTS_MM)
    layers = ", ".join(str(count) for count in numbers.BRIDGE_LAYERS)
    return [
        PlaceText(
            "steps",
            f"Steps, {heights} mm",
            "Callipers, from the underside up to each step. Step 1 is the lowest.",
            "scale and offset in z",
        ),
        PlaceText(
            "bridges",
            f"Bridges of {layers} layers",
            "Thickness in the middle of each span: loupe from the front, or thin jaws, without pressing. "
            "The first two may be torn: leave them empty then.",
            "how deep light cures: Dp, E0 / Ec",
        ),
    ]


def _lines(design: GaugeDesign) -> list[PlaceText]:
    found = []
    measured = [n for n in numbers.RIDGE_PX if n >= numbers.MEASURED_FROM_PX]
    gratings = [n for n in numbers.GRATING_PX if n >= numbers.MEASURED_FROM_PX]
    for axis, letter in enumerate("xy"):
        pixel = design.pixel_mm[axis]
        said, periods = _said(measured, pixel), _said(gratings, pixel)
        least = "And the least that is there, whole."
        found += [
            PlaceText(
                f"ridge-{letter}",
                f"Ridges, measured along {letter}",
                f"Loupe from above, width at the foot of those of {said} mm. {least}",
                "how far light spreads sideways",
            ),
            PlaceText(
                f"groove-{letter}",
                f"Grooves, measured along {letter}",
                f"Loupe, clear width at the bottom of those of {said} mm. {least}",
                "how far light spreads sideways",
            ),
            PlaceText(
                f"grating-{letter}",
                f"Gratings, measured along {letter}",
                f"Loupe, width of the middle ridge of those of {periods} mm. The least in which ridges and grooves are "
                "apart.",
                "how much light neighbours add",
            ),
        ]
    return found


def _round(design: GaugeDesign) -> list[PlaceText]:
    pixel = design.pixel_mm[0]
    return [
        PlaceText(
            "pin",
            "Pins",
            f"Count from the thickest down: {_said(numbers.PIN_PX, pixel)} mm across. Note the least that stands.",
            "the smallest region that cures and holds",
        ),
        PlaceText(
            "hole",
            "Holes and sockets",
            f"{_said(numbers.HOLE_PX, pixel)} mm across. Note the least that a bristle enters.",
            "the smallest hole that stays open",
        ),
        PlaceText(
            "gap",
            "Gaps",
            f"{_said(numbers.GAP_PX, pixel)} mm between walls. Hold it to the light; note the least that shines.",
            "the smallest gap",
        ),
        PlaceText(
            "letter",
            "Letters",
            f"Strokes of {_said(numbers.LETTER_PX, pixel)} mm. Note the least that can be read.",
            "the finest lettering",
        ),
    ]


def _said(counts: Sequence[int], pixel_mm: float) -> str:
    return ", ".join(f"{round(count * pixel_mm, 3):g}" for count in counts)


PRINT_IT = (
    "Flat on the platform, no supports; the exposure, layer and resin of your masters.",
    "All edges lie on whole pixels: print it with grey edges (anti-aliasing) off, or write grey_edges = yes in the table.",
    "Clean, dry and post-cure it as you do masters; measure after a day.",
    "Write what you read into measured.csv, rows by their names here; leave empty what you can't read. plus_minus_mm: "
    "within what you are right 19 times of 20.",
    "Then: firstcast fit measured.csv",
)
"""What to do, in order."""
