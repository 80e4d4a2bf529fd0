"""The mould as a page: the figure as the halves hold it and the seam, or the line for the knife; what every way to open it holds."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from firstcast.moulding.locks import Lock
from firstcast.sheets.knife_page import draw_knife_page
from firstcast.sheets.mould_page import draw_mould_page, write_mould_page
from firstcast.sheets.mould_views import Held
from firstcast.sheets.places_page import Place, draw_places_page
from firstcast.sheets.plate import Title
from firstcast.sheets.print_page import Fact
from firstcast.sheets.pull_map import PullMap
from firstcast.steps import Outcome
from firstcast.store import Stored

MOST_PLACES = 9
"""So many places that hold are numbered on the page; the route card and the report have the rest."""


FOOT = "Read on voxels; how rubber is flexed and peeled is a person's art, so what it bears there is a wide range."


def draw_mould(path: Path, piece: str, outcome: Outcome, *, job: str) -> None:
    """The page of a piece's mould of two halves, or of the block that is cut open."""
    moulded = outcome.get("mould", piece)
    limits = outcome.get("plan").field("limits")
    ways, locks = moulded.field("ways"), moulded.field("locks")
    pulls = PullMap(
        moulded.field("directions"),
        moulded.field("locked_mm3"),
        moulded.field("allowed"),
        moulded.field("pull"),
        [way.pull for way in ways[1:]],
    )
    title = Title(job=job, piece=piece, date="", process=limits.kind.value)
    held = _held(locks)
    mesh, knife = moulded.field("body").mesh, moulded.field("knife")
    if knife is None:
        facts = [*_way_facts(ways), *_fill_facts(moulded)]
        drawn = draw_mould_page(
            mesh, moulded.field("parting"), pulls, title=title, held=held, facts=facts, foot=FOOT
        )
    else:
        drawn = draw_knife_page(
            mesh, knife, pulls, title=title, held=held, facts=_fill_facts(moulded), foot=FOOT
        )
    write_mould_page(path, drawn)


def draw_places(path: Path, piece: str, outcome: Outcome, *, job: str) -> None:
    """The page of the same places, each close up; none where nothing holds."""
    moulded = outcome.get("mould", piece)
    held, row_of_vertex = _held(moulded.field("locks")), moulded.field("lock_of_vertex")
    if not held:
        return
    title = Title(job=job, piece=piece, date="", process=outcome.get("plan").field("limits").kind.value)
    places = [Place(each, np.flatnonzero(row_of_vertex == row)) for row, each in enumerate(held)]
    write_mould_page(path, draw_places_page(moulded.field("body").mesh, places, title=title))


def _held(locks: Sequence[Lock]) -> list[Held]:
    return [Held(lock.place_mm, lock.volume_mm3, _says(lock), lock.captive) for lock in locks[:MOST_PLACES]]


def _says(lock: Lock) -> str:
    """What holds, and what it asks of the rubber."""
    if lock.captive:
        return (
            f"{lock.words}: links up, over {lock.web_mm2:.1f} mm²"
            if lock.web_mm2 >= 0.05
            else f"{lock.words}: links up by a thread"
        )
    if lock.asks is None:
        return f"{lock.words}: {lock.depth_mm:.1f} mm deep"
    strain = lock.asks.strain
    return f"{lock.words}: must stretch by {100 * strain.low:.0f} to {100 * strain.high:.0f} %"


def _way_facts(ways) -> list[Fact]:
    return [Fact(name, way.words) for name, way in zip(("it opens", "next best"), ways, strict=False)]


def _fill_facts(moulded: Stored) -> list[Fact]:
    fills = moulded.field("fills")
    if not fills:
        return []
    told = "; ".join(f"{fill.where}, {fill.volume_mm3:.1f} mm³" for fill in fills)
    return [Fact("filled, as the job asks", told)]
