"""Colours for maps: perceptually even, readable without colour sight, with the unit on the legend.

`EVEN` runs from light to dark in equal steps of lightness, so that its order survives grey printing and every kind
of colour sight. `LOSS` is the same turned about, for what is at risk where it is small: the darker, the more.
`KEPT` is `LOSS` from nothing kept to all of it, and from there towards red lead, the accent, for more than all.
`ABOUT` has a pale middle and two arms, blue and ochre, which differ for the colour-blind too. All are laid out in OKLab (B. Ottosson 2020, "A perceptual color space for image processing"; matrices from memory,
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

MOST_KEPT = 1.2
"""The share of relief that is shown as far too much; half way from 1 to here the colour is plainly not the scale's."""

LOSS_STOPS = (*((1.0 - share, *colour) for share, *colour in EVEN_STOPS[:0:-1]), (1.0, 0.92, 0.07, 86.0))
"""`EVEN` from dark to light; its light end is wheat, because what is whole must differ from the grey of what is not read."""
KEPT_STOPS = (
    *((share / MOST_KEPT, *colour) for share, *colour in LOSS_STOPS),
    (1.1 / MOST_KEPT, 0.70, 0.15, 45.0),
    (1.0, 0.5353, 0.167, 33.9),
)
"""Indigo where nothing is kept, wheat where all is, then by orange to red lead."""

ABOUT_STOPS = ((0.0, 0.42, 0.115, 255.0), (0.5, 0.93, 0.012, 90.0), (1.0, 0.50, 0.098, 78.0))
"""Blue below, pale at the middle, ochre above."""

STOPS = {"even": EVEN_STOPS, "loss": LOSS_STOPS, "kept": KEPT_STOPS, "about": ABOUT_STOPS}
NOT_READ = (196, 188, 176)
"""The figure's own grey: where nothing was read, nothing is claimed."""


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
    """(256, 3) float32 sRGB 0 to 255 of a scale of `STOPS`, from its low end to its high end."""
    stops = STOPS[name]
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
    scale : "even" for amounts; "loss" for what is at risk where it is small; "kept" for shares from 0 to `MOST_KEPT`;
        "about" for what lies to both sides of the middle of `low` and `high`
    ticks : values named on the legend; none gives five in equal steps
    low_says, high_says : what the ends mean, in plain words
    limit : a value that the legend marks in the accent, with `limit_says`
    """

    name: str
    values: npt.NDArray
    unit: str
    low: float
    high: float
    scale: str = "even"
    ticks: tuple[float, ...] = ()
    low_says: str = ""
    high_says: str = ""
    limit: float | None = None
    limit_says: str = ""

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
        colours[np.isnan(values)] = NOT_READ
        return np.ascontiguousarray(colours, dtype=np.float32)


def retention_map(values: npt.NDArray) -> SurfaceMap:
    """How much of its depth each place of the relief keeps: (n,) shares, 1 is all of it, above 1 is overshoot."""
    return SurfaceMap(
        "relief kept",
        values,
        "share of its depth",
        0.0,
        MOST_KEPT,
        "kept",
        ticks=(0.0, 0.25, 0.5, 0.75, 1.0, MOST_KEPT),
        low_says="gone",
        high_says="deeper than sculpted",
    )


def wall_map(values_mm: npt.NDArray, *, most_mm: float, least_mm: float | None = None) -> SurfaceMap:
    """Wall thickness (n,) mm up to `most_mm`; the least that the process wants is marked at `least_mm`."""
    return _risk_map("wall", values_mm, most_mm, least_mm, "thin", "sound")


def gap_map(values_mm: npt.NDArray, *, most_mm: float, least_mm: float | None = None) -> SurfaceMap:
    """Width of gaps (n,) mm up to `most_mm`; the least that the process keeps open is marked at `least_mm`."""
    return _risk_map("gap", values_mm, most_mm, least_mm, "closes", "open")


def _risk_map(
    name: str, values_mm, most_mm: float, least_mm: float | None, low_says: str, high_says: str
) -> SurfaceMap:
    limit_says = "" if least_mm is None else f"least {least_mm:.3g}"
    return SurfaceMap(
        name, values_mm, "mm", 0.0, most_mm, "loss", (), low_says, high_says, least_mm, limit_says
    )


def growth_map(values_mm: npt.NDArray, *, reach_mm: float) -> SurfaceMap:
    """How far the surface lies outside (+) or inside (-) the sculpture's, (n,) mm, up to `reach_mm` each way."""
    return SurfaceMap(
        "off the sculpture",
        values_mm,
        "mm",
        -reach_mm,
        reach_mm,
        "about",
        low_says="too little",
        high_says="too much",
    )


def draw_legend(page: Page, surface_map: SurfaceMap, place: Place, width_px: float) -> Box:
    """The scale as a strip of colours with ticks and the unit; its upper left at `place`."""
    left, top = place
    tall, count = 20.0, 128
    box = page.text((left, top), f"{surface_map.name}, {surface_map.unit}", size_px=22, anchor="la")
    top = box.bottom + 10
    colours = scale_colours(surface_map.scale)
    for index in range(count):
        red, green, blue = (round(float(c)) for c in colours[round(index * 255 / (count - 1))])
        start = left + index * width_px / count
        page.box(Box(start, top, start + width_px / count + 0.5, top + tall), colour=(red, green, blue))
    span = surface_map.high - surface_map.low
    ticks = surface_map.ticks or tuple(surface_map.low + quarter * span / 4 for quarter in range(5))
    for value in ticks:
        x = left + (value - surface_map.low) / span * width_px
        page.line([(x, top + tall), (x, top + tall + 7)], width_px=1.4, colour=INK)
        anchor = "la" if value == ticks[0] else ("ra" if value == ticks[-1] else "ma")
        page.text((x, top + tall + 12), f"{value:.3g}", size_px=20, colour=FAINT_INK, anchor=anchor)
    return Box(left, place[1], left + width_px, top + tall + 30)
