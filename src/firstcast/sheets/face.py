"""The face: paper, ink, the figure's warm grey, one accent; lettering; scales for maps."""

from functools import cache
from importlib import resources

import numpy as np
import numpy.typing as npt
from PIL import ImageFont

PAPER = (246, 242, 233)
INK = (41, 38, 35)
FAINT_INK = (116, 108, 98)
SHADOW = (150, 140, 126)
ACCENT = (186, 60, 32)
"""Red lead: kept for what must be decided."""

FIGURE_TONES = (
    (0.0, (44, 38, 34)),
    (0.25, (98, 88, 79)),
    (0.55, (163, 152, 139)),
    (0.8, (208, 199, 186)),
    (1.0, (238, 232, 221)),
)
"""The figure by light received: umber in the hollows, warm grey, and just short of paper where it is lit."""


def ramp(stops: tuple, count: int = 256) -> npt.NDArray[np.float32]:
    """(count, 3) float32 sRGB 0 to 255, straight between (share, colour) stops."""
    shares = [share for share, _ in stops]
    return np.stack(
        [
            np.interp(np.linspace(0.0, 1.0, count), shares, [colour[k] for _, colour in stops])
            for k in range(3)
        ],
        axis=1,
    ).astype(np.float32)


@cache
def lettering(size_px: float) -> ImageFont.FreeTypeFont:
    """Barlow Condensed at a height in pixels."""
    with resources.as_file(
        resources.files("firstcast.sheets") / "fonts" / "BarlowCondensed-SemiBold.ttf"
    ) as path:
        return ImageFont.truetype(str(path), size_px, layout_engine=ImageFont.Layout.BASIC)
