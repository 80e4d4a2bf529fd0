"""Props that stand on the figure, and plain columns: straight runs from tips down to whatever is there."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from firstcast.fields.far import FarField, sample
from firstcast.printing.descent import FreeSpace, Place
from firstcast.printing.heads import DIRECTIONS
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.tips import Avoids, Contacts
from firstcast.printing.ways import FOOT, HEAD, REST, TIP, Ways

ROUGH_MM = 3.0
"""A place to stand on may be so much farther off for being smooth rather than as rough as can be. Chosen, no source."""

NEAR_RATIO = 1.6
"""Only places up to so many times as far as the nearest are asked for how rough they are."""

Rough = Callable[[Place], npt.NDArray[np.float64]]
"""How rough the figure is at places (n, 3): `tips.Skin.rough_at`."""


def rest_on_figure(
    ways: Ways,
    tip: int,
    normal: Place,
    space: FreeSpace,
    shapes: PropShapes,
    *,
    avoids: Avoids | None,
    rough: Rough | None,
) -> None:
    """Let a prop stand on the figure: a short run to a place below that faces up, is smooth, and isn't precious.

    In a narrow gap it is a strut, as thick as its neck; where there is room it has a post, with a neck at either end.
    """
    place, far = ways.places[tip], space.far
    spots, runs = _landings(place, normal, far)
    if avoids is not None and len(spots):
        free = ~avoids(spots)
        spots, runs = spots[free], runs[free]
    if not len(spots):
        return
    if rough is not None:
        near = runs <= NEAR_RATIO * runs.min()
        spots, runs = spots[near], runs[near]
        runs = runs + ROUGH_MM * rough(spots)
    spot = spots[runs.argmin()]
    along = (spot - place) / np.linalg.norm(spot - place)
    tips, load, gap = ways.tips[tip], ways.loads_n[tip], float(np.linalg.norm(spot - place))
    rest = ways.add(spot, REST, tips, load)
    if gap < 2.2 * shapes.tip_length_mm:
        ways.down[tip] = rest
        return
    upper = ways.add(place + shapes.tip_length_mm * along, HEAD, tips, load)
    lower = ways.add(spot - shapes.tip_length_mm * along, HEAD, tips, load)
    ways.down[tip], ways.down[upper], ways.down[lower] = upper, lower, rest


def _landings(place: Place, normal: Place, far: FarField) -> tuple[Place, npt.NDArray[np.float64]]:
    """Where runs from a place first meet the figure again where it faces up: (n, 3), and the length of each run, more if it
    isn't square on the surface that it begins at."""
    spots, runs = [], []
    for way in DIRECTIONS:
        reach = np.arange(0.1, place[2] / max(-way[2], 0.1), 0.25 * float(far.pitch_mm[0]))
        at = place + reach[:, None] * way
        depth = sample(far, at)
        out = int((depth > 0.04).argmax())  # the first samples may still be inside of a rough surface
        hit = np.flatnonzero(depth[out:] <= 0.0) if depth[out] > 0.04 else np.zeros(0, np.int64)
        if not len(hit):
            continue
        landing, run = at[out + hit[0]], float(reach[out + hit[0]])
        up = sample(far, landing + np.array([[0.0, 0.0, 0.3], [0.0, 0.0, -0.3]]))
        if up[0] - up[1] > 0.15:
            spots.append(landing)
            runs.append(run * (1.5 - 0.5 * float(way @ normal)))
    return np.array(spots).reshape(-1, 3), np.array(runs)


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
