"""Where each tip's neck has become its post: clear of the figure, with a way down."""

import numpy as np
import numpy.typing as npt

from firstcast.fields.far import sample
from firstcast.printing.descent import FreeSpace, Place
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.tips import Contacts
from firstcast.printing.ways import HEAD, JOINT, Ways

NEAR_TIP_MM = 0.05
"""A tip's cone keeps so far off the figure from four tenths of its length on."""

AZIMUTHS = 12
LEANS_DEG = (0.0, 15.0, 30.0, 45.0)
SHORTER = (1.0, 0.7, 0.45)
"""Tips are tried in these directions and shares of their length."""


def _directions() -> npt.NDArray[np.float64]:
    """Unit directions (n, 3) from a neck outward and down."""
    out = [np.array([0.0, 0.0, -1.0])]
    for lean in np.radians(LEANS_DEG[1:]):
        for angle in 2.0 * np.pi * np.arange(AZIMUTHS) / AZIMUTHS:
            out.append(np.array([np.sin(lean) * np.cos(angle), np.sin(lean) * np.sin(angle), -np.cos(lean)]))
    return np.array(out)


DIRECTIONS = _directions()


def choose_heads(
    contacts: Contacts, spaces: tuple[FreeSpace, ...], shapes: PropShapes
) -> tuple[Place, npt.NDArray[np.int64]]:
    """Where each neck has become its post: (n, 3), and which of the spaces (n,) it has its way down in; -1 for none.

    Along the surface's normal as far as it may lean, clear of the figure, with a short way down.
    """
    count, ways = len(contacts), len(DIRECTIONS)
    heads, space_of = contacts.places_mm.copy(), np.full(count, -1)
    share = np.linspace(0.4, 1.0, 4)
    neck, post = 0.5 * contacts.diameters_mm, 0.5 * shapes.post_mm
    fitting = np.zeros((count, len(SHORTER), ways), bool)
    ends = np.empty((count, len(SHORTER), ways, 3))
    for s, shorter in enumerate(SHORTER):
        length = shorter * shapes.tip_length_mm
        ends[:, s] = contacts.places_mm[:, None] + length * DIRECTIONS
        room = np.inf
        fits = np.ones((count, ways), bool)
        for along in share:
            at = contacts.places_mm[:, None] + along * length * DIRECTIONS
            room = sample(spaces[0].far, at.reshape(-1, 3)).reshape(count, ways)
            radius = neck + along * (post - neck)
            fits &= room >= radius[:, None] * 0.9 + NEAR_TIP_MM
        fitting[:, s] = fits
    best = np.full(count, np.inf)
    straight = contacts.normals @ DIRECTIONS.T
    for number, space in enumerate(spaces):
        room = sample(space.far, ends.reshape(-1, 3)).reshape(count, len(SHORTER), ways)
        left = space.left_mm(ends.reshape(-1, 3)).reshape(room.shape)
        score = left + 1.5 * (1.0 - straight)[:, None] + 1.0 * np.arange(len(SHORTER))[None, :, None]
        score[~fitting | (room < space.need_mm)] = np.inf
        flat = score.reshape(count, -1)
        row = flat.argmin(axis=1)
        found = (flat[np.arange(count), row] < np.inf) & (space_of < 0)
        heads[found] = ends.reshape(count, -1, 3)[found, row[found]]
        best[found], space_of[found] = flat[found, row[found]], number
    return heads, space_of


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
