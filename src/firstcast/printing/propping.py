"""Props for a piece: tips where its layers want them, posts, their solid; then the layers again, with the props in them."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh
from firstcast.printing.forest import lead_down
from firstcast.printing.holding import load_cases, necks_bear_n
from firstcast.printing.necks import Necks, SpareTips, size_and_share
from firstcast.printing.posts import Strong
from firstcast.printing.prop_ground import PropGround, ground_of
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.prop_solids import solid_of, volume_of
from firstcast.printing.prop_wants import TabEnd, Wanted
from firstcast.printing.rests import plain_columns
from firstcast.printing.settled_trees import settle
from firstcast.printing.sized_trees import size_posts, sways
from firstcast.printing.starts import START, Found, Sites
from firstcast.printing.tips import Avoids, Contacts, empty_contacts, place_tips, tab_tips
from firstcast.printing.ways import REST, Ways, roots_of

Floats = npt.NDArray[np.float64]

DEEPER = 1.5
"""Tips that a later look asks for enter deeper by this: the first tip there was placed by the book and missed."""


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


@dataclass(frozen=True)
class _Held:
    """Tips with their necks as thick as they must be, and the posts that they go down by."""

    contacts: Contacts
    deep_mm: Floats
    loads_n: Floats
    cases: Floats
    ways: Ways
    strong: Strong

    def solid(self, ground: PropGround) -> Mesh:
        """The props."""
        return solid_of(
            self.ways, self.strong.radii_mm, self.contacts.diameters_mm, ground.wanted.shapes, depth_mm=self.deep_mm
        )  # fmt: skip


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
    contacts = _first_tips(ground, end)
    spare = SpareTips(ground, end if contacts.on_tab.any() else None)
    necks = _necks_of(contacts, wanted.shapes, 1.0)
    for number in range(1, wanted.rounds + 1):
        necks, held = _hold(ground, necks, spare)
        props = held.solid(ground)
        left = ground.look(props)
        if not len(left.sites.layers) or number == wanted.rounds:
            break
        more = _later_tips(ground, left.sites, spare, necks.contacts)
        necks = necks.joined(_necks_of(more, wanted.shapes, DEEPER))
    return _standing(ground, *_lightened(ground, held, props, left), offset, number)


def _necks_of(contacts: Contacts, shapes: PropShapes, deeper: float) -> Necks:
    """How thick tips may get, and how deep they enter."""
    most = np.where(contacts.on_tab, shapes.tab_tip_most_mm, shapes.tip_most_mm)
    deep = np.where(contacts.on_tab, 2.0, deeper) * shapes.depth_mm
    return Necks(contacts, most, deep, np.full(len(contacts), np.inf))


def _offset(turned: Mesh, wanted: Wanted) -> Floats:
    """Onto the platform, the piece's own middle at x = y = 0."""
    low, high = turned.bounds
    return np.array([*(-0.5 * (low + high)[:2]), wanted.lift_mm - low[2]])


def _first_tips(ground: PropGround, tab: TabEnd | None) -> Contacts:
    """The tab's tips, and those of all sites that the tab doesn't take."""
    wanted, sites = ground.wanted, ground.found.sites
    on_tab = empty_contacts()
    mine = np.zeros(len(sites.layers), bool)
    if tab is not None and len(sites.layers):
        mine = tab.holds(sites.places_mm)
        starts = np.flatnonzero(mine & (sites.kinds == START))
        if len(starts):
            on_tab = tab_tips(
                tab.middle_mm, tab.along, tab.toward, tab.length_mm, tab.width_mm, wanted.shapes,
                layer_mm=wanted.layer_mm, body=int(sites.bodies[starts[0]]),
            )  # fmt: skip
    if not len(on_tab):
        mine[:] = False
    return on_tab.joined(_tips(ground, sites.only(~mine), wanted.freedom_mm))


def _later_tips(ground: PropGround, sites: Sites, spare: SpareTips, contacts: Contacts) -> Contacts:
    """Tips for what is still without hold, just where it is; of the body of what is near."""
    tips = _tips(ground, sites, 0.0)
    bodies = spare.bodies_near(tips.places_mm)
    away = np.linalg.norm(tips.places_mm[:, None] - contacts.places_mm, axis=2)
    return replace(tips, bodies=np.where(bodies > 0, bodies, contacts.bodies[away.argmin(axis=1)]))


def _tips(ground: PropGround, sites: Sites, freedom_mm: float) -> Contacts:
    wanted, far = ground.wanted, ground.free.far
    assert far is not None
    return place_tips(sites, ground.skin, far, wanted.shapes, freedom_mm=freedom_mm, layer_mm=wanted.layer_mm)


def _hold(ground: PropGround, necks: Necks, spare: SpareTips) -> tuple[Necks, _Held]:
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
        held = _Held(contacts, necks.deep_mm, loads, cases, ways, strong)
        uses, rests = _prop_uses(ways, strong, len(contacts))
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


def _prop_uses(ways: Ways, strong: Strong, count: int) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """(count,) how much the prop of each contact is used, at most; and whether it stands on the figure."""
    uses, rests = np.zeros(count), np.zeros(count, bool)
    tree = roots_of(ways)
    most = np.zeros(len(tree))
    np.maximum.at(most, tree, strong.use)
    for tip, row in ways.tip_of.items():
        uses[row], rests[row] = most[tree[tip]], ways.kinds[tree[tip]] == REST
    return uses, rests


def _lightened(ground: PropGround, held: _Held, props: Mesh, left: Found) -> tuple[_Held, Mesh, Found]:
    """The same tips on trees that take less resin, as long as the layers are held as well by them."""
    loads = np.abs(held.cases[:, 0]).max(axis=1, initial=0.0)
    ways, strong = settle(held.ways, held.strong, held.contacts, loads, held.cases, ground.free)
    lighter = replace(held, ways=ways, strong=strong)
    solid = lighter.solid(ground)
    found = ground.look(solid)
    if len(found.sites.layers) > len(left.sites.layers):
        return held, props, left
    return lighter, solid, found


def _standing(
    ground: PropGround, held: _Held, props: Mesh, left: Found, offset: Floats, rounds: int
) -> Standing:
    """Moved so that piece and props stand about x = y = 0, by whole pixels so that no image changes."""
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
        rounds=rounds,
        plain_mm3=_plain_mm3(ground, held),
    )


def _plain_mm3(ground: PropGround, held: _Held) -> float:
    """Resin of a plain column under every tip, by the same rules as thick as it must be, wherever it has room or not."""
    free, contacts = ground.free, held.contacts
    plain = plain_columns(contacts, free.spaces[-1], free.shapes)
    columns = size_posts(plain, contacts, held.cases, replace(free, far=None))
    return volume_of(plain, columns.radii_mm, contacts.diameters_mm, free.shapes, depth_mm=held.deep_mm)
