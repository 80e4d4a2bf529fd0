"""Blocks of a mesh: cut out as compact arrays, reduced, and put back.

A block's faces are rows `faces` of the whole mesh. A vertex is free where all its faces are in the
block. Samples are the dense surface's vertices that the block's faces stand for.
"""

from typing import NamedTuple

import numpy as np

from firstcast.compiling import kernel
from firstcast.kernels.block_arrays import RING, Block, Log, Star
from firstcast.kernels.collapse import collapse_block
from firstcast.kernels.halfedges import pair_edges
from firstcast.kernels.quadrics import add_face_quadrics


class Whole(NamedTuple):
    """The mesh that is being reduced; changed in place, block by block."""

    points: np.ndarray  # (n, 3) float32; rows of vertices that are gone keep their last place
    triangles: np.ndarray  # (m, 3) int32; so do rows of triangles that are gone
    alive: np.ndarray  # (m,) bool
    valence: np.ndarray  # (n,) int32, living faces around each vertex
    open: np.ndarray  # (m,) bool, faces whose edges are to be tried
    touched: np.ndarray  # (m,) int32, number of the collapse that last changed each face; -1: none did
    sample_face: np.ndarray  # (n,) int32, the face that stands for each dense vertex; -1: none
    sample_limit: np.ndarray  # (n,) float32, how far each dense vertex may lie from the reduced surface


class Journal(NamedTuple):
    """What it takes to take collapses back, in their order."""

    kept: np.ndarray  # (c,) int32, the vertex that stayed
    gone: np.ndarray  # (c,) int32, the vertex that vanished
    place: np.ndarray  # (c, 3) float32, where the first had been
    start: np.ndarray  # (c,) int32 or int64, first row of the collapse in `face`
    face: np.ndarray  # (r,) int32, 4 * face + the corner where `gone` had been, 3 if none
    before: np.ndarray  # (r,) int32, what `touched` had been


@kernel
def cells_of_faces(points, triangles, alive, frame, low, cell_mm, shape, cell):
    """Fill `cell` with the number of the grid cell that holds each living face's middle, in a turned frame."""
    for f in range(len(triangles)):
        if not alive[f]:
            cell[f] = -1
            continue
        number = 0
        i, j, k = triangles[f, 0], triangles[f, 1], triangles[f, 2]
        x = (points[i, 0] + points[j, 0] + points[k, 0]) / 3.0
        y = (points[i, 1] + points[j, 1] + points[k, 1]) / 3.0
        z = (points[i, 2] + points[j, 2] + points[k, 2]) / 3.0
        for axis in range(3):
            s = frame[axis, 0] * x + frame[axis, 1] * y + frame[axis, 2] * z
            at = min(max(int((s - low[axis]) / cell_mm), 0), shape[axis] - 1)
            number = number * shape[axis] + at
        cell[f] = number


@kernel
def sort_rows(key, key_count, start, order, rank):
    """Counting sort of rows by `key` (negative: left out); `rank` is each row's position within its key."""
    start[:] = 0
    for row in range(len(key)):
        k = key[row]
        if k >= 0:
            rank[row] = start[k + 1]
            start[k + 1] += 1
    for k in range(key_count):
        start[k + 1] += start[k]
    for row in range(len(key)):
        k = key[row]
        if k >= 0:
            order[start[k] + rank[row]] = row


@kernel
def _cut_out(whole, dense, faces, samples, rank, to_local, origin):
    """The block's compact arrays, and its vertices' rows in the whole mesh."""
    m = len(faces)
    corner = np.empty(3 * m, np.int32)
    names = np.empty(3 * m, np.int32)
    n = 0
    for i in range(m):
        for k in range(3):
            v = whole.triangles[faces[i], k]
            if to_local[v] < 0:
                to_local[v] = n
                names[n] = v
                n += 1
            corner[3 * i + k] = to_local[v]
    points = np.empty((n, 3))
    inside = np.zeros(n, np.int32)
    valence = np.empty(n, np.int32)
    for h in range(3 * m):
        inside[corner[h]] += 1
    free = np.empty(n, np.bool_)
    for i in range(n):
        v = names[i]
        to_local[v] = -1
        valence[i] = whole.valence[v]
        free[i] = inside[i] == valence[i]
        for k in range(3):
            points[i, k] = whole.points[v, k] - origin[k]
    twin = np.empty(3 * m, np.int32)
    pair_edges(corner, n, twin)
    count = len(samples)
    sample = np.empty((count, 3))
    head = np.full(m, -1, np.int32)
    following = np.empty(count, np.int32)
    face_of = np.empty(count, np.int32)
    for s in range(count):
        row = samples[s]
        for k in range(3):
            sample[s, k] = dense.points[row, k] - origin[k]
        f = rank[whole.sample_face[row]]
        face_of[s] = f
        following[s] = head[f]
        head[f] = s
    block = Block(
        points,
        corner,
        twin,
        free,
        valence,
        np.ones(m, np.bool_),
        whole.open[faces],
        np.empty((n, 11)),
        sample,
        samples,
        whole.sample_limit[samples],
        head,
        following,
        face_of,
        np.full(m, -1, np.int32),
        np.empty(3 * m // 2 + 1, np.int32),
        np.empty(3 * m, np.int32),
        np.empty(3 * m),
        origin,
    )
    return block, names[:n].copy()


@kernel
def reduce_block(whole, dense, faces, samples, rank, to_local, origin, rules):
    """Reduce one block: gives its arrays, its vertices' rows, and its log."""
    block, names = _cut_out(whole, dense, faces, samples, rank, to_local, origin)
    add_face_quadrics(block)
    m, n, k = len(faces), len(names), len(samples)
    star = Star(
        np.empty(RING, np.int32),
        np.empty(RING, np.int32),
        np.empty(RING, np.int32),
        np.empty(RING, np.int32),
        np.empty((RING, 12)),
        np.empty(n, np.int32),
        np.empty(k, np.int32),
        np.empty(k, np.int16),
    )
    log = Log(
        np.empty((m // 2 + 1, 3), np.int32),
        np.empty((m // 2 + 1, 3)),
        np.empty(8 * m + 2 * RING, np.int32),
        np.empty(8 * m + 2 * RING, np.int32),
    )
    done, logged = collapse_block(block, star, dense, rules, log)
    return (
        block,
        names,
        Log(
            log.records[:done].copy(),
            log.places[:done].copy(),
            log.face[:logged].copy(),
            log.before[:logged].copy(),
        ),
    )


@kernel
def put_back(whole, block, names, faces, samples, base, log, row_base):
    """Write a reduced block into the whole mesh, and give its journal in the whole mesh's numbers.

    `base` is the number of collapses before this block, `row_base` the number of journal rows.
    """
    records, places, face_log, touch_log = log
    count = len(records)
    kept = np.empty(count, np.int32)
    gone = np.empty(count, np.int32)
    place = np.empty((count, 3), np.float32)
    start = np.empty(count, np.int64)
    for c in range(count):
        kept[c] = names[records[c, 0]]
        gone[c] = names[records[c, 1]]
        start[c] = row_base + records[c, 2]
        for k in range(3):
            place[c, k] = places[c, k] + block.origin[k]
    face = np.empty(len(face_log), np.int32)
    before = np.empty(len(face_log), np.int32)
    for r in range(len(face_log)):
        f = faces[face_log[r] >> 2]
        face[r] = 4 * f + (face_log[r] & 3)
        before[r] = whole.touched[f] if touch_log[r] < 0 else base + touch_log[r]
    for i in range(len(faces)):
        f = faces[i]
        whole.alive[f] = block.alive[i]
        if block.touched[i] >= 0:
            whole.touched[f] = base + block.touched[i]
            for k in range(3):
                whole.triangles[f, k] = names[block.corner[3 * i + k]]
    for i in range(len(names)):
        if block.free[i]:
            for k in range(3):
                whole.points[names[i], k] = block.points[i, k] + block.origin[k]
    for s in range(len(samples)):
        whole.sample_face[samples[s]] = faces[block.sample_face[s]]
    return Journal(kept, gone, place, start, face, before)


@kernel
def take_back(whole, journal, wanted):
    """Take back the last collapse that changed each face in `wanted`, and the later ones that stand on it.

    Gives the number of collapses taken back. `sample_face` is not restored.
    """
    taken = 0
    stack = np.empty(1024, np.int32)
    for i in range(len(wanted)):
        if whole.touched[wanted[i]] < 0:
            continue
        stack[0] = whole.touched[wanted[i]]
        depth = 1
        while depth > 0:
            c = stack[depth - 1]
            first = journal.start[c]
            last = journal.start[c + 1] if c + 1 < len(journal.start) else len(journal.face)
            latest = -1
            for r in range(first, last):
                latest = max(latest, whole.touched[journal.face[r] >> 2])
            if latest > c:
                if depth == len(stack):
                    larger = np.empty(2 * depth, np.int32)
                    larger[:depth] = stack
                    stack = larger
                stack[depth] = latest
                depth += 1
                continue
            depth -= 1
            u, v = journal.kept[c], journal.gone[c]
            for k in range(3):
                whole.points[u, k] = journal.place[c, k]
            for r in range(first, last):
                f, code = journal.face[r] >> 2, journal.face[r] & 3
                if code < 3:
                    whole.triangles[f, code] = v
                whole.alive[f] = True
                whole.touched[f] = journal.before[r]
            taken += 1
    return taken
