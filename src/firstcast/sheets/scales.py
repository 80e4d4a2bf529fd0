"""Colours for maps: perceptually even, readable without colour sight, with the unit on the legend.

`EVEN` runs from light to dark in equal steps of lightness, so that its order survives grey printing and every kind
of colour sight. `ABOUT` has a pale middle and two arms, blue and ochre, which differ for the colour-blind too.
Both are laid out in OKLab (B. Ottosson 2020, "A perceptual color space for image processing"; matrices from memory,
checked by the round trip and by white having lightness 1).
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.sheets.face import FAINT_INK, INK
from firstcast.sheets.setting import Box, Page, Place

_LMS_FROM_RGB = np.array(
    [[0.4122214708, 0.5363325363, 0.0514459929], [0.2119034982, 0.6806995451, 0.1073969566], [0.0883024619, 0.2817188376, 0.6299787005]]
)  # fmt: skip
_LAB_FROM_LMS = np.array(
    [[0.2104542553, 0.7936177850, -0.0040720468], [1.9779984951, -2.4285922050, 0.4505937099], [0.0259040371, 0.7827717662, -0.8086757660]]
)  # fmt: skip

EVEN_STOPS = (
    (0.0, 0.92, 0.042, 95.0),
    (0.35, 0.7135, 0.08, 150.0),
    (0.65, 0.5365, 0.075, 215.0),
    (1.0, 0.33, 0.085, 285.0),
)
"""(share, lightness, chroma, hue in degrees): straw, sage, blue-green, indigo."""

ABOUT_STOPS = ((0.0, 0.42, 0.115, 255.0), (0.5, 0.93, 0.012, 90.0), (1.0, 0.50, 0.098, 78.0))
"""Blue below, pale at the middle, ochre above."""


def oklab_from_srgb(colours: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """(..., 3) lightness, a, b for sRGB from 0 to 255."""
    share = np.asarray(colours, dtype=np.float64) / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return np.cbrt(linear @ _LMS_FROM_RGB.T) @ _LAB_FROM_LMS.T


def srgb_from_oklab(lab: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """(..., 3) sRGB from 0 to 255 for lightness, a, b; out-of-range channels are clipped."""
    lms = (np.asarray(lab, dtype=np.float64) @ np.linalg.inv(_LAB_FROM_LMS).T) ** 3
    linear = np.clip(lms @ np.linalg.inv(_LMS_FROM_RGB).T, 0.0, 1.0)
    return 255.0 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


@cache
def scale_colours(name: str) -> npt.NDArray[np.float32]:
    """(256, 3) float32 sRGB 0 to 255 of scale "even" or "about", from its low end to its high end."""
    stops = {"even": EVEN_STOPS, "about": ABOUT_STOPS}[name]
    at = np.array([stop[0] for stop in stops])
    lab = np.array(
        [
            [light, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))]
            for _, light, chroma, hue in stops
        ]
    )
    shares = np.linspace(0.0, 1.0, 256)
    mixed = np.stack([np.interp(shares, at, lab[:, k]) for k in range(3)], axis=1)
    return srgb_from_oklab(mixed).astype(np.float32)


@dataclass(frozen=True)
class SurfaceMap:
    """A value at each point of a mesh, to be shown in colour.

    values : (n,) in `unit`; NaN where there is none (shown in warm grey)
    scale : "even" for amounts; "about" for what lies to both sides of the middle of `low` and `high`
    """

    name: str
    values: npt.NDArray
    unit: str
    low: float
    high: float
    scale: str = "even"

    def colours(self) -> npt.NDArray[np.float32]:
        """(n, 3) sRGB 0 to 255."""
        if not self.high > self.low:
            raise InputError(
                f"low {self.low} and high {self.high} span nothing",
                where=f"map {self.name}",
                mend="Give low < high.",
            )
        values = np.asarray(self.values, dtype=np.float64)
        share = np.clip((values - self.low) / (self.high - self.low), 0.0, 1.0)
        index = np.rint(255.0 * np.nan_to_num(share)).astype(int)
        colours = scale_colours(self.scale)[index]
        colours[np.isnan(values)] = (196, 188, 176)
        return np.ascontiguousarray(colours, dtype=np.float32)


def draw_legend(page: Page, surface_map: SurfaceMap, place: Place, width_px: float) -> Box:
    """The scale as a strip of colours with ticks and the unit; its upper left at `place`."""
    left, top = place
    tall, count = 20.0, 64
    box = page.text((left, top), f"{surface_map.name}, {surface_map.unit}", size_px=22, anchor="la")
    top = box.bottom + 10
    colours = scale_colours(surface_map.scale)
    for index in range(count):
        red, green, blue = (round(float(c)) for c in colours[round(index * 255 / (count - 1))])
        start = left + index * width_px / count
        page.box(Box(start, top, start + width_px / count + 0.5, top + tall), colour=(red, green, blue))
    ticks = 5
    for tick in range(ticks):
        share = tick / (ticks - 1)
        x = left + share * width_px
        value = surface_map.low + share * (surface_map.high - surface_map.low)
        page.line([(x, top + tall), (x, top + tall + 7)], width_px=1.4, colour=INK)
        anchor = "la" if tick == 0 else ("ra" if tick == ticks - 1 else "ma")
        page.text((x, top + tall + 12), f"{value:.3g}", size_px=20, colour=FAINT_INK, anchor=anchor)
    return Box(left, place[1], left + width_px, top + tall + 30)
