"""Building the near field: the union's surface first, then true distances to it in a band around."""

import numpy as np

from firstcast.fields.blocks import run_blocks
from firstcast.fields.contour import Contour, Traced, contour_union, trace_field
from firstcast.fields.memory import check_fits
from firstcast.fields.near import SIDE, NearField
from firstcast.fields.union import Occupancy, Shells, estimate_bytes, lattice_around, occupy, read_columns
from firstcast.kernels.distance import measure_bricks
from firstcast.tolerances import TOLERANCES

BLOCK = 512
"""Bricks that one thread takes at a time."""


def build_near(
    shells: Shells, pitch_mm, *, band_mm: float | None = None, where: str = "near field"
) -> NearField:
    """The near field of the union of closed shells.

    Parameters
    ----------
    shells : Shells
        Closed and outward; they may overlap, nest and cross themselves.
    pitch_mm : (3,) float, or one float for all axes
    band_mm : float, optional
        Distances are true up to here and clamped beyond; by default `TOLERANCES.band_pitches` of the
        coarsest pitch.
    where : str
        What an error should call this field.

    Raises
    ------
    SizeError
        The field would not fit this machine.

    Notes
    -----
    The surface is that of `contour_union`: exact where it meets lattice edges, flat in between; a distance
    errs by about pitch² / (8 · radius of curvature), and a sharp edge is cut where no lattice point lies in
    it. Buried surfaces have no part in it.
    """
    pitch = np.broadcast_to(np.asarray(pitch_mm, np.float64), (3,))
    band = TOLERANCES.band_pitches * float(pitch.max()) if band_mm is None else band_mm
    lattice = lattice_around(shells.points, pitch, band)
    check_fits(
        estimate_bytes(shells, lattice, band),
        where=where,
        mend=f"Take a pitch coarser than {pitch.min():g} mm, or cut the piece in two.",
    )
    columns = read_columns(shells, lattice)
    occupancy = occupy(columns, lattice, band)
    surface, traced = contour_union(occupancy, columns, shells.part)
    return measure_distances(occupancy, surface, traced, band)


def redistance(field: NearField, *, band_mm: float | None = None) -> NearField:
    """The near field with the same zero contour and true distances to it, in the same bricks.

    After filling, blending or offsetting values are no distances any more; the contour drawn from them still
    is the surface meant, and distances are measured from it anew. Bricks are not added: where the new
    surface comes nearer to their border than the band, the band is cut off there.
    """
    band = TOLERANCES.band_pitches * float(field.pitch_mm.max()) if band_mm is None else band_mm
    surface, occupancy, traced = trace_field(field)
    return measure_distances(occupancy, surface, traced, band)


def measure_distances(occupancy: Occupancy, surface: Contour, traced: Traced, band_mm: float) -> NearField:
    """Signed distances from the surface that was traced between the occupancy's inside and outside."""
    count = len(occupancy.places)
    pool = np.empty((count, SIDE, SIDE, SIDE), np.float32)
    part = np.empty((count, SIDE, SIDE, SIDE), np.uint16)
    origin, pitch = occupancy.lattice.origin_mm, occupancy.lattice.pitch_mm
    run_blocks(
        measure_bricks, count, occupancy.places, occupancy.index, occupancy.bits, traced.strip_triangles,
        traced.triangle_starts, surface.points, surface.triangles, surface.part_of_triangle, origin, pitch,
        band_mm, pool, part, block=BLOCK,
    )  # fmt: skip
    return NearField(origin, pitch, occupancy.index, pool, part, band_mm)
