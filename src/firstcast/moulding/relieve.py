"""Relieve: the least fill that brings each place of the mould inside its bounds, place by place.

Captive rubber is shut off at its narrowest web, or filled where that takes less. Every other place is filled from its deepest end, or from
what is widest of its neck, up to the level at which it is not told any more. Tongues are filled from their tip. A hard tool
lets nothing pass, so there all locked rubber is filled, and its new walls lean.
"""

from collections.abc import Callable, Collection, Sequence, Set
from dataclasses import dataclass

import numpy.typing as npt

from firstcast.geometry.body import Body
from firstcast.geometry.zones import Zone
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.fill import TONGUE, Fill, Place
from firstcast.moulding.fill_maker import FillMaker
from firstcast.moulding.fill_union import Added, with_lumps
from firstcast.moulding.fill_zones import ClosedZones
from firstcast.moulding.reading import Read, read_mould
from firstcast.process.materials import Mould

ROUNDS = 4
"""A fill may leave something that is told then: so often the mould is read and filled again."""


def propose_fills(
    body: Body,
    read: Read,
    mould: Mould,
    zones: Sequence[Zone],
    *,
    bounds: Bounds,
    wall_mm: float,
    draft_deg: float = 0.0,
    released: Sequence[str] = (),
    only: Collection[Place] | None = None,
) -> tuple[Fill, ...]:
    """The least fill for every place that is told.

    Parameters
    ----------
    body : Body
    read : Read
        Of this body.
    mould : Mould
    zones : sequence of Zone
        Nothing is filled in a zone with the meaning `no change`, nor in a `precious` one that is not released.
    bounds : Bounds
    wall_mm : float
        How thick a web is shut off at least.
    draft_deg : float
        By how much the new walls of a hard tool lean.
    released : sequence of str
        Names of precious zones in which fills may be made.
    only : collection of Place, optional
        The places that are asked for; of all others no fill is made, but where one fill mends both.

    Returns
    -------
    tuple of Fill
        In the order of what they mend: captive rubber, locks, tongues.
    """
    maker = FillMaker(body, read, mould, bounds, wall_mm, draft_deg, ClosedZones(read, zones, released))
    found = list(maker.of_locks(only))
    found += [
        maker.of_tongue(row, tongue)
        for row, tongue in enumerate(read.tongues)
        if only is None or (TONGUE, row) in only
    ]
    return tuple(found)


def filled(body: Body, fills: Sequence[Fill], pitch_mm: npt.ArrayLike) -> Added:
    """The body with some fills united with it; those that are no mend add nothing.

    `pitch_mm`, (3,) or one for all axes, is that of the lattice on which the body was made.

    Raises
    ------
    SizeError
        The lattice would not fit this machine.
    """
    return with_lumps(body, tuple((fill.name, fill.lumps) for fill in fills), pitch_mm)


@dataclass(frozen=True)
class Relieved:
    """A body with the fills that were taken, what is read of it then, and what more could be filled."""

    body: Body
    read: Read
    taken: tuple[Fill, ...]
    proposed: tuple[Fill, ...]
    added_mm3: float


def relieve(
    body: Body,
    read: Read,
    mould: Mould,
    zones: Sequence[Zone],
    *,
    bounds: Bounds,
    wall_mm: float,
    lattice_mm: npt.ArrayLike,
    asked: Callable[[Body, Read], Set[Place]],
    draft_deg: float = 0.0,
    released: Sequence[str] = (),
) -> Relieved:
    """Fill, read the mould again, and fill what is still told, until nothing more is asked for.

    Parameters are those of `propose_fills`, and:

    lattice_mm : (3,) float64, or one float for all axes
        Pitch of the lattice on which the body was made.
    asked : function
        From a body and what is read of it, the places that are to be filled where a fill mends them.

    Raises
    ------
    SizeError
        The lattice would not fit this machine.
    """

    def proposed(only: Collection[Place] | None) -> tuple[Fill, ...]:
        return propose_fills(
            body, read, mould, zones, bounds=bounds, wall_mm=wall_mm, draft_deg=draft_deg, released=released, only=only
        )  # fmt: skip

    taken: list[Fill] = []
    added = 0.0
    for _ in range(ROUNDS):
        wanted = asked(body, read)
        # only what is asked for: to make all fills takes longer than all else, and the body that they were made for changes
        chosen = (
            [fill for fill in proposed(wanted) if fill.lumps and not wanted.isdisjoint(fill.places)]
            if wanted
            else []
        )
        if not chosen:
            break
        body, more = filled(body, chosen, lattice_mm)
        taken, added = taken + chosen, added + more
        read = read_mould(body, read.held.frame[2], read.held.pitch_mm, mould, bounds)
    return Relieved(body, read, tuple(taken), proposed(None), added)
