"""From where a place of a figure is best seen: its vertices counted, from forty directions, on small pictures."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.thinned import thinned
from firstcast.sheets.light import LitMesh, light_mesh
from firstcast.sheets.render import Picture, depth_view
from firstcast.sheets.views import View

ROUND = ("from the front", "from the front and its left", "from its left", "from behind and its left",
         "from behind", "from behind and its right", "from its right", "from the front and its right")  # fmt: skip
LIFTED = {-60.0: ", from well below", -30.0: ", from a little below", 0.0: "", 30.0: ", from a little above",
          60.0: ", from well above"}  # fmt: skip
DIRECTIONS = tuple(
    View(f"{way}{lift}", 45.0 * eighth, elevation)
    for elevation, lift in LIFTED.items()
    for eighth, way in enumerate(ROUND)
)
"""Level ones and low lifts tell a reader more than steep ones, but what is seen decides."""

MOST_TRIANGLES, SMALL_PX = 120_000, 280
LEAST_SLACK_MM = 0.3
MOST_SPOTS = 500
"""Vertices of a place that are looked for."""

FACING = 0.15
"""Cosine from which a surface counts as turned to the viewer: what is nearer to edge-on is a line in a picture."""

HARDLY = 0.1
"""Share of a place's vertices below which it can hardly be seen."""


@dataclass(frozen=True)
class Sighting:
    """From where a place is seen, the share of its vertices that are, and how deep the figure is cut open for it.

    `cut_mm` is a depth towards the viewer, None where nothing is cut: triangles nearer than that are left out.
    """

    view: View
    share: float
    cut_mm: float | None = None


@dataclass(frozen=True)
class Spots:
    """Vertices of a place and the way each faces, both (n, 3)."""

    points_mm: Points
    normals: npt.NDArray[np.float64]

    def seen(self, picture: Picture, slack_mm: float, nearest_mm: float = np.inf) -> npt.NDArray[np.float64]:
        """(n,) cosine to the viewer of what a picture shows of it, 0 where it is hidden or lies before `nearest_mm`."""
        facing = self.normals @ picture.projection.view.axes[2]
        kept = picture.projection.depth_mm(self.points_mm) <= nearest_mm
        return np.where(
            (facing > FACING) & kept & picture.shows(self.points_mm, slack_mm=slack_mm), facing, 0.0
        )


def spots_of(lit: LitMesh, places: Sequence[npt.NDArray[np.intp]]) -> list[Spots]:
    """Up to `MOST_SPOTS` of each place's vertices (k,), k at least 1, evenly among them."""
    corner = np.zeros(len(lit.points), np.int64)
    corner[lit.triangles.reshape(-1)] = np.arange(lit.triangles.size)
    normals = lit.normals.reshape(-1, 3)
    out = []
    for rows in places:
        some = rows[np.linspace(0, len(rows) - 1, min(len(rows), MOST_SPOTS)).astype(int)]
        out.append(Spots(lit.points[some], normals[corner[some]].astype(np.float64)))
    return out


@dataclass(frozen=True)
class Lookout:
    """A figure in few triangles, and how far before a place one of them counts as the place itself, mm."""

    lit: LitMesh
    slack_mm: float

    def sightings(self, spots: Sequence[Spots]) -> list[Sighting]:
        """The best direction for each place.

        Best is where most of its surface is seen, square to the viewer. What can hardly be seen from anywhere is looked
        for once more with the figure cut open.
        """
        best = [Sighting(DIRECTIONS[0], 0.0)] * len(spots)
        most = [-1.0] * len(spots)
        for view in DIRECTIONS:
            picture = _small(self.lit, view)
            for number, each in enumerate(spots):
                seen = each.seen(picture, self.slack_mm)
                if seen.mean() > most[number]:
                    most[number], best[number] = (
                        float(seen.mean()),
                        Sighting(view, float((seen > 0.0).mean())),
                    )
        return [
            sighting if sighting.share >= HARDLY else self.cut_open(each)
            for sighting, each in zip(best, spots, strict=True)
        ]

    def cut_open(self, spots: Spots) -> Sighting:
        """The direction from which most of a place is seen once all that is nearer than its middle is cut away."""
        best, most = Sighting(DIRECTIONS[0], 0.0, 0.0), -1.0
        for view in DIRECTIONS:
            cut_mm = float(np.median(spots.points_mm @ view.axes[2]))
            behind = without_nearer(self.lit, view, cut_mm)
            if not len(behind.triangles):
                continue
            seen = spots.seen(_small(behind, view), self.slack_mm, cut_mm)
            if seen.mean() > most:
                most, best = float(seen.mean()), Sighting(view, float((seen > 0.0).mean()), cut_mm)
        return best


def lookout(mesh: Mesh) -> Lookout:
    """The figure made ready to be looked at from everywhere."""
    few = thinned(mesh, MOST_TRIANGLES)
    lit = light_mesh(few.mesh.points, few.mesh.triangles, sky_count=2, map_px=64)
    return Lookout(lit, max(LEAST_SLACK_MM, few.cell_mm))


def without_nearer(lit: LitMesh, view: View, cut_mm: float) -> LitMesh:
    """The mesh without triangles that reach nearer to the viewer than `cut_mm`; its light is as it was."""
    depth = lit.points @ view.axes[2]
    return only(lit, (depth[lit.triangles] <= cut_mm).all(axis=1))


def only(lit: LitMesh, kept: npt.NDArray[np.bool_]) -> LitMesh:
    """The mesh with some of its triangles (m,), lit as the whole is."""
    return replace(lit, triangles=np.ascontiguousarray(lit.triangles[kept]), normals=lit.normals[kept])


def _small(lit: LitMesh, view: View) -> Picture:
    return depth_view(lit, view=view, width_px=SMALL_PX, height_px=SMALL_PX)
