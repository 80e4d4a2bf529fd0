"""What each tip bears while the piece is built: peel and weight of the body that it holds, until that has joined another.

While a body hangs on its own tips they alone bear it; once it has grown together with another, the tips of both share the
load of both, as the discs of one section do (`process.neck_groups`), wherever the load lies: necks are pulled, pressed and bent.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.printing.starts import Found
from firstcast.printing.tips import Contacts
from firstcast.process.neck_groups import Borne, areas_mm2, neck_grows, share
from firstcast.process.peel import GRAVITY_N_G, neck_bears_n

Floats = npt.NDArray[np.float64]

ROUNDS = 400
"""Necks are sized again and again, since a thicker neck takes more of the load; most pieces settle within ten, some need over forty."""

SIZED_FOR = 0.998
"""Of what they may bear: what they are sized for comes nearer and nearer, and so they bear it after a few rounds."""


@dataclass(frozen=True)
class Stage:
    """Layers through which the same tips hold the same body.

    Attributes
    ----------
    tips : (n,) int64
        Contact rows.
    layers : (r,) int32
    loads_n : (r,) float64
        Peel and weight.
    middles_mm : (r, 2) float64
        Where that acts.
    """

    tips: npt.NDArray[np.int64]
    layers: npt.NDArray[np.int32]
    loads_n: Floats
    middles_mm: Floats

    def only(self, tips: npt.NDArray[np.int64]) -> "Stage":
        """The same load on some of the tips."""
        return replace(self, tips=tips)

    def borne(self, contacts: Contacts) -> Borne:
        """What each tip bears in each layer."""
        return share(
            contacts.places_mm[self.tips, :2], contacts.diameters_mm[self.tips], self.loads_n, self.middles_mm
        )


def stages_of(
    found: Found, contacts: Contacts, *, layer_mm: float, stress_kpa: float, density_g_cm3: float
) -> list[Stage]:
    """The stages of a piece, in the order of its layers.

    Parameters
    ----------
    found : Found
        Of the piece alone: the numbers of its bodies are those of `contacts.bodies`.
    stress_kpa, density_g_cm3 : float
        That parts a layer from the film; of the cured resin.
    """
    tips_of: dict[int, list[int]] = {}
    moments: dict[int, Floats] = {}
    kept: dict[tuple[int, ...], list[tuple[int, float, float, float]]] = {}
    joined: dict[int, int] = {}
    arriving = np.argsort(contacts.layers, kind="stable")
    next_tip = next_join = 0

    def root(body: int) -> int:
        while body in joined:
            body = joined[body]
        return body

    for layer, number, area, x, y in found.rows:
        while next_join < len(found.joins) and found.joins[next_join, 0] <= layer:
            _, gone, to = found.joins[next_join].tolist()
            next_join += 1
            gone, to = root(gone), root(to)
            if gone != to:
                joined[gone] = to
                tips_of.setdefault(to, []).extend(tips_of.pop(gone, []))
                moments[to] = moments.get(to, np.zeros(3)) + moments.pop(gone, np.zeros(3))
        while next_tip < len(arriving) and contacts.layers[arriving[next_tip]] <= layer:
            tip = int(arriving[next_tip])
            tips_of.setdefault(root(int(contacts.bodies[tip])), []).append(tip)
            next_tip += 1
        body = root(int(number))
        weight = area * layer_mm * density_g_cm3 * 1e-3 * GRAVITY_N_G
        moments[body] = moments.get(body, np.zeros(3)) + weight * np.array([1.0, x, y])
        peel = area * stress_kpa * 1e-3
        total = moments[body] + peel * np.array([1.0, x, y])
        group = tuple(sorted(tips_of.get(body, ())))
        if group:
            kept.setdefault(group, []).append(
                (int(layer), total[0], total[1] / total[0], total[2] / total[0])
            )
    return [_stage(group, rows) for group, rows in kept.items()]


def _stage(group: tuple[int, ...], rows: list[tuple[int, float, float, float]]) -> Stage:
    table = np.array(rows)
    return Stage(
        np.array(group, np.int64), table[:, 0].astype(np.int32), np.ascontiguousarray(table[:, 1]),
        np.ascontiguousarray(table[:, 2:]),
    )  # fmt: skip


def worst_loads(stages: list[Stage], contacts: Contacts) -> Floats:
    """(n,) the most that each tip bears in any layer, bending counted: the load along its neck that would stress it as much."""
    return _worst(stages, contacts, 1.0)[0] * areas_mm2(contacts.diameters_mm)


def _worst(stages: list[Stage], contacts: Contacts, may_mpa: float) -> tuple[Floats, Floats]:
    """(n,) the greatest stress of each neck in any layer, and by how much it would have to be thicker to bear what it does."""
    stress, factor = np.zeros(len(contacts)), np.zeros(len(contacts))
    for stage in stages:
        borne = stage.borne(contacts)
        pulled, bent = np.abs(borne.middle_mpa), borne.bending_mpa
        np.maximum.at(stress, stage.tips, (pulled + bent).max(axis=1))
        np.maximum.at(factor, stage.tips, neck_grows(pulled / may_mpa, bent / may_mpa).max(axis=1))
    return stress, factor


def size_necks(
    stages: list[Stage], contacts: Contacts, most_mm: Floats, *, strength_mpa: float, safety: float
) -> tuple[Contacts, Floats]:
    """Necks thick enough for what they bear, none thicker than `most_mm` (n,); and what they bear then: see `worst_loads`.

    No neck that may still grow is left with more than it may bear.

    Parameters
    ----------
    strength_mpa, safety : float
        Of the resin as it leaves the vat; the factor between what a neck bears and what it may bear.
    """
    may_mpa, most_mm = strength_mpa / safety, np.maximum(most_mm, contacts.diameters_mm)
    stress, factor = _worst(stages, contacts, SIZED_FOR * may_mpa)
    for _ in range(ROUNDS):
        if not ((stress > may_mpa) & (contacts.diameters_mm < most_mm)).any():
            break
        contacts = contacts.sized(np.minimum(contacts.diameters_mm * np.maximum(factor, 1.0), most_mm))
        stress, factor = _worst(stages, contacts, SIZED_FOR * may_mpa)
    return contacts, stress * areas_mm2(contacts.diameters_mm)


def load_cases(stages: list[Stage], contacts: Contacts) -> Floats:
    """(n, 3, cases) what all tips bear at once: where any tip is pulled or bent most, and in each stage's layer of greatest load.

    For each tip what pulls it, and what bends it: ∫ σ x dA and ∫ σ y dA over its neck.
    """
    most = np.zeros((2, len(contacts)))
    own: dict[tuple[int, int], Floats] = {}
    cases: list[Floats] = []
    for stage in stages:
        borne = stage.borne(contacts)
        shared = np.concatenate([borne.loads_n[:, None], borne.moments_nmm], axis=1)
        for kind, size in enumerate(_sizes(shared)):
            column = size.argmax(axis=1)
            for n, tip in enumerate(stage.tips.tolist()):
                if size[n, column[n]] > most[kind, tip]:
                    most[kind, tip] = size[n, column[n]]
                    own[kind, tip] = _case(contacts, stage, shared[:, :, column[n]])
        cases.append(_case(contacts, stage, shared[:, :, int(stage.loads_n.argmax())]))
    cases += [own[key] for key in sorted(own)]
    return np.array(cases).reshape(-1, len(contacts), 3).transpose(1, 2, 0)


def pulling(loads_n: Floats) -> Floats:
    """(n, 3, cases) of loads (n, cases) that bend nothing."""
    return np.stack([loads_n, np.zeros_like(loads_n), np.zeros_like(loads_n)], axis=1)


def _sizes(cases: Floats) -> tuple[Floats, Floats]:
    """How much each tip is pulled or pressed, and bent: (n, cases) both."""
    return np.abs(cases[:, 0]), np.hypot(cases[:, 1], cases[:, 2])


def _case(contacts: Contacts, stage: Stage, shared: Floats) -> Floats:
    case = np.zeros((len(contacts), 3))
    case[stage.tips] = shared
    return case


def packed_cases(cases: Floats, tree_of: npt.NDArray[np.int64]) -> Floats:
    """The cases that tell for each tree of props, side by side: trees don't know of one another, so one column serves all.

    Parameters
    ----------
    cases : (n, 3, cases) float64
    tree_of : (n,) int64
        Number of the tree that each tip goes down by; below zero for none.

    Returns
    -------
    (n, 3, most) float64
        For each tree the cases in which one of its tips is pulled or bent most, or all of them together are pulled.
    """
    trees = [np.flatnonzero(tree_of == tree) for tree in np.unique(tree_of[tree_of >= 0])]
    if not trees or not cases.shape[2]:
        return np.zeros((len(cases), 3, 0))
    pulled, bent = _sizes(cases)
    telling = [
        sorted(
            {
                *pulled[rows].argmax(axis=1).tolist(),
                *bent[rows].argmax(axis=1).tolist(),
                int(pulled[rows].sum(axis=0).argmax()),
            }
        )
        for rows in trees
    ]
    out = np.zeros((len(cases), 3, max(len(columns) for columns in telling)))
    for rows, columns in zip(trees, telling, strict=True):
        out[rows, :, : len(columns)] = cases[rows][:, :, columns]
    return out


def fullest(cases: Floats, rows: Sequence[int] | npt.NDArray[np.int64]) -> Floats:
    """(n,) what pulls tips in the case in which some of them, a tree's, bear most together."""
    pulled = cases[:, 0]
    return pulled[:, int(np.abs(pulled[rows]).sum(axis=0).argmax())]


def necks_bear_n(contacts: Contacts, *, strength_mpa: float, safety: float) -> Floats:
    """(n,) what each neck may bear along it."""
    return np.array([neck_bears_n(strength_mpa, d, safety) for d in contacts.diameters_mm])
