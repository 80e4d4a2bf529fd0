"""Lines, words and dimension arrows as SVG text, on the paper and in the colours of the house.

Lengths here are pixels of a sheet 720 wide, x to the right, y down. Every label is given the width that it has in
Barlow Condensed, so that it keeps its place in whatever lettering the reader's machine has.
"""

import math
from collections.abc import Iterable
from xml.sax.saxutils import escape

import numpy as np
import numpy.typing as npt

from firstcast.sheets import face

WIDTH = 720

LABEL, SMALL, HEADING = 16.0, 15.0, 18.0
"""Sizes of lettering."""

LOOSE = 1.08
"""Room for lettering that is a little wider than Barlow Condensed."""

FAMILIES = "'Barlow Condensed SemiBold','Barlow Condensed','Roboto Condensed','Arial Narrow','Liberation Sans Narrow',Arial,sans-serif"

ARROW = 7.0
"""Length of an arrow's head."""


def colour(rgb: tuple[int, int, int]) -> str:
    """#rrggbb."""
    return "#" + "".join(f"{part:02x}" for part in rgb)


PAPER, INK, FAINT, ACCENT = (colour(rgb) for rgb in (face.PAPER, face.INK, face.FAINT_INK, face.ACCENT))
CLAY = colour(face.FIGURE_TONES[3][1])
"""The tone of a body cut through."""

FILM = "url(#film)"
"""What lies on a body, light or paint: hatched."""


def figure(value: float) -> str:
    """A place to a tenth of a pixel."""
    text = f"{value:.1f}"
    return "0" if text in ("0.0", "-0.0") else text.removesuffix(".0")


def thinned(points: npt.ArrayLike, tolerance: float = 0.12) -> npt.NDArray[np.float64]:
    """Those of (n, 2) pixels that a line needs to pass within a tolerance of all (D. H. Douglas and T. K. Peucker, 1973)."""
    found = np.asarray(points, np.float64)
    kept = np.zeros(len(found), bool)
    kept[[0, -1]] = True
    spans = [(0, len(found) - 1)]
    while spans:
        first, last = spans.pop()
        along, away = found[last] - found[first], found[first + 1 : last] - found[first]
        long = float(np.hypot(*along))
        off = np.abs(along[0] * away[:, 1] - along[1] * away[:, 0]) / long if long else np.hypot(*away.T)
        if len(off) and off.max() > tolerance:
            at = first + 1 + int(off.argmax())
            kept[at] = True
            spans += [(first, at), (at, last)]
    return found[kept]


def path(points: npt.ArrayLike, *, closed: bool = False) -> str:
    """(n, 2) pixels as the text of a path."""
    pairs = thinned(points)
    text = "M" + "L".join(f"{figure(x)} {figure(y)}" for x, y in pairs)
    return text + "Z" if closed else text


def line(points: npt.ArrayLike, *, width: float = 1.6, dash: str = "", ink: str = INK) -> str:
    """A line through (n, 2) pixels; `dash` as SVG has it, "6 4"."""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{path(points)}" fill="none" stroke="{ink}" stroke-width="{figure(width)}"{dashes}/>'


def area(points: npt.ArrayLike, fill: str) -> str:
    """The inside of a closed outline of (n, 2) pixels, without a line."""
    return f'<path d="{path(points, closed=True)}" fill="{fill}"/>'


def circle(
    x: float, y: float, radius: float, *, width: float = 1.2, dash: str = "", fill: str = "none"
) -> str:
    """A circle in ink."""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<circle cx="{figure(x)}" cy="{figure(y)}" r="{figure(radius)}" fill="{fill}" '
        f'stroke="{INK}" stroke-width="{figure(width)}"{dashes}/>'
    )


def width_of(text: str, size: float = LABEL) -> float:
    """How wide words come out."""
    return LOOSE * face.lettering(100).getlength(text) * size / 100.0


def words(
    x: float,
    y: float,
    text: str,
    *,
    size: float = LABEL,
    anchor: str = "start",
    ink: str = INK,
    ground: str = PAPER,
) -> str:
    """One line of words whose foot is at y; `anchor` start, middle or end; `ground` is what they stand on."""
    halo = f' style="stroke:{ground}"' if ground != PAPER else ""
    return (
        f'<text x="{figure(x)}" y="{figure(y)}" font-size="{figure(size)}" text-anchor="{anchor}" '
        f'fill="{ink}" textLength="{figure(width_of(text, size))}" lengthAdjust="spacingAndGlyphs"{halo}>'
        f"{escape(text)}</text>"
    )


def head(x: float, y: float, towards_x: float, towards_y: float, *, ink: str = INK) -> str:
    """An arrow's head with its tip at (x, y)."""
    long = math.hypot(towards_x, towards_y)
    u, v = ARROW * towards_x / long, ARROW * towards_y / long
    back = [(x - u - 0.33 * v, y - v + 0.33 * u), (x - u + 0.33 * v, y - v - 0.33 * u)]
    return area([(x, y), *back], ink)


def arrow(start: tuple[float, float], end: tuple[float, float], *, ink: str = INK, width: float = 1.0) -> str:
    """A line with a head at its end."""
    way = (end[0] - start[0], end[1] - start[1])
    return line([start, end], width=width, ink=ink) + head(*end, *way, ink=ink)


def dimension(start: tuple[float, float], end: tuple[float, float], *, ink: str = INK) -> str:
    """A dimension line: heads at both ends, or pointing at them from outside where there is no room between."""
    way = np.subtract(end, start)
    long = float(np.hypot(*way))
    u = way / long
    if long > 2.6 * ARROW:
        heads = head(*start, *-u, ink=ink) + head(*end, *u, ink=ink)
        return line([start, end], width=1.0, ink=ink) + heads
    before, behind = np.asarray(start) - 2.0 * ARROW * u, np.asarray(end) + 2.0 * ARROW * u
    heads = head(*start, *u, ink=ink) + head(*end, *-u, ink=ink)
    return line([before, behind], width=1.0, ink=ink) + heads


def sheet(height: int, title: str, parts: Iterable[str]) -> str:
    """The whole picture as SVG text; `title` is what it shows, for those who can't see it."""
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height}" '
        f'viewBox="0 0 {WIDTH} {height}" role="img">',
        f"<title>{escape(title)}</title>",
        "<style>text{font-family:" + FAMILIES + ";font-weight:600;font-variant-numeric:tabular-nums;"
        f"paint-order:stroke;stroke:{PAPER};stroke-width:3px;stroke-linejoin:round}}</style>",
        '<defs><pattern id="film" width="5" height="5" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)">'
        f'<path d="M0 0V5" stroke="{INK}" stroke-width="1.6"/></pattern></defs>',
        f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>',
        *parts,
        "</svg>",
    ]
    return "\n".join(lines) + "\n"
