"""The gauge's plaque as a solid: everything that has straight edges lies on whole pixels and layers.

The plaque lies flat on the build platform, z away from it; its front left corner is cut, so that it can't be taken the
wrong way round.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from manifold3d import Manifold

from firstcast.errors import InputError
from firstcast.gauge_design import GaugeDesign
from firstcast.geometry import solids
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.plaque_blocks import (
    POST_MM,
    Block,
    Builder,
    Rect,
    beside,
    bridges,
    gaps,
    holes,
    letters,
    lugs,
    pins,
    row,
    stacked,
    stairs,
)

MARGIN_MM, CHAMFER_MM, CORNER_MM = 1.2, 0.5, 2.0
_COARSEST_MM = (0.12, 0.12, 0.3)
"""Pixels and layers up to which the features come apart."""


@dataclass(frozen=True)
class Plaque:
    """The gauge as it is written.

    Attributes
    ----------
    mesh : Mesh
        Closed, one body, mm; points exact in float32.
    design : GaugeDesign
        With the plaque's size in it.
    groups_mm : dict of group to (left, front, right, back)
        Where each group of features lies on the plaque, mm.
    """

    mesh: Mesh
    design: GaugeDesign
    groups_mm: dict[str, Rect]

    @property
    def post_mm(self) -> float:
        """Width of the posts between the bridges, mm."""
        return math.ceil(POST_MM / self.design.pixel_mm[0]) * self.design.pixel_mm[0]


def plaque(design: GaugeDesign) -> Plaque:
    """The gauge's plaque for a printer's pixel and layer.

    Raises
    ------
    InputError
        Pixel or layer are so coarse that the features do not come apart.
    """
    if not all(
        0 < step <= most for step, most in zip((*design.pixel_mm, design.layer_mm), _COARSEST_MM, strict=True)
    ):
        raise InputError(
            f"no gauge for pixels of {design.pixel_mm[0]:g} by {design.pixel_mm[1]:g} mm and layers of "
            f"{design.layer_mm:g} mm",
            where="gauge",
            mend="Give pixels above 0, up to 0.12 mm, and layers above 0, up to 0.3 mm.",
        )
    whole = _laid_out(design)
    margin = [math.ceil(MARGIN_MM / pixel) for pixel in design.pixel_mm]
    size = (whole.wide + 2 * margin[0], whole.deep + 2 * margin[1])
    builder = Builder(replace(design, plaque_px=size))
    whole.draw(builder, margin[0], margin[1])
    _rulers(builder, size)
    for axis, name in enumerate(("length-x", "length-y")):
        builder.group(name, (0, 0), (size[0], 0) if axis == 0 else (0, size[1]))
    body = solids.difference([solids.union([_base(builder.design), *builder.added]), *builder.cut])
    mesh = solids.from_manifold(body, where="gauge")
    # float32 moves a point by less than a nanometre here: far below any distance between two features.
    points = mesh.points.astype(np.float32).astype(np.float64) + 0.0
    return Plaque(Mesh(points, mesh.triangles), builder.design, builder.groups)


def _laid_out(design: GaugeDesign) -> Block:
    """Bridges and lugs in front, where jaws reach them; x rows; then y rows, what is round, steps, letters, lugs."""
    lines = [row(kind, 0, design) for kind in ("ridge", "groove", "grating")]
    across = [row(kind, 1, design) for kind in ("ridge", "groove", "grating")]
    fine = stacked([pins(design), holes(design), gaps(design), stairs(design)], design)
    front = beside([bridges(design), lugs(0, design)], design)
    back = beside([*across, fine, letters(design), lugs(1, design)], design)
    return stacked([front, beside(lines, design), back], design)


def _rulers(builder: Builder, size: tuple[int, int]) -> None:
    """A tick every millimetre along the front and left edges, every fifth and tenth longer."""
    design = builder.design
    heights = (design.base_layers - 2, design.base_layers + max(2, design.layers(0.2)))
    for along in (0, 1):
        step, other = design.pixels(1.0, along), design.pixel_mm[1 - along]
        start = design.pixels(3.0, along)
        for number in range((size[along] - start - step) // step + 1):
            long = 0.9 if number % 10 == 0 else 0.7 if number % 5 == 0 else 0.45
            at, extent = builder.turned(along, (0, 0), start + number * step, 0, (4, math.ceil(long / other)))
            builder.box(at, extent, heights)


def _base(design: GaugeDesign) -> Manifold:
    """The plaque, its lower edge bevelled against the swelling of the first layers, one corner cut."""
    px, py = design.pixel_mm
    wide, deep, tall = (
        design.plaque_px[0] * px,
        design.plaque_px[1] * py,
        design.base_layers * design.layer_mm,
    )

    def outline(inset: float, z: float) -> np.ndarray:
        corner = CORNER_MM
        places = [
            (corner, inset), (wide - inset, inset), (wide - inset, deep - inset), (inset, deep - inset),
            (inset, corner),
        ]  # fmt: skip
        return np.column_stack([np.array(places), np.full(len(places), z)])

    points = np.concatenate([outline(CHAMFER_MM, 0.0), outline(0.0, CHAMFER_MM), outline(0.0, tall)])
    return Manifold.hull_points(points)
