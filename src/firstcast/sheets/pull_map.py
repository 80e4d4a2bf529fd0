"""What every way to open the mould holds: a map of the half-sphere of pulls, as seen from the figure's front."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image
from scipy.spatial import KDTree

from firstcast.sheets._rings import ring
from firstcast.sheets.face import ACCENT, FAINT_INK, INK, PAPER
from firstcast.sheets.scales import scale_colours
from firstcast.sheets.setting import Box, Page, Place

SMALL_PX = 17.0
NEIGHBOURS = 4
"""So many of the nearest pulls that were read are mixed for a place of the map."""

VEIL = 0.45
"""How much paper lies over pulls that are not allowed."""


@dataclass(frozen=True)
class PullMap:
    """What each pull locks.

    Attributes
    ----------
    pulls : (n, 3) array
        Of length 1; a pull and its opposite are the same.
    locked_mm3 : (n,) array
    allowed : (n,) array of bool
        Whether the gate lies in the parting.
    chosen : (3,)
    others : sequence of (3,)
        Other good ways.
    """

    pulls: npt.ArrayLike
    locked_mm3: npt.ArrayLike
    allowed: npt.ArrayLike
    chosen: npt.ArrayLike
    others: Sequence[npt.ArrayLike] = ()


def draw_pull_map(page: Page, pulls: PullMap, middle: Place, radius_px: float) -> None:
    """Draw the half-sphere as a disc, areas true (J. H. Lambert 1772), with its scale below it."""
    ways = np.asarray(pulls.pulls, np.float64)
    if not len(ways):
        return
    locked = np.asarray(pulls.locked_mm3, np.float64)
    low, high = float(locked.min()), float(np.quantile(locked, 0.98))
    high = max(high, low + 1.0)
    _paint(page, pulls, ways, locked, (low, high), middle, radius_px)
    ring(page, middle, radius_px, width_px=1.6)
    for other in pulls.others:
        ring(page, spot_of(other, middle, radius_px), 5.0, width_px=1.4)
    spot = spot_of(pulls.chosen, middle, radius_px)
    ring(page, spot, 9.0, width_px=5.0, paper=True)
    page.disc(spot, 8.0, colour=PAPER)
    page.disc(spot, 5.0, colour=ACCENT)
    ring(page, spot, 9.0, width_px=1.8)
    _draw_scale(page, middle, radius_px, low, high)


def spot_of(way, middle: Place, radius_px: float) -> Place:
    """Where a pull falls on the disc: the figure's front in the middle, its left hand at the right."""
    x, y, z = np.asarray(way, np.float64) / np.linalg.norm(way)
    if y > 0.0:
        x, y, z = -x, -y, -z
    # areas are true: the distance from the middle is 2 sin(half the angle), here over its greatest, √2
    share = np.sqrt(1.0 / (1.0 - y))
    return middle[0] + radius_px * float(x * share), middle[1] - radius_px * float(z * share)


def _paint(page: Page, pulls: PullMap, ways, locked, span, middle: Place, radius_px: float) -> None:
    half = int(np.ceil(radius_px)) + 1
    side = 2 * half * 2
    at = (np.arange(side) + 0.5) / 2.0 - half
    u, v = np.meshgrid(at / radius_px, -at / radius_px)
    far = u**2 + v**2
    inside = far <= 1.0
    y = far[inside] - 1.0
    stretch = np.sqrt(np.maximum(1.0 - y, 0.0))
    places = np.column_stack([u[inside] * stretch, y, v[inside] * stretch])
    away, rows = KDTree(np.concatenate([ways, -ways])).query(places, k=NEIGHBOURS)
    rows %= len(ways)
    weight = 1.0 / (np.asarray(away) ** 2 + 1e-6)
    weight /= weight.sum(axis=1, keepdims=True)
    value = (weight * locked[rows]).sum(axis=1)
    share = np.clip((value - span[0]) / (span[1] - span[0]), 0.0, 1.0)
    colour = scale_colours("even")[np.rint(255.0 * share).astype(int)]
    veiled = (weight * np.asarray(pulls.allowed, np.float64)[rows]).sum(axis=1) < 0.5
    colour[veiled] += VEIL * (np.array(PAPER) - colour[veiled])
    picture = np.empty((side, side, 3), np.uint8)
    picture[:] = PAPER
    picture[inside] = np.clip(colour + 0.5, 0, 255).astype(np.uint8)
    corner = (round(middle[0]) - half, round(middle[1]) - half)
    page.image.paste(Image.fromarray(picture).reduce(2), corner)


def _draw_scale(page: Page, middle: Place, radius_px: float, low: float, high: float) -> None:
    page.text(
        (middle[0], middle[1] - radius_px - 8), "up and down", size_px=SMALL_PX, colour=FAINT_INK, anchor="ms"
    )
    page.text_up((middle[0] - radius_px - 14, middle[1]), "side to side", size_px=SMALL_PX, colour=FAINT_INK)
    tall, top, left = 2.0 * radius_px, middle[1] - radius_px, middle[0] + radius_px + 18
    for n in range(64):
        red, green, blue = (round(float(c)) for c in scale_colours("even")[round(255 * n / 63)])
        y = top + tall * (1.0 - (n + 1) / 64)
        page.box(Box(left, y, left + 14, y + tall / 64 + 0.5), colour=(red, green, blue))
    page.text((left + 18, top + 6), f"{high:.0f}", size_px=SMALL_PX, anchor="lm")
    page.text((left + 18, top + tall - 4), f"{low:.0f}", size_px=SMALL_PX, anchor="lm")
    page.text_up((left + 26, middle[1]), "mm³ locked", size_px=SMALL_PX, colour=FAINT_INK)
    page.label((middle[0], middle[1] + radius_px + 24), "every pull, from the front", size_px=14, anchor="ms")
    page.line([(left, top), (left, top + tall)], width_px=1.0, colour=INK)
