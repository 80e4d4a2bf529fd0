"""Mending a seam that crosses itself once its points are rounded to float32.

A union is exact in float64. Where its facets are many and its cuts lie as near each other as float32 tells numbers apart,
some triangles of the seam turn over or run through a neighbour when they are rounded. Moving the whole fitting moves
all such places at once and makes others; so each is mended by itself: a short edge becomes a point, or a corner moves by a
hair, whichever leaves least that crosses. Nothing else is touched, and nothing moves farther than `COLLAPSE_MM`.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.geometry.boxtree import build_box_tree
from firstcast.geometry.crossings import crossing_rows, snap_points
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.neighbourhood import near_box

COLLAPSE_MM = 0.002
"""Edges up to this length may become a point: a tenth of what the light mesh may lie off, and far below any wall."""

SHORT_MM = 1e-4
"""Shorter edges of a seam become a point: on a platform of 256 mm float32 rounds by 1.5e-5, and what falls together there is no
closed body any more. The lattice leaves none so short."""

MOVES_MM = (1e-5, 4e-5, 1.6e-4, 6.4e-4)
"""Corners move so far, least first: float32 rounds places of 20 mm by 1e-6."""

WAYS = 6
"""Directions tried for a corner at each length."""

MOST_EDITS = 400
"""No more places than this are mended: what is left is told."""

MOST_PAIRS = 1000

Values = npt.NDArray[np.float64]
Rows = npt.NDArray[np.int64]


class SeamMended(NamedTuple):
    """The mesh after it.

    Attributes
    ----------
    points : (n, 3) float32
    triangles : (m, 3) int32
    kept : (m,) int64
        For each triangle its number before.
    edits : int
        How many edges became points, and how many corners moved.
    left : int
        Triangles without area and crossing pairs that are left.
    """

    points: npt.NDArray[np.float32]
    triangles: npt.NDArray[np.int32]
    kept: Rows
    edits: int
    left: int


def mend_seam(mesh: Mesh, seam: npt.NDArray[np.integer]) -> SeamMended:
    """A closed mesh with its shortest edges along a seam closed up and its crossings there mended.

    Parameters
    ----------
    mesh : Mesh
        points (n, 3) float32; closed and manifold.
    seam : (k,) int
        Numbers of the triangles that a union made or cut: crossings of these are looked for.
    """
    work = _Work(mesh, np.asarray(seam, np.int64))
    edits, stuck = work.close_up(), set()
    while edits < MOST_EDITS:
        bad = [pair for pair in work.bad() if pair not in stuck]
        if not bad:
            break
        if work.mend(bad[0]):
            edits += 1
        else:
            stuck.add(bad[0])
    alive = np.flatnonzero(work.alive)
    return SeamMended(work.points, work.triangles[alive].astype(np.int32), alive, edits, len(work.bad()))


class _Work:
    """The mesh while it is mended; `near` are the triangles that the seam's box holds: all that may take part."""

    def __init__(self, mesh: Mesh, seam: Rows) -> None:
        self.points = snap_points(mesh.points, where="join").copy()
        self.triangles = mesh.triangles.astype(np.int64)
        self.alive = np.ones(len(self.triangles), bool)
        self.on_seam = np.zeros(len(self.triangles), bool)
        self.on_seam[seam] = True
        corners = self.points[self.triangles[seam]].reshape(-1, 3).astype(np.float64)
        box = np.array([corners.min(axis=0), corners.max(axis=0)])
        self.near = np.flatnonzero(near_box(self.points, mesh.triangles, box, 2.0 * COLLAPSE_MM))
        self.known: list[tuple[int, int]] | None = None

    def bad(self) -> list[tuple[int, int]]:
        """Pairs of triangles that cross, a flat one being a pair with itself."""
        if self.known is None:
            rows = self.near[self.alive[self.near]]
            self.known = self._bad_among(self.points, self.triangles[rows], rows, self.on_seam[rows])
        return self.known

    def _bad_among(
        self, points: npt.NDArray[np.float32], triangles: Rows, rows: Rows, chosen: npt.NDArray[np.bool_]
    ) -> list[tuple[int, int]]:
        """As `bad`, of some triangles (k, 3), their numbers and which of them are asked about."""
        used, own = np.unique(triangles, return_inverse=True)
        local = np.ascontiguousarray(own.reshape(-1, 3), np.int32)
        places = np.ascontiguousarray(points[used])
        asked = np.flatnonzero(chosen).astype(np.int32)
        tree = build_box_tree(places, local, np.arange(len(local), dtype=np.int32))
        pairs = np.sort(rows[crossing_rows(places, local, asked, tree, MOST_PAIRS)], axis=1)
        a, b, c = np.moveaxis(places[local[asked]].astype(np.float64), 1, 0)
        flat = rows[asked[(np.cross(b - a, c - a) == 0.0).all(axis=1)]]
        return sorted({(int(x), int(y)) for x, y in pairs} | {(int(x), int(x)) for x in flat})

    def close_up(self) -> int:
        """Make points of the seam's edges that are shorter than `SHORT_MM`, shortest first; how many."""
        edits, stuck = 0, set()
        while edits < MOST_EDITS:
            own = self.triangles[self.near[self.alive[self.near] & self.on_seam[self.near]]]
            edges = np.sort(np.concatenate([own[:, [0, 1]], own[:, [1, 2]], own[:, [2, 0]]]), axis=1)
            ends = self.points[edges].astype(np.float64)
            length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
            short = np.flatnonzero(length < SHORT_MM)
            some = [(int(a), int(b)) for a, b in edges[short[np.argsort(length[short], kind="stable")]]]
            edge = next((edge for edge in some if edge not in stuck), None)
            if edge is None:
                break
            if self._close(edge):
                edits += 1
            else:
                stuck.add(edge)
        return edits

    def _close(self, edge: tuple[int, int]) -> bool:
        """Make a point of one edge; False where the surface would not stay a manifold, or more would cross."""
        rows, asked = self._round(np.array(edge))
        triangles = self.triangles[rows]
        if not self._may_collapse(*edge, triangles):
            return False
        before = len(self._bad_among(self.points, triangles, rows, asked))
        for vertex, into in (edge, edge[::-1]):
            edit = (vertex, self.points[vertex].copy(), into)
            if self._left_after(edit, rows, asked) <= before:
                self._apply(edit, rows)
                return True
        return False

    def _round(self, corners: Rows) -> tuple[Rows, npt.NDArray[np.bool_]]:
        """Triangles that may meet those at some corners, and which of them are at the corners."""
        near = self.near[self.alive[self.near]]
        star = near[np.isin(self.triangles[near], corners).any(axis=1)]
        wide = self.points[self.triangles[star]].reshape(-1, 3)
        margin = 2.0 * COLLAPSE_MM
        low, high = wide.min(axis=0) - margin, wide.max(axis=0) + margin
        boxes = self.points[self.triangles[near]]
        rows = near[((boxes.min(axis=1) <= high) & (boxes.max(axis=1) >= low)).all(axis=1)]
        return rows, np.isin(rows, star)

    def _left_after(
        self, edit: tuple[int, npt.NDArray[np.float32], int], rows: Rows, asked: npt.NDArray[np.bool_]
    ) -> int:
        """How much would cross among some triangles after an edit."""
        vertex, place, into = edit
        changed, stays = self.triangles[rows], np.ones(len(rows), bool)
        if into >= 0:
            changed = np.where(changed == vertex, into, changed)
            a, b, c = changed.T
            stays = (a != b) & (b != c) & (c != a)
        old = self.points[vertex].copy()
        self.points[vertex] = place  # put back below
        left = len(self._bad_among(self.points, changed[stays], rows[stays], asked[stays]))
        self.points[vertex] = old
        return left

    def mend(self, pair: tuple[int, int]) -> bool:
        """Mend one pair by the edit that leaves least that crosses round it; False where none leaves less."""
        corners = np.unique(self.triangles[list(pair)])
        rows, asked = self._round(corners)
        best, least = None, len(self._bad_among(self.points, self.triangles[rows], rows, asked))
        for edit in (*self._collapses(pair, rows), *self._moves(corners, pair)):
            left = self._left_after(edit, rows, asked)
            if left < least:
                best, least = edit, left
            if not left:
                break
        if best is None:
            return False
        self._apply(best, rows)
        return True

    def _apply(self, edit: tuple[int, npt.NDArray[np.float32], int], rows: Rows) -> None:
        vertex, place, into = edit
        if into >= 0:
            own = self.triangles[rows]
            own[own == vertex] = into
            self.triangles[rows] = own
            a, b, c = own.T
            self.alive[rows[(a == b) | (b == c) | (c == a)]] = False
        else:
            self.points[vertex] = place
        # what the edit moved is looked at from now on
        target = into if into >= 0 else vertex
        self.on_seam[rows[(self.triangles[rows] == target).any(axis=1)]] = True
        self.known = None

    def _collapses(self, pair: tuple[int, int], rows: Rows) -> list[tuple[int, npt.NDArray[np.float32], int]]:
        """Short edges of both triangles and their neighbours, shortest first, that may become one of their ends."""
        own = self.triangles[list(pair)]
        edges = np.sort(np.concatenate([own[:, [0, 1]], own[:, [1, 2]], own[:, [2, 0]]]), axis=1)
        beside = self.triangles[rows]
        touching = beside[np.isin(beside, own).any(axis=1)]
        more = np.concatenate([touching[:, [0, 1]], touching[:, [1, 2]], touching[:, [2, 0]]])
        edges = np.unique(np.concatenate([edges, np.sort(more, axis=1)]), axis=0)
        ends = self.points[edges].astype(np.float64)
        length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
        found = []
        for k in np.argsort(length, kind="stable")[:8]:
            if length[k] > COLLAPSE_MM:
                break
            a, b = (int(v) for v in edges[k])
            if not self._may_collapse(a, b, beside):
                continue
            found += [(a, self.points[a].copy(), b), (b, self.points[b].copy(), a)]
        return found

    @staticmethod
    def _may_collapse(a: int, b: int, triangles: Rows) -> bool:
        """Whether the surface stays a manifold: both ends have but the two corners opposite in common."""
        of_a, of_b = (triangles == a).any(axis=1), (triangles == b).any(axis=1)
        shared = np.setdiff1d(triangles[of_a & of_b], (a, b))
        common = np.setdiff1d(np.intersect1d(triangles[of_a], triangles[of_b]), (a, b))
        return int((of_a & of_b).sum()) == 2 and len(shared) == len(common) == 2

    def _moves(self, corners: Rows, pair: tuple[int, int]) -> list[tuple[int, npt.NDArray[np.float32], int]]:
        """Corners moved by a hair, always the same ways for the same corners."""
        draw = np.random.default_rng([len(corners), *pair])
        found = []
        for length in MOVES_MM:
            for vertex in corners:
                for way in draw.normal(size=(WAYS, 3)):
                    place = self.points[vertex] + length * way / np.linalg.norm(way)
                    found.append((int(vertex), snap_points(place[None], where="join")[0], -1))
        return found
