"""The lettered parts of a plate: heading, the list of findings, the title block."""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from firstcast.findings import Finding, Measure
from firstcast.sheets import dimensions
from firstcast.sheets.face import ACCENT, FAINT_INK, INK
from firstcast.sheets.marks import draw_shape
from firstcast.sheets.setting import Box, Page, fitted, text_width, wrap
from firstcast.sheets.urgent import Note, note_of, said_value
from firstcast.vocabulary import Verdict, worst

LIST_TOP_PX = 1190
BLOCK_WIDE_PX = 520
HAIR_PX = 1.2


class _Title(Protocol):
    @property
    def job(self) -> str: ...
    @property
    def piece(self) -> str: ...
    @property
    def date(self) -> str: ...
    @property
    def process(self) -> str: ...
    @property
    def drawn_by(self) -> str: ...


def draw_heading(
    page: Page, title: _Title, findings: Sequence[Finding | Note | Mapping[str, Any]], margin: int
) -> None:
    """Job and piece at the upper left, the verdict at the upper right, a double rule beneath."""
    y = margin + 44
    shown = [note_of(finding).shown for finding in findings]
    verdict = worst(shown)
    counts = Counter(shown)
    says = ", ".join(f"{counts[each]} {each.value}" for each in (Verdict.STOP, Verdict.WATCH) if counts[each])
    colour = ACCENT if verdict is Verdict.STOP else INK
    right = page.width_px - margin
    word = page.text((right, y), verdict.value, size_px=50, colour=colour, anchor="rs")
    shape = draw_shape(page, (word.left - 42, y - 18), verdict, 21.0)
    end = shape.left - 22
    if says:
        end = page.text((end, y), says, size_px=24, colour=FAINT_INK, anchor="rs").left - 40
    piece, piece_size = fitted(title.piece, (40.0, 32.0, 26.0), 0.42 * (end - margin))
    room = end - margin - text_width(piece, piece_size) - 26
    job, job_size = fitted(title.job, (66.0, 56.0, 48.0, 40.0, 34.0), room)
    box = page.text((margin, y), job, size_px=job_size)
    if piece:
        page.text((box.right + 26, y), piece, size_px=piece_size, colour=FAINT_INK)
    page.line([(margin, y + 24), (right, y + 24)], width_px=2.6)
    page.line([(margin, y + 30), (right, y + 30)], width_px=HAIR_PX)


def _set_note(note: Note, size: float, wide: float, most: tuple[int, int]) -> tuple[list[str], list[str]]:
    """The lines of a note: what it says, and its mend."""
    lead = f"{note.part}: " if note.part and note.part.lower() not in note.says.lower() else ""
    says = wrap(lead + note.says, size, wide, most[0])
    mend = note.mend if not note.accepted else f"Accepted: {note.accepted}"
    return says, wrap(mend, 0.88 * size, wide, most[1]) if mend else []


def draw_list(page: Page, notes: Sequence[Note], folded: str, margin: int) -> None:
    """The numbered findings in two columns: shape and number, a plain sentence, the mend beneath it."""
    right = page.width_px - margin - BLOCK_WIDE_PX - 56
    page.line([(margin, LIST_TOP_PX), (page.width_px - margin, LIST_TOP_PX)], width_px=HAIR_PX)
    if not notes:
        page.text((margin, LIST_TOP_PX + 46), "Nothing was found that asks for a look.", size_px=24)
        return
    columns = 2
    wide, indent = (right - margin - 48) / columns, 52
    rows = -(-len(notes) // columns)
    bottom = page.height_px - margin - (30 if folded else 0)
    for size, most in (
        (22.0, (3, 2)),
        (21.0, (3, 2)),
        (20.0, (3, 2)),
        (20.0, (3, 1)),
        (19.0, (2, 1)),
        (17.0, (2, 1)),
    ):
        set_notes = [_set_note(note, size, wide - indent, most) for note in notes]
        tall = [1.2 * size * len(says) + 1.08 * size * len(mend) + 0.85 * size for says, mend in set_notes]
        if all(sum(tall[c * rows : (c + 1) * rows]) <= bottom - LIST_TOP_PX - 18 for c in range(columns)):
            break
    for column in range(columns):
        x, y = margin + column * (wide + 48), LIST_TOP_PX + 18.0
        for index in range(column * rows, min(len(notes), (column + 1) * rows)):
            note, (says, mend) = notes[index], set_notes[index]
            draw_shape(page, (x + 20, y + 0.80 * size), note.shown, 17.0, str(index + 1))
            pen = y + size
            for line in says:
                page.text((x + indent, pen), line, size_px=size)
                pen += 1.2 * size
            for line in mend:
                page.text((x + indent, pen - 0.06 * size), line, size_px=0.88 * size, colour=FAINT_INK)
                pen += 1.08 * size
            y += tall[index]
    if folded:
        page.text((margin, page.height_px - margin), folded, size_px=20, colour=FAINT_INK)


def _said_scale(scale: float) -> str:
    """A drawing scale in words: 2 : 1, or 1 : 2.5."""
    return f"{scale:g} : 1" if scale >= 1.0 else f"1 : {round(1.0 / scale, 2):g}"


def draw_title_block(
    page: Page, title: _Title, measures: Sequence[Measure], scale: float, px_per_mm: float, margin: int
) -> None:
    """Scale bar, scale, date and process, then at most six measures; ruled, at the lower right."""
    right, bottom = page.width_px - margin, page.height_px - margin
    left, top = right - BLOCK_WIDE_PX, LIST_TOP_PX
    page.line([(left - 28, top), (left - 28, bottom)], width_px=HAIR_PX)
    dimensions.scale_bar(page, (left, top + 70), px_per_mm, BLOCK_WIDE_PX - 60, 20.0)
    named = (
        ("scale on A4", _said_scale(scale)),
        ("date", title.date),
        ("process", title.process),
        ("drawn by", title.drawn_by),
    )
    entries = [entry for entry in named if entry[1]]
    rows = [entries[:2], entries[2:]]
    y = top + 104
    for row in rows:
        if not row:
            continue
        page.line([(left, y), (right, y)], width_px=HAIR_PX)
        for index, (name, value) in enumerate(row):
            x = left + index * BLOCK_WIDE_PX / 2
            page.label((x, y + 26), name, size_px=14)
            page.text((x, y + 56), value, size_px=26)
        y += 72
    page.line([(left, y), (right, y)], width_px=HAIR_PX)
    pitch = min(31.0, (bottom - y - 6) / max(1, len(measures[:6])))
    for index, measure in enumerate(measures[:6]):
        row = y + (index + 0.86) * pitch
        value = said_value(measure.value, measure.unit)
        named = wrap(measure.name, 21.0, BLOCK_WIDE_PX - text_width(value, 21.0) - 30, 1)[0]
        box: Box = page.text((left, row), named, size_px=21.0)
        number = page.text((right, row), value, size_px=21.0, anchor="rs")
        page.line(
            [(box.right + 8, row - 2), (number.left - 8, row - 2)],
            width_px=1.0,
            colour=FAINT_INK,
            dash_px=(1.5, 6.0),
        )
