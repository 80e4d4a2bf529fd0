"""What joints add to masters and take out of them, and how it is done on a large mesh."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.geometry.attach import Attached, attach
from firstcast.geometry.boxtree import bounds_of, build_box_tree
from firstcast.geometry.crossings import crossing_rows, snap_points
from firstcast.geometry.footing import Frame, frame_into
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.neighbourhood import near_box, with_own_points
from firstcast.geometry.seam_mend import SHORT_MM, mend_seam

NUDGE_MM = (0.0013, 0.0007, 0.0004)
"""Steps along, across and down by which a fitting is moved where rounding to float32 leaves a crossing."""

NUDGES = 12

SLACK_MM = 1e-9
"""Turning points into a fitting's axes rounds them by far less than this."""

MOST_CROSSINGS = 1000
"""No more crossing pairs than this are counted."""


@dataclass(frozen=True)
class Fitting:
    """One solid that is added to a master or taken out of it.

    Attributes
    ----------
    piece, name : str
        Whose it is, and what it is called among the piece's parts.
    adds : bool
    mesh : Mesh
        points (n, 3) float64, of one piece, closed and outward, at master size.
    away : (3,) float64
        From its seat or mouth into the piece, at master size.
    """

    piece: str
    name: str
    adds: bool
    mesh: Mesh
    away: npt.NDArray[np.float64]


def fitted(body: Mesh, fitting: Fitting) -> tuple[Fitting, Attached, int]:
    """A body with a fitting, where rounding leaves no crossing: as it is, its seam mended, or moved by a hair.

    Returns
    -------
    tuple
        The fitting as it went in; the body with it; how many triangles at the seam still cross, 0 unless no place served.

    Raises
    ------
    InputError
        The body is not closed near it, or a fitting to be added doesn't meet it.
    """
    frame = frame_into(fitting.away)
    moved, joined, crossings = fitting, None, 0
    for step in range(NUDGES):
        away = step * (np.asarray(NUDGE_MM) @ np.stack([frame.along, frame.across, frame.into]))
        moved = Fitting(
            fitting.piece, fitting.name, fitting.adds, Mesh(fitting.mesh.points + away, fitting.mesh.triangles), fitting.away
        )  # fmt: skip
        joined = attach(body, moved.mesh, frame.into, takes_out=not fitting.adds)
        crossings = seam_crossings(joined, frame)
        if crossings or shortest_mm(joined) < SHORT_MM:
            joined = _mended(joined)
            crossings = seam_crossings(joined, frame)
        if not crossings:
            break
    assert joined is not None
    return moved, joined, crossings


def shortest_mm(joined: Attached) -> float:
    """The shortest edge of the triangles that the union made or cut."""
    corners = joined.mesh.points[joined.mesh.triangles[joined.seam]].astype(np.float64)
    return float(np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2).min(initial=np.inf))


def _mended(joined: Attached) -> Attached:
    """The same with its seam mended place by place, as far as that goes."""
    done = mend_seam(joined.mesh, joined.seam)
    mesh, _ = with_own_points(done.points, done.triangles)
    on_seam = np.zeros(len(joined.source), bool)
    on_seam[joined.seam] = True
    seam = np.flatnonzero(on_seam[done.kept]).astype(np.int32)
    return joined._replace(mesh=mesh, source=joined.source[done.kept], seam=seam)


def seam_crossings(joined: Attached, frame: Frame) -> int:
    """How many pairs of triangles cross of which one was made or cut by the union, and how many of those are flat."""
    if not len(joined.seam):
        return 0
    local, seam = _near(joined.mesh, joined.mesh.points, joined.seam)
    # The walls of a tab are long and thin: along its own axes their box holds far fewer of the body's triangles.
    local, seam = _near(local, local.points @ np.stack(frame).T, seam)
    a, b, c = np.moveaxis(Mesh(local.points, local.triangles[seam]).corners, 1, 0)
    flat = int((np.cross(b - a, c - a) == 0.0).all(axis=1).sum())
    points = snap_points(local.points, where="join")
    tree = build_box_tree(points, local.triangles, np.arange(len(local.triangles), dtype=np.int32))
    pairs = crossing_rows(points, local.triangles, seam, tree, MOST_CROSSINGS)
    return flat + len(np.unique(np.sort(pairs, axis=1), axis=0))


def _near(
    mesh: Mesh, places: npt.NDArray[np.floating], rows: npt.NDArray[np.int32]
) -> tuple[Mesh, npt.NDArray[np.int32]]:
    """The triangles that may meet some rows, seen with the points at `places`; and those rows among them."""
    box = bounds_of(places[mesh.triangles[rows]].reshape(-1, 3))
    near = np.flatnonzero(near_box(places, mesh.triangles, box, SLACK_MM))
    return with_own_points(mesh.points, mesh.triangles[near])[0], np.searchsorted(near, rows).astype(np.int32)
