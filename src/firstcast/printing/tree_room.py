"""Whether a tree of posts, as its places move, keeps to what routing keeps to: clear of the figure, no lean over 45 degrees."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.fields.far import FarField, sample
from firstcast.printing.descent import STEEPEST
from firstcast.printing.heads import NEAR_TIP_MM
from firstcast.printing.posts import NEAREST_MM
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.routing import LEAST_RUN_MM
from firstcast.printing.skeletons import Parts, Skeleton
from firstcast.printing.ways import FOOT, HEAD, JOINT, SEGMENT_MM, TIP

Floats = npt.NDArray[np.float64]

LOOK_MM = 0.1
"""Posts are looked along at places so far apart: half a lattice step, as in routing."""

LEAST_DROP_MM = 0.05
"""A member comes down so far at least."""

TIP_SHARES = np.linspace(0.4, 1.0, 5)
"""Where a tip's cone is looked at, as in `heads.straighten`."""


@dataclass(frozen=True)
class TreeRoom:
    """Room for one tree.

    Attributes
    ----------
    needs_mm : (m,) float64
        How near the middle line of each limb may come to the figure: as near as posts do usually, or as near as it was.
    necks_mm : (m,) float64
        Diameter of each tip's neck.
    """

    far: FarField
    shapes: PropShapes
    parts: Parts
    tree: Skeleton
    needs_mm: Floats
    necks_mm: Floats

    def roof_mm(
        self, places: Floats, limbs: npt.NDArray[np.int64]
    ) -> tuple[npt.NDArray[np.int64], Floats] | None:
        """Parts (k,) of some limbs that are posts, and how thick each may be by its radius; None where one comes too near."""
        rows, near = _near(self.far, self.parts, places, limbs, self.tree)
        if (near < self.needs_mm[self.parts.limb[rows]]).any():
            return None
        most = 0.5 * self.shapes.post_most_mm
        return rows, np.clip(near - NEAREST_MM, 0.5 * self.shapes.post_mm, most)

    def leans_well(self, places: Floats, limbs: npt.NDArray[np.int64]) -> bool:
        """Whether limbs come down, by no more than 45 degrees, and end neither in a foot's cone nor too short."""
        kinds, down = self.tree.kinds, self.tree.down[limbs]
        step = places[down] - places[limbs]
        level = np.hypot(step[:, 0], step[:, 1])
        if (step[:, 2] > -LEAST_DROP_MM).any() or (level > -STEEPEST * step[:, 2] + 1e-6).any():
            return False
        joints = kinds[down] == JOINT
        if (places[down[joints], 2] < self.shapes.foot_height_mm + LEAST_RUN_MM).any():
            return False
        short = (kinds[limbs] == HEAD) & (-step[:, 2] < LEAST_RUN_MM) & (kinds[down] != FOOT)
        return not short.any()

    def tips_fit(self, places: Floats, tips: npt.NDArray[np.int64]) -> bool:
        """Whether tips are clear of the figure from four tenths of their length on."""
        if not len(tips):
            return True
        step = places[self.tree.down[tips]] - places[tips]
        longer = np.maximum(np.linalg.norm(step, axis=1) / self.shapes.tip_length_mm, 1.0)
        at = TIP_SHARES[None, :] if (longer == 1.0).all() else np.linspace(TIP_SHARES[0] / longer, 1.0, 8).T
        at = np.broadcast_to(at, (len(tips), at.shape[1]))
        neck, post = 0.5 * self.necks_mm[tips, None], 0.5 * self.shapes.post_mm
        near = sample(self.far, (places[tips, None] + at[:, :, None] * step[:, None]).reshape(-1, 3))
        return bool((near.reshape(at.shape) >= 0.9 * (neck + at * (post - neck)) + NEAR_TIP_MM).all())


def _near(
    far: FarField, parts: Parts, places: Floats, limbs: npt.NDArray[np.int64], tree: Skeleton
) -> tuple[npt.NDArray[np.int64], Floats]:
    """The parts of some limbs, tips left out, and how near each comes to the figure."""
    asked = np.zeros(len(tree.kinds), bool)
    asked[limbs] = True
    asked &= (tree.kinds != TIP) & (tree.down >= 0)
    rows = np.flatnonzero(asked[parts.limb])
    if not len(rows):
        return rows, np.zeros(0)
    nodes = parts.places(places)
    count = int(np.ceil(SEGMENT_MM / LOOK_MM)) + 1
    t = np.linspace(0.0, 1.0, count)[:, None]
    upper = nodes[rows]
    along = upper[:, None] + t * (nodes[parts.below[rows]] - upper)[:, None]
    return rows, sample(far, along.reshape(-1, 3)).reshape(len(rows), count).min(axis=1)


def room_for(tree: Skeleton, parts: Parts, far: FarField, shapes: PropShapes) -> TreeRoom:
    """Room for a tree that stands clear of the figure as it is."""
    rows, near = _near(far, parts, tree.places, np.arange(len(tree.kinds)), tree)
    needs = np.full(len(tree.kinds), 0.5 * shapes.post_mm + shapes.clearance_mm)
    np.minimum.at(needs, parts.limb[rows], near)
    necks = np.zeros(len(tree.kinds))
    necks[parts.limb] = parts.necks_mm
    return TreeRoom(far, shapes, parts, tree, needs, necks)
