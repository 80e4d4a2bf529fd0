"""A light mesh within a proved distance of a dense one.

Blocks are reduced in several passes (`firstcast.geometry.blocks`), held to most of the tolerance at
samples. Then the whole is proved both ways by bound (`firstcast.geometry.certify`) and searched for
crossings. Where either fails, the last collapses there are taken back, and what that changed is proved
again, until all holds. In the end that is the dense mesh itself, so it always ends.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.arrays import check_triangles
from firstcast.errors import InputError
from firstcast.geometry.blocks import FACES_IN_BLOCK, join_journal, reduce_pass
from firstcast.geometry.boxtree import bounds_of, build_box_tree, mark_around, nearest_of
from firstcast.geometry.certify import ROUNDING_MM, Surface, bound_distance, prepare_surface
from firstcast.geometry.crossings import crossing_rows, snap_points
from firstcast.geometry.mesh import Mesh
from firstcast.kernels.block_arrays import Dense, Rules
from firstcast.kernels.blocks import Journal, Whole, sort_rows, take_back
from firstcast.kernels.halfedges import pair_edges

SAMPLE_SHARE = 0.86
"""Collapses are held to this share of the tolerance at samples; between samples the surfaces lie farther
apart. Chosen by trial (benchmarks/reduce.py): less wastes triangles, more is taken back."""

TIGHTEN = 0.7
"""Where the proof fails, samples are held to this share of what they were held to before."""

RETRIES = 2
"""How often what was taken back is reduced again, held to less."""

RETRY_FACES = 40_000
"""Most faces in a block then."""

FLOOR_SHARE = 0.9
"""Bounds below this share of the tolerance are not looked for: it saves time."""

RULES = Rules(pull=1e-3, least_cosine=0.2, least_height=1e-4, sharp_cosine=0.98)
"""Chosen by trial: see benchmarks/reduce.py."""

MOST_ROUNDS = 40
"""Rounds of taking back: from the fifth on each takes back twice as much as the one before."""

MOST_PAIRS = 100_000
"""Crossings looked at in one round."""


class Reduced(NamedTuple):
    """A light mesh and its certificate.

    Attributes
    ----------
    mesh : Mesh
        points (n, 3) float32, triangles (m, 3) int32; closed, manifold and of the same genus as the dense
        mesh, which was closed and manifold.
    there_mm, back_mm : float
        Proved: every place of the dense mesh (as float32) is within `there_mm` of the light one, and the
        other way round. Both are within the tolerance.
    collapses, taken_back : int
        Edges joined, and how many of them were taken back because the proof or a crossing asked for it.
    rounds : int
        How often something was taken back.
    crossings : (k, 2) int32
        Pairs of the light mesh's triangles that cross; none but those that the dense mesh had already.
    """

    mesh: Mesh
    there_mm: float
    back_mm: float
    collapses: int
    taken_back: int
    rounds: int
    crossings: npt.NDArray[np.int32]


def _check_input(
    mesh: Mesh, tolerance_mm: float
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.int32], np.ndarray]:
    """Points as float32, triangles, and the partner of each half-edge; refuses what is not closed."""
    if not tolerance_mm > 0.0:
        raise InputError(
            f"tolerance {tolerance_mm} mm is not above zero", where="reduce", mend="Give a positive length."
        )
    points = snap_points(mesh.points, where="reduce")
    triangles = check_triangles(mesh.triangles, len(points), where="reduce")
    twin = np.empty(3 * len(triangles), np.int32)
    open_count, doubled = pair_edges(triangles.ravel(), len(points), twin)
    if open_count or doubled:
        raise InputError(
            f"{open_count} edges are open and {doubled} belong to more than two triangles",
            where="reduce",
            mend="Only closed meshes can be reduced with a guarantee: fuse the piece first.",
        )
    return points, triangles, twin


def _start(points: npt.NDArray[np.float32], triangles: npt.NDArray[np.int32]) -> tuple[Whole, Dense]:
    """The mesh to be reduced and the dense surface, with every vertex given to one of its triangles."""
    n, m = len(points), len(triangles)
    start, order, rank = np.empty(n + 1, np.int64), np.empty(3 * m, np.int32), np.empty(3 * m, np.int32)
    sort_rows(triangles.ravel(), n, start, order, rank)
    del rank
    around = order // np.int32(3)
    used = start[1:] > start[:-1]
    sample_face = np.full(n, -1, np.int32)
    sample_face[used] = around[start[:-1][used]]
    valence = np.diff(start).astype(np.int32)
    whole = Whole(
        points.copy(),
        triangles.copy(),
        np.ones(m, np.bool_),
        valence,
        np.ones(m, np.bool_),
        np.full(m, -1, np.int32),
        sample_face,
        np.empty(n, np.float32),
    )
    return whole, Dense(points, triangles, start.astype(np.int32), around)


def _number(alive: npt.NDArray[np.int32], rows: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """What numbers living rows have among the living."""
    return np.searchsorted(alive, rows).astype(np.int32)


class _Before(NamedTuple):
    """What a mesh was, so that what has changed can be told."""

    points: npt.NDArray[np.float32]
    triangles: npt.NDArray[np.int32]
    alive: npt.NDArray[np.bool_]
    touched: npt.NDArray[np.int32]


class _Guarded:
    """A mesh that is being reduced, of which all is proved but what is named as pending.

    `there` are rows of the dense mesh, `back` rows of the light one.
    """

    def __init__(self, whole: Whole, dense: Dense, twin: npt.NDArray[np.int32], tolerance_mm: float) -> None:
        self.whole, self.dense, self.tolerance_mm = whole, dense, tolerance_mm
        self.bounds = bounds_of(dense.points)
        self.surface = prepare_surface(dense.points, dense.triangles, twin, self.bounds)
        self.log: list[Journal] = []
        self.there = np.arange(len(dense.triangles), dtype=np.int32)
        self.back = np.empty(0, np.int32)
        self.floor_mm = FLOOR_SHARE * tolerance_mm
        self.there_mm = self.back_mm = 0.0
        self.taken_back = self.rounds = 0
        self.crossings = np.empty((0, 2), np.int32)
        self.searched = False

    def remember(self) -> _Before:
        """A copy to compare with."""
        whole = self.whole
        return _Before(whole.points.copy(), whole.triangles.copy(), whole.alive.copy(), whole.touched.copy())

    def mark(
        self,
        points: npt.NDArray[np.float32],
        triangles: npt.NDArray[np.int32],
        rows: npt.NDArray[np.int32],
        margin_mm: float,
    ) -> npt.NDArray[np.bool_]:
        """Which dense triangles may lie within a margin of some others."""
        dense, tree = self.dense, self.surface.tree
        return mark_around(dense.points, dense.triangles, tree, points, triangles, rows, margin_mm)

    def add_changes(self, before: _Before) -> npt.NDArray[np.bool_]:
        """What a change leaves to prove becomes pending; gives the changed rows of the light mesh."""
        changed = self.whole.touched != before.touched
        gone = np.flatnonzero(changed & before.alive).astype(np.int32)
        if len(gone):
            near = self.mark(before.points, before.triangles, gone, self.tolerance_mm)
            near[self.there] = True
            self.there = np.flatnonzero(near).astype(np.int32)
        back = changed.copy()
        back[self.back] = True
        self.back = np.flatnonzero(back & self.whole.alive).astype(np.int32)
        return changed

    def prove(self) -> npt.NDArray[np.int32]:
        """Prove what is pending; what fails stays pending. Gives rows whose last collapse is to blame."""
        whole = self.whole
        alive = np.flatnonzero(whole.alive).astype(np.int32)
        light = prepare_surface(whole.points, whole.triangles[alive], bounds=self.bounds)
        number = np.full(len(whole.alive) + 1, -1, np.int32)  # the last for samples without a face
        number[alive] = np.arange(len(alive), dtype=np.int32)
        near = number[whole.sample_face]
        there = bound_distance(self.surface, self.there, light, self.tolerance_mm, self.floor_mm, near)
        back = bound_distance(
            light, _number(alive, self.back), self.surface, self.tolerance_mm, self.floor_mm
        )
        self.crossings = self._cross(light, alive)
        self.there, self.back = there.failed, alive[back.failed]
        self.there_mm, self.back_mm = max(self.there_mm, there.mm), max(self.back_mm, back.mm)
        nearest = alive[there.nearest]
        near = np.where(whole.touched[nearest] >= 0, nearest, there.failed)
        rows = np.unique(np.concatenate([near, self.back, self.crossings.ravel()]))
        return rows[whole.touched[rows] >= 0].astype(np.int32)

    def _cross(self, light: Surface, alive: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
        """Crossings of what is pending, and those known before of what has not changed."""
        fresh = np.zeros(len(self.whole.triangles), np.bool_)
        fresh[self.back] = True
        if not self.searched:
            fresh[:] = True
        chosen = np.flatnonzero(fresh[alive]).astype(np.int32)
        found = alive[crossing_rows(light.points, light.triangles, chosen, light.tree, MOST_PAIRS)]
        old = self.crossings
        kept = old[(self.whole.alive[old] & ~fresh[old]).all(axis=1)]
        self.searched = True
        return np.unique(np.sort(np.concatenate([kept, found]), axis=1), axis=0)

    def settle(self, tell: Callable[[str, float], None]) -> None:
        """Prove and take back until all is proved; what was taken back is left open for another try."""
        whole = self.whole
        whole.open[:] = False
        journal = join_journal(self.log)
        for turn in range(MOST_ROUNDS):
            rows = self.prove()
            if not len(rows) and not len(self.there) and not len(self.back):
                return
            if not len(rows):
                break
            self.tighten(rows)
            before = self.remember()
            taken = 0
            for _ in range(1 << max(0, turn - 3)):
                again = take_back(whole, journal, rows)
                taken += again
                if not again:
                    break
            self.taken_back += taken
            self.rounds += 1
            changed = self.add_changes(before)
            whole.open[changed] = True
            self.give_anew(changed)
            tell(f"take back {taken} collapses", 0.9)
        raise InputError(
            f"{len(self.there) + len(self.back)} triangles are not proved after {self.rounds} rounds of taking back",
            where="reduce",
            mend="Allow a larger tolerance, or check the mesh for triangles without area.",
        )

    def look_closer(self) -> None:
        """Prove all once more without a floor, where a floor hid how near the surfaces are."""
        whole, most = self.whole, self.floor_mm + 2.0 * ROUNDING_MM
        alive = np.flatnonzero(whole.alive).astype(np.int32)
        light = prepare_surface(whole.points, whole.triangles[alive], bounds=self.bounds)
        if self.there_mm <= most:
            every = np.arange(len(self.dense.triangles), dtype=np.int32)
            self.there_mm = bound_distance(self.surface, every, light, self.tolerance_mm, 0.0).mm
        if self.back_mm <= most:
            every = np.arange(len(alive), dtype=np.int32)
            self.back_mm = bound_distance(light, every, self.surface, self.tolerance_mm, 0.0).mm

    def tighten(self, rows: npt.NDArray[np.int32]) -> None:
        """Hold the samples near some faces to less from now on."""
        whole, dense = self.whole, self.dense
        near = self.mark(whole.points, whole.triangles, rows, 0.0)
        whole.sample_limit[np.unique(dense.triangles[near])] *= np.float32(TIGHTEN)

    def give_anew(self, changed: npt.NDArray[np.bool_]) -> None:
        """Give the samples of faces that were changed by taking back to the nearest living ones."""
        whole = self.whole
        alive = np.flatnonzero(whole.alive).astype(np.int32)
        tree = build_box_tree(whole.points, whole.triangles, alive, self.bounds)
        orphans = np.flatnonzero((whole.sample_face >= 0) & changed[whole.sample_face]).astype(np.int32)
        nearest_of(self.dense.points, orphans, tree, whole.points, whole.triangles, whole.sample_face)

    def retry(self, number: int) -> None:
        """Reduce what was taken back once more."""
        before = self.remember()
        reduce_pass(self.whole, self.dense, RULES, number, RETRY_FACES, self.log)
        self.add_changes(before)


def _compact(whole: Whole) -> Mesh:
    """The living triangles with the points they use, in their old order."""
    triangles = whole.triangles[whole.alive]
    used = np.zeros(len(whole.points), np.bool_)
    used[triangles] = True
    number = (np.cumsum(used) - 1).astype(np.int32)
    return Mesh(whole.points[used], number[triangles])


def reduce_mesh(
    mesh: Mesh, *, tolerance_mm: float, progress: Callable[[str, float], None] | None = None
) -> Reduced:
    """The mesh with far fewer triangles, proved to lie within a tolerance of it everywhere, both ways.

    Parameters
    ----------
    mesh : Mesh
        Closed and manifold, outward. Points are rounded to float32 first; the proof is against those.
    tolerance_mm : float
        Greatest two-sided (Hausdorff) distance, above zero.
    progress : function of (str, float), optional
        Told what is done and the share of the work that is behind.

    Raises
    ------
    InputError
        The mesh is open or not manifold, or lies too far out; or the proof could not be brought to hold.

    Notes
    -----
    The same bytes for any number of threads. Points keep their order, and so do triangles.

    References
    ----------
    Mandad, Cohen-Steiner, Alliez 2015, Isotopic approximation within a tolerance volume.
    """
    tell = progress or (lambda _says, _share: None)
    points, triangles, twin = _check_input(mesh, tolerance_mm)
    if not len(triangles):
        return Reduced(Mesh(points, triangles), 0.0, 0.0, 0, 0, 0, np.empty((0, 2), np.int32))
    whole, dense = _start(points, triangles)
    whole.sample_limit[:] = SAMPLE_SHARE * tolerance_mm
    guarded = _Guarded(whole, dense, twin, tolerance_mm)
    for number, target in enumerate(FACES_IN_BLOCK):
        tell(f"reduce, pass {number + 1}", 0.2 * number)
        reduce_pass(whole, dense, RULES, number, target, guarded.log)
    guarded.back = np.flatnonzero(whole.alive & (whole.touched >= 0)).astype(np.int32)
    tell("prove", 0.7)
    guarded.settle(tell)
    for number in range(RETRIES):
        guarded.retry(number)
        tell("prove again", 0.9)
        guarded.settle(tell)
    guarded.look_closer()
    light = _compact(whole)
    tell("done", 1.0)
    return Reduced(
        light,
        guarded.there_mm,
        guarded.back_mm,
        int(len(triangles) - len(light.triangles)) // 2,
        guarded.taken_back,
        guarded.rounds,
        _number(np.flatnonzero(whole.alive).astype(np.int32), guarded.crossings),
    )
