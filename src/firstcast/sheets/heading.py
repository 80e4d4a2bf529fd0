"""The heading of a page: what it is of at the left, what kind of page at the right, a double rule beneath."""

from firstcast.sheets.face import FAINT_INK
from firstcast.sheets.plate import Title
from firstcast.sheets.setting import Page, fitted, text_width


def draw_page_heading(page: Page, title: Title, kind: str, margin_px: float) -> None:
    """Job and piece in the largest lettering that fits beside the page's kind."""
    y, right = margin_px + 34, page.width_px - margin_px
    told = page.label((right, y), kind, size_px=15, anchor="rs")
    piece, piece_size = fitted(title.piece, (30.0, 26.0, 22.0, 19.0), 0.4 * (told.left - margin_px))
    room = told.left - margin_px - text_width(piece, piece_size) - 60
    job, job_size = fitted(title.job, (46.0, 40.0, 34.0, 28.0, 24.0), room)
    box = page.text((margin_px, y), job, size_px=job_size)
    page.text((box.right + 20, y), piece, size_px=piece_size, colour=FAINT_INK)
    page.line([(margin_px, y + 18), (right, y + 18)], width_px=2.0)
    page.line([(margin_px, y + 22), (right, y + 22)], width_px=1.0)
