"""A page and what is set on it: strokes, filled shapes and lettering, all smooth-edged.

Strokes are drawn at four times the size and averaged. The page remembers the box of every text, so that a test
can ask whether any two overlap or leave the paper.
"""

import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

from PIL import Image, ImageDraw

from firstcast.sheets.face import FAINT_INK, INK, PAPER, lettering

Colour = tuple[int, int, int]
Place = tuple[float, float]
FINE = 4

SAID_OTHERWISE = {
    "≤": "at most ", "≥": "at least ", "→": "to", "≈": "about ", "μ": "µ", "\u2009": " ", "\u202f": " ",
    "‑": "-", "⌀": "dia. "
}  # fmt: skip
"""The lettering holds Latin; these signs are said in letters that it has."""


@dataclass(frozen=True)
class Box:
    """Where something lies on the page, px: left, top, right, bottom."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: "Box") -> bool:
        """Whether the two share more than an edge."""
        return (
            self.left < other.right and other.left < self.right
            and self.top < other.bottom and other.top < self.bottom
        )  # fmt: skip


@dataclass(frozen=True)
class SetText:
    """A text on the page and its box."""

    text: str
    box: Box


def plain(text: str) -> str:
    """The text with signs that the lettering lacks said otherwise."""
    for sign, said in SAID_OTHERWISE.items():
        text = text.replace(sign, said)
    return " ".join(text.split())


@cache
def _advance(letters: str, size_px: float) -> float:
    """How far the pen moves from the first of one or two letters to the next, px: kerning looks at two."""
    font = lettering(size_px)
    return font.getlength(letters) - (font.getlength(letters[1]) if len(letters) > 1 else 0.0)


def text_width(text: str, size_px: float, *, tracking_px: float = 0.0) -> float:
    """How wide a line of text is set, px: its letters' advances, each worked out once."""
    moved = sum(_advance(text[k : k + 2], size_px) for k in range(len(text)))
    return moved + tracking_px * max(0, len(text) - 1)


BREAKS = re.compile(r"(?<!\d) | (?!%|mm|µm|°C)")
"""Where a line may end: at a space, but not between a number and its unit."""


def wrap(text: str, size_px: float, width_px: float, most_lines: int = 99) -> list[str]:
    """A text as lines no wider than `width_px`; what does not fit `most_lines` ends in an ellipsis."""
    lines: list[str] = []
    line = ""
    for word in BREAKS.split(plain(text)):
        longer = f"{line} {word}" if line else word
        if text_width(longer, size_px) <= width_px:
            line = longer
            continue
        if line:
            lines.append(line)
        while text_width(word, size_px) > width_px and len(word) > 1:
            cut = next(
                k for k in range(len(word) - 1, 0, -1) if k == 1 or text_width(word[:k], size_px) <= width_px
            )
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    lines.append(line)
    if len(lines) > most_lines:
        lines = lines[:most_lines]
        last = lines[-1]
        while last and text_width(last + "…", size_px) > width_px:
            last = last[:-1]
        lines[-1] = last.rstrip(" ,.;") + "…"
    return lines


def fitted(text: str, sizes_px: Sequence[float], width_px: float) -> tuple[str, float]:
    """A text for one line: at the first size at which it fits, else at the last and cut short."""
    text = plain(text)
    size = next((size for size in sizes_px if text_width(text, size) <= width_px), sizes_px[-1])
    return wrap(text, size, width_px, 1)[0], size


@dataclass
class Page:
    """Paper of a size in pixels, and the texts set on it so far."""

    width_px: int
    height_px: int
    image: Image.Image = field(init=False)
    texts: list[SetText] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        self.image = Image.new("RGB", (self.width_px, self.height_px), PAPER)

    def _mask(self, places: Sequence[Place], reach_px: float):
        """An empty fine mask about some places: (mask, its drawing hand, left, top)."""
        left = math.floor(min(x for x, _ in places) - reach_px) - 1
        top = math.floor(min(y for _, y in places) - reach_px) - 1
        right = math.ceil(max(x for x, _ in places) + reach_px) + 1
        bottom = math.ceil(max(y for _, y in places) + reach_px) + 1
        mask = Image.new("L", ((right - left) * FINE, (bottom - top) * FINE), 0)
        return mask, ImageDraw.Draw(mask), left, top

    def _lay(self, mask: Image.Image, left: int, top: int, colour: Colour) -> None:
        soft = mask.reduce(FINE)
        self.image.paste(Image.new("RGB", soft.size, colour), (left, top), soft)

    def line(
        self,
        places: Sequence[Place],
        *,
        width_px: float = 1.6,
        colour: Colour = INK,
        dash_px: tuple[float, float] | None = None,
    ) -> None:
        """A stroke through places, solid or in (dash, gap)."""
        mask, hand, left, top = self._mask(places, width_px)
        for (x0, y0), (x1, y1) in _dashed(places, dash_px):
            length = math.hypot(x1 - x0, y1 - y0)
            if length == 0.0:
                continue
            across, down = -(y1 - y0) / length * width_px / 2, (x1 - x0) / length * width_px / 2
            ring = [
                (x0 + across, y0 + down),
                (x1 + across, y1 + down),
                (x1 - across, y1 - down),
                (x0 - across, y0 - down),
            ]
            hand.polygon([((x - left) * FINE, (y - top) * FINE) for x, y in ring], fill=255)
        self._lay(mask, left, top, colour)

    def polygon(self, places: Sequence[Place], *, colour: Colour = INK) -> None:
        """A filled shape."""
        mask, hand, left, top = self._mask(places, 1.0)
        hand.polygon([((x - left) * FINE, (y - top) * FINE) for x, y in places], fill=255)
        self._lay(mask, left, top, colour)

    def disc(self, place: Place, radius_px: float, *, colour: Colour = INK) -> None:
        """A filled circle."""
        self.polygon(_circle(place, radius_px), colour=colour)

    def box(self, box: Box, *, colour: Colour) -> None:
        """A filled rectangle."""
        self.polygon(
            [(box.left, box.top), (box.right, box.top), (box.right, box.bottom), (box.left, box.bottom)],
            colour=colour,
        )

    def text(
        self,
        place: Place,
        text: str,
        *,
        size_px: float,
        colour: Colour = INK,
        anchor: str = "ls",
        tracking_px: float = 0.0,
    ) -> Box:
        """One line of text; `anchor` is Pillow's: l, m, r and s (baseline), m (middle), a (top)."""
        text = plain(text)
        font, hand = lettering(size_px), ImageDraw.Draw(self.image)
        width = text_width(text, size_px, tracking_px=tracking_px)
        x = place[0] - {"l": 0.0, "m": width / 2, "r": width}[anchor[0]]
        y = place[1] + {"s": 0.0, "m": 0.35 * size_px, "a": 0.70 * size_px}[anchor[1]]
        if tracking_px:
            pen = x
            for letter in text:
                hand.text((pen, y), letter, font=font, fill=colour, anchor="ls")
                pen += font.getlength(letter) + tracking_px
        else:
            hand.text((x, y), text, font=font, fill=colour, anchor="ls")
        rise, fall = (0.72, 0.20) if any(letter in "gjpqy,;()" for letter in text) else (0.72, 0.03)
        box = Box(x, y - rise * size_px, x + width, y + fall * size_px)
        self.texts.append(SetText(text, box))
        return box

    def text_up(self, place: Place, text: str, *, size_px: float, colour: Colour = INK) -> Box:
        """One line of text that reads upwards, its middle at `place`."""
        text = plain(text)
        font = lettering(size_px)
        wide, tall = math.ceil(text_width(text, size_px)) + 2, math.ceil(size_px)
        mask = Image.new("L", (wide, tall), 0)
        ImageDraw.Draw(mask).text((1, 0.85 * size_px), text, font=font, fill=255, anchor="ls")
        mask = mask.transpose(Image.Transpose.ROTATE_90)
        left, top = round(place[0] - 0.5 * size_px), round(place[1] - wide / 2)
        self.image.paste(Image.new("RGB", mask.size, colour), (left, top), mask)
        box = Box(left + 0.1 * size_px, top, left + 0.9 * size_px, top + wide)
        self.texts.append(SetText(text, box))
        return box

    def label(
        self, place: Place, text: str, *, size_px: float = 17, colour: Colour = FAINT_INK, anchor: str = "ls"
    ) -> Box:
        """A small label in spaced capitals."""
        return self.text(
            place, text.upper(), size_px=size_px, colour=colour, anchor=anchor, tracking_px=0.09 * size_px
        )


def _circle(place: Place, radius_px: float, count: int = 48) -> list[Place]:
    return [
        (
            place[0] + radius_px * math.cos(2 * math.pi * k / count),
            place[1] + radius_px * math.sin(2 * math.pi * k / count),
        )
        for k in range(count)
    ]


def _dashed(places: Sequence[Place], dash_px: tuple[float, float] | None):
    """The straight pieces to draw: each segment whole, or cut into dashes that run on round corners."""
    travelled = 0.0
    for (x0, y0), (x1, y1) in itertools.pairwise(places):
        length = math.hypot(x1 - x0, y1 - y0)
        if dash_px is None or length == 0.0:
            yield (x0, y0), (x1, y1)
            continue
        dash, period, at = dash_px[0], sum(dash_px), 0.0
        while at < length:
            phase = (travelled + at) % period
            step = min(length - at, (dash - phase) if phase < dash else (period - phase))
            if phase < dash:
                a, b = at / length, (at + step) / length
                yield (x0 + a * (x1 - x0), y0 + a * (y1 - y0)), (x0 + b * (x1 - x0), y0 + b * (y1 - y0))
            at += max(step, 1e-6)
        travelled += length
