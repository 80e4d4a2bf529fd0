"""What stands on the gauge's plaque, block by block: each a rectangle of pixels and what draws its features.

Boxes are built from counts of pixels along x and y and of layers along z, so that corners are exact multiples.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from manifold3d import Manifold

from firstcast import gauge_design as numbers
from firstcast.gauge_design import GaugeDesign
from firstcast.geometry import solids

Rect = tuple[float, float, float, float]

GUTTER_MM, APART_MM = 1.2, 0.8
"""Between blocks, and between neighbours of a row: wide against any spread of light."""
LINE_MM, SPAN_MM, POST_MM, DECK_MM, CLEAR_MM = 4.0, 3.0, 1.2, 3.2, 1.6
"""Length of ridges and grooves; span, posts and depth of the bridges, and what stays clear under the thickest."""
TREAD_MM, LUG_DEEP_MM, LUG_TALL_MM = 2.6, 3.0, 2.5
SAG_RATIO = 0.01
"""Facets of pins and holes stay within this share of their radius."""

_CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=bool)

LETTERS = {
    "F": ((0, 0, 1, 7), (1, 6, 4, 1), (1, 3, 3, 1)),
    "A": ((0, 0, 1, 7), (4, 0, 1, 7), (1, 6, 3, 1), (1, 3, 3, 1)),
    "C": ((0, 0, 1, 7), (1, 0, 4, 1), (1, 6, 4, 1)),
    "E": ((0, 0, 1, 7), (1, 0, 4, 1), (1, 6, 4, 1), (1, 3, 3, 1)),
}
"""Strokes as (x, y, wide, tall) in stroke widths."""


@dataclass(frozen=True)
class Block:
    """A rectangle of the plaque, in pixels, and what draws its features from a corner on."""

    wide: int
    deep: int
    draw: Callable[["Builder", int, int], None]


@dataclass
class Builder:
    """Solids that are added and cut, in pixels and layers."""

    design: GaugeDesign
    added: list[Manifold] = field(default_factory=list)
    cut: list[Manifold] = field(default_factory=list)
    groups: dict[str, Rect] = field(default_factory=dict)

    def box(
        self, at: tuple[int, int], size: tuple[int, int], heights: tuple[float, float], *, cut: bool = False
    ) -> None:
        """A box from a pixel corner, between two heights in layers."""
        # Corners from counts, not low + size: neighbours then share them to the last digit, and leave no sliver.
        (px, py), h = self.design.pixel_mm, self.design.layer_mm
        low = np.array([at[0] * px, at[1] * py, heights[0] * h])
        high = np.array([(at[0] + size[0]) * px, (at[1] + size[1]) * py, heights[1] * h])
        corners = np.where(_CORNERS, high, low)
        (self.cut if cut else self.added).append(Manifold.hull_points(corners))

    def round(
        self, middle: tuple[float, float], across_mm: float, heights: tuple[int, int], *, cut: bool
    ) -> None:
        """An upright cylinder about a place in pixels."""
        (px, py), h = self.design.pixel_mm, self.design.layer_mm
        radius = 0.5 * across_mm
        solid = solids.cylinder((heights[1] - heights[0]) * h, radius, sag_mm=SAG_RATIO * radius)
        (self.cut if cut else self.added).append(
            solid.translate((middle[0] * px, middle[1] * py, heights[0] * h))
        )

    def group(self, name: str, at: tuple[int, int], size: tuple[int, int]) -> None:
        """Say where a group of features lies."""
        (px, py) = self.design.pixel_mm
        self.groups[name] = (at[0] * px, at[1] * py, (at[0] + size[0]) * px, (at[1] + size[1]) * py)

    def turned(
        self, along: int, at: tuple[int, int], offset: int, across: int, size: tuple[int, int]
    ) -> tuple[tuple[int, int], tuple[int, int]]:
        """Corner and size of a line `size` (across, along) in a row that runs along x (0) or y (1)."""
        if along == 0:
            return (at[0] + offset, at[1] + across), size
        return (at[0] + across, at[1] + offset), (size[1], size[0])


def _gutter(design: GaugeDesign, axis: int) -> int:
    return math.ceil(GUTTER_MM / design.pixel_mm[axis])


def beside(blocks: Sequence[Block], design: GaugeDesign) -> Block:
    """Blocks from left to right."""
    return _in_a_row(blocks, design, 0)


def stacked(blocks: Sequence[Block], design: GaugeDesign) -> Block:
    """Blocks from front to back."""
    return _in_a_row(blocks, design, 1)


def _in_a_row(blocks: Sequence[Block], design: GaugeDesign, axis: int) -> Block:
    gutter = _gutter(design, axis)
    sizes = [(block.wide, block.deep) for block in blocks]

    def draw(builder: Builder, x: int, y: int) -> None:
        at = [x, y]
        for block, size in zip(blocks, sizes, strict=True):
            block.draw(builder, at[0], at[1])
            at[axis] += size[axis] + gutter

    extent = [max(size[0] for size in sizes), max(size[1] for size in sizes)]
    extent[axis] = sum(size[axis] for size in sizes) + gutter * (len(blocks) - 1)
    return Block(extent[0], extent[1], draw)


def _relief(design: GaugeDesign, *, cut: bool) -> tuple[int, int]:
    """Heights in layers of what stands on the plaque (sunk into it, to be one with it) or is cut into it."""
    base, relief = design.base_layers, design.relief_layers
    return (base - min(relief, base - 1), base + 1) if cut else (base - 2, base + relief)


def row(kind: str, along: int, design: GaugeDesign) -> Block:
    """Ridges or grooves of stepped widths, or gratings of stepped periods, that follow each other along an axis."""
    apart = math.ceil(APART_MM / design.pixel_mm[along])
    long = math.ceil(LINE_MM / design.pixel_mm[1 - along])
    places: list[tuple[int, int]] = []
    offset = 0
    for count in numbers.GRATING_PX if kind == "grating" else numbers.RIDGE_PX:
        for _ in range(numbers.GRATING_RIDGES if kind == "grating" else 1):
            places.append((offset, count))
            offset += 2 * count if kind == "grating" else count
        offset += apart - (count if kind == "grating" else 0)
    length = offset - apart
    size = (length, long) if along == 0 else (long, length)

    def draw(builder: Builder, x: int, y: int) -> None:
        cut = kind == "groove"
        for start, count in places:
            at, extent = builder.turned(along, (x, y), start, 0, (count, long))
            builder.box(at, extent, _relief(design, cut=cut), cut=cut)
        builder.group(f"{kind}-{'xy'[along]}", (x, y), size)

    return Block(*size, draw)


def _round_row(group: str, steps: Sequence[int], design: GaugeDesign, *, cut: bool) -> Block:
    """Pins or holes of stepped diameters, from left to right."""
    px, py = design.pixel_mm
    apart, deep = math.ceil(APART_MM / px), math.ceil(max(steps) * px / py)
    wide = sum(steps) + apart * (len(steps) - 1)

    def draw(builder: Builder, x: int, y: int) -> None:
        at = x
        for count in steps:
            middle = (at + 0.5 * count, y + 0.5 * deep)
            builder.round(middle, count * px, _relief(design, cut=cut), cut=cut)
            at += count + apart
        builder.group(group, (x, y), (wide, deep))

    return Block(wide, deep, draw)


def pins(design: GaugeDesign) -> Block:
    """Pins of stepped diameters."""
    return _round_row("pin", numbers.PIN_PX, design, cut=False)


def holes(design: GaugeDesign) -> Block:
    """Holes; the widest are the sockets of pegs."""
    return _round_row("hole", numbers.HOLE_PX, design, cut=True)


def gaps(design: GaugeDesign) -> Block:
    """Walls twice as tall as the relief, gaps of stepped widths between them, open at both ends."""
    px, py = design.pixel_mm
    wall, deep = math.ceil(0.6 / px), math.ceil(1.6 / py)
    wide = wall * (len(numbers.GAP_PX) + 1) + sum(numbers.GAP_PX)

    def draw(builder: Builder, x: int, y: int) -> None:
        heights = (design.base_layers - 2, design.base_layers + 2 * design.relief_layers)
        at = x
        for gap in (*numbers.GAP_PX, 0):
            builder.box((at, y), (wall, deep), heights)
            at += wall + gap
        builder.group("gap", (x, y), (wide, deep))

    return Block(wide, deep, draw)


def letters(design: GaugeDesign) -> Block:
    """One word in strokes of stepped widths, the finest in front. Half as tall as the relief, as lettering is."""
    px, py = design.pixel_mm
    strokes = [(count, max(1, round(count * px / py))) for count in numbers.LETTER_PX]
    apart = math.ceil(0.5 / py)
    wide = (6 * len("FACE") - 1) * max(numbers.LETTER_PX)
    deep = sum(7 * down for _, down in strokes) + apart * (len(strokes) - 1)

    def draw(builder: Builder, x: int, y: int) -> None:
        heights = (design.base_layers - 2, design.base_layers + design.relief_layers // 2)
        line = y
        for across, down in strokes:
            for number, letter in enumerate("FACE"):
                for left, front, w, t in LETTERS[letter]:
                    at = (x + (6 * number + left) * across, line + front * down)
                    builder.box(at, (w * across, t * down), heights)
            line += 7 * down + apart
        builder.group("letter", (x, y), (wide, deep))

    return Block(wide, deep, draw)


def bridges(design: GaugeDesign) -> Block:
    """A deck on posts, cured over each span for so many layers; the tops are level."""
    px, py = design.pixel_mm
    span, post, deep = math.ceil(SPAN_MM / px), math.ceil(POST_MM / px), math.ceil(DECK_MM / py)
    top = design.base_layers + max(numbers.BRIDGE_LAYERS) + design.layers(CLEAR_MM)
    wide = post + (span + post) * len(numbers.BRIDGE_LAYERS)

    def draw(builder: Builder, x: int, y: int) -> None:
        for number, layers in enumerate(numbers.BRIDGE_LAYERS):
            at = x + number * (span + post)
            builder.box((at, y), (post, deep), (design.base_layers - 2, top))
            builder.box((at + post, y), (span, deep), (top - layers, top))
        builder.box((x + wide - post, y), (post, deep), (design.base_layers - 2, top))
        builder.group("bridges", (x, y), (wide, deep))

    return Block(wide, deep, draw)


def lugs(along: int, design: GaugeDesign) -> Block:
    """Two lugs, the length over them and the one between them known."""
    over, one = design.lugs_px[along]
    deep = math.ceil(LUG_DEEP_MM / design.pixel_mm[1 - along])
    size = (over, deep) if along == 0 else (deep, over)

    def draw(builder: Builder, x: int, y: int) -> None:
        heights = (design.base_layers - 2, design.base_layers + design.layers(LUG_TALL_MM))
        for start in (0, over - one):
            at, extent = builder.turned(along, (x, y), start, 0, (one, deep))
            builder.box(at, extent, heights)
        builder.group(f"lugs-{'xy'[along]}", (x, y), size)

    return Block(*size, draw)


def stairs(design: GaugeDesign) -> Block:
    """Steps of known heights over the plaque's underside."""
    tread, deep = (math.ceil(TREAD_MM / pixel) for pixel in design.pixel_mm)
    wide = tread * len(numbers.HEIGHTS_MM)

    def draw(builder: Builder, x: int, y: int) -> None:
        for number, height in enumerate(numbers.HEIGHTS_MM):
            builder.box(
                (x + number * tread, y), (tread, deep), (design.base_layers - 2, design.layers(height))
            )
        builder.group("steps", (x, y), (wide, deep))

    return Block(wide, deep, draw)
