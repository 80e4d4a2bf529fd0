"""The light of one view: a sky that is brighter to the upper left, and a key from there."""

import numpy as np
import numpy.typing as npt

from firstcast.sheets._ink import BRIGHT_REACH
from firstcast.sheets.light import Lights, LitMesh, cast_lights, disc_directions
from firstcast.sheets.views import View

KEY_TOWARDS = (-0.52, 0.62, 0.59)
"""The key light in the viewer's right, up, towards: from the upper left, before the figure."""

KEY_COUNT, KEY_HALF_ANGLE_DEG, KEY_MAP_PX = 20, 13.0, 768
KEY_SHARE = 0.70

OFF_SURFACE_CELLS = 1.5
"""How far off the surface light is worked out, in cells of shadow maps, so that no surface shadows itself."""

BRIGHT_CELLS = 96
"""Side of the table of unshaded light by normal."""


def _weights(directions: npt.NDArray, view: View) -> npt.NDArray[np.float64]:
    """How bright the sky is in each direction, as the viewer sees it: upper left, with a faint rim at right."""
    seen = directions @ view.axes.T
    right, up, towards = seen.T
    sky = 0.62 + 0.30 * up - 0.22 * right + 0.16 * towards
    rim = 0.9 * np.clip(0.75 * right - 0.66 * towards, 0.0, 1.0) ** 4
    paper = 0.10 * np.clip(-directions[:, 2], 0.0, 1.0)
    return 4.0 / len(directions) * 0.45 * (np.clip(sky, 0.06, None) + rim + paper)


def sky_and_key(lit: LitMesh, view: View):
    """The sky and the key for a view, each as (frames, maps, weights, offset from the surface in mm)."""
    key = _key(lit, view)
    cell = OFF_SURFACE_CELLS * 2.0 * lit.radius_mm
    weights = _weights(lit.sky.frames[:, 2], view)
    sky = (lit.sky.frames, lit.sky.maps, weights, cell / lit.sky.maps.shape[1])
    share = np.full(len(key.frames), KEY_SHARE / len(key.frames))
    return sky, (key.frames, key.maps, share, cell / KEY_MAP_PX)


def _key(lit: LitMesh, view: View) -> Lights:
    axis = np.array(KEY_TOWARDS) @ view.axes
    directions = disc_directions(axis / np.linalg.norm(axis), KEY_HALF_ANGLE_DEG, KEY_COUNT)
    return cast_lights(lit.dots, directions, lit.radius_mm, KEY_MAP_PX)


def brightness(view: View, sky, key) -> npt.NDArray[np.float32]:
    """(k, k) float32: the unshaded light that sky and key give a normal, as the viewer sees it.

    Rows run up and columns to the right, each from -BRIGHT_REACH to BRIGHT_REACH, in Lambert's azimuthal projection
    of the sphere of normals (about the direction to the viewer, divided by the root of two): smooth at its rim.
    """
    steps = np.linspace(-BRIGHT_REACH, BRIGHT_REACH, BRIGHT_CELLS)
    up, right = np.meshgrid(steps, steps, indexing="ij")
    square = np.minimum(up**2 + right**2, BRIGHT_REACH**2)
    flat = np.sqrt(2.0 - square) * np.sqrt(square) / np.maximum(1e-12, np.hypot(up, right))
    normals = np.stack([right * flat, up * flat, 1.0 - square], axis=-1) @ view.axes
    light = sum(np.maximum(0.0, normals @ frames[:, 2].T) @ weights for frames, _, weights, _ in (sky, key))
    return np.ascontiguousarray(light, dtype=np.float32)
