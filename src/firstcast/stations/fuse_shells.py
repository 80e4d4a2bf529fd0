"""What fuse unites: the closed shells of a piece's parts and its sheets with their thickness, if they fit."""

from collections.abc import Iterator
from typing import cast

import numpy as np

from firstcast.arrays import Points
from firstcast.errors import InputError
from firstcast.fields.memory import check_fits
from firstcast.fields.sheets import thicken
from firstcast.fields.union import Shells, cells_shown, estimate_route_bytes
from firstcast.geometry.mesh import Mesh, Part
from firstcast.geometry.tree import build_tree, closest_points
from firstcast.vocabulary import ShellKind


def check_piece_fits(piece: str, needed_bytes: float, pitch) -> None:
    """Refuse before the work what this machine's memory can't hold."""
    mend = f"Give [fuse] a pitch_mm above {pitch.max():g}, or make the piece of smaller pieces."
    check_fits(needed_bytes, where=piece, mend=mend)


def _check_sheets_fit(piece: str, parts: tuple[Part, ...], pitch) -> None:
    """Refuse sheets, of which both sides will show, before they are given their thickness."""
    crossings = 0.0
    for part in parts:
        points = np.asarray(part.mesh.points, np.float64)
        for shell in part.shells:
            if shell.kind is ShellKind.SHEET:
                crossings += 2 * cells_shown(points, part.mesh.triangles[shell.start : shell.stop], pitch)
    check_piece_fits(piece, estimate_route_bytes(crossings), pitch)


def shells_of(piece: str, parts: tuple[Part, ...], pitch) -> Shells:
    """The closed shells of all parts in one run of triangles, sheets with their thickness.

    Raises
    ------
    InputError
        No part has a closed shell or a sheet.
    SizeError
        The sheets would not fit this machine on the lattice.
    """
    _check_sheets_fit(piece, parts, pitch)
    points, triangles, numbers, first = [np.empty((0, 3))], [np.empty((0, 3), np.int32)], [], 0
    for number, part in enumerate(parts):
        for solid in _solids_of(part, pitch):
            points.append(np.asarray(solid.points, np.float64))
            triangles.append(solid.triangles + np.int32(first))
            numbers.append(np.full(len(solid.triangles), number, np.uint16))
            first += len(solid.points)
    if not numbers:
        raise InputError(
            "no part has a closed shell or a sheet",
            where=piece,
            mend="Check the part files: they hold no surface.",
        )
    joined = np.ascontiguousarray(np.concatenate(triangles), np.int32)
    return Shells(np.concatenate(points), joined, np.concatenate(numbers))


def _solids_of(part: Part, pitch) -> Iterator[Mesh]:
    """A part's closed shells as one mesh, then each of its sheets as a solid of its thickness."""
    closed = [
        part.mesh.triangles[shell.start : shell.stop]
        for shell in part.shells
        if shell.kind is not ShellKind.SHEET
    ]
    if closed:
        yield Mesh(part.mesh.points, np.concatenate(closed))
    for shell in part.shells:
        if shell.kind is ShellKind.SHEET:
            rows, used = part.mesh.triangles[shell.start : shell.stop], np.zeros(len(part.mesh.points), bool)
            used[rows] = True
            points = np.asarray(part.mesh.points[used], np.float64)
            renamed = (np.cumsum(used) - 1).astype(np.int32)[rows]
            tree = build_tree(Mesh(points, renamed))
            solid = thicken(
                points,
                shell.thickness,
                pitch,
                lambda places, tree=tree: closest_points(tree, places).distance_mm,
            )
            yield Mesh(cast(Points, solid.points), solid.triangles)
