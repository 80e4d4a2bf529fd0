"""Captions in columns: each of few lines, as even as can be, centred under its picture."""

from collections.abc import Sequence

from firstcast.sheets.setting import Page, wrap

LEADING, MOST_LINES = 1.25, 4


def draw_captions(
    page: Page, says: Sequence[str], middles_px: Sequence[float], width_px: float, size_px: float, y: float
) -> float:
    """A caption about each middle, none wider than `width_px`, their tops at `y`; returns how tall they are."""
    set_lines = [even_lines(text, size_px, width_px) if text else [] for text in says]
    for middle, lines in zip(middles_px, set_lines, strict=True):
        for number, line in enumerate(lines):
            page.text((middle, y + (LEADING * number + 0.8) * size_px), line, size_px=size_px, anchor="ms")
    return LEADING * size_px * max((len(lines) for lines in set_lines), default=0)


def even_lines(text: str, size_px: float, width_px: float) -> list[str]:
    """A text as few lines as the width allows, of lengths as even as can be."""
    lines = wrap(text, size_px, width_px, MOST_LINES)
    for share in (0.9, 0.8, 0.7, 0.6):
        narrower = wrap(text, size_px, share * width_px, MOST_LINES + 1)
        if len(narrower) > len(lines):
            break
        lines = narrower
    return lines
