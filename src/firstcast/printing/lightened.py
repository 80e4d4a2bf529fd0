"""The same tips on trees that take less resin, as long as the layers are held as well."""

from dataclasses import replace

import numpy as np

from firstcast.printing.asked_tips import more_necks
from firstcast.printing.forest import lead_down
from firstcast.printing.held_props import Held, Seen
from firstcast.printing.holding import load_cases
from firstcast.printing.necks import Necks, SpareTips, size_and_share
from firstcast.printing.prop_ground import PropGround
from firstcast.printing.settled_trees import settle
from firstcast.printing.sized_trees import LAST_ROUNDS, size_posts, steadied
from firstcast.printing.skeletons import loaded
from firstcast.printing.ways import together

MORE_LOOKS = 3
"""What trees left without hold when they moved is looked for so often."""


def lightened(ground: PropGround, necks: Necks, held: Held, spare: SpareTips, seen: Seen) -> Seen | None:
    """The same tips on trees that take less resin, and a few more where those leave something without hold.

    A post may hold what starts beside it by standing in its way, and does so no more once it has moved.

    Parameters
    ----------
    ground : PropGround
    necks : Necks
        Of the tips of `held`, as they begin.
    held : Held
    spare : SpareTips
    seen : Seen
        The last look; of `held` or of what came before it.

    Returns
    -------
    Seen or None
        None if the layers ask for more than with `held`, or for anything where that was not looked at, or too much is borne.
    """
    loads = np.abs(held.cases[:, 0]).max(axis=1, initial=0.0)
    ways, strong = settle(held.ways, held.strong, held.contacts, loads, held.cases, ground.free)
    lighter = replace(held, ways=ways, strong=strong)
    asked = seen.asks if seen.held is held else 0
    for looks in range(seen.looks + 1, seen.looks + 1 + MORE_LOOKS):
        found = Seen.of(ground, lighter, looks)
        if found.asks <= asked:
            return found
        necks, lighter = _with_more(
            ground, more_necks(ground, found.left.sites, spare, necks), lighter, spare
        )
        if lighter.most_used(ground) > max(1.0, held.most_used(ground)):
            break
    return None


def _with_more(ground: PropGround, necks: Necks, held: Held, spare: SpareTips) -> tuple[Necks, Held]:
    """What is held, and tips after those of it that go down by ways of their own; all sized for what they bear now."""
    necks, contacts, loads, stages = size_and_share(ground, necks, spare)
    cases = load_cases(stages, contacts)
    most = np.abs(cases[:, 0]).max(axis=1, initial=0.0)
    new = np.arange(len(held.contacts), len(contacts))
    ways, strong = lead_down(contacts, most, cases, ground.free, rows=new)
    both = together([held.ways, ways])
    both.tips, both.loads_n = [0] * len(both.places), [0.0] * len(both.places)
    loaded(both, most)
    radii = np.concatenate([held.strong.radii_mm, strong.radii_mm])
    thick = size_posts(both, contacts, cases, ground.free, least_mm=radii)
    thick = steadied(both, thick, contacts, cases, ground.free, rounds=LAST_ROUNDS)
    return necks, Held(contacts, necks.deep_mm, loads, cases, both, thick)
