"""Pictures as files: the plate of a piece, and the route card."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from firstcast.findings import Finding
from firstcast.sheets.card_picture import card_picture
from firstcast.sheets.plate import DPI, Sheet, Title, draw_plate
from firstcast.steps import Outcome


def write_piece(path: Path, outcome: Outcome, *, job: str, piece: str, findings: Sequence[Finding]) -> None:
    """The plate of a piece: its master, drawn at the figure's size so that places and measures are the figure's."""
    matrix = np.asarray(outcome.get("allow", piece).field("matrix"), dtype=np.float64)
    mesh = outcome.get("reduce", piece).field("mesh").mapped(np.linalg.inv(matrix))
    limits = outcome.get("plan").field("limits")
    title = Title(job=job, piece=piece, date="", process=limits.kind.value)
    measures = [*outcome.measures("allow", piece)[:1], *outcome.measures("reduce", piece)[:4]]
    sheet = draw_plate(mesh.points, mesh.triangles, title=title, findings=findings, measures=measures)
    write_plate(path, sheet)


def write_card(path: Path, report: Mapping[str, Any]) -> None:
    """The route card of a report; see `card_picture`."""
    write_picture(path, card_picture(report))


def write_plate(path: Path | str, sheet: Sheet) -> None:
    """A plate as PNG that prints at its true size."""
    write_picture(path, sheet.page.image, few_colours=not sheet.coloured)


def write_picture(path: Path | str, image: Image.Image, *, few_colours: bool = True) -> None:
    """A picture as PNG at 200 dots per inch.

    The face needs few colours: 256, chosen for the picture, make the file a third as large. Maps keep all of theirs,
    so that even scales stay even.
    """
    if few_colours:
        image = image.quantize(colors=256, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    image.save(path, format="PNG", dpi=(DPI, DPI))
