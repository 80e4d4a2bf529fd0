"""Shares a mesh out into blocks, reduces them side by side, and keeps the journal that takes it back."""

import threading
from concurrent.futures import ThreadPoolExecutor
from itertools import product

import numba
import numpy as np

from firstcast.geometry.boxtree import bounds_of
from firstcast.kernels.block_arrays import Dense, Rules
from firstcast.kernels.blocks import (
    Journal,
    Whole,
    cells_of_faces,
    put_back,
    reduce_block,
    sort_rows,
)

FACES_IN_BLOCK = (20_000, 40_000, 60_000)
"""Most faces in a block, pass by pass: few enough that a block's arrays stay in a core's own cache, more when
what is left are the borders of the passes before."""

CELLS_ALONG = 64
"""Cells along the longest side of the grid that faces are shared out by."""


def _frame(number: int) -> np.ndarray:
    """Axes for a pass: turned, so that the borders of one pass lie inside the blocks of the next."""
    z_deg, x_deg = ((0.0, 0.0), (37.0, 29.0), (71.0, 53.0))[number % 3]
    a, b = np.deg2rad(z_deg), np.deg2rad(x_deg)
    about_z = np.array([[np.cos(a), -np.sin(a), 0.0], [np.sin(a), np.cos(a), 0.0], [0.0, 0.0, 1.0]])
    about_x = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(b), -np.sin(b)], [0.0, np.sin(b), np.cos(b)]])
    return np.ascontiguousarray(about_x @ about_z)


def _halve(cells: np.ndarray, counts: np.ndarray, target: int) -> list[np.ndarray]:
    """Share cells out into groups of at most about `target` faces, by halving along the longest side."""
    total = int(counts.sum())
    if total <= target or len(cells) < 2:
        return [cells[:, 3]]
    spread = cells[:, :3].max(axis=0) - cells[:, :3].min(axis=0)
    order = np.argsort(cells[:, int(np.argmax(spread))], kind="stable")
    cells, counts = cells[order], counts[order]
    parts = -(-total // target)
    share = (parts // 2) / parts
    cut = int(np.searchsorted(np.cumsum(counts), share * total)) + 1
    cut = min(max(cut, 1), len(cells) - 1)
    return _halve(cells[:cut], counts[:cut], target) + _halve(cells[cut:], counts[cut:], target)


def _share_out(whole: Whole, frame: np.ndarray, target: int) -> tuple[np.ndarray, int]:
    """The block of each face (-1 for faces that are gone) and the number of blocks."""
    corners = np.array(list(product(*bounds_of(whole.points).T))) @ frame.T
    low = corners.min(axis=0)
    size = np.maximum(corners.max(axis=0) - low, 1e-9)
    cell_mm = float(size.max() / CELLS_ALONG)
    shape = np.minimum(size / cell_mm + 1, CELLS_ALONG).astype(np.int64)
    cell = np.empty(len(whole.triangles), np.int32)
    cells_of_faces(whole.points, whole.triangles, whole.alive, frame, low, cell_mm, shape, cell)
    counts = np.bincount(cell[cell >= 0], minlength=int(shape.prod()))
    filled = np.flatnonzero(counts)
    places = np.stack([*np.unravel_index(filled, shape), filled], axis=1)
    groups = _halve(places, counts[filled], target)
    block_of_cell = np.full(int(shape.prod()) + 1, -1, np.int32)
    for number, group in enumerate(groups):
        block_of_cell[group] = number
    return block_of_cell[cell], len(groups)


def _sorted_rows(key: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    start = np.empty(count + 1, np.int64)
    order = np.empty(len(key), np.int32)
    rank = np.empty(len(key), np.int32)
    sort_rows(key, count, start, order, rank)
    return start, order, rank


def reduce_pass(
    whole: Whole, dense: Dense, rules: Rules, number: int, target: int, log: list[Journal]
) -> None:
    """Reduce the blocks of one sharing-out side by side; their journals are added to `log` in order.

    Blocks without open faces are left out.
    """
    whole.valence[:] = np.bincount(whole.triangles[whole.alive].ravel(), minlength=len(whole.points))
    block_of_face, count = _share_out(whole, _frame(number), target)
    start, faces, rank = _sorted_rows(block_of_face, count)
    of_sample = np.where(whole.sample_face >= 0, block_of_face[whole.sample_face], -1).astype(np.int32)
    sample_start, samples, _ = _sorted_rows(of_sample, count)
    chosen = np.unique(block_of_face[whole.open & whole.alive]).tolist()
    scratch = threading.local()

    def reduce_one(number: int):
        if not hasattr(scratch, "to_local"):
            scratch.to_local = np.full(len(whole.points), -1, np.int32)
        own_faces = faces[start[number] : start[number + 1]]
        own_samples = samples[sample_start[number] : sample_start[number + 1]]
        origin = np.round(whole.points[whole.triangles[own_faces[0], 0]].astype(np.float64))
        result = reduce_block(whole, dense, own_faces, own_samples, rank, scratch.to_local, origin, rules)
        return own_faces, own_samples, result

    collapses = sum(len(journal.kept) for journal in log)
    rows = sum(len(journal.face) for journal in log)
    with ThreadPoolExecutor(numba.get_num_threads()) as pool:
        for own_faces, own_samples, result in pool.map(reduce_one, chosen):
            block, names, own_log = result
            journal = put_back(whole, block, names, own_faces, own_samples, collapses, own_log, rows)
            collapses += len(journal.kept)
            rows += len(journal.face)
            log.append(Journal(*journal))


def join_journal(log: list[Journal]) -> Journal:
    """One journal of all blocks' journals, in their order."""
    return Journal(*(np.concatenate(arrays) for arrays in zip(*log, strict=True)))
