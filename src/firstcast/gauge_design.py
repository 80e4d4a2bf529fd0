"""The numbers of the gauge: what is on the plaque, in whole pixels and layers, and what is measured on it.

The plaque, its sheet, the table of measurements and the fit all read them from here. Ideas taken from ISO/ASTM
52902:2023 (test artefacts): linear and circular features of stepped size, pins and holes for resolution, ridges and
grooves along both axes, long lengths for scale. The artefact itself is our own.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

RIDGE_PX = (1, 2, 3, 4, 6, 8, 12, 16)
"""Widths of single ridges and grooves, and of those from `MEASURED_FROM_PX` on that are measured."""
GRATING_PX = (2, 3, 4, 6, 8)
"""Widths of a grating's ridges; its grooves are as wide."""
GRATING_RIDGES = 5
MEASURED_FROM_PX = 4
"""Narrower ridges are counted, not measured: a loupe's error is as large as they are."""
PIN_PX = (2, 3, 4, 6, 8, 12, 16, 24)
HOLE_PX = (3, 4, 6, 8, 12, 16, 24, 32)
GAP_PX = (2, 3, 4, 6, 8, 12)
LETTER_PX = (1, 2, 3, 4, 6)
BRIDGE_LAYERS = (1, 2, 3, 5, 10, 20)
HEIGHTS_MM = (2.5, 3.0, 4.0, 6.0, 10.0)
LUGS_MM, LUG_MM = 10.0, 1.5
"""Length over a pair of lugs, and the thickness of one: between them lies the inner length."""
BASE_MM, RELIEF_MM = 2.0, 1.0
"""Thickness of the plaque, and height of what stands on it and depth of what is cut."""

CALLIPER_MM, LOUPE_MM, DEPTH_MM = 0.02, 0.03, 0.02
"""What is put down as the error of a reading until the maker knows better: chosen, no source."""


class GaugeKind(StrEnum):
    """What a row of the table measures."""

    LENGTH = "length"
    """A long outer length."""
    INNER = "inner"
    """A long length between two faces that look at each other."""
    HEIGHT = "height"
    """A height over the plaque's underside."""
    BRIDGE = "bridge"
    """Thickness of a bridge that so many layers were cured for."""
    RIDGE = "ridge"
    GROOVE = "groove"
    GRATING = "grating"
    """Width of the middle ridge of a grating."""
    LEAST = "least"
    """The least of a stepped row that is there, whole."""


LEAST_STEPS = {
    "ridge-x": RIDGE_PX,
    "ridge-y": RIDGE_PX,
    "groove-x": RIDGE_PX,
    "groove-y": RIDGE_PX,
    "grating-x": GRATING_PX,
    "grating-y": GRATING_PX,
    "pin": PIN_PX,
    "hole": HOLE_PX,
    "gap": GAP_PX,
    "letter": LETTER_PX,
}
"""Rows of which the least that is there is noted, with their steps in pixels."""


@dataclass(frozen=True)
class Spot:
    """One measurement: `group` names its place on the plaque, `error_mm` what is put down for its error."""

    id: str
    kind: GaugeKind
    group: str
    axis: str
    what: str
    nominal_mm: float | None
    error_mm: float
    layers: int = 0


@dataclass(frozen=True)
class GaugeDesign:
    """A gauge for one printer, resin and layer.

    `plaque_px`: the plaque's size along x and y in pixels, once it is laid out; (0, 0) before.
    """

    printer: str
    resin: str
    pixel_mm: tuple[float, float]
    layer_mm: float
    plaque_px: tuple[int, int] = (0, 0)

    def layers(self, height_mm: float) -> int:
        """The whole number of layers nearest to a height, 1 at least."""
        return max(1, round(height_mm / self.layer_mm))

    def pixels(self, length_mm: float, axis: int) -> int:
        """The whole number of pixels nearest to a length, 1 at least."""
        return max(1, round(length_mm / self.pixel_mm[axis]))

    @property
    def base_layers(self) -> int:
        """Layers of the plaque itself."""
        return self.layers(BASE_MM)

    @property
    def relief_layers(self) -> int:
        """Layers of ridges, pins and the like over the plaque; grooves are cut as deep."""
        return max(8, self.layers(RELIEF_MM))

    @property
    def lugs_px(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """Along x and y: pixels over a pair of lugs, and of one lug."""
        over, one = ([self.pixels(length, axis) for axis in (0, 1)] for length in (LUGS_MM, LUG_MM))
        return (over[0], one[0]), (over[1], one[1])

    def spots(self) -> tuple[Spot, ...]:
        """Every measurement, in the order of the sheet."""
        return (*self._lengths(), *self._heights(), *self._bridges(), *self._widths(), *self._least())

    def _lengths(self) -> Iterator[Spot]:
        for axis, letter in enumerate("xy"):
            pixel = self.pixel_mm[axis]
            over, one = self.lugs_px[axis]
            rows = (
                (GaugeKind.LENGTH, "1", f"length-{letter}", "the plaque, edge to edge", self.plaque_px[axis]),
                (GaugeKind.LENGTH, "2", f"lugs-{letter}", "over the two lugs", over),
                (GaugeKind.INNER, "1", f"lugs-{letter}", "between the two lugs", over - 2 * one),
            )
            for kind, number, group, what, count in rows:
                mm = _rounded(count * pixel)
                said = f"{what}, along {letter}"
                yield Spot(f"{kind}-{letter}-{number}", kind, group, letter, said, mm, CALLIPER_MM)

    def _heights(self) -> Iterator[Spot]:
        for number, height in enumerate(HEIGHTS_MM, start=1):
            layers = self.layers(height)
            what = f"step {number}, over the underside: {layers} layers"
            mm = _rounded(layers * self.layer_mm)
            yield Spot(f"height-z-{number}", GaugeKind.HEIGHT, "steps", "z", what, mm, DEPTH_MM)

    def _bridges(self) -> Iterator[Spot]:
        for layers in BRIDGE_LAYERS:
            what = f"thickness of the bridge of {layers} layer{'s' if layers > 1 else ''}"
            mm = _rounded(layers * self.layer_mm)
            yield Spot(f"bridge-z-{layers}", GaugeKind.BRIDGE, "bridges", "z", what, mm, DEPTH_MM, layers)

    def _widths(self) -> Iterator[Spot]:
        for kind, steps, said in (
            (GaugeKind.RIDGE, RIDGE_PX, "width of the ridge"),
            (GaugeKind.GROOVE, RIDGE_PX, "width of the groove"),
            (GaugeKind.GRATING, GRATING_PX, "width of the middle ridge of the grating"),
        ):
            for axis, letter in enumerate("xy"):
                for count in (step for step in steps if step >= MEASURED_FROM_PX):
                    what = f"{said} of {count} pixels, along {letter}"
                    mm = _rounded(count * self.pixel_mm[axis])
                    id_, group = f"{kind}-{letter}-{count}", f"{kind}-{letter}"
                    yield Spot(id_, kind, group, letter, what, mm, LOUPE_MM, self.relief_layers)

    def _least(self) -> Iterator[Spot]:
        for row in LEAST_STEPS:
            said, _, axis = row.partition("-")
            sizes = ", ".join(f"{step:g}" for step in self.least_steps_mm(row))
            what = f"the least {_LEAST_SAID[said]}{f', along {axis}' if axis else ''}: one of {sizes}"
            yield Spot(f"least-{row}", GaugeKind.LEAST, row, axis, what, None, 0.0)

    def least_steps_mm(self, row: str) -> tuple[float, ...]:
        """The stepped sizes of a row, mm: along its axis, or along x."""
        pixel = self.pixel_mm[1] if row.endswith("-y") else self.pixel_mm[0]
        return tuple(_rounded(count * pixel) for count in LEAST_STEPS[row])


_LEAST_SAID = {
    "ridge": "ridge that stands whole",
    "groove": "groove that is open all along",
    "grating": "grating with ridges and grooves apart",
    "pin": "pin that stands",
    "hole": "hole that is open",
    "gap": "gap that light comes through",
    "letter": "stroke of letters that can be read",
}


def _rounded(length_mm: float) -> float:
    """Without the digits that binary fractions add: a table shows and takes what is rounded so."""
    return round(length_mm, 6)
