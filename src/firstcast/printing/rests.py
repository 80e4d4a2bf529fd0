"""Props that stand on the figure, and plain columns: straight runs from tips down to whatever is there."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from firstcast.fields.far import sample
from firstcast.printing.descent import FreeSpace, Place
from firstcast.printing.landings import cone_mm, landings_from, uses_of
from firstcast.printing.post_cost import PostCost
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.tips import Avoids, Contacts
from firstcast.printing.ways import FOOT, HEAD, REST, TIP, Ways

ROUGH_MM = 3.0
"""A place to stand on may be so much farther off for being smooth rather than as rough as can be. Chosen, no source."""

NEAR_RATIO = 1.6
"""Only places up to so many times as far as the nearest are asked for how rough they are."""

BEARS = 0.95
"""Places where a prop would be used by no more than this are all strong enough: how thick it gets is found out later."""

Rough = Callable[[Place], npt.NDArray[np.float64]]
"""How rough the figure is at places (n, 3): `tips.Skin.rough_at`."""


def rest_on_figure(
    ways: Ways,
    tip: int,
    normal: Place,
    neck_mm: float,
    space: FreeSpace,
    shapes: PropShapes,
    cost: PostCost,
    *,
    avoids: Avoids | None,
    rough: Rough | None,
) -> None:
    """Let a prop stand on the figure: a short run to a place below that faces up, bears it, is smooth, and isn't precious.

    It has a post with a neck at either end wherever there is room for one; where there is none it is a strut, as thick as its
    neck.
    """
    place, far, load = ways.places[tip], space.far, ways.loads_n[tip]
    landings = landings_from(place, normal, far)
    if avoids is not None and len(landings.spots):
        landings = landings.only(~avoids(landings.spots))
    if not len(landings.spots):
        return
    uses = uses_of(place, landings, far, load_n=load, neck_mm=neck_mm, shapes=shapes, cost=cost)
    landings = landings.only(uses <= max(BEARS, float(uses.min())))
    # a run that isn't square on the surface that it begins at is worth less
    runs, spots = landings.gaps_mm * (1.5 - 0.5 * landings.square), landings.spots
    if rough is not None:
        near = runs <= NEAR_RATIO * runs.min()
        spots, runs = spots[near], runs[near]
        runs = runs + ROUGH_MM * rough(spots)
    spot, tips = spots[runs.argmin()], ways.tips[tip]
    along = (spot - place) / np.linalg.norm(spot - place)
    cone = cone_mm(place, spot, far, shapes)
    rest = ways.add(spot, REST, tips, load)
    if cone == 0.0:
        ways.down[tip] = rest
        return
    upper = ways.add(place + cone * along, HEAD, tips, load)
    lower = ways.add(spot - cone * along, HEAD, tips, load)
    ways.down[tip], ways.down[upper], ways.down[lower] = upper, lower, rest


def plain_columns(contacts: Contacts, space: FreeSpace, shapes: PropShapes) -> Ways:
    """A straight column under every tip, down to the platform or the figure: what the saving is measured against."""
    ways = Ways()
    down = np.array([0.0, 0.0, -1.0])
    for n, place in enumerate(contacts.places_mm):
        tip = ways.add(place, TIP, 1, 0.0)
        ways.tip_of[tip] = n
        reach = np.arange(0.1, place[2], 0.25 * float(space.far.pitch_mm[0]))
        depth = sample(space.far, place + reach[:, None] * down)
        out = int((depth > 0.04).argmax())
        hit = np.flatnonzero(depth[out:] <= 0.0)
        run = float(reach[out + hit[0]]) if len(hit) else float(place[2])
        end = ways.add(place + run * down, REST if len(hit) else FOOT, 1, 0.0)
        room = min(shapes.tip_length_mm, 0.45 * run) if len(hit) else shapes.tip_length_mm
        if len(hit) and run < 2.2 * shapes.tip_length_mm:
            ways.down[tip] = end
            continue
        ways.down[tip] = ways.add(place + room * down, HEAD, 1, 0.0)
        last = ways.down[tip]
        if len(hit):
            ways.down[last] = ways.add(place + (run - room) * down, HEAD, 1, 0.0)
            last = ways.down[last]
        ways.down[last] = end
    return ways
