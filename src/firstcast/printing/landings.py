"""Where a prop could stand on the figure, and what it would bear there."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.fields.far import FarField, sample
from firstcast.printing.descent import Place
from firstcast.printing.heads import DIRECTIONS
from firstcast.printing.post_cost import PostCost
from firstcast.printing.prop_shapes import PropShapes

Floats = npt.NDArray[np.float64]

NEAREST_MM = 0.2
"""A post between two places of the figure keeps so far off it."""

CONE_SHARE = 0.4
"""In a gap too narrow for two tips, each cone takes so much of it: the post between them stays as far off the figure as it can."""

PARTS = 8
"""Places along a post at which its room is read."""


@dataclass(frozen=True)
class Landings:
    """Straight runs from one place to where they meet the figure again, and what a prop along each would be.

    Attributes
    ----------
    spots : (n, 3) float64
        Where they meet it; it faces up there.
    gaps_mm : (n,) float64
        Length of each run.
    square : (n,) float64
        Cosine to the surface's normal where it begins.
    """

    spots: Floats
    gaps_mm: Floats
    square: Floats

    def only(self, rows: npt.NDArray[np.bool_]) -> "Landings":
        """Some of them."""
        return Landings(self.spots[rows], self.gaps_mm[rows], self.square[rows])


def landings_from(place: Place, normal: Place, far: FarField) -> Landings:
    """Where runs from a place first meet the figure again where it faces up."""
    spots, gaps, square = [], [], []
    for way in DIRECTIONS:
        reach = np.arange(0.1, place[2] / max(-way[2], 0.1), 0.25 * float(far.pitch_mm[0]))
        at = place + reach[:, None] * way
        depth = sample(far, at)
        out = int((depth > 0.04).argmax())  # the first samples may still be inside of a rough surface
        hit = np.flatnonzero(depth[out:] <= 0.0) if depth[out] > 0.04 else np.zeros(0, np.int64)
        if not len(hit):
            continue
        landing = at[out + hit[0]]
        up = sample(far, landing + np.array([[0.0, 0.0, 0.3], [0.0, 0.0, -0.3]]))
        if up[0] - up[1] > 0.15:
            spots.append(landing)
            gaps.append(float(reach[out + hit[0]]))
            square.append(float(way @ normal))
    return Landings(np.array(spots).reshape(-1, 3), np.array(gaps), np.array(square))


def cone_mm(place: Place, spot: Place, far: FarField, shapes: PropShapes) -> float:
    """Length of the cones at both ends of a prop between two places of the figure; 0 where it is a strut.

    A post of the least thickness goes between them wherever it keeps off the figure; a strut, as thick as its neck all along, bears
    far less, since what buckles does so by the fourth power of its thickness.
    """
    gap = float(np.linalg.norm(spot - place))
    if gap >= 2.2 * shapes.tip_length_mm:
        return shapes.tip_length_mm
    cone = CONE_SHARE * gap
    return cone if _room_mm(place, spot, cone, far).min() >= 0.5 * shapes.post_mm else 0.0


def uses_of(
    place: Place,
    landings: Landings,
    far: FarField,
    *,
    load_n: float,
    neck_mm: float,
    shapes: PropShapes,
    cost: PostCost,
) -> Floats:
    """(n,) how much a prop to each landing is used, as thick as it has room to be: 1 is what it may bear.

    The piece is held beside its props, so its tip moves along z only: what presses a prop that leans is its load over the
    cosine of the lean. Both necks are hinges.
    """
    out = np.empty(len(landings.spots))
    for n, (spot, gap) in enumerate(zip(landings.spots, landings.gaps_mm, strict=True)):
        pressed = load_n * gap / max(float(place[2] - spot[2]), 1e-9)
        cone = cone_mm(place, spot, far, shapes)
        lengths, wide = np.array([gap]), np.array([neck_mm])
        if cone > 0.0:
            room = np.clip(_room_mm(place, spot, cone, far), 0.5 * shapes.post_mm, 0.5 * shapes.post_most_mm)
            middle = 2.0 * room
            lengths = np.array([cone, *np.full(PARTS, (gap - 2.0 * cone) / PARTS), cone])
            ends = 0.5 * (neck_mm + middle[[0, -1]])
            wide = np.array([ends[0], *middle, ends[1]])
        out[n] = max(cost.stress_use(pressed, neck_mm), cost.buckling_use(pressed, lengths, wide))
    return out


def _room_mm(place: Place, spot: Place, cone: float, far: FarField) -> Floats:
    """(PARTS,) how thick a post may be, by its radius, at places between its cones."""
    share = cone / float(np.linalg.norm(spot - place))
    along = np.linspace(share, 1.0 - share, PARTS)[:, None]
    return sample(far, place + along * (spot - place)) - NEAREST_MM
