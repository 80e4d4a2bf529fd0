"""Creases of a union's surface: a vertex on the crease in every cell in which the surface bends sharply."""

import numpy as np

from firstcast.fields.blocks import run_blocks
from firstcast.fields.contour import BLOCK, Contour, Traced, lattice_floats, running
from firstcast.fields.near import SIDE
from firstcast.fields.union import Columns, Occupancy, Shells
from firstcast.kernels.contour_table import MOST_LOOP
from firstcast.kernels.creases import find_creases
from firstcast.kernels.fans import turn_edges, write_fans


def with_creases(
    found: Contour, traced: Traced, occupancy: Occupancy, columns: Columns, shells: Shells
) -> Contour:
    """The contour of a union with its creases drawn where a lattice cell sees both sides of them.

    `found` and `traced` are what `contour_union` gave for the occupancy and the columns of these shells. The
    contour's own points stay; new points and two more triangles per creased cell follow. Closed, manifold and
    free of self-crossings like the contour (`firstcast.kernels.creases` says why).
    """
    places, index, bits = occupancy.places, occupancy.index, occupancy.bits
    origin, pitch = occupancy.lattice.origin_mm, occupancy.lattice.pitch_mm
    count = len(places)
    numbering = (places, index, bits, traced.flags, traced.ranks, traced.vertex_starts)
    search = (*numbering, *columns[:6], origin, pitch, shells.points, shells.triangles, found.points)
    creased, counts = np.empty((count, SIDE**2), np.uint8), np.zeros(count, np.int64)
    run_blocks(find_creases, count, *search, False, creased, counts, np.empty((0, 3)), block=BLOCK)
    starts = running(counts)
    total = int(starts[-1])
    if total == 0:
        return found
    spots = np.empty((total, 3))
    run_blocks(find_creases, count, *search, True, creased, starts, spots, block=BLOCK)
    points = np.concatenate([found.points, np.empty((total, 3), np.float32)])
    triangles = np.concatenate([found.triangles, np.empty((2 * total, 3), np.int32)])
    parts = np.concatenate([found.part_of_triangle, np.empty(2 * total, np.uint16)])
    loops, sizes = np.empty((total, MOST_LOOP), np.int32), np.empty((total, 2), np.int64)
    faces = np.full((total, MOST_LOOP), -1, np.int8)
    run_blocks(
        write_fans, count, *numbering, traced.triangle_starts, traced.strip_triangles, creased, starts, spots,
        lattice_floats(*occupancy.lattice), origin, pitch, found.part_of_triangle, found.points, found.triangles,
        points, triangles, parts, loops, sizes, faces, block=BLOCK,
    )  # fmt: skip
    run_blocks(
        turn_edges, count, places, index, creased, starts, loops, sizes, faces, len(found.points),
        len(found.triangles), triangles, block=BLOCK,
    )  # fmt: skip
    return Contour(points, triangles, parts)
