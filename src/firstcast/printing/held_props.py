"""Props that hold a piece: tips, necks and posts as one, how much of them is used, and a look at the layers with them."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh
from firstcast.printing.holding import necks_bear_n
from firstcast.printing.posts import Strong
from firstcast.printing.prop_ground import PropGround
from firstcast.printing.prop_solids import solid_of
from firstcast.printing.starts import Found
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import REST, Ways, roots_of

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Held:
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

    def most_used(self, ground: PropGround) -> float:
        """The greatest share of what they may bear that a neck or a post bears."""
        strength = ground.wanted.strength
        bears = necks_bear_n(self.contacts, strength_mpa=strength.strength_mpa, safety=strength.safety)
        return float(max((self.loads_n / bears).max(initial=0.0), self.strong.use.max(initial=0.0)))


def prop_uses(ways: Ways, strong: Strong, count: int) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """(count,) how much the prop of each contact is used, at most; and whether it stands on the figure."""
    uses, rests = np.zeros(count), np.zeros(count, bool)
    tree = roots_of(ways)
    most = np.zeros(len(tree))
    np.maximum.at(most, tree, strong.use)
    for tip, row in ways.tip_of.items():
        uses[row], rests[row] = most[tree[tip]], ways.kinds[tree[tip]] == REST
    return uses, rests


class Seen(NamedTuple):
    """What holds a piece, its solid, what the layers ask for all the same, and how often they were looked at with props by then."""

    held: Held
    props: Mesh
    left: Found
    looks: int

    @classmethod
    def of(cls, ground: PropGround, held: Held, looks: int) -> "Seen":
        """Looked at."""
        props = held.solid(ground)
        return cls(held, props, ground.look(props), looks)

    @property
    def asks(self) -> int:
        """In how many places tips are asked for."""
        return len(self.left.sites.layers)
