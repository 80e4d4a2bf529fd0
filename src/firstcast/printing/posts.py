"""Posts thick enough: bending and Euler's load of every post, from one frame solve per round."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.fields.far import FarField, sample
from firstcast.printing.frame import solve_frame
from firstcast.printing.holding import Stage
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import FOOT, HEAD, JOINT, REST, TIP, Ways
from firstcast.process.strength import PINNED_PINNED, RoundSection, euler_load_n

Floats = npt.NDArray[np.float64]

ROUNDS = 8
GROWS_MOST = 1.6
"""A post grows by this at most from one round to the next, since a thicker one draws load."""

NEAREST_MM = 0.2
"""Growing posts stay so far off the figure."""


@dataclass(frozen=True)
class Strong:
    """Posts as sized.

    Attributes
    ----------
    radii_mm : (nodes,) float64
        Of the post that goes down from each node.
    bending, buckling : (nodes,) float64
        Utilisation of each: stress over what the resin may bear, and pressing load over Euler's by the same factor.
    """

    radii_mm: Floats
    bending: Floats
    buckling: Floats


def load_cases(stages: list[Stage], contacts: Contacts) -> Floats:
    """(n, cases) what all tips bear at once: in each stage's layer of greatest load, where any tip bears its own most, or
    nearly, or where all together do."""
    cases: list[Floats] = []
    areas = contacts.diameters_mm**2
    for stage in stages:
        shared = stage.shared(contacts.places_mm, areas)
        for column in {int(stage.loads_n.argmax()), int(np.abs(shared).max(axis=0).argmax())}:
            case = np.zeros(len(contacts))
            case[stage.tips] = shared[:, column]
            cases.append(case)
    table = np.array(cases).reshape(-1, len(contacts))
    if not len(table):
        return table.T
    size = np.abs(table)
    telling = {int(row) for row in size.argmax(axis=0)} | {int(size.sum(axis=1).argmax())}
    return np.ascontiguousarray(table[sorted(telling)].T)


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
) -> Strong:
    """Radii with which every post bears its loads, as far as there is room.

    Necks are hinges: they bend before anything else. The piece, stiff against its props, lets its tips move along z only.
    Pressing the platform down squeezes resin out with the force that parting draws it in by (J. Stefan's law is the same both
    ways), so every load counts as a pressing one too.

    Parameters
    ----------
    cases : (n, cases) float64
        Loads of the contacts.
    far : FarField or None
        Distances from the piece, which posts keep their distance from; None lets them grow as they must.
    modulus_mpa, strength_mpa, safety : float
        Of the resin as it leaves the vat.
    """
    places, edges = np.array(ways.places).reshape(-1, 3), ways.edges
    count = len(places)
    radii = np.full(count, 0.5 * shapes.post_mm)
    room = np.full(count, np.inf) if far is None else _room(places, edges, far, shapes)
    chain, length = _chains(ways, places)
    for tip, row in ways.tip_of.items():
        if contacts.on_tab[row]:
            head = ways.down[tip]
            radii[chain == chain[head]] = max(0.5 * shapes.post_mm, 0.6 * contacts.diameters_mm[row])
    held, forces = _supports(ways, cases, count)
    least = np.array([_neck(ways, contacts, up, down, shapes) for up, down in edges])
    bending, buckling = np.zeros(count), np.zeros(count)
    if not len(edges) or not cases.shape[1]:
        return Strong(radii, bending, buckling)
    for round_ in range(ROUNDS):
        upper = edges[:, 0]
        thick = np.where(
            least > 0.0,
            0.5 * (least + 2.0 * radii[np.where(least > 0.0, edges[:, 1], upper)]),
            2.0 * radii[upper],
        )
        strut = np.array([ways.kinds[up] == TIP and ways.kinds[down] == REST for up, down in edges])
        thick = np.where(strut, np.maximum(least, 1e-3), thick)
        solved = solve_frame(places, edges, thick, modulus_mpa, held, forces)
        axial = np.abs(solved.axial_n)
        w, a = np.pi * thick**3 / 32.0, np.pi * thick**2 / 4.0
        stress = (axial / a[:, None] + solved.bending_nmm.max(axis=1) / w[:, None]).max(axis=1)
        euler = np.array(
            [
                euler_load_n(modulus_mpa, RoundSection(d), size, PINNED_PINNED)
                for d, size in zip(thick, length[upper], strict=True)
            ]
        )
        bending[upper], buckling[upper] = stress * safety / strength_mpa, axial.max(axis=1) * safety / euler
        fixed = np.array([ways.kinds[up] == TIP for up in upper])
        bending[upper[fixed]] = np.where(strut[fixed], bending[upper[fixed]], 0.0)
        buckling[upper[fixed]] = np.where(strut[fixed], buckling[upper[fixed]], 0.0)
        if round_ == ROUNDS - 1:
            break
        wanted = np.maximum(np.cbrt(bending), buckling**0.25)
        grows = np.zeros(int(chain.max()) + 1)
        np.maximum.at(grows, chain, wanted)
        most = np.full(len(grows), np.inf)
        np.minimum.at(most, chain, room)
        factor = np.clip(grows[chain] * 1.02, 1.0, GROWS_MOST)
        grown = np.maximum(radii, np.minimum(radii * np.where(grows[chain] > 1.0, factor, 1.0), most[chain]))
        if (grown <= radii * 1.001).all():
            break
        radii = grown
    return Strong(radii, bending, buckling)


def _neck(ways: Ways, contacts: Contacts, up: int, down: int, shapes: PropShapes) -> float:
    """Diameter of the neck at an edge's end; 0 without one."""
    if ways.kinds[up] == TIP:
        return float(contacts.diameters_mm[ways.tip_of[up]])
    return shapes.tip_mm if ways.kinds[down] == REST and ways.kinds[up] == HEAD else 0.0


def _room(places: Floats, edges: npt.NDArray[np.int64], far: FarField, shapes: PropShapes) -> Floats:
    """(nodes,) how thick the post from each node may grow."""
    out = np.full(len(places), 0.5 * shapes.post_most_mm)
    t = np.linspace(0.0, 1.0, 16)
    if len(edges):
        along = places[edges[:, 0], None] + t[:, None] * (places[edges[:, 1]] - places[edges[:, 0]])[:, None]
        near = sample(far, along.reshape(-1, 3)).reshape(len(edges), -1).min(axis=1) - NEAREST_MM
        out[edges[:, 0]] = np.clip(near, 0.5 * shapes.post_mm, out[edges[:, 0]])
    return out


def _chains(ways: Ways, places: Floats) -> tuple[npt.NDArray[np.int64], Floats]:
    """Number of the unbranched run that each node's post belongs to, and that run's length in mm."""
    count = len(places)
    above = np.zeros(count, np.int64)
    for down in ways.down:
        if down >= 0:
            above[down] += 1
    chain = np.full(count, -1, np.int64)
    lengths: list[float] = []
    for start in range(count):
        if ways.kinds[start] == JOINT and above[start] == 1:
            continue  # within a run
        number, node, total = len(lengths), start, 0.0
        while node >= 0:
            chain[node] = number
            below = ways.down[node]
            if below < 0:
                break
            total += float(np.linalg.norm(places[node] - places[below]))
            if ways.kinds[node] == TIP or not (ways.kinds[below] == JOINT and above[below] == 1):
                break
            node = below
        lengths.append(total)
    return chain, np.array(lengths)[chain]


def _supports(ways: Ways, cases: Floats, count: int) -> tuple[npt.NDArray[np.bool_], Floats]:
    """What is held, and the loads of the nodes."""
    held = np.zeros((count, 6), bool)
    forces = np.zeros((count, 6, cases.shape[1]))
    for node, kind in enumerate(ways.kinds):
        if kind in (FOOT, REST):
            held[node] = True
        elif kind == TIP:
            held[node, :2] = True
            if ways.down[node] < 0:
                held[node] = True  # goes nowhere: told by itself
            forces[node, 2] = -cases[ways.tip_of[node]]
    return held, forces
