"""The route card as a picture: the route drawn as a line that parts into one track per piece."""

import itertools
from collections.abc import Mapping
from typing import Any

from PIL import Image

from firstcast.sheets.card import Card, Stop, card_of, where_and_measure
from firstcast.sheets.face import ACCENT, FAINT_INK, INK
from firstcast.sheets.marks import draw_shape
from firstcast.sheets.setting import Page, fitted, text_width, wrap
from firstcast.sheets.urgent import Note
from firstcast.vocabulary import Verdict, worst

WIDE_PX, LEAST_TALL_PX, MARGIN_PX = 1654, 2339, 72
"""A4 upright at 200 dots per inch; a long card runs on downwards."""

TRACK_PX, MOST_TRACKS = 46, 8
BEAD_PX, ROW_PX, SAYS_PX = 13.0, 46.0, 22.0


WORD_COLOURS = {Verdict.SOUND: FAINT_INK, Verdict.WATCH: INK, Verdict.STOP: ACCENT}


def _tracks(card: Card) -> tuple[str, ...]:
    """The pieces that get a track of their own; too many share one."""
    return card.pieces if 1 <= len(card.pieces) <= MOST_TRACKS else ("",)


def _says(card: Card, stops: list[Stop]) -> str:
    """What a station says: its gravest stop, named where there are several."""
    verdict = worst(stop.verdict for stop in stops)
    gravest = next(stop for stop in stops if stop.verdict is verdict)
    return f"{gravest.piece}: {gravest.says}" if len(stops) > 1 and gravest.says else gravest.says


def _rows(card: Card, wide_px: float) -> list[tuple[str, list[Stop], list[str]]]:
    """Station, its stops, and what it says as lines."""
    rows = []
    for station in card.stations:
        stops = [stop for stop in card.stops if stop.station == station]
        says = _says(card, stops)
        rows.append((station, stops, wrap(says, SAYS_PX, wide_px, 3) if says else []))
    return rows


def _bead_places(card: Card, stops: list[Stop], x: float, y: float) -> list[tuple[float, float, Verdict]]:
    """Where a station's beads are: one per track, or one in the middle for the whole job."""
    tracks = _tracks(card)
    middle = x + (len(tracks) - 1) * TRACK_PX / 2
    own = [stop for stop in stops if stop.piece in tracks and stop.piece]
    if not own or len(tracks) == 1:
        return [(middle, y, worst(stop.verdict for stop in stops))]
    return [(x + tracks.index(stop.piece) * TRACK_PX, y, stop.verdict) for stop in own]


def _draw_tracks(page: Page, beads: list[list[tuple[float, float, Verdict]]]) -> None:
    """Lines from row to row: straight down a track, parting from or joining the middle in between."""
    for above, below in itertools.pairwise(beads):
        pairs = [(a, b) for a in above for b in below if a[0] == b[0]]
        if len(above) == 1 or len(below) == 1:
            pairs = [(a, b) for a in above for b in below]
        for (x0, y0, _), (x1, y1, _) in pairs:
            knee = y0 + 0.5 * (y1 - y0)
            page.line(
                [(x0, y0), (x0, knee - 6), (x1, knee + 6), (x1, y1)] if x0 != x1 else [(x0, y0), (x1, y1)],
                width_px=2.2,
            )


def _draw_route(page: Page, card: Card, top: float) -> float:
    """The route; returns the height at which it ends."""
    tracks = _tracks(card)
    x = MARGIN_PX + 30
    name_x = x + (len(tracks) - 1) * TRACK_PX + 52
    time_x = name_x + 292
    says_x = time_x + 34
    rows = _rows(card, WIDE_PX - MARGIN_PX - says_x)
    y = top
    if len(tracks) > 1:
        longest = max(text_width(name, 19.0) for name in tracks)
        for index, name in enumerate(tracks):
            page.text_up(
                (x + index * TRACK_PX, y + longest / 2 + (longest - text_width(name, 19.0)) / 2),
                name,
                size_px=19.0,
            )
        y += longest + 24
    heights = [max(ROW_PX, 1.18 * SAYS_PX * len(lines) + 20) for _, _, lines in rows]
    beads, rows_y, pen = [], [], y + 24
    for (_, stops, _), tall in zip(rows, heights, strict=True):
        beads.append(_bead_places(card, stops, x, pen))
        rows_y.append(pen)
        pen += tall
    _draw_tracks(page, beads)
    for (station, stops, lines), places, row in zip(rows, beads, rows_y, strict=True):
        verdict = worst(stop.verdict for stop in stops)
        for bead_x, bead_y, bead_verdict in places:
            draw_shape(page, (bead_x, bead_y), bead_verdict, BEAD_PX)
        base = row + 8
        name = page.text((name_x, base), station, size_px=27)
        page.text((name.right + 14, base), verdict.value, size_px=19, colour=WORD_COLOURS[verdict])
        seconds = sum(stop.seconds for stop in stops)
        page.text((time_x, base), f"{seconds:.1f} s", size_px=20, colour=FAINT_INK, anchor="rs")
        for index, line in enumerate(lines):
            page.text((says_x, base + index * 1.18 * SAYS_PX), line, size_px=SAYS_PX)
    return pen


def _set_note(note: Note, wide: float) -> tuple[list[str], list[str]]:
    """The lines of a finding: what it says, beside its id; then where, how much, and the mend."""
    says = wrap(note.says, 24.0, wide - text_width(note.id, 20.0) - 30, 4)
    faint = [text for text in (where_and_measure(note), note.mend) if text]
    if note.accepted:
        faint.append(f"Accepted: {note.accepted}")
    return says, [line for text in faint for line in wrap(text, 20.0, wide, 3)]


def _draw_notes(page: Page, card: Card, top: float) -> float:
    """The findings that matter most; returns the height at which they end."""
    page.line([(MARGIN_PX, top), (WIDE_PX - MARGIN_PX, top)], width_px=1.2)
    y = top + 44
    if not card.notes:
        page.text((MARGIN_PX, y), "Nothing was found that asks for a look.", size_px=26)
        return y + 34
    page.label((MARGIN_PX, y), "what matters most", size_px=19)
    y += 22
    indent = 60
    for number, note in enumerate(card.notes, start=1):
        says, faint = _set_note(note, WIDE_PX - 2 * MARGIN_PX - indent)
        draw_shape(page, (MARGIN_PX + 20, y + 20), note.shown, 18.0, str(number))
        pen = y + 26
        page.text((WIDE_PX - MARGIN_PX, pen), note.id, size_px=20, colour=FAINT_INK, anchor="rs")
        for line in says:
            page.text((MARGIN_PX + indent, pen), line, size_px=24)
            pen += 29
        for line in faint:
            page.text((MARGIN_PX + indent, pen - 2), line, size_px=20, colour=FAINT_INK)
            pen += 24
        y = pen - 4
    if card.folded:
        page.text((MARGIN_PX + indent, y + 26), card.folded, size_px=22, colour=FAINT_INK)
        y += 36
    return y + 10


def _draw_proof(page: Page, card: Card, top: float) -> float:
    """The proof's rows in two columns; returns the height at which they end."""
    page.line([(MARGIN_PX, top), (WIDE_PX - MARGIN_PX, top)], width_px=1.2)
    y = top + 44
    label = page.label((MARGIN_PX, y), "proof of what was written", size_px=19)
    if card.proof_verdict is None:
        page.text((label.right + 24, y), "not yet", size_px=24)
        return y + 20
    shape = draw_shape(page, (label.right + 36, y - 7), card.proof_verdict, 13.0)
    page.text((shape.right + 14, y), card.proof_verdict.value, size_px=24)
    many = len({row.piece for row in card.proof}) > 1
    wide = (WIDE_PX - 2 * MARGIN_PX - 40) / 2
    y += 20
    for first in range(0, len(card.proof), 2):
        tall = 0.0
        for index, row in enumerate(card.proof[first : first + 2]):
            x = MARGIN_PX + index * (wide + 40)
            said = f"{row.piece}: {row.check}" if many else row.check
            lines = wrap(f"{said}: {row.result}" if row.result else said, 21.0, wide - 40, 3)
            draw_shape(page, (x + 12, y + 16), row.verdict, 9.5)
            for k, line in enumerate(lines):
                page.text((x + 40, y + 24 + k * 25), line, size_px=21)
            tall = max(tall, 25.0 * len(lines) + 8)
        y += tall
    return y + 10


def _draw_cautions(page: Page, card: Card, top: float) -> float:
    """The cautions of the process, below everything else; returns the height at which they end."""
    if not card.cautions:
        return top
    page.line([(MARGIN_PX, top), (WIDE_PX - MARGIN_PX, top)], width_px=1.2)
    y = top + 44
    page.label((MARGIN_PX, y), "cautions", size_px=19)
    y += 32
    for caution in card.cautions:
        for line in wrap(caution, 21.0, WIDE_PX - 2 * MARGIN_PX, 4):
            page.text((MARGIN_PX, y), line, size_px=21)
            y += 25
        y += 6
    return y


def _draw_heading(page: Page, card: Card) -> float:
    y = MARGIN_PX + 44.0
    right = WIDE_PX - MARGIN_PX
    colour = ACCENT if card.verdict is Verdict.STOP else INK
    word = page.text((right, y), card.verdict.value, size_px=50, colour=colour, anchor="rs")
    shape = draw_shape(page, (word.left - 42, y - 18), card.verdict, 21.0)
    says = page.text((shape.left - 22, y), card.release, size_px=24, colour=FAINT_INK, anchor="rs")
    height = f"{card.height_mm:.1f} mm tall" if card.height_mm is not None else ""
    room = says.left - MARGIN_PX - 60 - text_width(height, 34.0)
    job, size = fitted(card.job, (66.0, 56.0, 48.0, 40.0, 34.0, 28.0), room)
    name = page.text((MARGIN_PX, y), job, size_px=size)
    if height:
        page.text((name.right + 24, y), height, size_px=34, colour=FAINT_INK)
    page.line([(MARGIN_PX, y + 24), (right, y + 24)], width_px=2.6)
    page.line([(MARGIN_PX, y + 30), (right, y + 30)], width_px=1.2)
    return y + 62


def _draw(page: Page, card: Card) -> float:
    y = _draw_heading(page, card)
    y = _draw_route(page, card, y)
    y = _draw_notes(page, card, y + 16)
    y = _draw_proof(page, card, y + 16)
    return _draw_cautions(page, card, y + 16)


def draw_card(report: Mapping[str, Any]) -> Page:
    """The route card of a report on a page; see `card_picture`."""
    card = card_of(report)
    needed = (
        round(_draw(Page(WIDE_PX, 1), card)) + MARGIN_PX
    )  # set off the paper, to see how tall it comes out
    page = Page(WIDE_PX, max(LEAST_TALL_PX, needed))
    _draw(page, card)
    return page


def card_picture(report: Mapping[str, Any]) -> Image.Image:
    """The route card of a report as a picture, 1654 pixels wide: A4 upright at 200 dots per inch, or longer.

    Raises
    ------
    KeyError, ValueError
        What was given is no report; see `firstcast.sheets.card.card_of`.
    """
    return draw_card(report).image
