"""The arrays of a block that is being reduced, of the dense surface, and what a collapse is held to.

Half-edge h runs from vertex `corner[h]`; triangle h // 3 holds it; `twin[h]` runs the other way, or is
-1 where the neighbour is in another block. Vertices with a face outside the block are not free: they and
their edges stay.
"""

from typing import NamedTuple

import numpy as np

from firstcast.compiling import kernel

RING = 96
"""Most faces around the two ends of an edge that is considered."""


class Block(NamedTuple):
    """A block's arrays; all are changed in place. Places are relative to the block's origin."""

    points: np.ndarray  # (n, 3) float64
    corner: np.ndarray  # (3m,) int32
    twin: np.ndarray  # (3m,) int32
    free: np.ndarray  # (n,) bool
    valence: np.ndarray  # (n,) int32, faces around each vertex, in the block or not
    alive: np.ndarray  # (m,) bool
    open: np.ndarray  # (m,) bool, whether the face's edges are tried from the start
    quadric: np.ndarray  # (n, 11) float64
    sample: np.ndarray  # (k, 3) float64
    sample_name: np.ndarray  # (k,) int32, the dense vertex that each sample is
    sample_limit: np.ndarray  # (k,) float32, how far from the reduced surface each may lie
    sample_head: np.ndarray  # (m,) int32
    sample_next: np.ndarray  # (k,) int32
    sample_face: np.ndarray  # (k,) int32
    touched: np.ndarray  # (m,) int32, the last collapse that changed each face
    heap: np.ndarray
    place: np.ndarray
    cost: np.ndarray
    origin: np.ndarray  # (3,) float64


class Rules(NamedTuple):
    """What a collapse is held to."""

    pull: float
    """Weight of the pull to the edge's middle against the quadric: keeps flat places well shaped."""
    least_cosine: float
    """Least cosine between a face's normals before and after."""
    least_height: float
    """Least height of a face, mm: well above what float32 can blur."""
    sharp_cosine: float
    """Edges whose faces' normals have a lower cosine are looked at in their middle too."""


class Dense(NamedTuple):
    """The dense surface, and the triangles around each of its vertices."""

    points: np.ndarray  # (n, 3) float32
    triangles: np.ndarray  # (m, 3) int32
    start: np.ndarray  # (n + 1,) int32
    around: np.ndarray  # (3m,) int32


class Log(NamedTuple):
    """What it takes to take collapses back, in the block's own numbers."""

    records: np.ndarray  # (c, 3) int32: the vertex that stayed, the one that vanished, first row in `face`
    places: np.ndarray  # (c, 3) float64, where the vertex that stayed had been
    face: np.ndarray  # (r,) int32, 4 * face + the corner where the vanished vertex had been, 3 if none
    before: np.ndarray  # (r,) int32, the collapse that had changed the face before; -1: none


class Star(NamedTuple):
    """Scratch: the faces that a collapse changes."""

    face: np.ndarray  # (RING,) int32
    a: np.ndarray  # (RING,) int32
    b: np.ndarray  # (RING,) int32
    edge: np.ndarray  # (RING,) int32, the half-edge that leaves the moving vertex
    shape: np.ndarray  # (RING, 12) float64
    mark: np.ndarray  # (n,) int32
    picked: np.ndarray  # (k,) int32
    chosen: np.ndarray  # (k,) int16


@kernel
def next_of(h):
    """The next half-edge around the same triangle."""
    return h - 2 if h % 3 == 2 else h + 1


@kernel
def prev_of(h):
    """The previous half-edge around the same triangle."""
    return h + 2 if h % 3 == 0 else h - 1
