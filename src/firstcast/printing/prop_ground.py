"""What stays the same while props are made: the piece's layers, what they ask for, its skin, and the free space about it."""

from dataclasses import dataclass, replace

import numpy as np

from firstcast.fields.coverage import Layers, PixelGrid, Sections, section_layers
from firstcast.fields.far import FarField, build_far
from firstcast.fields.union import Shells
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.tree import Tree, build_tree, closest_points
from firstcast.printing.descent import free_space
from firstcast.printing.prop_wants import Wanted
from firstcast.printing.sized_trees import Ground
from firstcast.printing.spare_places import Spare, spare_places
from firstcast.printing.starts import Found, find_sites
from firstcast.printing.tips import Avoids, Skin

FAR_PITCH_MM, FAR_CELLS = 0.2, 4e6
"""Lattice for the posts' ways: so fine, or as fine as so many places allow."""

FAR_MARGIN_MM = 2.0

STOUT = (3.0, 1.8)
"""Posts go first where they could grow to so many times the least thickness."""

TIGHT = 0.55
"""Of the clearance, where there is no way with all of it."""

IN_LAYERS = 1.5
"""Which body a place of the surface belongs to is asked so many layers, or pixels, under it."""

SLACK = 1.3
"""With the props in place an overhang may be longer by this before it gets another tip: tips are where they are smooth, not
where the count of reach wanted them."""


@dataclass(frozen=True)
class PropGround:
    """A piece over the platform.

    Attributes
    ----------
    sections : Sections
        On a grid wide enough for the props.
    found : Found
        What its layers ask for.
    skin : Skin
    free : Ground
        Where posts may stand.
    spare : Spare
        Where tips could be added; `found.asked` are their bodies.
    """

    piece: Mesh
    sections: Sections
    found: Found
    skin: Skin
    free: Ground
    spare: Spare
    wanted: Wanted

    def look(self, props: Mesh) -> Found:
        """What the layers still ask for with the props in them."""
        sections = self.sections
        others = section_layers(props.points, props.triangles, sections.grid, sections.layers)
        bearing = replace(self.wanted.bearing, reach_mm=SLACK * self.wanted.bearing.reach_mm)
        return find_sites(sections, bearing, others=others)


def ground_of(piece: Mesh, wanted: Wanted, avoids: Avoids | None) -> PropGround:
    """What props for a piece rest on.

    Parameters
    ----------
    piece : Mesh
        Closed and outward, as it is to stand over the platform z = 0.
    avoids : callable, optional
        Precious places.

    Raises
    ------
    InputError
        The mesh is not closed.
    SizeError
        The lattice doesn't fit this machine.
    """
    sections = _sections(piece, wanted)
    tree = build_tree(piece)
    far = _far(piece, tree)
    half, keep = 0.5 * wanted.shapes.post_mm, wanted.shapes.clearance_mm
    needs = (*(stout * half + keep for stout in STOUT), half + keep, half + TIGHT * keep)
    skin = Skin(piece, tree, avoids)
    spaces = tuple(free_space(far, need) for need in needs)
    free = Ground(far, spaces, wanted.shapes, wanted.strength, avoids, skin.rough_at)
    spare = spare_places(piece)
    inward = IN_LAYERS * max(wanted.layer_mm, *wanted.pixel_mm)
    found = find_sites(sections, wanted.bearing, asked_mm=spare.within(inward))
    return PropGround(piece, sections, found, skin, free, spare, wanted)


def _sections(piece: Mesh, wanted: Wanted) -> Sections:
    low, high = piece.bounds
    pixel = np.array(wanted.pixel_mm)
    # posts lean out by no more than the piece is high; what isn't covered costs nothing
    margin = high[2] + wanted.shapes.foot_mm
    first = np.floor((low[:2] - margin) / pixel)
    size = np.ceil((high[:2] + margin) / pixel) - first
    origin = first * pixel
    grid = PixelGrid(
        (float(origin[0]), float(origin[1])), float(pixel[0]), float(pixel[1]), int(size[0]), int(size[1])
    )
    layers = Layers(0.0, wanted.layer_mm, int(np.ceil(high[2] / wanted.layer_mm)))
    return section_layers(piece.points, piece.triangles, grid, layers)


def _far(piece: Mesh, tree: Tree) -> FarField:
    shells = Shells(
        np.asarray(piece.points, np.float64), piece.triangles, np.zeros(len(piece.triangles), np.uint16)
    )
    low, high = piece.bounds
    room = np.prod(high - low + 2.0 * FAR_MARGIN_MM)
    pitch = max(FAR_PITCH_MM, float((room / FAR_CELLS) ** (1.0 / 3.0)))
    return build_far(
        shells,
        lambda places: closest_points(tree, places),
        pitch_mm=pitch,
        margin_mm=FAR_MARGIN_MM,
        where="props",
    )
