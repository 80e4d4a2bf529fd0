"""Props for a piece: tips where its layers want them, posts, their solid; then the layers again, with the props in them."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.fields.coverage import Layers, PixelGrid, Sections, section_layers
from firstcast.fields.far import FarField, build_far
from firstcast.fields.union import Shells
from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.tree import build_tree, closest_points
from firstcast.printing.descent import FreeSpace, free_space
from firstcast.printing.holding import Stage, necks_bear_n, size_necks, stages_of
from firstcast.printing.post_cost import PostCost, cost_of
from firstcast.printing.posts import Strong, load_cases, strengthen
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.prop_solids import solid_of
from firstcast.printing.rests import plain_columns
from firstcast.printing.routing import route
from firstcast.printing.starts import START, Bearing, Found, Sites, find_sites
from firstcast.printing.tips import Avoids, Contacts, Skin, empty_contacts, place_tips, tab_tips
from firstcast.printing.ways import FOOT, Ways

Floats = npt.NDArray[np.float64]

FAR_PITCH_MM, FAR_CELLS = 0.2, 4e6
"""Lattice for the posts' ways: so fine, or as fine as so many places allow."""

FAR_MARGIN_MM = 2.0

STOUT = (3.0, 1.8)
"""Posts go first where they could grow to so many times the least thickness."""

REROUTES, OVERLOADED = 3, 1.02
"""So often props are led down: at first as they save most, then those whose posts are overloaded each by itself, at last all
by themselves. The best is kept, by resin times the greatest overload. Sizing stops a little short of 1."""

TIGHT = 0.55
"""Of the clearance, where there is no way with all of it."""

DEEPER = 1.5
"""Tips that a later look asks for enter deeper by this: the first tip there was placed by the book and missed."""

SLACK = 1.3
"""With the props in place an overhang may be longer by this before it gets another tip: tips are where they are smooth, not
where the count of reach wanted them."""

ON_TAB_MM = 0.15
"""So near to the plane of the tab's end, and within its outline grown by this, a site is the tab's."""


@dataclass(frozen=True)
class TabEnd:
    """End face of the tab in print space, before the piece is lifted.

    `middle_mm`, `along`, `toward` (3,) float64; `length_mm`, `width_mm` of the face.
    """

    middle_mm: Floats
    along: Floats
    toward: Floats
    length_mm: float
    width_mm: float

    def moved(self, offset_mm: Floats) -> "TabEnd":
        """Moved by an offset."""
        return replace(self, middle_mm=self.middle_mm + offset_mm)

    def holds(self, places: Floats) -> npt.NDArray[np.bool_]:
        """(n,) which places lie on the face."""
        away = places - self.middle_mm
        across = np.cross(self.toward, self.along)
        level = np.abs(away @ self.toward) <= ON_TAB_MM
        within = np.abs(away @ self.along) <= 0.5 * self.length_mm + ON_TAB_MM
        return level & within & (np.abs(away @ across) <= 0.5 * self.width_mm + ON_TAB_MM)


@dataclass(frozen=True)
class Strength:
    """What loads and holds: likely loads against the weakest resin, with a factor between them.

    `stress_kpa` parts a layer from the film; `strength_mpa` and `modulus_mpa` are of the resin as it leaves the vat.
    """

    stress_kpa: float
    strength_mpa: float
    modulus_mpa: float
    density_g_cm3: float
    safety: float


@dataclass(frozen=True)
class Wanted:
    """How a piece is to be held.

    Attributes
    ----------
    pixel_mm : (float, float)
    layer_mm, lift_mm : float
        Height of a layer; of the piece's lowest place over the platform.
    freedom_mm : float
        How far tips may move to smoother spots.
    rounds : int
        How often tips are added where a look at the layers with props still finds something.
    """

    pixel_mm: tuple[float, float]
    layer_mm: float
    lift_mm: float
    freedom_mm: float
    rounds: int
    bearing: Bearing
    strength: Strength
    shapes: PropShapes


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
        Of the necks.
    ways : Ways
    strong : Strong
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
    left: Sites
    flecks: int
    rounds: int
    plain_mm3: float


@dataclass(frozen=True)
class _Ground:
    """What stays the same from round to round."""

    piece: Mesh
    sections: Sections
    found: Found
    skin: Skin
    far: FarField
    spaces: tuple[FreeSpace, ...]
    wanted: Wanted
    avoids: Avoids | None


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
    ground = _ground_of(piece, wanted, there)
    end = None if tab is None else tab.moved(offset)
    contacts = _first_tips(ground, end)
    free = np.where(contacts.on_tab, wanted.shapes.tab_tip_most_mm, wanted.shapes.tip_most_mm)
    deep = np.where(contacts.on_tab, 2.0 * wanted.shapes.depth_mm, wanted.shapes.depth_mm)
    for number in range(1, wanted.rounds + 1):
        held = _hold(ground, contacts, free)
        props = solid_of(
            held.ways, held.strong.radii_mm, held.contacts.diameters_mm, wanted.shapes, depth_mm=deep
        )
        left = _look(ground, props)
        if not len(left.sites.layers) or number == wanted.rounds:
            break
        more = _later_tips(ground, left.sites, contacts)
        contacts = contacts.joined(more)
        free = np.concatenate([free, np.full(len(more), wanted.shapes.tip_most_mm)])
        deep = np.concatenate([deep, np.full(len(more), DEEPER * wanted.shapes.depth_mm)])
    return _settled(ground, held, props, left, offset, number, deep)


def _offset(turned: Mesh, wanted: Wanted) -> Floats:
    """Onto the platform, the piece's own middle at x = y = 0."""
    low, high = turned.bounds
    return np.array([*(-0.5 * (low + high)[:2]), wanted.lift_mm - low[2]])


def _ground_of(piece: Mesh, wanted: Wanted, avoids: Avoids | None) -> _Ground:
    low, high = piece.bounds
    pixel = np.array(wanted.pixel_mm)
    # posts lean out by no more than the piece is high; what isn't covered costs nothing
    margin = high[2] + wanted.shapes.foot_mm
    first = np.floor((low[:2] - margin) / pixel)
    size = np.ceil((high[:2] + margin) / pixel) - first
    origin = first * pixel
    grid = PixelGrid(
        (float(origin[0]), float(origin[1])), float(pixel[0]), float(pixel[1]), int(size[0]), int(size[1])
    )
    layers = Layers(0.0, wanted.layer_mm, int(np.ceil(high[2] / wanted.layer_mm)))
    sections = section_layers(piece.points, piece.triangles, grid, layers)
    found = find_sites(sections, wanted.bearing)
    tree = build_tree(piece)
    shells = Shells(
        np.asarray(piece.points, np.float64), piece.triangles, np.zeros(len(piece.triangles), np.uint16)
    )
    room = np.prod(high - low + 2.0 * FAR_MARGIN_MM)
    pitch = max(FAR_PITCH_MM, float((room / FAR_CELLS) ** (1.0 / 3.0)))
    far = build_far(
        shells,
        lambda places: closest_points(tree, places),
        pitch_mm=pitch,
        margin_mm=FAR_MARGIN_MM,
        where="props",
    )
    half, keep = 0.5 * wanted.shapes.post_mm, wanted.shapes.clearance_mm
    needs = (*(stout * half + keep for stout in STOUT), half + keep, half + TIGHT * keep)
    spaces = tuple(free_space(far, need) for need in needs)
    return _Ground(piece, sections, found, Skin(piece, tree, avoids), far, spaces, wanted, avoids)


def _first_tips(ground: _Ground, tab: TabEnd | None) -> Contacts:
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
    rest = _rows(sites, ~mine)
    tips = place_tips(
        rest, ground.skin, ground.far, wanted.shapes, freedom_mm=wanted.freedom_mm, layer_mm=wanted.layer_mm
    )
    return on_tab.joined(tips)


def _later_tips(ground: _Ground, sites: Sites, contacts: Contacts) -> Contacts:
    """Tips for what is still without hold, just where it is; of the body of the nearest tip that is there."""
    tips = place_tips(
        sites, ground.skin, ground.far, ground.wanted.shapes, freedom_mm=0.0, layer_mm=ground.wanted.layer_mm
    )
    away = np.linalg.norm(tips.places_mm[:, None] - contacts.places_mm, axis=2)
    return replace(tips, bodies=contacts.bodies[away.argmin(axis=1)])


def _rows(sites: Sites, rows: npt.NDArray[np.bool_]) -> Sites:
    return Sites(**{name: getattr(sites, name)[rows] for name in sites.__dataclass_fields__})


@dataclass(frozen=True)
class _Held:
    contacts: Contacts
    loads_n: Floats
    stages: list[Stage]
    ways: Ways
    strong: Strong


def _hold(ground: _Ground, contacts: Contacts, most_mm: Floats) -> _Held:
    """Necks, ways and posts for some contacts."""
    wanted, strength = ground.wanted, ground.wanted.strength
    stages = stages_of(
        ground.found,
        contacts,
        layer_mm=wanted.layer_mm,
        stress_kpa=strength.stress_kpa,
        density_g_cm3=strength.density_g_cm3,
    )
    contacts, loads = size_necks(
        stages, contacts, most_mm, strength_mpa=strength.strength_mpa, safety=strength.safety
    )
    cost = cost_of(wanted.shapes, strength.modulus_mpa, strength.strength_mpa, strength.safety)
    everyone = frozenset(range(len(contacts)))
    alone: frozenset[int] = frozenset()
    best, least = None, np.inf
    for number in range(REROUTES):
        ways = route(contacts, loads, ground.spaces, wanted.shapes, cost, avoids=ground.avoids, alone=alone)
        strong = _strong(ground, ways, contacts, stages, ground.far)
        excess = max(float(np.maximum(strong.bending, strong.buckling).max(initial=0.0)), OVERLOADED)
        price = excess * _resin_mm3(ways, strong, cost)
        if best is None or price < least:
            best, least = _Held(contacts, loads, stages, ways, strong), price
        alone = everyone if number == REROUTES - 2 else alone | _overloaded(ways, strong)
    assert best is not None
    return best


def _resin_mm3(ways: Ways, strong: Strong, cost: PostCost) -> float:
    """Posts and feet, joints counted twice."""
    edges = ways.edges
    if not len(edges):
        return 0.0
    places = np.array(ways.places)
    length = np.linalg.norm(places[edges[:, 0]] - places[edges[:, 1]], axis=1)
    posts = float((np.pi * strong.radii_mm[edges[:, 0]] ** 2 * length).sum())
    return posts + cost.foot_mm3 * sum(kind == FOOT for kind in ways.kinds)


def _overloaded(ways: Ways, strong: Strong) -> frozenset[int]:
    """Contacts that go down by posts which have no room to be as thick as they should."""
    over = np.maximum(strong.bending, strong.buckling) > OVERLOADED
    rows = set()
    for tip, row in ways.tip_of.items():
        node = ways.down[tip]
        while node >= 0:
            if over[node]:
                rows.add(row)
                break
            node = ways.down[node]
    return frozenset(rows)


def _strong(
    ground: _Ground, ways: Ways, contacts: Contacts, stages: list[Stage], far: FarField | None
) -> Strong:
    strength = ground.wanted.strength
    return strengthen(
        ways, contacts, load_cases(stages, contacts), far, ground.wanted.shapes, modulus_mpa=strength.modulus_mpa,
        strength_mpa=strength.strength_mpa, safety=strength.safety,
    )  # fmt: skip


def _look(ground: _Ground, props: Mesh) -> Found:
    """The layers with the props in them."""
    sections = ground.sections
    others = section_layers(props.points, props.triangles, sections.grid, sections.layers)
    bearing = replace(ground.wanted.bearing, reach_mm=SLACK * ground.wanted.bearing.reach_mm)
    return find_sites(sections, bearing, others=others)


def _settled(
    ground: _Ground, held: _Held, props: Mesh, left: Found, offset: Floats, rounds: int, deep: Floats
) -> Standing:
    """Moved so that piece and props stand about x = y = 0, by whole pixels so that no image changes."""
    wanted, strength = ground.wanted, ground.wanted.strength
    plain = plain_columns(held.contacts, ground.spaces[-1], wanted.shapes)
    columns = _strong(ground, plain, held.contacts, held.stages, None)
    solid = solid_of(plain, columns.radii_mm, held.contacts.diameters_mm, wanted.shapes, depth_mm=deep)
    both = (
        np.stack([ground.piece.bounds, props.bounds]) if len(props.triangles) else ground.piece.bounds[None]
    )
    middle = 0.5 * (both[:, 0].min(axis=0) + both[:, 1].max(axis=0))[:2]
    pixel = np.array(wanted.pixel_mm)
    shift = np.array([*(-np.rint(middle / pixel) * pixel), 0.0])
    sites = left.sites
    return Standing(
        piece=Mesh(ground.piece.points + shift, ground.piece.triangles),
        props=Mesh(props.points + shift, props.triangles),
        offset_mm=offset + shift,
        contacts=replace(held.contacts, places_mm=held.contacts.places_mm + shift),
        loads_n=held.loads_n,
        bears_n=necks_bear_n(held.contacts, strength_mpa=strength.strength_mpa, safety=strength.safety),
        ways=replace(held.ways, places=[place + shift for place in held.ways.places]),
        strong=held.strong,
        left=replace(sites, places_mm=sites.places_mm + shift),
        flecks=left.flecks,
        rounds=rounds,
        plain_mm3=measure_solid(solid).volume,
    )
