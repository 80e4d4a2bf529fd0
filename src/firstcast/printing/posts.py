"""Posts thick enough: bending and Euler's load of every part of every post, from one frame solve per round."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.fields.far import FarField, sample
from firstcast.printing.frame import buckling_modes, solve_frame
from firstcast.printing.holding import pulling
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.runs_of_posts import Runs, runs_of
from firstcast.printing.stepped import stepped_loads_n
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import FOOT, HEAD, REST, TIP, Ways

Floats = npt.NDArray[np.float64]

ROUNDS = 14
GROWS_MOST = 1.6
"""A post grows by this at most from one round to the next, since a thicker one draws load."""

SPARE, SETTLED = 1.02, 1.001
"""Posts grow by this more than they must, so that few rounds are needed; what grows by less has settled."""

NEAREST_MM = 0.2
"""Growing posts stay so far off the figure."""

CONE_SEEN = 0.6
"""Of a cone on the figure: nearer to it, it touches the figure anyway."""

MODES, HALVINGS, LEAST_LEFT = 4, 60, 0.02
"""Ways of buckling that are seen to at once; steps that find how much to grow; what is left to members that may grow, at least."""

TAB_POST_RATIO = 0.6
"""Radius of a post under the tab, over the diameter of its neck at least."""


@dataclass(frozen=True)
class Strong:
    """Posts as sized.

    Attributes
    ----------
    radii_mm : (nodes,) float64
        Of the part of a post that goes down from each node.
    bending, buckling : (nodes,) float64
        Utilisation of each: stress over what the resin may bear, and pressing load over Euler's by the same factor.
    """

    radii_mm: Floats
    bending: Floats
    buckling: Floats

    @property
    def use(self) -> Floats:
        """(nodes,) the greater of both."""
        return np.maximum(self.bending, self.buckling)


@dataclass(frozen=True)
class _Members:
    """The edges of a forest, and how thick those are that end in a neck.

    `necks_mm` (e,) is 0 where there is none. A strut goes from its tip straight to the figure and is as thick as its neck; what
    widens from a neck to its post isn't judged: the neck is (`neck_bears_n`).
    """

    edges: npt.NDArray[np.int64]
    necks_mm: Floats
    tips: npt.NDArray[np.bool_]
    struts: npt.NDArray[np.bool_]

    @property
    def judged(self) -> npt.NDArray[np.bool_]:
        """(e,) which members are posts or struts."""
        return (self.necks_mm == 0.0) | self.struts

    def thick_mm(self, radii: Floats) -> Floats:
        """(e,) diameter of each member, those with a neck as thick as half-way."""
        upper, lower = self.edges.T
        wide = 2.0 * np.where(self.tips, radii[lower], radii[upper])
        thick = np.where(self.necks_mm > 0.0, 0.5 * (self.necks_mm + wide), wide)
        return np.where(self.struts, self.necks_mm, thick)


def strengthen(
    ways: Ways,
    contacts: Contacts,
    cases: Floats,
    far: FarField | None,
    shapes: PropShapes,
    *,
    modulus_mpa: float,
    strength_mpa: float,
    safety: float,
    least_mm: Floats | None = None,
) -> Strong:
    """Radii with which every post bears its loads, as far as there is room.

    The piece, stiff against its props, lets its tips move along z only; how much of a moment each neck takes it settles with its
    necks (`neck_groups`), and that bends the post below it. On the figure necks are hinges.
    Pressing the platform down squeezes resin out with the force that parting draws it in by (J. Stefan's law is the same both
    ways), so every load counts as a pressing one too.

    Parameters
    ----------
    cases : (n, 3, cases) float64
        Loads and moments of the contacts: `holding.load_cases`.
    far : FarField or None
        Distances from the piece, which posts keep their distance from; None lets them grow as they must.
    modulus_mpa, strength_mpa, safety : float
        Of the resin as it leaves the vat.
    least_mm : (nodes,) float64, optional
        Radii to begin with.
    """
    places, edges = np.array(ways.places).reshape(-1, 3), ways.edges
    count = len(places)
    radii = np.full(count, 0.5 * shapes.post_mm) if least_mm is None else least_mm.copy()
    bending, buckling = np.zeros(count), np.zeros(count)
    if not len(edges) or not cases.shape[2]:
        return Strong(radii, bending, buckling)
    members, runs = _members(ways, contacts, edges), runs_of(ways, places)
    room = room_of(ways, far, shapes)
    _start_stout(radii, ways, contacts, runs)
    held, forces = _supports(ways, cases, count)
    judged, upper = members.judged, edges[:, 0]
    on_foot = np.array([ways.kinds[ways.down[nodes[-1]]] == FOOT for nodes in runs.nodes])
    cones = _lower_cones(ways)
    for round_ in range(ROUNDS):
        radii[cones[:, 1]] = np.maximum(radii[cones[:, 1]], np.minimum(radii[cones[:, 0]], room[cones[:, 1]]))
        thick = members.thick_mm(radii)
        solved = solve_frame(places, edges, thick, modulus_mpa, held, forces)
        axial = np.abs(solved.axial_n)
        bends = solved.bending_nmm.max(axis=1) / (np.pi * thick**3 / 32.0)[:, None]
        stress = (axial / (np.pi * thick**2 / 4.0)[:, None] + bends).max(axis=1)
        bending[upper[judged]] = stress[judged] * safety / strength_mpa
        diameter = np.zeros(count)
        diameter[upper] = thick
        pressed = np.zeros(count)
        pressed[upper] = axial.max(axis=1)
        buckling = runs.spread(_buckling(runs, pressed, diameter, on_foot, modulus_mpa) * safety)
        buckling[upper[~judged]] = 0.0
        wanted = np.maximum(np.cbrt(bending), buckling**0.25)
        factor = np.where(wanted > 1.0, np.clip(SPARE * wanted, 1.0, GROWS_MOST), 1.0)
        grown = np.maximum(radii, np.minimum(radii * factor, room))
        if round_ == ROUNDS - 1 or (grown <= SETTLED * radii).all():
            break
        radii = grown
    return Strong(radii, bending, buckling)


def sway_use(ways: Ways, contacts: Contacts, case: Floats, radii: Floats, modulus_mpa: float) -> float:
    """How near a tree comes to buckling as a whole under loads (n,) of the contacts, all pressing: 1 where it does.

    Runs of posts may bear their loads each as a hinged column, and the joints between them still give way together.
    """
    shares, _ = _swaying(ways, contacts, case, radii, modulus_mpa, 1)
    return max(0.0, float(shares[0])) if len(shares) else 0.0


def stiffer(
    ways: Ways,
    contacts: Contacts,
    case: Floats,
    radii: Floats,
    room: Floats,
    *,
    modulus_mpa: float,
    safety: float,
) -> Floats:
    """(nodes,) radii with which a tree buckles as a whole only at `safety` times its load, with as little resin as it takes.

    What a part gives to a way of buckling goes down with the square of its section, so that resin does most where that is
    most for its length: sections grow as the cube root of it. The tree then gives way otherwise: to be called again.

    Parameters
    ----------
    room : (nodes,) float64
        No part grows beyond this.
    """
    shares, energy = _swaying(ways, contacts, case, radii, modulus_mpa, MODES)
    places, edges = np.array(ways.places).reshape(-1, 3), ways.edges
    members = _members(ways, contacts, edges)
    upper = edges[:, 0]
    resin = members.thick_mm(radii) ** 2 * np.linalg.norm(places[upper] - places[edges[:, 1]], axis=1)
    grows = members.judged & ~members.struts & (radii[upper] < room[upper])
    factors = np.ones(len(edges))
    for share, mine in zip(shares * safety * SPARE, energy.T, strict=True):
        if share > 1.0:
            factors = np.maximum(factors, _sections(share, mine, resin, grows))
    out = radii.copy()
    out[upper] = np.maximum(
        radii[upper], np.minimum(radii[upper] * np.sqrt(factors).clip(1.0, GROWS_MOST), room[upper])
    )
    return out


def _sections(share: float, energy: Floats, resin: Floats, grows: npt.NDArray[np.bool_]) -> Floats:
    """(e,) by how much the sections of members must grow that one way of buckling, `share` times too near, is far enough."""
    left = max(1.0 / share - energy[~grows].sum(), LEAST_LEFT)
    worth = np.where(grows, energy / resin, 0.0)
    if not (worth > 0.0).any():
        return np.ones(len(energy))
    low, high = 1e-9 / worth.max(), 1e9 / worth.max()
    for _ in range(HALVINGS):
        middle = np.sqrt(low * high)
        factors = np.maximum(1.0, np.cbrt(middle * worth))
        if (energy[grows] / factors[grows] ** 2).sum() > left:
            low = middle
        else:
            high = middle
    return np.maximum(1.0, np.cbrt(high * worth))


def _swaying(
    ways: Ways, contacts: Contacts, case: Floats, radii: Floats, modulus_mpa: float, most: int
) -> tuple[Floats, Floats]:
    places, edges = np.array(ways.places).reshape(-1, 3), ways.edges
    if not len(edges):
        return np.zeros(0), np.zeros((0, 0))
    thick = _members(ways, contacts, edges).thick_mm(radii)
    held, forces = _supports(ways, pulling(np.abs(case)[:, None]), len(places))
    solved = solve_frame(places, edges, thick, modulus_mpa, held, forces)
    return buckling_modes(places, edges, thick, modulus_mpa, held, solved.axial_n[:, 0], most=most)


def room_of(ways: Ways, far: FarField | None, shapes: PropShapes) -> Floats:
    """(nodes,) how thick the part of a post from each node may grow, by its radius.

    A cone that ends on the figure is nearer to it the thinner it is: it may begin as thick as leaves every place of its upper
    CONE_SEEN clear, with the neck that it narrows to as thick as any.
    """
    places, edges = np.array(ways.places).reshape(-1, 3), ways.edges
    out = np.full(len(places), 0.5 * shapes.post_most_mm if far is not None else np.inf)
    if far is None or not len(edges):
        return out
    kinds = np.array(ways.kinds)
    upper, lower = edges.T
    cone = (kinds[upper] == HEAD) & (kinds[lower] == REST)
    t = np.linspace(0.0, 1.0, 8) * np.where(cone, CONE_SEEN, 1.0)[:, None]
    along = places[upper, None] + t[:, :, None] * (places[lower] - places[upper])[:, None]
    near = sample(far, along.reshape(-1, 3)).reshape(t.shape)
    left = np.where(cone[:, None], 1.0 - t, 1.0)
    free = (near - NEAREST_MM * left - 0.5 * shapes.tip_most_mm * (1.0 - left)) / left
    out[upper] = np.clip(free.min(axis=1), 0.5 * shapes.post_mm, out[upper])
    return out


def _lower_cones(ways: Ways) -> npt.NDArray[np.int64]:
    """(c, 2) the part of a post over each cone that it stands on the figure by, and the cone: it begins as thick as that."""
    above = {below: node for node, below in enumerate(ways.down)}
    cones = [
        (above[node], node)
        for node, below in enumerate(ways.down)
        if below >= 0 and ways.kinds[node] == HEAD and ways.kinds[below] == REST
    ]
    return np.array(cones, np.int64).reshape(-1, 2)


def _members(ways: Ways, contacts: Contacts, edges: npt.NDArray[np.int64]) -> _Members:
    kinds = np.array(ways.kinds)
    upper, lower = edges.T
    tips = kinds[upper] == TIP
    ends = (kinds[upper] == HEAD) & (kinds[lower] == REST)
    row = {ways.end_of(tip): row for tip, row in ways.tip_of.items()}
    necks = np.zeros(len(edges))
    for n in np.flatnonzero(tips):
        necks[n] = contacts.diameters_mm[ways.tip_of[int(upper[n])]]
    for n in np.flatnonzero(ends):
        necks[n] = contacts.diameters_mm[row[int(lower[n])]]
    return _Members(edges, necks, tips, tips & (kinds[lower] == REST))


def _start_stout(radii: Floats, ways: Ways, contacts: Contacts, runs: Runs) -> None:
    """Posts right under the tab begin as thick as its necks ask for."""
    for tip, row in ways.tip_of.items():
        head = ways.down[tip]
        if head >= 0 and contacts.on_tab[row]:
            mine = runs.number == runs.number[head]
            radii[mine] = np.maximum(radii[mine], TAB_POST_RATIO * contacts.diameters_mm[row])


def _buckling(
    runs: Runs, pressed: Floats, diameter: Floats, on_foot: npt.NDArray[np.bool_], modulus_mpa: float
) -> Floats:
    """(runs,) the greatest load that presses each run, over the one at which it buckles."""
    wide = [diameter[nodes] for nodes in runs.nodes]
    most = np.array([pressed[nodes].max() for nodes in runs.nodes])
    return most / stepped_loads_n(modulus_mpa, runs.lengths_mm, wide, on_foot)


def _supports(ways: Ways, cases: Floats, count: int) -> tuple[npt.NDArray[np.bool_], Floats]:
    """What is held, and the loads of the nodes."""
    held = np.zeros((count, 6), bool)
    forces = np.zeros((count, 6, cases.shape[2]))
    for node, kind in enumerate(ways.kinds):
        if kind == FOOT:
            held[node] = True
        elif kind == REST:
            # a neck bends; what turns about z is held, or a strut could spin
            held[node, [0, 1, 2, 5]] = True
        elif kind == TIP:
            held[node, :2] = True
            if ways.down[node] < 0:
                held[node] = True  # goes nowhere: told by itself
            pulled, along_x, along_y = cases[ways.tip_of[node]]
            # what pulls at x turns about y the other way round
            forces[node, 2], forces[node, 3], forces[node, 4] = -pulled, -along_y, along_x
    return held, forces
