"""Props for a piece: tips where its layers want them, posts, their solid; then the layers again, with the props in them."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh
from firstcast.printing.asked_tips import first_tips, more_necks, necks_of
from firstcast.printing.forest import lead_down
from firstcast.printing.held_props import Held, Seen, prop_uses
from firstcast.printing.holding import load_cases, necks_bear_n
from firstcast.printing.lightened import lightened
from firstcast.printing.necks import Necks, SpareTips, size_and_share
from firstcast.printing.posts import Strong
from firstcast.printing.prop_ground import PropGround, ground_of
from firstcast.printing.prop_solids import volume_of
from firstcast.printing.prop_wants import TabEnd, Wanted
from firstcast.printing.rests import plain_columns
from firstcast.printing.sized_trees import size_posts, sways
from firstcast.printing.starts import Sites
from firstcast.printing.tips import Avoids, Contacts
from firstcast.printing.ways import Ways

Floats = npt.NDArray[np.float64]

HOLD_ROUNDS, STOUTER, GROWN, EASED = 4, 1.01, 1.005, 0.97
"""Props that bear too much are seen to so often; those on the figure are made stouter by a little more than they must, and what grows
by less stays; the others are eased to so much of what they may bear."""


@dataclass(frozen=True)
class Standing:
    """A piece with its props, and what was measured on the way.

    Attributes
    ----------
    piece, props : Mesh
    offset_mm : (3,) float64
        By which the turned master was moved.
    contacts : Contacts
    loads_n, bears_n : (n,) float64
        Of the necks: the load along each that would stress it as much as it is, bending counted, and what it may bear.
    ways : Ways
    strong : Strong
    sways : dict
        For each tree, by the node in which it ends, how near it comes to buckling as a whole: 1 is what it may bear.
    left : Sites
        What the last look still found.
    flecks : int
        Counted in the last look.
    rounds : int
        Looks at the layers with props.
    plain_mm3 : float
        Resin of a plain column under every tip, each thick enough for what it bears.
    """

    piece: Mesh
    props: Mesh
    offset_mm: Floats
    contacts: Contacts
    loads_n: Floats
    bears_n: Floats
    ways: Ways
    strong: Strong
    sways: dict[int, float]
    left: Sites
    flecks: int
    rounds: int
    plain_mm3: float


def hold_up(
    turned: Mesh, wanted: Wanted, *, tab: TabEnd | None = None, avoids: Avoids | None = None
) -> Standing:
    """Props for a piece that is turned as it stands in the printer.

    Parameters
    ----------
    turned : Mesh
        Closed and outward, millimetres at master size, the printer's axes.
    tab : TabEnd, optional
        Gets stout tips if it faces the platform.
    avoids : callable, optional
        Precious places, asked for in the same space as `turned`.

    Raises
    ------
    InputError
        The mesh is not closed.
    SizeError
        The lattice doesn't fit this machine.
    """
    offset = _offset(turned, wanted)
    piece = Mesh(np.asarray(turned.points, np.float64) + offset, turned.triangles)
    there = None if avoids is None else lambda places: avoids(places - offset)
    ground = ground_of(piece, wanted, there)
    end = None if tab is None else tab.moved(offset)
    contacts = first_tips(ground, end)
    spare = SpareTips(ground, end if contacts.on_tab.any() else None)
    necks, held = _hold(ground, necks_of(contacts, wanted.shapes, 1.0), spare)
    seen = Seen.of(ground, held, 1)
    if seen.asks and wanted.rounds > 1:
        # most pieces ask for some tips more, and with these for none: what is looked at then is what will be made
        necks, held = _hold(ground, more_necks(ground, seen.left.sites, spare, necks), spare)
    lighter = lightened(ground, necks, held, spare, seen)
    return _standing(ground, lighter or _looked_again(ground, necks, held, spare, seen), offset)


def _looked_again(ground: PropGround, necks: Necks, held: Held, spare: SpareTips, seen: Seen) -> Seen:
    """Tips wherever layers ask for them, and all of it anew, as often as is wanted."""
    if seen.held is not held:
        seen = Seen.of(ground, held, seen.looks + 1)
    while seen.asks and seen.looks < ground.wanted.rounds:
        necks, held = _hold(ground, more_necks(ground, seen.left.sites, spare, necks), spare)
        seen = Seen.of(ground, held, seen.looks + 1)
    return seen


def _offset(turned: Mesh, wanted: Wanted) -> Floats:
    """Onto the platform, the piece's own middle at x = y = 0."""
    low, high = turned.bounds
    return np.array([*(-0.5 * (low + high)[:2]), wanted.lift_mm - low[2]])


def _hold(ground: PropGround, necks: Necks, spare: SpareTips) -> tuple[Necks, Held]:
    """Necks, ways and posts for some tips, and those that were added to share their loads.

    Where a prop bears too much whichever way it goes, its neck is thickened if it stands on the figure, as far as it may: a strut is
    as thick as its neck. Else other tips take what it can't.
    """
    held = None
    for _ in range(HOLD_ROUNDS):
        necks, contacts, loads, stages = size_and_share(ground, necks, spare)
        if held is not None and np.array_equal(contacts.diameters_mm, held.contacts.diameters_mm):
            break
        cases = load_cases(stages, contacts)
        ways, strong = lead_down(contacts, np.abs(cases[:, 0]).max(axis=1, initial=0.0), cases, ground.free)
        held = Held(contacts, necks.deep_mm, loads, cases, ways, strong)
        uses, rests = prop_uses(ways, strong, len(contacts))
        stouter = np.minimum(np.sqrt(uses) * STOUTER * contacts.diameters_mm, necks.most_mm)
        grows = (uses > 1.0) & rests & (stouter > GROWN * contacts.diameters_mm)
        weak = (uses > 1.0) & ~grows
        if not (grows | weak).any():
            break
        begin = np.where(grows, stouter, necks.contacts.diameters_mm)
        most = np.where(weak, EASED * loads / np.maximum(uses, 1.0), np.inf)
        necks = replace(necks, contacts=necks.contacts.sized(begin), props_n=np.minimum(necks.props_n, most))
    assert held is not None
    return necks, held


def _standing(ground: PropGround, seen: Seen, offset: Floats) -> Standing:
    """Moved so that piece and props stand about x = y = 0, by whole pixels so that no image changes."""
    held, props, left = seen.held, seen.props, seen.left
    wanted, strength = ground.wanted, ground.wanted.strength
    both = (
        np.stack([ground.piece.bounds, props.bounds]) if len(props.triangles) else ground.piece.bounds[None]
    )
    middle = 0.5 * (both[:, 0].min(axis=0) + both[:, 1].max(axis=0))[:2]
    pixel = np.array(wanted.pixel_mm)
    shift = np.array([*(-np.rint(middle / pixel) * pixel), 0.0])
    return Standing(
        piece=Mesh(ground.piece.points + shift, ground.piece.triangles),
        props=Mesh(props.points + shift, props.triangles),
        offset_mm=offset + shift,
        contacts=replace(held.contacts, places_mm=held.contacts.places_mm + shift),
        loads_n=held.loads_n,
        bears_n=necks_bear_n(held.contacts, strength_mpa=strength.strength_mpa, safety=strength.safety),
        ways=replace(held.ways, places=[place + shift for place in held.ways.places]),
        strong=held.strong,
        sways=sways(held.ways, held.strong, held.contacts, held.cases, ground.free),
        left=replace(left.sites, places_mm=left.sites.places_mm + shift),
        flecks=left.flecks,
        rounds=seen.looks,
        plain_mm3=_plain_mm3(ground, held),
    )


def _plain_mm3(ground: PropGround, held: Held) -> float:
    """Resin of a plain column under every tip, by the same rules as thick as it must be, wherever it has room or not."""
    free, contacts = ground.free, held.contacts
    plain = plain_columns(contacts, free.spaces[-1], free.shapes)
    columns = size_posts(plain, contacts, held.cases, replace(free, far=None))
    return volume_of(plain, columns.radii_mm, contacts.diameters_mm, free.shapes, depth_mm=held.deep_mm)
