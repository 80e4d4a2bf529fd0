"""A body with its fills: united on the lattice on which the body was made, whatever no fill meets left to the last bit."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.spatial import KDTree

from firstcast.fields.contour import Contour, contour_union
from firstcast.fields.creases import with_creases
from firstcast.fields.memory import check_fits
from firstcast.fields.union import (
    Columns,
    Occupancy,
    Shells,
    estimate_bytes,
    lattice_around,
    occupy,
    read_columns,
)
from firstcast.fields.voids import components_of, fill_voids
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh, measure_solid

SAME_PITCHES = 1e-3
"""A vertex that comes out so near to one of the body's is that one: lines are crossed to a hundredth of that."""


class Added(NamedTuple):
    """A body with its fills, and by how much its volume grew in mm3."""

    body: Body
    added_mm3: float


def with_lumps(body: Body, lumps: tuple[tuple[str, tuple[Mesh, ...]], ...], pitch_mm: npt.ArrayLike) -> Added:
    """Unite named lumps with a body.

    Parameters
    ----------
    body : Body
    lumps : tuple of (name, meshes)
        Closed and outward. The name becomes a part after those of the body.
    pitch_mm : (3,) float64, or one float for all axes
        Lattice on which the body was made, or, for one that was not made on a lattice, is to be made now.

    Raises
    ------
    SizeError
        The lattice would not fit this machine.

    Notes
    -----
    Closed, manifold and free of self-crossings as the contour is. The vertices of a body from a lattice lie on its lines, so they
    come out where they were, and keep their bits.
    """
    names = list(body.part_names)
    points, triangles, parts = [np.asarray(body.mesh.points, np.float64)], [body.mesh.triangles], []
    parts.append(body.part_of_triangle)
    count = len(body.mesh.points)
    for name, meshes in lumps:
        if meshes and name not in names:
            names.append(name)
        for mesh in meshes:
            points.append(np.asarray(mesh.points, np.float64))
            triangles.append(mesh.triangles + np.int32(count))
            parts.append(np.full(len(mesh.triangles), names.index(name), np.uint16))
            count += len(mesh.points)
    if len(points) == 1:
        return Added(body, 0.0)
    pitch = np.broadcast_to(np.asarray(pitch_mm, np.float64), (3,))
    shells = Shells(np.concatenate(points), np.concatenate(triangles), np.concatenate(parts))
    lattice = lattice_around(shells.points, pitch, float(pitch.max()))
    check_fits(estimate_bytes(shells, lattice), where="relieve", mend="Take a coarser [fuse] pitch_mm.")
    columns = read_columns(shells, lattice)
    occupancy = occupy(columns, lattice, float(pitch.max()))
    found = _without_new_voids(occupancy, columns, shells, body, float(pitch.min()))
    mesh = Mesh(found.points, found.triangles)
    grew = measure_solid(mesh).volume - measure_solid(body.mesh).volume
    return Added(Body(mesh, found.part_of_triangle, tuple(names)), grew)


def _without_new_voids(
    occupancy: Occupancy, columns: Columns, shells: Shells, body: Body, pitch_mm: float
) -> Contour:
    """The union's surface; hollows that a fill closed are filled, older ones stay."""
    found, traced = contour_union(occupancy, columns, shells.part)
    points, old = _with_old_points(found.points, body, pitch_mm)
    components = components_of(found)
    sealed = components.volume_mm3 < 0.0
    if sealed.any():
        fresh = np.zeros(len(sealed), np.bool_)
        fresh[np.unique(components.label_of_point[~old])] = True
        chosen = (sealed & fresh)[components.label_of_point]
        if chosen.any():
            occupancy = fill_voids(occupancy, traced, chosen)
            found, traced = contour_union(occupancy, columns, shells.part)
            points, _ = _with_old_points(found.points, body, pitch_mm)
    found = with_creases(found._replace(points=points), traced, occupancy, columns, shells)
    return found._replace(points=_with_old_points(found.points, body, pitch_mm)[0])


def _with_old_points(points: npt.NDArray[np.float32], body: Body, pitch_mm: float):
    """Points (n, 3) float32, the body's own where they come out beside them; and which those are (n,)."""
    before = np.ascontiguousarray(body.mesh.points, np.float32)
    gap, row = KDTree(before).query(points, distance_upper_bound=SAME_PITCHES * pitch_mm)
    same = np.isfinite(np.asarray(gap))
    out = points.copy()
    out[same] = before[np.asarray(row)[same]]
    return out, same
