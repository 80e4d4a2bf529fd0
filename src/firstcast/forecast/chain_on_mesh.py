"""The whole chain as a map of a mesh's vertices: print, primer, moulds and casts, paint.

Every step moves vertices and keeps triangles, so a scenario's forecast is one length per vertex: how far the painted
cast lies outside of the sculpture, along the sculpture's normal. The even part of every film is left out, for it
is on the sculpture's painted ideal as well.
"""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points, Triangles
from firstcast.fields.blocks import run_blocks
from firstcast.forecast.ball import Rolled, closed_by_ball, opened_by_ball
from firstcast.forecast.printed import print_moves_of
from firstcast.forecast.rings import Rings, rings_within, smoothed
from firstcast.kernels.ball_surface import add_normals, make_unit
from firstcast.process.chain import ChainScenario

LEAST_RADIUS_EDGES = 0.3
"""Balls below this share of a mesh's middle edge round nothing that the mesh shows; they are left out."""

REACH_RADII = 1.0
"""Where a ball must go farther than so many radii to come free, the place lies under a bridge of film."""

SPANNING = 12
"""Times that a bridge's vertices go to the middle of their neighbours: bridges are some ten edges wide at most."""

MOST_MM = 0.3
"""Beyond this a vertex under a bridge stays where it is: what covers it is no film."""

ROLLS: Mapping[str, Callable[..., Rolled]] = {"closed": closed_by_ball, "opened": opened_by_ball}

VERTEX_BLOCK = 1 << 14


class MeshForward:
    """The forward model of one body: lengths carried along its normals to residuals along them.

    Attributes
    ----------
    ends : tuple of (n, 3) float64, one per chain
        Where the last call left every vertex.
    bridged : tuple of (n,) bool
        Which of them lie under a bridge.

    Notes
    -----
    A residual is the part along the normal of how far a vertex ends from the sculpture. What lies under a bridge of light
    or film has no surface of its own: there it is the whole distance to the bridge, and so the depth that is filled.
    """

    def __init__(
        self,
        points: Points,
        triangles: Triangles,
        normals: npt.NDArray[np.float64],
        chains: Sequence[ChainScenario],
    ) -> None:
        self._points = np.asarray(points, np.float64)
        self._triangles, self._normals, self._chains = triangles, normals, tuple(chains)
        first, second = self._points[triangles[:, 0]], self._points[triangles[:, 1]]
        self._edge_mm = float(np.median(np.linalg.norm(first - second, axis=1)))
        self.ends: tuple[Points, ...] = ()
        self.bridged: tuple[npt.NDArray[np.bool_], ...] = ()

    def __call__(self, carried: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """(s, n) mm outside of the sculpture for (n,) mm carried."""
        points, normals, chains = self._points, self._normals, self._chains
        master = points + carried[:, None] * normals
        moved = print_moves_of(master, self._triangles, normals, chains)
        found, ends, bridges = np.empty((len(chains), len(points))), [], []
        for row, chain in enumerate(chains):
            end = master + moved[row, :, None] * normals
            bridged = np.zeros(len(points))
            for step, radius in chain.balls:
                if radius >= LEAST_RADIUS_EDGES * self._edge_mm:
                    end, lost = rolled(ROLLS[step], end, self._triangles, radius)
                    bridged[lost] = 1.0 if step == "closed" else -1.0
            away = end - points
            along = np.einsum("ij,ij->i", away, normals)
            found[row] = np.where(bridged == 0.0, along, bridged * np.linalg.norm(away, axis=1))
            ends.append(end)
            bridges.append(bridged != 0.0)
        self.ends, self.bridged = tuple(ends), tuple(bridges)
        return found


def forward_of(
    points: Points, triangles: Triangles, normals: npt.NDArray[np.float64], chains: Sequence[ChainScenario]
) -> MeshForward:
    """The forward model of one body.

    Parameters
    ----------
    points : (n, 3) float64
        The sculpture at master size, mm, in the printer's axes, z away from the build platform; closed, outward,
        edges about a pixel long or shorter where it bends.
    triangles : (m, 3) int32
    normals : (n, 3) float64
        Outward unit vectors along which lengths are carried and read.
    chains : sequence of ChainScenario
        Scenarios of one printer: they share pixel and layer.
    """
    return MeshForward(points, triangles, normals, chains)


def rolled(
    step: Callable[..., Rolled], points: Points, triangles: Triangles, radius_mm: float
) -> tuple[Points, npt.NDArray[np.intp]]:
    """Vertices after a closing or an opening, and which no ball comes near: they go to the nearest that one did.

    A gap that light or film has bridged has no surface of its own left: what lies under it ends at the bridge.
    """
    found = step(points, triangles, radius_mm, reach_mm=REACH_RADII * radius_mm)
    lost = np.flatnonzero(found.covered)
    if not len(lost):
        return found.points, lost
    from scipy.spatial import KDTree  # slow to import

    free = np.flatnonzero(~found.covered)
    far, nearest = KDTree(found.points[free]).query(points[lost], distance_upper_bound=MOST_MM, workers=-1)
    near = np.isfinite(np.asarray(far))
    end = found.points.copy()
    end[lost] = points[lost]
    end[lost[near]] = found.points[free[np.asarray(nearest)[near]]]
    return end, lost


def spanned(ends: Points, bridged: npt.NDArray[np.bool_], rings: Rings) -> Points:
    """Where a surface ends, drawn so that bridges show as the films that they are.

    Under a bridge vertices have no place of their own; here they are spread evenly between the rims, and with them those on
    the rim that stand out from it, half of whose neighbours are bridged.
    """
    under = bridged | (smoothed(rings, bridged.astype(np.float64), 1) > 0.5)
    rows = np.flatnonzero(under)
    found = ends.copy()
    if not len(rows):
        return found
    own = rings_within(rings, rows)
    counts = np.diff(own.starts)[:, None]
    for _ in range(SPANNING):
        found[rows] = np.add.reduceat(found[own.near], own.starts[:-1]) / counts
    return found


def normals_of(points: Points, triangles: Triangles) -> npt.NDArray[np.float64]:
    """(n, 3) float64: outward unit vectors of a closed mesh's vertices."""
    normals = np.zeros((len(points), 3))
    add_normals(np.asarray(points, np.float64), triangles, normals)
    run_blocks(make_unit, len(points), normals, block=VERTEX_BLOCK)
    return normals
