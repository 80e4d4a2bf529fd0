"""From where the figure is looked at, and how its millimetres land on the picture's pixels.

Figure space: z up, the figure faces -y. The front view looks along +y, so the figure's left hand is on the
picture's right. Pictures are orthographic: one scale holds everywhere on them.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True)
class View:
    """A direction of sight.

    `azimuth_deg` turns the viewer about the vertical, from the front towards the figure's left (+x);
    `elevation_deg` lifts the viewer above the horizon.
    """

    name: str
    azimuth_deg: float
    elevation_deg: float = 0.0

    @property
    def axes(self) -> npt.NDArray[np.float64]:
        """(3, 3): the unit vectors right, up and towards the viewer, as rows."""
        azimuth, elevation = np.radians(self.azimuth_deg), np.radians(self.elevation_deg)
        towards = np.array(
            [
                np.sin(azimuth) * np.cos(elevation),
                -np.cos(azimuth) * np.cos(elevation),
                np.sin(elevation),
            ]
        )
        right = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
        axes = np.array([right, np.cross(towards, right), towards])
        return np.where(np.abs(axes) < 1e-15, 0.0, axes)


FRONT = View("front", 0.0)
THREE_QUARTER = View("three-quarter", 38.0, 14.0)
SIDE = View("side", 90.0)
BACK = View("back", 180.0)
FOUR_VIEWS = (FRONT, THREE_QUARTER, SIDE, BACK)


@dataclass(frozen=True)
class Projection:
    """How places of the figure land on a picture.

    `px_per_mm` is the scale; `origin_px` is the pixel on which the figure's (0, 0, 0) falls (it may lie
    off the picture). Pixel coordinates run right and down from the picture's upper left corner.
    """

    view: View
    px_per_mm: float
    origin_px: tuple[float, float]

    def place(self, points_mm: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """(n, 2) pixels right and down for (n, 3) places."""
        points = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        right, up, _ = self.view.axes
        return np.stack(
            [
                points @ right * self.px_per_mm + self.origin_px[0],
                self.origin_px[1] - points @ up * self.px_per_mm,
            ],
            axis=1,
        )

    def depth_mm(self, points_mm: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """(n,) how far towards the viewer each place lies, mm."""
        points = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        return points @ self.view.axes[2]


def extent_mm(points_mm: npt.NDArray, view: View) -> npt.NDArray[np.float64]:
    """(2, 3): least and greatest right, up and towards of some places, seen from `view`, mm."""
    seen = view.axes @ np.asarray(points_mm, dtype=np.float64).T
    return np.array([seen.min(axis=1), seen.max(axis=1)])
