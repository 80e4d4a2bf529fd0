"""Necks of all tips: as thick as they must be, and more of them where they may not be thick enough."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.printing.groups_of_tips import TOO_MUCH
from firstcast.printing.heads import DISLIKED_MM, LENGTHS, choose_heads
from firstcast.printing.holding import Stage, necks_bear_n, size_necks, stages_of
from firstcast.printing.prop_ground import PropGround
from firstcast.printing.prop_wants import TabEnd
from firstcast.printing.sharing import share_out
from firstcast.printing.starts import SHARE
from firstcast.printing.tips import Contacts, necks_at

Floats = npt.NDArray[np.float64]

ROUNDS = 6
"""So often tips are added at most: sizing what is there shifts loads a little."""

THICKER, ON_TAB, ON_THIN, ROUGHER = 0.5, 0.3, 4.0, 2.0
"""Beside a new mark on smooth skin: what a thicker neck on one that is there counts, a new tip on the tab, a fine one on a thin part,
which it may break, and a rough spot more, by its roughness. Chosen, no source."""

MARK_MM3 = 10.0
"""So much resin is worth one mark more on smooth skin. Chosen, no source."""


@dataclass(frozen=True)
class Necks:
    """Tips as they begin, how thick each may get, how deep it enters, and what the prop below it may bear along it.

    `most_mm`, `deep_mm`, `props_n` (n,) float64; the last is infinite where the prop bears what its neck does.
    """

    contacts: Contacts
    most_mm: Floats
    deep_mm: Floats
    props_n: Floats

    def joined(self, more: "Necks") -> "Necks":
        """These, and others after them."""
        return Necks(
            self.contacts.joined(more.contacts),
            np.concatenate([self.most_mm, more.most_mm]),
            np.concatenate([self.deep_mm, more.deep_mm]),
            np.concatenate([self.props_n, more.props_n]),
        )


class SpareTips:
    """Tips that could be added: what they would be is found out when they are first wanted."""

    def __init__(self, ground: PropGround, tab: TabEnd | None) -> None:
        self._ground, self._tab = ground, tab
        self._found: tuple[Contacts, Floats] | None = None

    def all(self) -> tuple[Contacts, Floats]:
        """Tips as thick as each may be, and the price (s,) of each; infinite where it has no way down."""
        if self._found is None:
            self._found = self._find()
        return self._found

    def bodies_near(self, places: Floats) -> npt.NDArray[np.int32]:
        """(n,) bodies of the spare places nearest to some places; -1 where there are none."""
        contacts = self.all()[0]
        if not len(contacts):
            return np.full(len(places), -1, np.int32)
        away = np.linalg.norm(places[:, None] - contacts.places_mm, axis=2)
        return contacts.bodies[away.argmin(axis=1)]

    def _find(self) -> tuple[Contacts, Floats]:
        ground = self._ground
        wanted, far, shapes = ground.wanted, ground.free.far, ground.wanted.shapes
        assert far is not None
        mine = ground.found.asked > 0
        places, normals = ground.spare.places_mm[mine], ground.spare.normals[mine]
        count = len(places)
        on_tab = np.zeros(count, bool) if self._tab is None else self._tab.holds(places)
        rough = np.where(on_tab, 0.0, ground.skin.rough(places, normals))
        fine = necks_at(places, normals, far, shapes)
        thin = ~on_tab & (fine < shapes.tip_mm)
        most = np.where(on_tab, shapes.tab_tip_most_mm, np.where(thin, fine, shapes.tip_most_mm))
        # a little later than they touch: in the layer in which their body was asked for
        layers = np.ceil(places[:, 2] / wanted.layer_mm).astype(np.int32) + 1
        contacts = Contacts(
            places, normals, most, layers, ground.found.asked[mine], np.full(count, SHARE, np.int32), on_tab, rough
        )  # fmt: skip
        strength = wanted.strength
        bears = necks_bear_n(
            contacts.sized(np.full(count, shapes.tip_mm)),
            strength_mpa=strength.strength_mpa,
            safety=strength.safety,
        )
        heads, space_of = choose_heads(contacts, bears, ground.free.spaces, shapes, ground.free.cost)
        price = (
            np.where(on_tab, ON_TAB, np.where(thin, ON_THIN, 1.0) + ROUGHER * rough)
            + self._resin_mm3(places, heads, space_of, bears) / MARK_MM3
        )
        return contacts, np.where(space_of >= 0, price, np.inf)

    def _resin_mm3(
        self, places: Floats, heads: Floats, space_of: npt.NDArray[np.int64], loads_n: Floats
    ) -> Floats:
        """(s,) what a post of its own would take, by estimate, and how little a long tip is liked."""
        free = self._ground.free
        tips = heads - places
        length = np.linalg.norm(tips, axis=1)
        left = np.zeros(len(places))
        for number, space in enumerate(free.spaces):
            mine = space_of == number
            left[mine] = space.left_mm(heads[mine])
        longer = length / free.shapes.tip_length_mm
        dislike = np.interp(longer, np.sort(LENGTHS), np.array(DISLIKED_MM)[np.argsort(LENGTHS)])
        beside = loads_n * np.hypot(tips[:, 0], tips[:, 1])
        return free.cost.down_mm3(loads_n, left + length, beside) + free.cost.least_mm2 * dislike


def size_and_share(
    ground: PropGround, necks: Necks, spare: SpareTips
) -> tuple[Necks, Contacts, Floats, list[Stage]]:
    """Necks thick enough, with tips added where that is not enough: those that there are, sized, their loads, and stages."""
    wanted, strength = ground.wanted, ground.wanted.strength
    bearing = {"strength_mpa": strength.strength_mpa, "safety": strength.safety}
    for round_ in range(ROUNDS + 1):
        stages = stages_of(
            ground.found, necks.contacts, layer_mm=wanted.layer_mm, stress_kpa=strength.stress_kpa,
            density_g_cm3=strength.density_g_cm3,
        )  # fmt: skip
        sized, loads = size_necks(stages, necks.contacts, necks.most_mm, **bearing)
        bear = np.minimum(necks_bear_n(sized, **bearing), necks.props_n)
        if round_ == ROUNDS or (loads <= TOO_MUCH * bear).all():
            break
        could, prices = spare.all()
        thin = sized.diameters_mm < wanted.shapes.tip_mm
        mine = np.where(thin, np.inf, np.where(sized.on_tab, ON_TAB, THICKER))
        grown, rows = share_out(
            ground.found, sized, necks.most_mm, could, np.concatenate([mine, prices]), strength, layer_mm=wanted.layer_mm,
            props_n=necks.props_n,
        )  # fmt: skip
        stout = grown > sized.diameters_mm
        if not len(rows) and not stout.any():
            break
        # with others beside them necks begin anew, as thin as they began; what only got thicker bears as it is
        begin = grown if not len(rows) else np.where(stout, grown, necks.contacts.diameters_mm)
        more = could.only(rows)
        deep = wanted.shapes.depth_mm * np.where(more.on_tab, 2.0, 1.0)
        necks = replace(necks, contacts=necks.contacts.sized(begin)).joined(
            Necks(more, more.diameters_mm, deep, np.full(len(more), np.inf))
        )
    return necks, sized, loads, stages
