"""Where tips touch: sites moved to smoother spots nearby, the row on the tab's end, and how each tip points."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.spatial import KDTree

from firstcast.fields.far import FarField, sample
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.tree import Tree, closest_points
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.starts import START, Sites

ROUGH_MM = 0.5
"""Roughness is how far normals differ within this distance, about the width of what a mark would spoil."""

STEADY = 0.05
"""A spot is worth a move if it is smoother by this: a twentieth of a turn about."""

PRECIOUS = 10.0
"""What a place in a precious zone counts as rough, beside its own at most 1."""

DOWN = -0.2
"""A spot faces the platform if the z of its normal is below this: a post reaches it from beneath."""

RING = 8
TAB_SPACING_MM = 3.0
"""Between tips along the tab's end. Common practice, no source."""

TAB_LEAST = 4
"""Fewest tips under a tab: it holds the whole piece. Common practice, no source."""

Avoids = Callable[[npt.NDArray[np.float64]], npt.NDArray[np.bool_]]
"""Which places (n, 3) in print space, as the piece stands, lie in a precious zone."""


@dataclass(frozen=True)
class Contacts:
    """Tips to be, one row each.

    Attributes
    ----------
    places_mm : (n, 3) float64
        On the piece's surface.
    normals : (n, 3) float64
        Outward, of the surface there.
    diameters_mm : (n,) float64
    layers, bodies, kinds : (n,) int32
        When it is first wanted, by which body, and whether by a bare start or an overhang.
    on_tab : (n,) bool
    rough : (n,) float64
        0 smooth to 1; above 1 in a precious zone.
    """

    places_mm: npt.NDArray[np.float64]
    normals: npt.NDArray[np.float64]
    diameters_mm: npt.NDArray[np.float64]
    layers: npt.NDArray[np.int32]
    bodies: npt.NDArray[np.int32]
    kinds: npt.NDArray[np.int32]
    on_tab: npt.NDArray[np.bool_]
    rough: npt.NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.places_mm)

    def joined(self, others: "Contacts") -> "Contacts":
        """These, and others after them."""
        names = self.__dataclass_fields__
        return Contacts(
            **{name: np.concatenate([getattr(self, name), getattr(others, name)]) for name in names}
        )

    def only(self, rows: npt.NDArray) -> "Contacts":
        """Some of the rows."""
        return Contacts(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})

    def sized(self, diameters_mm: npt.NDArray[np.float64]) -> "Contacts":
        """The same with other necks."""
        return replace(self, diameters_mm=diameters_mm)


class Skin:
    """The piece's surface, to be asked for nearest places, normals and roughness."""

    def __init__(self, mesh: Mesh, tree: Tree, avoids: Avoids | None) -> None:
        corners = mesh.corners
        cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        size = np.linalg.norm(cross, axis=1)
        self.tree, self.avoids = tree, avoids
        self.normal = cross / np.maximum(size, 1e-30)[:, None]
        self.area = 0.5 * size
        self.middles = corners.mean(axis=1)
        self.near = KDTree(self.middles)

    def nearest(
        self, places: npt.NDArray[np.float64]
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Nearest places (n, 3) on the surface, and its normals (n, 3) there."""
        found = closest_points(self.tree, places)
        return found.point_mm, self.normal[found.triangle]

    def rough(
        self, places: npt.NDArray[np.float64], normals: npt.NDArray[np.float64]
    ) -> npt.NDArray[np.float64]:
        """(n,) how far the normals within ROUGH_MM differ: one less the length of their mean; more where precious.

        The far side of a thin part isn't seen from the spot, so normals that face away don't count.
        """
        out = np.zeros(len(places))
        for n, rows in enumerate(self.near.query_ball_point(places, ROUGH_MM)):
            if rows:
                some = np.array(rows)
                some = some[self.normal[some] @ normals[n] > 0.0]
                total = self.area[some].sum()
                if total > 0.0:
                    mean = (self.area[some, None] * self.normal[some]).sum(axis=0)
                    out[n] = max(0.0, 1.0 - np.linalg.norm(mean) / total)
        if self.avoids is not None and len(places):
            out += PRECIOUS * self.avoids(places)
        return out

    def rough_at(self, places: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """(n,) `rough` at places near the surface."""
        return self.rough(*self.nearest(places))


def place_tips(
    sites: Sites, skin: Skin, far: FarField, shapes: PropShapes, *, freedom_mm: float, layer_mm: float
) -> Contacts:
    """Tips for the sites, each on the smoothest spot that still holds what its site asks for.

    A bare start's tip may move within the start itself, an overhang's by `freedom_mm`; what it leaves without hold the next
    look at the layers finds. With no freedom tips stay where they were asked for.
    """
    count = len(sites.layers)
    if not count:
        return empty_contacts()
    start = sites.kinds == START
    free = np.where(start, np.minimum(0.5 * np.sqrt(sites.areas_mm2 / np.pi), freedom_mm), freedom_mm)
    # from a little below: of a thin region the underside, not the top, is the nearest then
    below = sites.places_mm - [0.0, 0.0, layer_mm]
    angle = 2.0 * np.pi * np.arange(RING) / RING
    steps = np.concatenate(
        [[[0.0, 0.0]], *(r * np.column_stack([np.cos(angle), np.sin(angle)]) for r in (0.5, 1.0))]
    )
    if freedom_mm == 0.0:
        steps = steps[:1]
    tries = np.repeat(below[:, None, :], len(steps), axis=1)
    tries[:, :, :2] += free[:, None, None] * steps
    places, normals = skin.nearest(tries.reshape(-1, 3))
    rough = skin.rough(places, normals).reshape(count, -1)
    places, normals = places.reshape(count, -1, 3), normals.reshape(count, -1, 3)
    strayed = np.linalg.norm(places[:, :, :2] - below[:, None, :2], axis=2) > free[:, None] + 2.0 * layer_mm
    higher = places[:, :, 2] > sites.places_mm[:, None, 2] + np.where(start, 2.0 * layer_mm, 0.5)[:, None]
    bad = (strayed | higher | (normals[:, :, 2] > DOWN)).astype(np.float64)
    # where all that is near looks up or away, as in a narrow gap, the pixel itself is the best guess
    astray = bad[:, 0] > 0.0
    places[astray, 0], normals[astray, 0] = sites.places_mm[astray], [0.0, 0.0, -1.0]
    bad[:, 0] = 0.0
    score = rough + 100.0 * bad + STEADY * np.linalg.norm(steps, axis=1)
    chosen = np.arange(count), score.argmin(axis=1)
    at, out = places[chosen], normals[chosen]
    return Contacts(
        at, out, necks_at(at, out, far, shapes), sites.layers, sites.bodies, sites.kinds,
        np.zeros(count, bool), rough[chosen],
    )  # fmt: skip


def necks_at(places, normals, far: FarField, shapes: PropShapes) -> npt.NDArray[np.float64]:
    """Fine necks on thin parts: no thicker than the part is half a millimetre in."""
    if not len(places):
        return np.zeros(0)
    inward = places - 0.3 * normals
    inward[:, 2] = np.maximum(inward[:, 2], places[:, 2])
    depth = -sample(far, inward)
    return np.clip(2.0 * depth, shapes.fine_tip_mm, shapes.tip_mm)


def tab_tips(
    middle_mm,
    along,
    toward,
    length_mm: float,
    width_mm: float,
    shapes: PropShapes,
    *,
    layer_mm: float,
    body: int,
) -> Contacts:
    """Stout tips along both edges of the tab's end, at least four; none if the end doesn't face the platform.

    Parameters
    ----------
    middle_mm : (3,) float64
        Of the end face, in print space as the piece stands.
    along, toward : (3,) float64
        Directions of its length, and out of the end.
    """
    toward = np.asarray(toward, np.float64)
    along = np.asarray(along, np.float64)
    if toward[2] > -0.5:
        return empty_contacts()
    across = np.cross(toward, along)
    inset = 0.15
    columns = max(2, int(np.ceil((length_mm - 2 * inset) / TAB_SPACING_MM)) + 1)
    lines = 2 if width_mm > 1.2 * shapes.tab_tip_mm else 1
    columns = max(columns, -(-TAB_LEAST // lines))
    u = np.linspace(-0.5, 0.5, columns) * (length_mm - 2 * inset)
    v = np.linspace(-0.5, 0.5, lines) * (width_mm - 2 * inset) if lines > 1 else np.zeros(1)
    places = (np.asarray(middle_mm) + u[:, None, None] * along + v[None, :, None] * across).reshape(-1, 3)
    count = len(places)
    return Contacts(
        places, np.tile(toward, (count, 1)), np.full(count, shapes.tab_tip_mm),
        np.floor(places[:, 2] / layer_mm).astype(np.int32), np.full(count, body, np.int32),
        np.full(count, START, np.int32), np.ones(count, bool), np.zeros(count),
    )  # fmt: skip


def empty_contacts() -> Contacts:
    """No tips."""
    none = np.zeros(0)
    whole = np.zeros(0, np.int32)
    return Contacts(
        none.reshape(0, 3), none.reshape(0, 3), none, whole, whole, whole, np.zeros(0, bool), none
    )
