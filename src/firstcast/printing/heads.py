"""Where each tip's neck has become its post: clear of the figure, with a way down."""

import numpy as np
import numpy.typing as npt

from firstcast.fields.far import FarField, sample
from firstcast.printing.descent import FreeSpace, Place
from firstcast.printing.post_cost import PostCost
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import HEAD, JOINT, Ways

NEAR_TIP_MM = 0.05
"""A tip's cone keeps so far off the figure from four tenths of its length on."""

AZIMUTHS = 12
LEANS_DEG = (0.0, 15.0, 30.0, 45.0)
LENGTHS = (1.0, 0.7, 0.45, 1.5, 2.2)
"""Tips are tried in these directions and multiples of their length: longer ones come out of a crevice."""

DISLIKED_MM = (0.0, 1.0, 2.0, 15.0, 25.0)
"""By how many millimetres of the thinnest post each of these is disliked: long ones buckle, and are for crevices only."""

STRAIGHT_MM = 1.5
"""So much of the thinnest post a tip is worth that stands square on the surface rather than along it: it breaks off clean.
Chosen, no source."""


def _directions() -> npt.NDArray[np.float64]:
    """Unit directions (n, 3) from a neck outward and down."""
    out = [np.array([0.0, 0.0, -1.0])]
    for lean in np.radians(LEANS_DEG[1:]):
        for angle in 2.0 * np.pi * np.arange(AZIMUTHS) / AZIMUTHS:
            out.append(np.array([np.sin(lean) * np.cos(angle), np.sin(lean) * np.sin(angle), -np.cos(lean)]))
    return np.array(out)


DIRECTIONS = _directions()


def choose_heads(
    contacts: Contacts, loads_n: Place, spaces: tuple[FreeSpace, ...], shapes: PropShapes, cost: PostCost
) -> tuple[Place, npt.NDArray[np.int64]]:
    """Where each neck has become its post: (n, 3), and which of the spaces (n,) it has its way down in; -1 for none.

    Clear of the figure, and with the least resin for a post of its own that bears what lies beside it; along the surface's
    normal where that costs little.
    """
    count = len(contacts)
    heads, space_of = contacts.places_mm.copy(), np.full(count, -1)
    length = np.array(LENGTHS)[:, None, None] * shapes.tip_length_mm
    ends = contacts.places_mm[:, None, None] + length * DIRECTIONS
    fitting = _fitting(contacts, spaces[0].far, shapes)
    straight = contacts.normals @ DIRECTIONS.T
    dislike = STRAIGHT_MM * (1.0 - straight)[:, None] + np.array(DISLIKED_MM)[None, :, None]
    beside = loads_n[:, None, None] * np.linalg.norm((length * DIRECTIONS)[None, :, :, :2], axis=3)
    load = np.broadcast_to(loads_n[:, None, None], beside.shape)
    for number, space in enumerate(spaces):
        if (space_of >= 0).all():
            break
        room = sample(space.far, ends.reshape(-1, 3)).reshape(fitting.shape)
        left = space.left_mm(ends.reshape(-1, 3)).reshape(fitting.shape)
        good = fitting & (room >= space.need_mm) & np.isfinite(left)
        score = np.where(
            good,
            cost.down_mm3(load, np.where(good, left + length[None, ..., 0], 0.0), beside)
            + cost.least_mm2 * dislike,
            np.inf,
        )
        flat = score.reshape(count, -1)
        row = flat.argmin(axis=1)
        found = (flat[np.arange(count), row] < np.inf) & (space_of < 0)
        heads[found] = ends.reshape(count, -1, 3)[found, row[found]]
        space_of[found] = number
    return heads, space_of


def _fitting(contacts: Contacts, far: FarField, shapes: PropShapes) -> npt.NDArray[np.bool_]:
    """(n, lengths, directions) which tips are clear of the figure all along."""
    neck, post = 0.5 * contacts.diameters_mm, 0.5 * shapes.post_mm
    fits = np.ones((len(contacts), len(LENGTHS), len(DIRECTIONS)), bool)
    for n, longer in enumerate(LENGTHS):
        for along in np.linspace(0.4 / max(longer, 1.0), 1.0, 4 if longer <= 1.0 else 8):
            at = contacts.places_mm[:, None] + along * longer * shapes.tip_length_mm * DIRECTIONS
            room = sample(far, at.reshape(-1, 3)).reshape(len(contacts), -1)
            fits[:, n] &= room >= 0.9 * (neck + along * (post - neck))[:, None] + NEAR_TIP_MM
    return fits


def straighten(ways: Ways, contacts: Contacts, space: FreeSpace, shapes: PropShapes) -> None:
    """Aim tips along the limbs that they end in, where there is room: a kink bends, a straight limb is only pressed."""
    share = np.linspace(0.4, 1.0, 5)[:, None]
    for tip, row in ways.tip_of.items():
        head = ways.down[tip]
        if head < 0 or ways.kinds[head] != HEAD or ways.kinds[ways.down[head]] != JOINT:
            continue
        place, joint = ways.places[tip], ways.places[ways.down[head]]
        run, length = joint - place, float(np.linalg.norm(ways.places[head] - place))
        far = float(np.linalg.norm(run))
        if far < length + 0.3 or not space.clear(place + run * length / far, joint):
            continue
        along = run * length / far
        radius = 0.5 * (
            contacts.diameters_mm[row] + share[:, 0] * (shapes.post_mm - contacts.diameters_mm[row])
        )
        if (sample(space.far, place + share * along) >= 0.9 * radius + NEAR_TIP_MM).all():
            ways.places[head] = place + along
