"""The paper under a figure: the ground's shadow, drawn as if seen a little from above."""

import numpy as np
import numpy.typing as npt
from PIL import Image
from scipy.ndimage import gaussian_filter

from firstcast.sheets import _shading, face
from firstcast.sheets.light import LitMesh, in_threads
from firstcast.sheets.views import View

GROUND_STEP_PX = 3
GROUND_TILT = 0.12
"""The ground's shadow is drawn as if seen from about 7 degrees above, so that it shows in level views."""

LOWEST_TOWARDS = -0.1
"""Seen from farther below than this there is no ground to see."""


def _ground_plane(lit: LitMesh, view: View, fit: npt.NDArray) -> npt.NDArray[np.float64]:
    """Where the ground is on the picture, as `_shading.ground_band` takes it.

    In level views the ground is an edge; its shade is laid out about the foremost contact, never taller than
    the figure, which must hide what it stands on.
    """
    floor, height = float(lit.used[:, 2].min()), 2.0 * lit.radius_mm
    flat = view.axes[2, :2] / max(1e-12, float(np.linalg.norm(view.axes[2, :2])))
    feet = lit.used[lit.used[:, 2] < floor + 0.03 * height]
    foremost = float((feet[:, :2] @ flat).max())
    toe = np.array([*(flat * foremost), floor])
    row = fit[3, 1] - float(view.axes[1] @ toe) * fit[3, 2]
    reach = float(np.linalg.norm(feet[:, :2] - lit.middle_mm[:2], axis=1).max()) + 0.04 * height
    along = lit.used[:, :2] @ flat
    flattest = 0.8 * float(np.ptp(lit.used[:, 2])) / max(1e-9, float(np.ptp(along)))
    tilt = max(min(GROUND_TILT, flattest), float(view.axes[2, 2]), 1e-4)
    return np.array([floor, tilt, row, foremost, reach**2, (reach + 0.22 * height) ** 2])


def _soften(shade: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The ground's share of light, the softer the fainter: crisp at the contact, without steps
    far off, and none at the picture's edges."""
    near, far = gaussian_filter(shade, 0.8, mode="nearest"), gaussian_filter(shade, 5.0, mode="nearest")
    crisp = np.clip((1.0 - near - 0.25) / 0.35, 0.0, 1.0)
    soft = far + (near - far) * crisp
    rows, columns = soft.shape
    across, down = np.arange(columns), np.arange(rows)[:, None]
    edge = np.minimum(
        np.minimum(across, columns - 1 - across) / (0.16 * columns), (rows - 1 - down) / (0.04 * rows)
    )
    edge = np.clip(edge, 0.0, 1.0)
    return np.ascontiguousarray(1.0 - (1.0 - soft) * edge**2 * (3.0 - 2.0 * edge), dtype=np.float32)


def shaded_paper(
    lit: LitMesh, view: View, fit, samples: int, size_px: tuple[int, int], lights
) -> npt.NDArray[np.uint8]:
    """The paper (h, w, 3), shaded where the figure stands on it: worked out every `GROUND_STEP_PX` pixels.

    `fit` is (4, 3) as `_shading.surface_band` takes it; `lights` are those of `sky.sky_and_key`.
    """
    if view.axes[2, 2] <= LOWEST_TOWARDS:
        return plain_paper(size_px)
    coarse = size_px[0] // GROUND_STEP_PX + 1, size_px[1] // GROUND_STEP_PX + 1
    shade = np.ones(coarse, np.float32)
    step, plane = GROUND_STEP_PX * samples, _ground_plane(lit, view, fit)
    in_threads(
        lambda k: _shading.ground_band(
            k, k + 1, step, fit, plane, lit.middle_mm, *lights, lit.radius_mm, shade
        ),
        len(shade),
    )
    left = Image.fromarray(np.rint(255.0 * _soften(shade)).astype(np.uint8))
    left = left.resize((coarse[1] * GROUND_STEP_PX, coarse[0] * GROUND_STEP_PX), Image.Resampling.BILINEAR)
    plain, shaded = (Image.new("RGB", left.size, colour) for colour in (face.PAPER, face.SHADOW))
    return np.array(Image.composite(plain, shaded, left))[: size_px[0], : size_px[1]].copy()


def plain_paper(size_px: tuple[int, int]) -> npt.NDArray[np.uint8]:
    """The paper (h, w, 3) with nothing on it."""
    return np.full((*size_px, 3), face.PAPER, np.uint8)
