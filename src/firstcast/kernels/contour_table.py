"""The table of the contour: which triangles a cell holds, for each of the 256 patterns of its corners.

Corner c of a cell sits at (c & 1, c >> 1 & 1, c >> 2 & 1); bit c of the pattern says that it is inside.
An edge is named by its axis and its lower corner; triangles name three edges, counter-clockwise from
outside. Where a face has two inside corners across its diagonal the inside is joined, in both cells
that share the face, so that a thin wall lying across the lattice isn't perforated.

Of all triangulations of each loop one was taken that has no diagonal within a face of the cell and
whose triangles meet in shared corners and edges only, wherever on its edge each vertex lies. Both are
proved for every pattern by tests/kernels/test_contour_table.py, so that a contour is closed, manifold
and free of self-crossings by construction.
"""

import numpy as np

EDGE_AXIS = np.array([0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2], dtype=np.int32)
"""(12,) the axis along which each edge of a cell runs."""

EDGE_CORNER = np.array([0, 2, 4, 6, 0, 1, 4, 5, 0, 1, 2, 3], dtype=np.int32)
"""(12,) the lower corner of each edge."""

MOST_TRIANGLES = 5
"""No pattern holds more triangles than this."""

_PATTERNS = (
    "- 048 095 485589 1a4 01881a 09449aa91195 1855891a8 "
    "15b 0588b44b185b 09119b 19b149948 45aa5b 0a805aa5b 0b44ba09b 89aa9b "
    "286 042246 085569962586 246294495 1244281a22a6 0620a601a 0841a55a99a22a6 1a55a99a22a6 "
    "15b286 0522b66146b125b 08116bb29b62186 19b149942246 2b66ba25b285584 0522b66ba25b 0842b66ba29b 2b66ba29b "
    "279 049947742248 025527 258854275 1a4279 0199177a22a871a 02442aa71175a27 1751a77a22a8 "
    "12bb27152259 05914bb47742248 0b107b027 14bb47742248 2499452a427aa7b 0592a827aa7b 02442aa7ba27 2a827aa7b "
    "678879 069967046 075087786 465567 1944981791a77a6 0199177a671a 0841751a77a6 1751a77a6 "
    "16bb67186158859 05916bb67146 08116bb67186 16bb67146 45885967aa7b 05967aa7b 08467aa7b 67aa7b "
    "36a 03883604334a 09536a 35aa54395369968 134436 018816613 064096693351395 135539968936 "
    "15aa5665335b 05885665335b14a 0a106a09669339b 14a39b369968 34bb45364 05885665335b 06409669339b 39b369968 "
    "28338a 0422a324a 0a55399325a308a 29335aa54395 134438832 012213 084135539932 135539932 "
    "18a1588522b325b 0522b325b14a 08118a29339b 14a29339b 28334bb45384 0522b325b 08429339b 29339b "
    "2699a77a396a 04994774334a268 0a55375a306a026 26835aa54375 194426492179137 019917713268 024426135537 135537268 "
    "15aa5665225937b 05914a26837b 0a106a02637b 14a26837b 24994526437b 05926837b 02442637b 26837b "
    "38a378879 04994774334a 07508778338a 35aa54375 134438879837 019917713 084135537 135537 "
    "18a15885937b 05914a37b 08118a37b 14a37b 37b458859 05937b 08437b 37b "
    "3b7 0483b7 03553b093397 3877893483b44b5 1b447aa734b7 07883a8730b701b 09449aa933971b5 1b53877893a8 "
    "153357 078834431873057 091173197 143387789348 3573a55a4 0a805aa53357 09449aa93397 3877893a8 "
    "28778bb83386 0720b704bb43346 08558bb83386297 2973463b44b5 1b44b88b22b73a6 0720b701b3a6 0841b52973a6 1b52973a6 "
    "163186158852257 052257143346 081163186297 143346297 2572855843a6 0522573a6 0842973a6 2973a6 "
    "23993b 0b904bb43382348 02552bb23 2388344b543b 19442aa234921b9 01991b23883a 02442aa231b5 1b523883a "
    "153392359 059143382348 021123 143382348 2399355a453a 05923883a 02442aa23 23883a "
    "3966983b9 0b904bb43346 08558bb83386 3463b44b5 1944981b93a6 01991b3a6 0841b53a6 1b53a6 "
    "153396698359 059143346 081163186 143346 3a6458859 0593a6 0843a6 3a6 "
    "6a77ab 0788760b704bb4a 0a55ab06a096697 4a55ab687789 1641b66b7 0188166b761b 0640966971b5 1b5687789 "
    "17aa76157 07887605714a 09117aa76197 14a687789 456657 078876057 064096697 687789 "
    "2a77ab28a 0422a77ab24a 0a55ab08a297 2974a55ab 1b44b88b22b7 0720b701b 0841b5297 1b5297 "
    "18a158852257 05225714a 08118a297 14a297 257285584 052257 084297 297 "
    "2b926bb6a 0b904bb4a268 02552bb6ab26 2684a55ab 1641b66b22b9 01991b268 0244261b5 1b5268 "
    "15aa56652259 05914a268 0a106a026 14a268 249945264 059268 024426 268 "
    "8a99ab 0b904bb4a 0a55ab08a 4a55ab 1944981b9 01991b 0841b5 1b5 "
    "18a158859 05914a 08118a 14a 458859 059 084 - "
)  # per pattern: three hexadecimal edge names per triangle, "-" for none


def _read(patterns: str) -> tuple[np.ndarray, np.ndarray]:
    counts, edges = np.zeros(256, np.int32), np.zeros((256, 3 * MOST_TRIANGLES), np.int32)
    for pattern, names in enumerate(patterns.split()):
        digits = [int(name, 16) for name in names if name != "-"]
        counts[pattern] = len(digits) // 3
        edges[pattern, : len(digits)] = digits
    return counts, edges


TRIANGLE_COUNT, TRIANGLE_EDGES = _read(_PATTERNS)
"""(256,) int32: triangles per pattern; (256, 15) int32: their edges, three by three."""

MOST_LOOP = MOST_TRIANGLES + 2


def _faces(edge: int) -> set[int]:
    """The two faces of the cell that an edge lies on: 2 axis for the low one, 2 axis + 1 for the high one."""
    return {2 * o + int(EDGE_CORNER[edge] >> o & 1) for o in range(3) if o != EDGE_AXIS[edge]}


def _loop(pattern: int) -> list[int]:
    """The edges round a pattern's triangles, counter-clockwise from outside; empty if they are not one disc."""
    corners = TRIANGLE_EDGES[pattern, : 3 * TRIANGLE_COUNT[pattern]].reshape(-1, 3).tolist()
    sides = {(t[n], t[(n + 1) % 3]) for t in corners for n in range(3)}
    after = {a: b for a, b in sides if (b, a) not in sides}
    if not after or len(after) != len(corners) + 2:
        return []
    loop = [min(after)]
    while (following := after[loop[-1]]) != loop[0]:
        loop.append(following)
    return loop if len(loop) == len(after) else []


def _read_loops() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    sizes, edges = np.zeros(256, np.int32), np.zeros((256, MOST_LOOP), np.int32)
    faces = np.full((256, MOST_LOOP), -1, np.int32)
    for pattern in range(256):
        loop = _loop(pattern)
        crossed = [min(_faces(a) & _faces(b)) for a, b in zip(loop, loop[1:] + loop[:1], strict=True)]
        sizes[pattern] = len(loop)
        edges[pattern, : len(loop)] = loop
        faces[pattern, : len(loop)] = [face if crossed.count(face) == 1 else -1 for face in crossed]
    return sizes, edges, faces


LOOP_SIZE, LOOP_EDGES, LOOP_FACES = _read_loops()
"""(256,) int32: vertices around the surface in a cell where it is one disc, else 0; (256, 7) int32: their edges
in order; (256, 7) int32: the face that each crosses on its way to the next, -1 where two segments cross it."""
